"""A broker elsewhere in the wrong hands: it sends whatever it likes, asked or not.

As much of MQTT 5 as a bridge needs: it takes every connection, subscription and
message, and then writes topics that nobody subscribed to.
"""

import socket
import struct
from threading import Event, Thread

CONNECT, PUBLISH, PUBREL, SUBSCRIBE, PINGREQ = 1, 3, 6, 8, 12


class HostileBroker:
    """One connection at a time, in a thread of its own."""

    def __init__(self, port: int, messages: list[tuple[str, bytes]]) -> None:
        """Listen.

        Args:
            port: on loopback.
            messages: topics and payloads that are written, retained, after each
                subscription.
        """
        self._messages = messages
        self._listener = socket.create_server(("127.0.0.1", port))
        self.has_written = Event()
        self.heard: list[bytes] = []
        """Topics that came in."""
        self._thread = Thread(target=self._serve, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End it."""
        self._listener.close()

    def _serve(self) -> None:
        while True:
            try:
                sock, _ = self._listener.accept()
            except OSError:
                return
            try:
                self._converse(sock)
            except OSError:
                sock.close()

    def _converse(self, sock: socket.socket) -> None:
        while True:
            kind, flags, body = _packet(sock)
            if kind == CONNECT:
                sock.sendall(b"\x20\x03\x00\x00\x00")
            elif kind == SUBSCRIBE:
                sock.sendall(b"\x90\x04" + body[:2] + b"\x00\x01")
                for topic, payload in self._messages:
                    sock.sendall(_publish(topic, payload))
                self.has_written.set()
            elif kind == PUBLISH:
                length = struct.unpack(">H", body[:2])[0]
                self.heard.append(body[2 : 2 + length])
                if flags & 0b0110:
                    sock.sendall(b"\x40\x02" + body[2 + length : 4 + length])
            elif kind == PINGREQ:
                sock.sendall(b"\xd0\x00")


def _packet(sock: socket.socket) -> tuple[int, int, bytes]:
    head = _exactly(sock, 1)[0]
    length, shift = 0, 0
    while True:
        byte = _exactly(sock, 1)[0]
        length |= (byte & 0x7F) << shift
        shift += 7
        if not byte & 0x80:
            return head >> 4, head & 0x0F, _exactly(sock, length)


def _exactly(sock: socket.socket, count: int) -> bytes:
    data = b""
    while len(data) < count:
        more = sock.recv(count - len(data))
        if not more:
            raise ConnectionError
        data += more
    return data


def _publish(topic: str, payload: bytes) -> bytes:
    """Return a retained message of QoS 0."""
    name = topic.encode()
    body = struct.pack(">H", len(name)) + name + b"\x00" + payload
    length, out = len(body), b""
    while True:
        length, low = length >> 7, length & 0x7F
        out += bytes([low | (0x80 if length else 0)])
        if not length:
            return b"\x31" + out + body
