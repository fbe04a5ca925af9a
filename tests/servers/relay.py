"""A TCP relay that can be blocked: connections stay open and nothing passes, as behind a failed switch."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator


class Relay:
    """Forwards a port of the system's choice to another on this machine."""

    def __init__(self, target_port: int) -> None:
        self._target = ("127.0.0.1", target_port)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._passing = threading.Event()
        self._passing.set()
        self._open: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True, name="relay").start()

    def block(self) -> None:
        """From now on nothing passes in either direction."""
        self._passing.clear()

    def unblock(self) -> None:
        """What has gathered passes, and everything after it."""
        self._passing.set()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                far = socket.create_connection(self._target)
                self._open += [near, far]
                for source, sink in ((near, far), (far, near)):
                    threading.Thread(target=self._pump, args=(source, sink), daemon=True).start()

    def _pump(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                self._passing.wait()
                sink.sendall(data)
            sink.shutdown(socket.SHUT_WR)

    def close(self) -> None:
        """End everything."""
        self.unblock()
        self._listener.close()
        for one in self._open:
            one.close()


@contextlib.contextmanager
def relay(target_port: int) -> Iterator[Relay]:
    """A relay that ends with the block."""
    opened = Relay(target_port)
    try:
        yield opened
    finally:
        opened.close()
