"""Pushes where the loop is, since virtual time waits for no thread."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass
class InlineSender:
    """Takes the place of a lane's thread."""

    name: str
    hangs: bool = False
    works: int = 0
    is_left: bool = False

    def give(self, work: Callable[[], None] | None, /) -> None:
        self.is_left = work is None
        if work is not None:
            self.works += 1
            if not self.hangs:
                work()
