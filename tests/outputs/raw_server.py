"""What listens on a raw socket for the tests: its start, its stop, its connections."""

import socket
import threading
from abc import ABC, abstractmethod
from types import TracebackType
from typing import Self


class RawServer(ABC):
    """Accepts connections from one thread, until the end of its block."""

    def __init__(self, name: str) -> None:
        """Listen on a free port; nothing is accepted before the block."""
        self._server = socket.create_server(("127.0.0.1", 0), backlog=128)
        self.port = int(self._server.getsockname()[1])
        self._thread = threading.Thread(target=self._accept, name=name, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._thread.join(10.0)
        self._server.close()
        self.ended()

    @abstractmethod
    def accepted(self, sock: socket.socket) -> None:
        """Serve a connection; the next one waits until this returns."""

    def ended(self) -> None:  # noqa: B027  # many have nothing
        """Let go what is still open."""

    def _accept(self) -> None:
        while True:
            try:
                sock, _ = self._server.accept()
            except OSError:
                return
            self.accepted(sock)
