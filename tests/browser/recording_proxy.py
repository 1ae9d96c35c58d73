"""A proxy that lets nothing through and remembers who asked: the network of a browser under test."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress

_HEAD = 65536


class RecordingProxy:
    """Listens on a free port of this machine, notes the address of each request and hangs up."""

    def __init__(self) -> None:
        """Start listening."""
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._seen: list[str] = []
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def seen(self) -> list[str]:
        """Return the addresses so far; of an encrypted request only the host is known."""
        return list(self._seen)

    def close(self) -> None:
        """Stop listening."""
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join()

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            with client, suppress(OSError):
                client.settimeout(5)
                self._note(client.recv(_HEAD))

    def _note(self, head: bytes) -> None:
        words = head.split(b"\r\n", 1)[0].decode("latin-1").split(" ")
        if len(words) > 1:
            method, target = words[:2]
            self._seen.append(f"https://{target.removesuffix(':443')}/" if method == "CONNECT" else target)
