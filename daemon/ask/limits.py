"""How much may be asked: of each sender by itself, so that none shuts another out.

No clock: every call is given the moment.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.core.answers import ANSWERS_BY
from cabinvigil.daemon.text.durations import seconds

Kind = Literal["answer", "act", "look", "other"]
"""Looking takes nothing from acting, neither from answering an alarm, and what is no
ask nothing from any."""

FLOOD = 200
"""Refused for their number within ten seconds: no person, and no honest client."""
FLOOD_S = 10.0


def kind_of(ask: Ask | None) -> Kind:
    """Return which of a sender's buckets an ask takes from; None: it was no ask."""
    if ask is None:
        return "other"
    if ask.act is None:
        return "look"
    return "answer" if ask.act.kind in ANSWERS_BY else "act"


@dataclass(slots=True)
class _Bucket:
    """So many at once, then so many a second."""

    burst: float
    per_s: float
    tokens: float
    at_s: float

    def admit(self, now_s: float) -> bool:
        """Take one token, where there is one."""
        passed_s = max(0.0, now_s - self.at_s)
        tokens = min(self.burst, self.tokens + passed_s * self.per_s)
        is_in = tokens >= 1.0
        self.tokens, self.at_s = (tokens - 1.0 if is_in else tokens), now_s
        return is_in


class MarkLimit:
    """How often phones may mark a moment, all together.

    A mark is a line that is synced at once, and a stretch of the morning's page: one a
    second filled 67 MB a day, and pushed older nights out of the folder.
    """

    MOST, IN_S = 6, 3600.0
    """Six in an hour: more than anybody opens and shuts by night (our choice)."""
    APART_S = 60.0
    """No stretch is shorter: slower than any part's lag (our choice)."""

    def __init__(self) -> None:
        self._marked_s: list[float] = []

    def why_not(self, now_s: float) -> str:
        """Return why a phone may not mark now, and when it may; '' where it may."""
        recent = [at_s for at_s in self._marked_s if now_s - at_s < self.IN_S]
        self._marked_s = recent
        if recent and (left_s := recent[-1] + self.APART_S - now_s) > 0.0:
            apart = seconds(self.APART_S)
            return f"marks by phone are {apart} apart; wait {seconds(left_s)}."
        if len(recent) >= self.MOST:
            left = seconds(recent[0] + self.IN_S - now_s)
            return f"phones have marked {self.MOST} times in this hour; wait {left}."
        return ""

    def count(self, now_s: float) -> None:
        """Count a mark."""
        self._marked_s.append(now_s)


def _bucket(burst: float, per_s: float) -> _Bucket:
    return _Bucket(burst, per_s, burst, float("-inf"))


@dataclass(slots=True)
class _Notice:
    """When refusals are told: at once, then ever more seldom while they go on."""

    count: int = 0
    """Refused since the last line."""
    told_s: float = float("-inf")
    last_s: float = float("-inf")
    wait_s: float = 0.0

    FIRST_S = 10.0
    LONGEST_S = 3600.0
    OVER_S = 60.0
    """Without a refusal for so long it is over, and the next is news."""

    def refuse(self, now_s: float) -> int:
        """Count a refusal; return how many to tell of now, 0 for none yet."""
        if now_s - self.last_s > self.OVER_S:
            self.wait_s = 0.0
        self.count, self.last_s = self.count + 1, now_s
        if now_s - self.told_s < self.wait_s:
            return 0
        count, self.count, self.told_s = self.count, 0, now_s
        self.wait_s = min(max(2.0 * self.wait_s, self.FIRST_S), self.LONGEST_S)
        return count


class AskLimits:
    """The limits of one way in: the MQTT topic, or the socket.

    Each sender may ask ten times at once, then once a second: more than a person with a
    fright sends, less than costs the monitor anything.  Who was not seen before takes
    its first turn from a bucket that all newcomers share, so that a sender who changes
    its name with each ask gains nothing by it.
    """

    BURST, PER_S = 10.0, 1.0
    NEW_BURST, NEW_PER_S = 20.0, 2.0
    ALL: Mapping[Kind, tuple[float, float]] = {
        "act": (20.0, 2.0),
        "look": (50.0, 10.0),
        "other": (20.0, 2.0),
    }
    """Burst and rate of all senders together: what each mark and each look costs.  Not
    of answers: those of many a stranger must not stand before that of one phone."""
    SENDERS = 64
    """Buckets kept; beyond it the youngest goes, which in a flood is the flood's."""

    def __init__(self) -> None:
        self._buckets: dict[tuple[str, str, Kind], _Bucket] = {}
        self._newcomers: dict[tuple[str, Kind], _Bucket] = {}
        self._all = {kind: _bucket(*sizes) for kind, sizes in self.ALL.items()}
        self._crowd_notice, self._notice = _Notice(), _Notice()
        self._window_s = float("-inf")
        self._crowd = self._crowd_before = 0

    def admit(self, sender: str, kind: Kind, now_s: float, group: str = "") -> bool:
        """Return whether an ask is let in; one that is not counts for a flood.

        Args:
            sender: whoever asks; '' for all that are not told apart.
            kind: of what is asked.
            now_s: monotonic seconds.
            group: what senders may have in common: newcomers share a bucket in each.
        """
        is_in = self._admits(sender, kind, now_s, group)
        if is_in and kind in self._all:
            is_in = self._all[kind].admit(now_s)
        if not is_in:
            self._roll(now_s)
            self._crowd += 1
        return is_in

    def _admits(self, sender: str, kind: Kind, now_s: float, group: str) -> bool:
        key = (group, sender, kind)
        own = self._buckets.get(key)
        if own is None:
            if sender and not self._newcomer(group, kind).admit(now_s):
                return False
            while len(self._buckets) >= self.SENDERS:
                self._buckets.popitem()
            own = self._buckets[key] = _bucket(self.BURST, self.PER_S)
        return own.admit(now_s)

    def _newcomer(self, group: str, kind: Kind) -> _Bucket:
        key = (group, kind)
        if key not in self._newcomers and len(self._newcomers) >= self.SENDERS:
            self._newcomers.pop(next(iter(self._newcomers)))
        fresh = _bucket(self.NEW_BURST, self.NEW_PER_S)
        return self._newcomers.setdefault(key, fresh)

    def _roll(self, now_s: float) -> None:
        """Begin another window of the crowd's count, where the last is over."""
        passed_s = now_s - self._window_s
        if passed_s >= FLOOD_S:
            self._crowd_before = self._crowd if passed_s < 2.0 * FLOOD_S else 0
            self._crowd, self._window_s = 0, now_s

    def is_flooded(self, now_s: float) -> bool:
        """Return whether there is a flood: ten to twenty seconds longer than it is."""
        self._roll(now_s)
        return max(self._crowd, self._crowd_before) >= FLOOD

    def crowded(self, now_s: float) -> int:
        """Count one refused for its number; return how many to tell of, 0: none yet."""
        return self._crowd_notice.refuse(now_s)

    def refused(self, now_s: float) -> int:
        """Count one refused for what it says; return how many to tell of."""
        return self._notice.refuse(now_s)
