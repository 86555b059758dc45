"""A network between a client and its broker that can be cut, stall, and lose bytes."""

import select
import socket
import threading
from contextlib import suppress

from tests.outputs.dropping import LINGER_NONE
from tests.outputs.raw_server import RawServer


class Network(RawServer):
    """Passes bytes on, both ways, but where it is told not to."""

    def __init__(self, port: int) -> None:
        """Take where to; who is to go through it connects to `port`."""
        super().__init__("network")
        self._to = port
        self._passes = threading.Event()
        self._passes.set()
        self._is_cut = self._ends = False
        self._lock = threading.Lock()
        self._open: set[socket.socket] = set()
        self._lost: set[socket.socket] = set()

    def cut(self) -> None:
        """Reset what is open, and refuse what comes."""
        self._is_cut = True
        self._close()

    def stall(self) -> None:
        """Hold every byte back, and every new connection; nobody is told."""
        self._passes.clear()

    def lose(self) -> None:
        """As `stall`; what is open now stays dead for ever, and nobody is told."""
        with self._lock:
            self._lost |= self._open
        self.stall()

    def mend(self) -> None:
        """Pass on what comes, and what was held back."""
        self._is_cut = False
        self._passes.set()

    def ended(self) -> None:
        self._ends = True
        self._close()
        self._passes.set()

    def _close(self) -> None:
        with self._lock:
            for sock in self._open:
                with suppress(OSError):
                    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, LINGER_NONE)
                    sock.shutdown(socket.SHUT_RDWR)

    def accepted(self, sock: socket.socket) -> None:
        if self._is_cut:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, LINGER_NONE)
            sock.close()
            return
        threading.Thread(target=self._join, args=(sock,), daemon=True).start()

    def _join(self, client: socket.socket) -> None:
        self._passes.wait()
        if _has_hung_up(client):
            client.close()  # its first packet never got through
            return
        try:
            broker = socket.create_connection(("127.0.0.1", self._to), 5.0)
        except OSError:
            client.close()
            return
        broker.settimeout(None)
        both = {client, broker}
        with self._lock:
            self._open |= both
        if self._ends or self._is_cut:
            self._close()
        back = threading.Thread(target=self._pass, args=(broker, client), daemon=True)
        back.start()
        self._pass(client, broker)
        back.join()
        with self._lock:
            self._open -= both
            self._lost -= both
        for sock in both:
            sock.close()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while data := one.recv(65_536):
                self._passes.wait()
                if one not in self._lost:
                    other.sendall(data)
        for sock in (one, other):
            with suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)


def _has_hung_up(sock: socket.socket) -> bool:
    poll = select.poll()
    poll.register(sock, select.POLLRDHUP)
    return bool(poll.poll(0))
