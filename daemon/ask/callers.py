"""Who is connected to the ask socket: few at one time, and none holds up another."""

import socket
import struct
from asyncio import StreamWriter
from collections import Counter
from dataclasses import dataclass

CALLERS = 8
"""Connections at one time: commands are short, and memory is small."""
_CREDENTIALS = "3i"
"""Process, user and group (unix(7), SO_PEERCRED)."""


@dataclass(eq=False, slots=True)
class Caller:
    """One connection."""

    writer: StreamWriter
    user: str
    process: str
    idle_since_s: float | None
    """Since when it has said nothing; None while it is being answered."""


def caller_of(writer: StreamWriter, now_s: float) -> Caller:
    """Return who has connected, as the kernel knows it."""
    sock = writer.get_extra_info("socket")
    try:
        size = struct.calcsize(_CREDENTIALS)
        data = sock.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, size)
    except OSError:
        return Caller(writer, "", "", now_s)
    process, user, _ = struct.unpack(_CREDENTIALS, data)
    return Caller(writer, f"user {user}", f"user {user} process {process}", now_s)


class Callers:
    """The connections that are held."""

    def __init__(self) -> None:
        self._held: list[Caller] = []

    def admit(self, caller: Caller) -> bool:
        """Take a connection in; False where all others are being answered.

        It takes the place of one that says nothing: of whoever holds the most, the one
        that has been silent for longest.
        """
        if len(self._held) >= CALLERS and not self._make_room():
            return False
        self._held.append(caller)
        return True

    def leave(self, caller: Caller) -> None:
        """Let a connection go."""
        if caller in self._held:
            self._held.remove(caller)

    def _make_room(self) -> bool:
        count = Counter(caller.process for caller in self._held)
        idle = [
            (count[caller.process], -caller.idle_since_s, number)
            for number, caller in enumerate(self._held)
            if caller.idle_since_s is not None
        ]
        if not idle:
            return False
        self._held.pop(max(idle)[2]).writer.close()
        return True
