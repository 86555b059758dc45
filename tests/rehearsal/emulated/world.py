"""What emulated parts need in tests: an air that is set, a time that is moved.

Their bytes are held against the published vectors of the project's sensor notes (the
origin stands beside each), and against general-purpose drivers of other people.
"""

from collections.abc import Callable
from typing import Any

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow


class World:
    """An air that tests set, and a time that they move."""

    def __init__(self, **air: Any) -> None:
        self.air = AirNow(**air)
        self.now_s = 0.0

    def see(self) -> AirNow:
        return self.air

    def now(self) -> float:
        return self.now_s

    def make(self, kind: Callable[..., Any], seed: int = 1, **options: Any) -> Any:
        return kind(self.see, seed, self.now, **options)

    def pass_(self, seconds: float) -> None:
        self.now_s += seconds


def ask(world: World, part: Any, tx: bytes, length: int, wait_s: float = 0.0) -> bytes:
    part.write(tx)
    world.pass_(wait_s)
    return bytes(part.read(length))


def word(data: bytes) -> int:
    return int.from_bytes(data[:2], "big")
