"""How parts of every kind see the world: late, noisy, drifting, and in steps."""

import math
from collections.abc import Callable
from random import Random
from typing import Protocol

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow

See = Callable[[], AirNow]
"""The air at this moment."""
Now = Callable[[], float]
"""The present in seconds."""


EARLY_S = 1e-6
"""Parts are ready this much before the sheets' longest times, as real ones are well
before them: an event loop may wake a nanosecond early."""


class Nack(Exception):  # noqa: N818  # not an error of ours: what the part does
    """The part does not acknowledge."""


class I2cPart(Protocol):
    """An emulated part on I2C."""

    def write(self, data: bytes) -> None:
        """Take bytes from the master.

        Raises:
            Nack: it does not acknowledge.
        """
        ...

    def read(self, length: int) -> bytes:
        """Return bytes to the master.

        Raises:
            Nack: it does not acknowledge.
        """
        ...

    def power_up(self) -> None:
        """Lose everything that the part keeps in RAM, and start."""
        ...


class SerialPart(Protocol):
    """An emulated part on a serial line."""

    def due_s(self) -> float | None:
        """Return when it next sends of its own accord; None if it only answers."""
        ...

    def send(self) -> bytes:
        """Return what it sends of its own accord now, and set the next time."""
        ...

    def receive(self, data: bytes) -> bytes:
        """Take bytes from the host; return the answer, if any."""
        ...

    def power_up(self) -> None:
        """Lose everything that the part keeps in RAM, and start."""
        ...


class Lag:
    """A first-order lag."""

    def __init__(self, tau_s: float) -> None:
        """Take the time to 63 % of a step, in seconds."""
        self._tau_s = tau_s
        self._value: float | None = None
        self._at_s = 0.0

    def follow(self, value: float, now_s: float) -> float:
        """Return what a part with this lag shows; the first value is shown at once."""
        if self._value is None:
            self._value = value
        else:
            share = -math.expm1(-(now_s - self._at_s) / self._tau_s)
            self._value += (value - self._value) * share
        self._at_s = now_s
        return self._value


class Drift:
    """A slow random walk that is pulled back to zero."""

    def __init__(self, random: Random, spread: float, tau_s: float) -> None:
        """Take its long-run standard deviation and its memory in seconds."""
        self._random = random
        self._spread, self._tau_s = spread, tau_s
        self._value = random.gauss(0.0, spread)
        self._at_s: float | None = None

    def at(self, now_s: float) -> float:
        """Return the drift now."""
        if self._at_s is not None and now_s > self._at_s:
            keep = math.exp(-(now_s - self._at_s) / self._tau_s)
            step = self._spread * math.sqrt(1.0 - keep * keep)
            self._value = keep * self._value + self._random.gauss(0.0, step)
        self._at_s = now_s
        return self._value


def clip(value: float, low: int, high: int) -> int:
    """Return the nearest whole number within the part's range."""
    return max(low, min(high, round(value)))
