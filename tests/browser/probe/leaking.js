/** Asks for what is outside in the ways that a script has. */
(() => {
  "use strict";
  fetch("https://fetch.invalid/").catch(() => {});
  navigator.sendBeacon("https://beacon.invalid/", "");
  new WebSocket("wss://socket.invalid/");
})();
