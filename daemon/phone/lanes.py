"""One lane for each address: what waits goes out, the gravest first, until it is taken.

A push that hangs holds up its own address alone, and that for no longer than `HANGS_S`.
"""

import asyncio
import heapq
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from queue import SimpleQueue
from threading import Thread
from typing import Protocol

from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.outputs.mqtt.messages import WAKE
from cabinvigil.daemon.phone.push import NoWordError, Push
from cabinvigil.daemon.phone.rings import (
    DEAD_TRIES,
    PhoneMessage,
    is_quiet,
    retry_in_s,
)
from cabinvigil.daemon.phone.settings import Recipient
from cabinvigil.daemon.phone.texts import PhoneTexts

HANGS_S = 20.0
"""A push that takes longer has failed: apprise itself waits 4 s for a connection, mail
15 (our choice)."""
MOST_HUNG = 3
"""Pushes of one address that hang at one time; no more are begun then."""
QUIET_LOOK_S = 30.0
NOTED_S = 0.05
"""So long a push waits until its beginning is noted, which takes a thousandth where no
disk hangs: a kill in between would repeat it without a word (our choice)."""


class Outcomes(Protocol):
    """Is told what became of each message; called on the loop."""

    def begun(self, ring: PhoneMessage, name: str) -> "asyncio.Future[None]":
        """A push begins; the future is done once that is noted."""
        ...

    def delivered(self, ring: PhoneMessage, name: str) -> None:
        """An address took a message."""
        ...

    def failed(self, ring: PhoneMessage, name: str, tries: int, reason: str) -> None:
        """It did not, or nobody can tell, and is tried again."""
        ...

    def expired(self, ring: PhoneMessage, name: str, tries: int) -> None:
        """It did not, or was left alone, and it is too late now."""
        ...

    def is_dead(self, name: str, reason: str) -> None:
        """An address failed so often in a row that others must know."""
        ...

    def is_alive(self, name: str) -> None:
        """It takes messages again."""
        ...


@dataclass(order=True, slots=True)
class _Entry:
    urgency: int
    """Negative: the gravest first."""
    number: int
    ring: PhoneMessage = field(compare=False)
    expires_at_s: float = field(compare=False)
    tries: int = field(compare=False, default=0)
    is_noted: bool = field(compare=False, default=False)
    """That its push begins is kept with the message itself."""


class Sender(Protocol):
    """Does what blocks, away from the loop."""

    def give(self, work: Callable[[], None] | None, /) -> None:
        """Have something done; None: end, once what it is at is over."""
        ...


class SenderThread(Thread):
    """The thread that pushes to one address, kept: making one holds up a danger."""

    def __init__(self, name: str) -> None:
        # A daemon: one that hangs does not keep the process from ending.
        super().__init__(name=f"push to {name}", daemon=True)
        self._works: SimpleQueue[Callable[[], None] | None] = SimpleQueue()
        self.start()

    def give(self, work: Callable[[], None] | None, /) -> None:
        """Have something done; None: end, once what it is at is over."""
        self._works.put(work)

    def run(self) -> None:
        """Do it all, one thing after the other."""
        while (work := self._works.get()) is not None:
            work()


class Lane:
    """Sends to one address."""

    def __init__(
        self,
        recipient: Recipient,
        push: Push,
        clock: Clock,
        outcomes: Outcomes,
        texts: PhoneTexts,
        *,
        hangs_s: float = HANGS_S,
        make_sender: Callable[[str], Sender] = SenderThread,
        local: Callable[[datetime], datetime] = lambda wall: wall.astimezone(),
    ) -> None:
        """Set it up.

        Args:
            recipient: whom it is for.
            push: pushes; blocks.
            clock: for deadlines.
            outcomes: is told what becomes of each message.
            texts: what this process says itself.
            hangs_s: a push that takes longer has failed.
            make_sender: makes what pushes to an address of that name; used again where
                one hangs.
            local: gives a moment in the zone of the quiet hours.
        """
        self.recipient = recipient
        self._push = push
        self._clock = clock
        self._outcomes = outcomes
        self._texts = texts
        self._hangs_s = hangs_s
        self._make_sender = make_sender
        self._local = local
        self._heap: list[_Entry] = []
        self._number = 0
        self._news = asyncio.Event()
        self._hung = 0
        self._sender: Sender | None = None
        self._is_sending = False
        self._failures = 0
        self._retry_at_s = float("-inf")
        self.dead_reason = ""
        """Why it counts as dead; '' where it does not."""

    @property
    def waiting(self) -> int:
        """Messages that it was not rid of."""
        return len(self._heap)

    @property
    def is_idle(self) -> bool:
        """Whether what comes now is pushed at once, or all but at once."""
        return not (self._heap or self._is_sending or self._hung or self._failures)

    def pending(self) -> list[PhoneMessage]:
        """Return what waits, the gravest first."""
        return [one.ring for one in sorted(self._heap)]

    def add(
        self,
        ring: PhoneMessage,
        left_s: float,
        tries: int = 0,
        *,
        is_noted: bool = False,
    ) -> None:
        """Have a message sent.

        Args:
            ring: the message.
            left_s: so long it is worth telling.
            tries: that failed before.
            is_noted: that its push begins is kept with the message itself.
        """
        self._number += 1
        expires_at_s = self._clock.monotonic() + left_s
        number = self._number
        entry = _Entry(-ring.urgency, number, ring, expires_at_s, tries, is_noted)
        heapq.heappush(self._heap, entry)
        self._news.set()

    async def run(self) -> None:
        """Send, until cancelled."""
        try:
            while True:
                self._news.clear()
                wait_s = self._wait_s()
                if wait_s is None or wait_s > 0.0:
                    await self._sleep(wait_s)
                    continue
                await self._send(heapq.heappop(self._heap))
        finally:
            self._leave_sender()

    def _wait_s(self) -> float | None:
        """Return how long to wait before the next push; None: until there is news."""
        now_s = self._clock.monotonic()
        self._drop_expired(now_s)
        if not self._heap:
            return None
        if self._hung >= MOST_HUNG:
            return 1.0
        wall = self._clock.wall()
        local = self._local(wall) if wall >= EARLIEST else None
        # The first is the gravest: where it must wait for the hours, so must the rest.
        if is_quiet(self.recipient, self._heap[0].ring.urgency, local):
            return QUIET_LOOK_S
        return max(0.0, self._retry_at_s - now_s)

    async def _sleep(self, wait_s: float | None) -> None:
        try:
            async with asyncio.timeout(wait_s):
                await self._news.wait()
        except TimeoutError:
            return
        # A new danger is tried at once, though an address failed lately.
        if self._heap and self._heap[0].tries == 0 and -self._heap[0].urgency >= WAKE:
            self._retry_at_s = float("-inf")

    def _drop_expired(self, now_s: float) -> None:
        old = [one for one in self._heap if one.expires_at_s <= now_s]
        if old:
            self._heap = [one for one in self._heap if one.expires_at_s > now_s]
            heapq.heapify(self._heap)
        for one in old:
            self._outcomes.expired(one.ring, self.recipient.name, one.tries)

    async def _send(self, entry: _Entry) -> None:
        name = self.recipient.name
        self._is_sending = True
        try:
            if not entry.is_noted:
                noted = self._outcomes.begun(entry.ring, name)
                await asyncio.wait({noted}, timeout=NOTED_S)
            reason, is_unsure = await self._pushed(entry.ring)
        finally:
            self._is_sending = False
        if is_unsure:
            entry.ring = replace(entry.ring, is_unsure=True)
        ring = entry.ring
        if not reason:
            self._failures, self._retry_at_s = 0, float("-inf")
            self._outcomes.delivered(ring, name)
            if self.dead_reason:
                self.dead_reason = ""
                self._outcomes.is_alive(name)
            return
        self._failures += 1
        entry.tries += 1
        entry.is_noted = is_unsure
        self._retry_at_s = self._clock.monotonic() + retry_in_s(self._failures)
        heapq.heappush(self._heap, entry)
        self._outcomes.failed(ring, name, entry.tries, reason)
        if self._failures >= DEAD_TRIES and not self.dead_reason:
            self.dead_reason = reason
            self._outcomes.is_dead(name, reason)

    async def _pushed(self, ring: PhoneMessage) -> tuple[str, bool]:
        """Push from the sender's thread, and from another where that one hangs.

        Returns:
            '' or why it failed, and whether it may have been told all the same.
        """
        loop = asyncio.get_running_loop()
        done: asyncio.Future[tuple[str, bool]] = loop.create_future()

        def set_result(reason: str, is_unsure: bool) -> None:
            self._hung -= 1
            if not done.done():
                done.set_result((reason, is_unsure))

        def work() -> None:
            is_unsure = False
            try:
                reason = self._push(ring.titled(self._texts), ring.text, ring.urgency)
            except NoWordError as error:
                reason, is_unsure = str(error), True
            except Exception as bug:  # no address may end the process
                reason = f"{type(bug).__name__}: {bug}"[:120]
            try:
                loop.call_soon_threadsafe(set_result, reason, is_unsure)
            except RuntimeError:
                return  # the loop has ended meanwhile

        if self._sender is None:
            self._sender = self._make_sender(self.recipient.name)
        self._hung += 1
        self._sender.give(work)
        try:
            async with asyncio.timeout(self._hangs_s):
                return await done
        except TimeoutError:
            self._leave_sender()
            return f"no reply in {self._hangs_s:g} s", True

    def _leave_sender(self) -> None:
        if self._sender is not None:
            self._sender.give(None)
            self._sender = None
