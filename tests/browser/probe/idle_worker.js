// A service worker that does nothing: pages come from the server.
