"""The queue's file behind a thread of its own: no disk holds up the loop.

Where the disk does not take something, the message goes out all the same, and that it
is not kept is said once.
"""

import asyncio
import sqlite3
from collections.abc import Callable, Coroutine, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from typing import TypeVar

from cabinvigil.daemon.phone.rings import PhoneMessage
from cabinvigil.daemon.phone.silence import KeptSilence
from cabinvigil.daemon.phone.store import Store, Waiting

T = TypeVar("T")
Addressed = Sequence[tuple[PhoneMessage, Mapping[str, bool]]]
"""Messages, and by the name of who is to have each whether its push begins now."""
MOST_KNOWN = 20_000
"""Ids remembered here too, so that nothing waits for the disk or is told twice: two
days of a thousand cabins' alerts (our choice)."""


IsKept = Callable[[bool], None]


def _ignore(_is_kept: bool) -> None:
    """What becomes of it is nobody's concern."""


class Keeper:
    """Keeps what is to be told; used from the loop."""

    def __init__(self, store: Store, on_problem: Callable[[str], None]) -> None:
        """Take the file.

        Args:
            store: opened by `open`.
            on_problem: is told once why nothing is kept, and with '' that it is again.
        """
        self._store = store
        self._on_problem = on_problem
        self._pool = ThreadPoolExecutor(1, "queue")
        self._is_broken = False
        self._known: dict[str, None] = {}
        self._later: set[asyncio.Task[None]] = set()

    async def open(self) -> str:
        """Open the file; return what had to be done for it, '' for nothing.

        Raises:
            StoreError: nothing can be kept there.
        """
        await self._call(self._store.open)
        if self._store.no_room:
            self._problem(self._store.no_room)
        return self._store.note

    async def load(self, wall_s: float) -> tuple[list[Waiting], dict[str, KeptSilence]]:
        """Return what waits, and what is known of the cabins."""
        self._known = dict.fromkeys(await self._call(self._store.known))
        waiting = await self._call(self._store.waiting, wall_s)
        return waiting, await self._call(self._store.cabins, wall_s)

    def note_new(self, ident: str) -> bool:
        """Remember a message; return whether it was not known."""
        if ident in self._known:
            return False
        self._known[ident] = None
        if len(self._known) > MOST_KNOWN:
            del self._known[next(iter(self._known))]
        return True

    def add(self, rings: Addressed, wall_s: float, then: IsKept = _ignore) -> None:
        """Keep messages, without waiting for it.

        Args:
            rings: messages and who is to have them.
            wall_s: now, seconds since 1970.
            then: called with whether they outlive this process.
        """
        self._spawn(self._add(rings, wall_s, then))

    async def _add(self, rings: Addressed, wall_s: float, then: IsKept) -> None:
        try:
            if rings:
                await self._call(self._store.add, rings, wall_s)
        except sqlite3.Error as error:
            self._problem(str(error))
            then(False)
            return
        is_kept = not self._store.no_room
        if rings and is_kept:
            self._well()
        then(is_kept)

    def later(
        self, write: Callable[..., object], *values: object
    ) -> "asyncio.Future[None]":
        """Have something written; nobody needs to wait for it."""
        return self._spawn(self._write(write, *values))

    def _spawn(self, work: Coroutine[object, object, None]) -> "asyncio.Task[None]":
        task = asyncio.get_running_loop().create_task(work)
        self._later.add(task)
        task.add_done_callback(self._later.discard)
        return task

    async def settle(self) -> None:
        """Wait until all is written."""
        while self._later:
            await asyncio.wait(self._later)

    def delivered(self, ring_id: str, name: str) -> None:
        """Cross out what was taken, or given up."""
        self.later(self._store.delivered, ring_id, name)

    def begun(self, ring_id: str, name: str) -> "asyncio.Future[None]":
        """Note that a push begins; the future is done once that stands."""
        return self.later(self._store.begun, ring_id, name)

    def failed(self, ring_id: str, name: str, tries: int, *, is_unsure: bool) -> None:
        """Note a failure, and whether it may have been told all the same."""
        failed = partial(self._store.failed, is_unsure=is_unsure)
        self.later(failed, ring_id, name, tries)

    def hand_on(self, ring_id: str, name: str) -> None:
        """Note that a message goes to one more address."""
        self.later(self._store.hand_on, ring_id, name)

    def keep_cabins(self, kept: Mapping[str, KeptSilence], wall_s: float) -> None:
        """Keep what is known of the cabins, and forget what is long told."""
        self._spawn(self._return_to_file())
        self.later(self._store.keep_cabins, kept, wall_s)
        self.later(self._store.tidy, wall_s)

    async def _return_to_file(self) -> None:
        if not self._store.no_room:
            return
        with suppress(sqlite3.Error):  # that there is no room was told
            if await self._call(self._store.return_to_file):
                self._well()

    async def close(self) -> None:
        """Write what is left, and let the file go."""
        await self.settle()
        await self._call(self._store.close)
        self._pool.shutdown(wait=False)

    async def _write(self, write: Callable[..., object], *values: object) -> None:
        try:
            await self._call(write, *values)
        except sqlite3.Error as error:
            self._problem(str(error))

    async def _call(self, call: Callable[..., T], *values: object) -> T:
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._pool, call, *values)

    def _problem(self, why: str) -> None:
        if not self._is_broken:
            self._is_broken = True
            self._on_problem(why)

    def _well(self) -> None:
        if self._is_broken:
            self._is_broken = False
            self._on_problem("")
