"""A bounded queue in order, that gives up routine items before important ones.

Several outputs have the same need: readings may be lost, alarms may not, and the
order must hold for what is left.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from heapq import merge
from typing import Generic, TypeVar

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class _Entry(Generic[T]):
    number: int
    size: int
    item: T


class PriorityDropQueue(Generic[T]):
    """Holds items up to a bound of size; not thread-safe, the owner has the lock."""

    def __init__(self, bound: int) -> None:
        if bound < 1:
            raise ValueError(f"bound is {bound}; it must be 1 or more")
        self._bound = bound
        self._size = 0
        self._number = 0
        self._routine: deque[_Entry[T]] = deque()
        self._important: deque[_Entry[T]] = deque()
        self.dropped_routine = 0
        """Routine items given up since the start."""
        self.dropped_important = 0
        """Important items given up since the start: only when nothing else is left."""

    def __len__(self) -> int:
        return len(self._routine) + len(self._important)

    @property
    def size(self) -> int:
        """The sum of the sizes held."""
        return self._size

    @property
    def holds_important(self) -> bool:
        """Whether an important item waits."""
        return bool(self._important)

    def put(self, item: T, size: int = 1, *, important: bool = False) -> int:
        """Add an item; return how many older ones had to go for it."""
        entry = _Entry(self._number, size, item)
        self._number += 1
        (self._important if important else self._routine).append(entry)
        self._size += size
        return self._shrink()

    def items(self) -> Iterator[T]:
        """Return all items in the order they came; they stay in the queue."""
        both = merge(self._routine, self._important, key=lambda entry: entry.number)
        return (entry.item for entry in both)

    def take_all(self) -> list[T]:
        """Take all items in the order they came."""
        taken = list(self.items())
        self._routine.clear()
        self._important.clear()
        self._size = 0
        return taken

    def _shrink(self) -> int:
        gone = 0
        # One item alone stays, however large: an empty queue would tell nothing.
        while self._size > self._bound and len(self) > 1:
            if self._routine:
                self._size -= self._routine.popleft().size
                self.dropped_routine += 1
            else:
                self._size -= self._important.popleft().size
                self.dropped_important += 1
            gone += 1
        return gone
