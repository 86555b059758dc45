"""A broker in this process that does its work when its client looks, or does not.

It speaks as much of MQTT 5 and 3.1.1 (OASIS) as the watch needs: no time passes for it,
so that it fits the common time of `shared_time`.
"""

import socket
from collections.abc import Callable
from contextlib import suppress
from random import Random

FLOOD, FLOOD_S = 20, 0.1
"""So many asks, so often."""
TO_US = b"cabinvigil/lapwing/ask"


class _Client:
    """One connection."""

    def __init__(self, sock: socket.socket) -> None:
        self.sock, self.data, self.is_v5 = sock, b"", True
        self.asks_s = 0.0
        """When it floods us the next time."""
        sock.setblocking(False)


class FickleBroker:
    """Takes messages, as long as nothing is wrong with it.

    `way()` says what is: '' nothing; `gone` nobody listens; `deaf` it takes connections
    and says nothing; `refuse` it lets nobody in; `drop` it ends every connection;
    `mute` it acknowledges nothing; `nonsense` it talks no MQTT; `flood` it sends asks
    without end.
    """

    def __init__(self, way: Callable[[], str], now: Callable[[], float], seed: int):
        self._way, self._now, self._dice = way, now, Random(seed)
        self._clients: list[_Client] = []
        self.got: list[tuple[float, str, bytes]] = []
        """(when, topic, payload)."""

    @property
    def is_gone(self) -> bool:
        return self._way() == "gone"

    def connect(self) -> socket.socket:
        """Give a client its end.  A pair: TCP of this machine may lag behind."""
        ours, theirs = socket.socketpair()
        self._clients.append(_Client(ours))
        return theirs

    def turn(self) -> None:
        """Do what there is to do."""
        way = self._way()
        if way in ("gone", "drop"):
            self._let_go()
        if way == "deaf":
            return
        for client in list(self._clients):
            try:
                self._hear(client, way)
                if way == "flood" and self._now() >= client.asks_s:
                    client.asks_s = self._now() + FLOOD_S
                    self._ask(client)
            except OSError:
                self._part(client)

    def _let_go(self) -> None:
        for client in list(self._clients):
            self._part(client)

    def _part(self, client: _Client) -> None:
        client.sock.close()
        self._clients.remove(client)

    def _hear(self, client: _Client, way: str) -> None:
        with suppress(BlockingIOError):
            while data := client.sock.recv(65536):
                client.data += data
            raise ConnectionResetError  # it hung up
        while (packet := _packet(client.data)) is not None:
            kind, body, client.data = packet
            self._heed(client, kind, body, way)

    def _heed(self, client: _Client, kind: int, body: bytes, way: str) -> None:
        if way == "nonsense":
            client.sock.send(self._dice.randbytes(40))
            raise ConnectionResetError
        if kind >> 4 == 1:
            client.is_v5 = body[6] == 5
            code = 0 if way != "refuse" else 0x87 if client.is_v5 else 5
            answer = bytes([0, code, 0]) if client.is_v5 else bytes([0, code])
            self._say(client, 0x20, answer)
            if code:
                raise ConnectionResetError
        elif kind >> 4 == 3:
            self._publication(client, kind, body, way)
        elif kind >> 4 == 8:
            answer = bytes([0, 1]) if client.is_v5 else bytes([1])
            self._say(client, 0x90, body[:2] + answer)
        elif kind >> 4 == 12:
            self._say(client, 0xD0, b"")
        elif kind >> 4 == 14:
            raise ConnectionResetError

    def _publication(self, client: _Client, kind: int, body: bytes, way: str) -> None:
        end = 2 + int.from_bytes(body[:2])
        topic, rest = body[2:end].decode(), body[end:]
        if kind >> 1 & 3:
            if way != "mute":
                self._say(client, 0x40, rest[:2])
            rest = rest[2:]
        if client.is_v5:
            rest = rest[1 + rest[0] :]  # our properties are shorter than 128 bytes
        self.got.append((self._now(), topic, rest))

    def _ask(self, client: _Client) -> None:
        body = len(TO_US).to_bytes(2) + TO_US + (b"\0" if client.is_v5 else b"")
        for _ in range(FLOOD):
            self._say(client, 0x30, body + b'{"ask": "status"}')

    def _say(self, client: _Client, kind: int, body: bytes) -> None:
        with suppress(BlockingIOError):  # a full buffer: a flood has its bounds
            client.sock.send(bytes([kind, len(body)]) + body)

    def close(self) -> None:
        self._let_go()


def _packet(data: bytes) -> tuple[int, bytes, bytes] | None:
    """Split the first packet off; None where it is not whole yet."""
    length, shift, at = 0, 0, 1
    while True:
        if at >= len(data):
            return None
        length |= (data[at] & 127) << shift
        shift, at = shift + 7, at + 1
        if not data[at - 1] & 128:
            break
    end = at + length
    return None if end > len(data) else (data[0], data[at:end], data[end:])
