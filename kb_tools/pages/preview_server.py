"""Serves a preview on this machine and tells open pages what changed.

Files go out as they lie on disk, with one script of the preview put into each page on its way out, so
that what lies there equals what a build writes.
"""

from __future__ import annotations

import json
import sys
import threading
from http import HTTPStatus
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit

from kb_tools.findings import BuildError

if TYPE_CHECKING:
    from collections.abc import Iterable

PARTS = Path(__file__).parent / "preview_parts"
OWN = "/_preview/"
"""Addresses of the preview's own files begin so."""
_INJECTED = (
    f'<link rel="stylesheet" href="{OWN}preview.css"><script src="{OWN}preview.js" defer></script></body>'.encode()
)
_MISSING = b"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>No page yet</title></head><body><main class="ft-page"><h1>There is no page here yet</h1>
<p>It comes as soon as the file that it is made of can be read. <a href="/index.html">First page</a></p>
</main></body></html>
"""
_TYPES = {".js": "text/javascript", ".css": "text/css"}
_KEEP_OPEN = 5.0
"""Seconds after which a waiting page hears that nothing changed, so that a dead one is noticed."""


class News:
    """What open pages wait for: numbered changes, and the findings as they stand."""

    def __init__(self) -> None:
        """Begin with nothing told."""
        self._waiting = threading.Condition()
        self._told: list[list[str]] = []
        self._findings = b"[]"
        self.is_over = False
        self.folder = Path()
        """The folder of the site as it stands."""

    def tell(self, addresses: Iterable[str] = (), findings: list[dict[str, Any]] | None = None) -> None:
        """Tell open pages which addresses hold something else now, and what is wrong with the library."""
        changed = sorted(addresses)
        with self._waiting:
            text = self._findings if findings is None else json.dumps(findings, ensure_ascii=False).encode("utf-8")
            if not changed and text == self._findings:
                return
            self._findings = text
            self._told.append(changed)
            self._waiting.notify_all()

    def end(self) -> None:
        """Let nobody wait any more."""
        with self._waiting:
            self.is_over = True
            self._waiting.notify_all()

    def since(self, number: int) -> tuple[int, list[str]]:
        """Return the number of the last change and what changed after `number`; wait for something, but not long."""
        with self._waiting:
            self._waiting.wait_for(lambda: self.is_over or len(self._told) > number, _KEEP_OPEN)
            return len(self._told), sorted({name for told in self._told[number:] for name in told})

    @property
    def number(self) -> int:
        """The number of the last change."""
        return len(self._told)

    @property
    def findings(self) -> bytes:
        """What is wrong with the library, as JSON."""
        return self._findings


class PreviewServer(ThreadingHTTPServer):
    """A server of the folder that the news name."""

    daemon_threads = True

    def __init__(self, address: str, news: News) -> None:
        """Take an address as in `127.0.0.1:8000`.

        Raises:
            BuildError: when it is no address, or is taken.

        """
        self.news = news
        self._serving: threading.Thread | None = None
        host, _, port = address.rpartition(":")
        try:
            super().__init__((host.strip("[]"), int(port)), _Handler)
        except (OSError, ValueError, OverflowError) as error:
            why = getattr(error, "strerror", None) or error
            raise BuildError(f"{address} cannot be served at: {why}; name another with --address") from error

    @property
    def url(self) -> str:
        """Where it serves."""
        return f"http://{self.server_address[0]!s}:{self.server_address[1]}/"

    def handle_error(self, request: Any, client_address: Any) -> None:  # noqa: ANN401 - the signature is the server's
        """Say nothing of a browser that went away before its answer came."""
        if not isinstance(sys.exception(), ConnectionError):
            super().handle_error(request, client_address)

    def begin(self) -> None:
        """Serve in threads of its own."""
        self._serving = threading.Thread(target=self.serve_forever, daemon=True, name="preview")
        self._serving.start()

    def end(self) -> None:
        """Serve no more, or never, if it was interrupted before it began."""
        self.news.end()
        # `shutdown` waits for a loop to end, for ever if none began.
        if self._serving:
            self.shutdown()
            self._serving.join()
        self.server_close()


class _Handler(SimpleHTTPRequestHandler):
    """Answers one request."""

    server: PreviewServer

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the signature is the server's
        """Say nothing: a preview is looked at in the browser."""

    def do_GET(self) -> None:
        """Answer with a page, a file, or what changed."""
        path = unquote(urlsplit(self.path).path)
        if path == f"{OWN}changes":
            self._changes(urlsplit(self.path).query)
        elif path == f"{OWN}findings.json":
            self._send(self.server.news.findings, "application/json")
        elif path.startswith(OWN) and (PARTS / Path(path).name).is_file():
            own = PARTS / Path(path).name
            self._send(own.read_bytes(), _TYPES[own.suffix])
        else:
            self._file(path)

    def do_HEAD(self) -> None:
        """Answer whether an address is there."""
        there = Path(self.translate_path(unquote(urlsplit(self.path).path)))
        self.send_response(HTTPStatus.OK if there.exists() else HTTPStatus.NOT_FOUND)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def translate_path(self, path: str) -> str:
        """Return where an address lies on disk."""
        self.directory = str(self.server.news.folder)
        return super().translate_path(path)

    def end_headers(self) -> None:
        """Let no browser keep what may change at any moment."""
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def _file(self, path: str) -> None:
        there = Path(self.translate_path(path))
        if path.endswith("/") and (there / "index.html").is_file():
            there /= "index.html"
        if there.suffix != ".html":
            super().do_GET()
            return
        try:
            page = there.read_bytes()
            status = HTTPStatus.OK
        except OSError:
            page, status = _MISSING, HTTPStatus.NOT_FOUND
        before, end, after = page.rpartition(b"</body>")
        script = _INJECTED.replace(b" defer", f' data-number="{self.server.news.number}" defer'.encode())
        self._send(before + script + after if end else page, "text/html", status)

    def _changes(self, query: str) -> None:
        known = query.rpartition("=")[2]
        number, addresses = self.server.news.since(int(known) if known.isdecimal() else 0)
        self._send(json.dumps({"number": number, "changed": addresses}).encode("utf-8"), "application/json")

    def _send(self, content: bytes, kind: str, status: HTTPStatus = HTTPStatus.OK) -> None:
        self.send_response(status)
        self.send_header("Content-Type", f"{kind}; charset=utf-8")
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)
