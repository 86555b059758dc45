"""Who is connected to the ask socket: nobody's idle connections hold up another."""

import os
import socket
from asyncio import StreamWriter
from typing import cast

from cabinvigil.daemon.ask.callers import CALLERS, Caller, Callers, caller_of


class Writer:
    """One end of a connection, of which only its end counts."""

    def __init__(self, sock: object = None) -> None:
        self.sock = sock
        self.is_closed = False

    def get_extra_info(self, name: str) -> object:
        assert name == "socket"
        return self.sock

    def close(self) -> None:
        self.is_closed = True


def caller(process: str, idle_since_s: float | None) -> Caller:
    writer = cast(StreamWriter, Writer())
    return Caller(writer, "user 1", process, idle_since_s)


def is_ended(one: Caller) -> bool:
    return cast(Writer, one.writer).is_closed


def test_who_holds_the_most_idle_connections_loses_the_oldest() -> None:
    """And not the one other caller, who has been silent for longer."""
    callers = Callers()
    other = caller("2", 0.0)
    many = [caller("1", 1.0 + number) for number in range(CALLERS - 1)]
    assert all(callers.admit(one) for one in (other, *many))
    new = caller("3", 100.0)
    assert callers.admit(new)
    assert [one for one in (other, *many, new) if is_ended(one)] == [many[0]]


def test_whoever_is_being_answered_keeps_the_place() -> None:
    callers = Callers()
    busy = [caller("1", None) for _ in range(CALLERS)]
    assert all(callers.admit(one) for one in busy)
    assert not callers.admit(caller("2", 0.0))
    assert not any(is_ended(one) for one in busy)
    callers.leave(busy[0])
    callers.leave(busy[0])
    assert callers.admit(caller("2", 0.0))


def test_the_kernel_says_who_calls() -> None:
    """Never the caller itself; where it does not say, all are one."""
    ours, theirs = socket.socketpair(socket.AF_UNIX)
    with ours, theirs:
        got = caller_of(cast(StreamWriter, Writer(ours)), 5.0)
    assert got.user == f"user {os.getuid()}"
    assert got.process == f"user {os.getuid()} process {os.getpid()}"
    assert got.idle_since_s == 5.0
    gone = caller_of(cast(StreamWriter, Writer(ours)), 5.0)
    assert (gone.user, gone.process) == ("", "")
