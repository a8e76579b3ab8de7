"""A wire between a browser and the server that can be cut, and that can lose answers.

What a browser calls offline does not reach its workers; a wire that is cut does.
"""

import contextlib
import socket
import threading
from collections.abc import Iterator
from urllib.parse import urlsplit


class Wire:
    def __init__(self, to: str) -> None:
        at = urlsplit(to)
        self.far = (at.hostname or "localhost", at.port or 80)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://localhost:{self.listener.getsockname()[1]}"
        self.up = True
        self.losing = b""
        """Answers to requests that begin with this are lost on the way."""
        self.asked: list[bytes] = []
        """The first line of each request that came through."""
        self.open: set[socket.socket] = set()
        self.lock = threading.Lock()
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """Lose the signal: what is open breaks, and nothing new comes through."""
        self.up = False
        with self.lock:
            for one in self.open:
                self._end(one)
            self.open.clear()

    def mend(self) -> None:
        """Have signal again."""
        self.up = True

    def close(self) -> None:
        self.cut()
        self.listener.close()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self.listener.accept()
                if not self.up:
                    self._end(near)
                    continue
                far = socket.create_connection(self.far)
                with self.lock:
                    self.open |= {near, far}
                lost = threading.Event()
                for args in ((near, far, lost, True), (far, near, lost, False)):
                    threading.Thread(target=self._pass, args=args, daemon=True).start()

    def _pass(
        self,
        source: socket.socket,
        sink: socket.socket,
        lost: threading.Event,
        asking: bool,
    ) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                if asking and data.split(b" ", 1)[0] in {b"GET", b"POST"}:
                    self.asked.append(data.split(b"\r\n", 1)[0])
                    if self.losing and data.startswith(self.losing):
                        lost.set()
                if not asking and lost.is_set():
                    break
                sink.sendall(data)
        self._end(source)
        self._end(sink)

    def _end(self, one: socket.socket) -> None:
        with contextlib.suppress(OSError):
            one.shutdown(socket.SHUT_RDWR)
        one.close()


@contextlib.contextmanager
def wire(to: str) -> Iterator[Wire]:
    """Lay a wire for the length of a test."""
    laid = Wire(to)
    try:
        yield laid
    finally:
        laid.close()
