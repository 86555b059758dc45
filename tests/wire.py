"""A strict wire for polled parts: what must be said, in order, and what comes back."""

from collections.abc import Callable, Generator, Iterable
from typing import TypeVar

from hypothesis import settings

from cabinvigil.drivers.kit.steps import DriverError, Transfer

Result = TypeVar("Result")
Line = tuple[Transfer, bytes | DriverError]
MODEST = settings(max_examples=60, deadline=None)
"""For properties of codecs: quick, and never failed because a machine is busy."""


def play(steps: Generator[Transfer, bytes, Result], script: Iterable[Line]) -> Result:
    """Run a part's steps against a script and return what they return.

    Every transfer must equal the script's, in order, and none may be left over.  An
    error in place of a reply is thrown into the steps, where a bus would raise it.
    """
    lines = list(script)
    reply: bytes | DriverError = b""
    done = 0
    try:
        wanted = next(steps)
        while True:
            assert done < len(lines), f"beyond the script's end: {wanted}"
            transfer, reply = lines[done]
            assert wanted == transfer, f"line {done + 1}: {wanted}, not {transfer}"
            done += 1
            if isinstance(reply, DriverError):
                wanted = steps.throw(reply)
            else:
                assert len(reply) <= transfer.rx_len, "the script answers too much"
                wanted = steps.send(reply)
    except StopIteration as stop:
        assert done == len(lines), f"never said: {lines[done:]}"
        return stop.value  # type: ignore[no-any-return]
    except DriverError:
        assert done == len(lines), f"given up before: {lines[done:]}"
        raise


def outcome(call: Callable[[], object]) -> str:
    """Say how a call ended: with a value ('value'), or the code of its error.

    Anything but a `DriverError` passes through and fails the test: a decoder is total.
    """
    try:
        call()
    except DriverError as error:
        return error.code
    return "value"
