"""A web server on this machine that a test can stop, start again and hand another folder."""

from __future__ import annotations

import socket
import sys
import threading
from dataclasses import dataclass, field
from http import HTTPStatus
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from pathlib import Path

_given: set[int] = set()


def new_port() -> int:
    """Return a free port that no server of this process had before: nothing that a browser keeps is for it."""
    while True:
        with socket.create_server(("127.0.0.1", 0)) as listener:
            port: int = listener.getsockname()[1]
        if port not in _given:
            _given.add(port)
            return port


@dataclass(slots=True)
class Served:
    """A folder under an address of this machine.

    `root`, `broken`, `instead` and `headers` may be changed while it runs.
    """

    root: Path
    prefix: str = "/"
    """The path under which the folder appears, as on a static host that gives each project a folder."""
    broken: set[str] = field(default_factory=set)
    """Paths below the prefix that answer 500, as in a release that arrived in part."""
    instead: dict[str, Path] = field(default_factory=dict)
    """Paths below the prefix that answer with another file."""
    headers: dict[str, str] = field(default_factory=lambda: {"Cache-Control": "no-cache"})
    log: list[str] = field(default_factory=list)
    """Paths that were asked for, in order, the query included."""
    port: int = 0
    _server: ThreadingHTTPServer | None = None
    _thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        """The address of the folder, with a slash at its end."""
        return f"http://127.0.0.1:{self.port}{self.prefix}"

    def start(self) -> None:
        """Serve, on the port of last time or a new one."""
        served = self
        self.port = self.port or new_port()

        class Handler(SimpleHTTPRequestHandler):
            """Answers from the folder that is served now."""

            def do_GET(self) -> None:
                served.log.append(self.path)
                # Times are told in seconds, and a test exchanges a site faster than that.
                del self.headers["If-Modified-Since"]
                path = urlsplit(self.path).path
                if not path.startswith(served.prefix):
                    self.send_error(HTTPStatus.NOT_FOUND)
                elif path.removeprefix(served.prefix) in served.broken:
                    self.send_error(HTTPStatus.INTERNAL_SERVER_ERROR)
                else:
                    super().do_GET()

            def translate_path(self, path: str) -> str:
                if instead := served.instead.get(urlsplit(path).path.removeprefix(served.prefix)):
                    return str(instead)
                self.directory = str(served.root)
                return super().translate_path("/" + path.removeprefix(served.prefix))

            def end_headers(self) -> None:
                for name, value in served.headers.items():
                    self.send_header(name, value)
                super().end_headers()

            def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the base's name
                """Keep the terminal quiet."""

        self._server = _QuietServer(("127.0.0.1", self.port), Handler)
        # The server looks for a stop this often, in seconds.
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop serving and free the port: the network is really gone."""
        if self._server and self._thread:
            self._server.shutdown()
            self._server.server_close()
            self._thread.join()
        self._server = self._thread = None

    def restart(self) -> None:
        """Serve again at the same address."""
        self.stop()
        self.start()


class _QuietServer(ThreadingHTTPServer):
    """A browser that hangs up in the middle of an answer is no news."""

    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:  # noqa: ANN401 - the base's signature
        """Report what is no lost connection."""
        if not isinstance(sys.exception(), ConnectionError):
            super().handle_error(request, client_address)
