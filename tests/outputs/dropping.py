"""A broker that ends every connection, in one of the ways that brokers have."""

import os
import socket
import struct
from collections.abc import Callable
from contextlib import suppress
from random import Random

from tests.outputs.raw_server import RawServer

LINGER_NONE = struct.pack("ii", 1, 0)
"""Closed so, a socket says RST instead of a farewell."""
TAKEN = bytes([0x20, 3, 0, 0, 0])
"""CONNACK of MQTT 5, success."""


def shut(_sock: socket.socket, _dice: Random) -> None:
    """It hangs up at once."""


def reset(sock: socket.socket, _dice: Random) -> None:
    """The network resets."""
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, LINGER_NONE)


def refuse(sock: socket.socket, dice: Random) -> None:
    """It lets nobody in, for one reason or another (MQTT 5, 2.4)."""
    sock.recv(4096)
    sock.sendall(bytes([0x20, 3, 0, dice.choice([0x80, 0x86, 0x87, 0x88, 0x97]), 0]))


def talk_nonsense(sock: socket.socket, dice: Random) -> None:
    """What listens there is no broker at all."""
    sock.recv(4096)
    sock.sendall(dice.randbytes(dice.randrange(1, 300)))


def take_and_drop(sock: socket.socket, _dice: Random) -> None:
    """It lets us in, and is gone with the first message."""
    sock.recv(4096)
    sock.sendall(TAKEN)
    sock.recv(4096)


def take_and_reset(sock: socket.socket, dice: Random) -> None:
    """It lets us in, and the network resets."""
    take_and_drop(sock, dice)
    reset(sock, dice)


def take_and_part(sock: socket.socket, dice: Random) -> None:
    """It lets us in, and says farewell with a reason."""
    sock.recv(4096)
    sock.sendall(TAKEN)
    sock.recv(4096)
    sock.sendall(bytes([0xE0, 2, dice.choice([0x8B, 0x8D, 0x8E, 0x93]), 0]))


def take_and_talk_nonsense(sock: socket.socket, dice: Random) -> None:
    """It lets us in, and goes mad."""
    sock.recv(4096)
    sock.sendall(TAKEN)
    sock.recv(4096)
    sock.sendall(dice.randbytes(dice.randrange(1, 300)))


def break_off(sock: socket.socket, dice: Random) -> None:
    """It dies in the middle of a packet."""
    sock.recv(4096)
    sock.sendall(TAKEN)
    sock.recv(4096)
    ask = b"\x00\x16cabinvigil/lapwing/ask" + bytes(3)
    packet = bytes([0x30, 200, 1]) + ask
    sock.sendall(packet[: dice.randrange(1, len(packet))])


WAYS: tuple[Callable[[socket.socket, Random], None], ...] = (
    shut,
    reset,
    refuse,
    talk_nonsense,
    take_and_drop,
    take_and_reset,
    take_and_part,
    take_and_talk_nonsense,
    break_off,
)


class DroppingBroker(RawServer):
    """Takes one connection after the other, from one thread, and keeps none."""

    def __init__(self, seed: int) -> None:
        super().__init__("dropping-broker")
        self.count = 0
        """Connections so far."""
        self.files: list[int] = []
        """Descriptors of this process, between each two connections."""
        self._dice = Random(seed)

    def accepted(self, sock: socket.socket) -> None:
        with sock:
            sock.settimeout(5.0)
            with suppress(OSError):  # it hung up before we did
                self._dice.choice(WAYS)(sock, self._dice)
        self.files.append(len(os.listdir("/proc/self/fd")))
        self.count += 1
