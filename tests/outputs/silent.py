"""Brokers that misbehave, on raw sockets: silent, old, or hanging up."""

import socket
import threading

from tests.outputs.raw_server import RawServer

CONNECT, CONNACK, DISCONNECT = 0x10, 0x20, 0xE0


class RawBroker(RawServer):
    """Accepts connections and answers each CONNECT by a rule.

    `rule` is `silent` (never a word), `old` (only 3.1.1: return code 1 to others, as
    brokers before MQTT 5 do), or `rude` (hangs up on MQTT 5 without a word).
    """

    def __init__(self, rule: str) -> None:
        super().__init__("raw-broker")
        self.rule = rule
        self.levels: list[int] = []
        self.published: list[bytes] = []
        self._socks: list[socket.socket] = []

    def ended(self) -> None:
        for sock in self._socks:
            sock.close()

    def accepted(self, sock: socket.socket) -> None:
        self._socks.append(sock)
        threading.Thread(target=self._serve, args=(sock,), daemon=True).start()

    def _serve(self, sock: socket.socket) -> None:
        try:
            while (packet := self._packet(sock)) is not None:
                head, body = packet
                if head & 0xF0 == CONNECT:
                    level = body[6]
                    self.levels.append(level)
                    if self.rule == "silent":
                        continue
                    if level == 5 and self.rule == "old":
                        sock.sendall(bytes([CONNACK, 2, 0, 1]))
                        return sock.close()
                    if level == 5 and self.rule == "rude":
                        return sock.close()
                    sock.sendall(bytes([CONNACK, 2, 0, 0]))
                elif head & 0xF0 == 0x30:
                    self.published.append(body)
                    if head & 0x06:
                        at = 2 + int.from_bytes(body[:2])
                        sock.sendall(bytes([0x40, 2]) + body[at : at + 2])
                elif head & 0xF0 == 0x80:
                    sock.sendall(bytes([0x90, 3]) + body[:2] + b"\x01")
                elif head & 0xF0 == 0xC0:
                    sock.sendall(bytes([0xD0, 0]))
        except OSError:
            return None

    def _packet(self, sock: socket.socket) -> tuple[int, bytes] | None:
        head = sock.recv(1)
        if not head:
            return None
        size, shift = 0, 0
        while True:
            byte = sock.recv(1)[0]
            size |= (byte & 0x7F) << shift
            shift += 7
            if byte < 128:
                break
        body = b""
        while len(body) < size:
            body += sock.recv(size - len(body))
        return head[0], body
