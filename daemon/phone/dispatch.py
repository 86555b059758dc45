"""From a message to its addresses: kept, given to the lanes, and on to the next.

What an address does not take goes to the
next one too, if it wakes people; who cannot be reached is told to the others.
"""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.mqtt.messages import BROKEN, NOTE, WAKE
from cabinvigil.daemon.phone.keeper import IsKept, Keeper
from cabinvigil.daemon.phone.lanes import Lane
from cabinvigil.daemon.phone.rings import (
    PhoneMessage,
    addressed,
    dead_text,
    next_after,
)
from cabinvigil.daemon.phone.settings import Recipient
from cabinvigil.daemon.phone.store import Waiting
from cabinvigil.daemon.phone.texts import PhoneTexts

OWN_EXPIRES_S = 3600.0
MOST_TOLD = 20_000
"""By cabin and address; whoever holds the broker may invent cabins (our choice: ten
addresses of each cabin that one process watches)."""


def _ignore_test(_ring: PhoneMessage, _name: str, _reason: str) -> None:
    """Nobody is to know."""


class Dispatch:
    """Gives messages to lanes; is told what became of them."""

    def __init__(
        self,
        recipients: Sequence[Recipient],
        keeper: Keeper,
        clock: Clock,
        say: Callable[[str], None],
        texts: PhoneTexts,
    ) -> None:
        """Set it up; `lanes` is filled before the first message.

        Args:
            recipients: in the config's order.
            keeper: keeps the messages.
            clock: for ids and ages.
            say: takes a line for the journal.
            texts: what it says itself.
        """
        self._texts = texts
        self.lanes: dict[str, Lane] = {}
        self._recipients = recipients
        self._keeper = keeper
        self._clock = clock
        self._say = say
        self._number = 0
        self._had: dict[str, set[str]] = {}
        """By message under way: who has had it, or is to have it."""
        self._left: dict[str, int] = {}
        self._told: dict[tuple[str, str], bool] = {}
        """By cabin and address: whether it was told anything since all was well there;
        absent where there was nothing to tell it."""
        self._own: list[PhoneMessage] = []
        self.on_done: Callable[[str], None] = lambda _ring_id: None
        """Called with the id of a message that no address waits for any more."""
        self.on_test: Callable[[PhoneMessage, str, str], None] = _ignore_test
        """Called with a precheck's message, an address, and why it did not take it."""

    @property
    def waiting(self) -> int:
        """Deliveries that wait."""
        return sum(lane.waiting for lane in self.lanes.values())

    @property
    def dead(self) -> Mapping[str, str]:
        """By name of an address that cannot be reached, why not."""
        return {
            n: lane.dead_reason for n, lane in self.lanes.items() if lane.dead_reason
        }

    def fresh_id(self) -> str:
        """Return what makes an id unlike all others, of this run and of any."""
        self._number += 1
        return f"{self._clock.wall().timestamp():.3f}-{self._number}"

    def resume(self, waiting: Sequence[Waiting]) -> None:
        """Go on with what waited when this process ended."""
        for one in waiting:
            ring, name = one.ring, one.recipient
            if name not in self.lanes:
                self._keeper.delivered(one.ring.id, name)
                name = next_after(self._recipients, name, (), ring.cabins) or ""
                if one.ring.urgency < WAKE or name not in self.lanes:
                    continue
                ring = replace(ring, is_unsure=False)
                self._keeper.hand_on(ring.id, name)
            self._give(ring, name, one.left_s, one.tries)

    def is_under_way(self, ring_id: str) -> bool:
        """Return whether an address is still to have a message."""
        return ring_id in self._left

    def send(
        self, rings: Sequence[PhoneMessage], then: IsKept = lambda _is_kept: None
    ) -> None:
        """Have messages sent at once, and kept; those that are known are passed over.

        Args:
            rings: the messages.
            then: called with whether they are kept.
        """
        new = [ring for ring in rings if self._keeper.note_new(ring.id)]
        pairs = [(ring, self._names_for(ring)) for ring in new]
        self._forget_told(new)
        kept = [
            (ring, {n: ring.is_unsure or self.lanes[n].is_idle for n in names})
            for ring, names in pairs
        ]
        # Handed to the disk's thread first: what is crossed out stands there already.
        self._keeper.add(kept, self._clock.wall().timestamp(), then)
        for ring, names in kept:
            for name, is_noted in names.items():
                self._give(ring, name, ring.expires_s, is_noted=is_noted)
                self._on_to_next(ring, name)

    def notices(self) -> list[PhoneMessage]:
        """Return what this process has to tell of itself since last time."""
        own, self._own = self._own, []
        return own

    def report(self, text: str, urgency: int = BROKEN, but: str = "") -> None:
        """Have something told of this process itself.

        Args:
            text: one sentence.
            urgency: as of an alarm.
            but: the address that it is about, and which is not told.
        """
        self._say(text)
        ring = PhoneMessage(
            *(f"own-{self.fresh_id()}", "", self._texts("own_title"), text),
            *(urgency, OWN_EXPIRES_S),
        )
        self._own.append(ring)
        if but:
            self._had.setdefault(ring.id, set()).add(but)

    # --- what became of them ------------------------------------------------------

    def begun(self, ring: PhoneMessage, name: str) -> "asyncio.Future[None]":
        """A push begins; the future is done once that is noted."""
        return self._keeper.begun(ring.id, name)

    def delivered(self, ring: PhoneMessage, name: str) -> None:
        """An address took a message."""
        self._keeper.delivered(ring.id, name)
        self._note_told(ring, name, is_told=True)
        if ring.is_test:
            self.on_test(ring, name, "")
        self._done(ring)

    def failed(self, ring: PhoneMessage, name: str, tries: int, reason: str) -> None:
        """It did not, or nobody can tell, and is tried again."""
        if tries == 1:
            self._say(f"{name}: not delivered ({reason}), tried again: {ring.text}")
            if ring.is_test:
                self.on_test(ring, name, reason)
        self._keeper.failed(ring.id, name, tries, is_unsure=ring.is_unsure)

    def expired(self, ring: PhoneMessage, name: str, tries: int) -> None:
        """It did not, or was left alone, and it is too late now."""
        self._say(f"{name}: given up, too old: {ring.text}")
        self._keeper.delivered(ring.id, name)
        self._note_told(ring, name, is_told=ring.is_unsure)
        if tries:  # what quiet hours outlasted is old, and no failure
            self._hand_on(ring, name)
        self._done(ring)

    def is_dead(self, name: str, reason: str) -> None:
        """An address cannot be reached: the others are told, and have its dangers."""
        self.report(dead_text(self._texts, name, reason), BROKEN, but=name)
        for ring in self.lanes[name].pending():
            self._hand_on(ring, name)

    def is_alive(self, name: str) -> None:
        """It can again."""
        self.report(self._texts("reachable", name=name), NOTE, but=name)

    # --- inside -------------------------------------------------------------------

    def _names_for(self, ring: PhoneMessage) -> list[str]:
        had = self._had.get(ring.id, ())
        names = [n for n in addressed(self._recipients, ring) if n not in had]
        if ring.urgency >= NOTE or not ring.cabins:
            return names
        # Whoever slept through all of it is not told that it is over.
        return [
            n for n in names if any(self._told.get((c, n), True) for c in ring.cabins)
        ]

    def _note_told(self, ring: PhoneMessage, name: str, *, is_told: bool) -> None:
        if ring.urgency >= NOTE:
            for cabin in ring.cabins:
                was_told = self._told.get((cabin, name), False)
                self._told[cabin, name] = was_told or is_told
                if len(self._told) > MOST_TOLD:
                    del self._told[next(iter(self._told))]

    def _forget_told(self, rings: Sequence[PhoneMessage]) -> None:
        over = {c for ring in rings if ring.urgency < NOTE for c in ring.cabins}
        for key in [key for key in self._told if key[0] in over]:
            del self._told[key]

    def _give(
        self,
        ring: PhoneMessage,
        name: str,
        left_s: float,
        tries: int = 0,
        *,
        is_noted: bool = False,
    ) -> None:
        had = self._had.setdefault(ring.id, set())
        if name in had:
            return
        had.add(name)
        self._left[ring.id] = self._left.get(ring.id, 0) + 1
        self.lanes[name].add(ring, left_s, tries, is_noted=is_noted)

    def _on_to_next(self, ring: PhoneMessage, name: str) -> None:
        if self.lanes[name].dead_reason:
            self._hand_on(ring, name)

    def _hand_on(self, ring: PhoneMessage, name: str) -> None:
        """Give a message that wakes people to the next address as well."""
        if ring.urgency < WAKE:
            return
        had = self._had.get(ring.id, {name})
        other = next_after(self._recipients, name, had, ring.cabins)
        while other is not None and self.lanes[other].dead_reason:
            had = {*had, other}
            other = next_after(self._recipients, other, had, ring.cabins)
        if other is None:
            return
        ring = replace(ring, is_unsure=False)  # the doubt is about the other address
        self._keeper.hand_on(ring.id, other)
        self._give(ring, other, ring.expires_s)

    def _done(self, ring: PhoneMessage) -> None:
        self._left[ring.id] = self._left.get(ring.id, 1) - 1
        if self._left[ring.id] <= 0:
            self._left.pop(ring.id, None)
            self._had.pop(ring.id, None)
            self.on_done(ring.id)
