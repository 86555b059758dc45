"""Telling whether a part is the one looked for, without disturbing it."""

from collections.abc import Callable, Generator

from cabinvigil.drivers.kit.steps import DriverError, Transfer

Identify = Generator[Transfer, bytes, bool]
"""Yields transfers that change nothing in the part; returns whether it is the part."""
Identifier = Callable[[], Identify]


def answers(ask: Generator[Transfer, bytes, object]) -> Identify:
    """Return whether an exchange ends without complaint, checksums included."""
    try:
        yield from ask
    except DriverError:
        return False
    return True


def register_reads(register: int, want: bytes) -> Identify:
    """Return whether a register holds exactly these bytes."""
    got = yield Transfer(bytes([register]), len(want))
    return got == want
