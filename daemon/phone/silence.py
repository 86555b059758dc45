"""When a cabin is silent, and when that is told: pure, but for its own memory.

Only a live heartbeat is a sign of life.  What the broker kept (retained), sent again or
held back is none: a heartbeat says how long its monitor has run, and of one run the
quickest to arrive shows how long every other was on its way.

No broker keeps heartbeats, so one that comes while our own connection is away is lost:
after such a time each cabin has one period more.
"""

import math
from collections.abc import KeysView, Mapping
from dataclasses import dataclass, field

from cabinvigil.daemon.outputs.mqtt.messages import (
    HEARTBEATS_KEPT,
    LOST,
    NOTE,
    OUT,
    STOPPED,
    WATCHING,
    WELL,
)
from cabinvigil.daemon.phone.inbound import BeatHeard

GRACE_S = 3.0
"""Beyond three periods: a heartbeat may come late by a reconnection (our choice; with
the look each half second it is told within three periods and 5 s)."""
FROZEN_S = 5.0
"""Between two looks: this process itself was held up, and heard nothing meanwhile (own
choice: ten looks)."""
USUAL_PERIOD_S = 30.0
"""Of a cabin whose heartbeat was never heard: as the monitor's own config has it."""
AGAIN_S = 840.0
"""A silence that lasts is told again as often as a standing danger is
(core/notification)."""
OFTEN_S = 6 * 3600.0
"""So long; afterwards it is told again once in as much time (our choice)."""
FORGOTTEN = "forgotten"
"""Of a cabin given up for good: told no more, until it is heard alive."""
MOST_CABINS = 2_000
"""Cabins of one process; more are refused, and told of once."""
MOST_STRANGERS = 20
"""Cabins that the broker has kept something of, and that were neither expected nor ever
heard alive, which are told as silent (our choice)."""


@dataclass(frozen=True, slots=True)
class SilenceNews:
    """What is to be told of a cabin."""

    cabin: str
    kind: str
    """`silent`, `again`, `stopped`, `back`, or `rehearsed`: back, with invented air."""
    urgency: int
    since_s: float | None
    """When it was last alive, on the clock of `now_s`; None: never heard."""
    cause: str = ""
    """`broker`, `bridge`, `lost` or ''."""
    for_s: float = 0.0
    """How long it was silent."""
    over: int = OUT
    """Of `back`: the urgency of what was told of it."""


OLD_RUNS = 4
"""So many earlier runs of a cabin are known (our choice)."""


@dataclass(slots=True)
class _Life:
    """What is known of one cabin."""

    seen_s: float
    """When it was first seen, or last said that it starts."""
    is_emulated: bool = False
    """Its heartbeat is that of a rehearsal."""
    is_expected: bool = False
    """By the config, or from before our own restart."""
    run: str = ""
    seq: int = 0
    delay_s: float = math.inf
    """Arrival less the monitor's own time, of the quickest heartbeat of this run."""
    period_s: float = USUAL_PERIOD_S
    alive_s: float | None = None
    frozen_s: float = 0.0
    """How long we heard nothing since then, being held up ourselves."""
    presence: str = ""
    bridge_up: bool = True
    was_watching: bool = True
    kind: str = ""
    """`silent`, `stopped` or `forgotten`."""
    is_told: bool = True
    """Whether people were told of that `kind`."""
    since_s: float | None = None
    told_s: float = 0.0
    begun_s: float = 0.0
    """When the present silence was first told."""
    old_runs: dict[str, tuple[int, float]] = field(default_factory=dict)
    """Runs before this one: the last `seq` and the delay of each.  One may go on: a
    second watch of the name was tried by hand, and ended."""

    @property
    def limit_s(self) -> float:
        """How long nothing may come."""
        return HEARTBEATS_KEPT * self.period_s + GRACE_S + self.frozen_s

    def is_alive(self, now_s: float) -> bool:
        return self.alive_s is not None and now_s < self.alive_s + self.limit_s

    @property
    def last_s(self) -> float:
        """When it was last alive, or began to be waited for."""
        return max(self.seen_s, self.seen_s if self.alive_s is None else self.alive_s)

    def due_s(self, back_s: float = -math.inf) -> float:
        """Return from when on it is silent.

        Args:
            back_s: when our own connection last came back.
        """
        due_s = self.last_s + self.limit_s
        if not self.last_s < back_s < due_s:
            return due_s
        # What came meanwhile nobody heard, and the next comes within one period.
        return max(due_s, min(back_s + GRACE_S, due_s) + self.period_s)


@dataclass(frozen=True, slots=True)
class KeptSilence:
    """What outlives a restart of this process, of one cabin."""

    kind: str
    """'' where nothing was told: it lived."""
    age_s: float
    """Since it was last alive."""
    period_s: float
    run: str = ""
    seq: int = 0
    told_age_s: float = 0.0
    """Since it was last told."""
    begun_age_s: float = 0.0
    """Since it was first told."""


@dataclass(slots=True)
class SilenceWatch:
    """All cabins that were seen; not thread-safe."""

    _lives: dict[str, _Life] = field(default_factory=dict)
    _broker_up: bool = False
    _back_s: float = -math.inf
    """When our own connection last came back."""
    _looked_s: float = math.inf
    is_full: bool = False
    """More cabins were seen than are watched."""

    @property
    def cabins(self) -> tuple[str, ...]:
        """Every cabin but those given up, in the order in which they were seen."""
        return tuple(n for n, one in self._lives.items() if one.kind != FORGOTTEN)

    @property
    def cabins_set(self) -> KeysView[str]:
        """Every cabin, to look one up."""
        return self._lives.keys()

    # --- what is heard ------------------------------------------------------------

    def expect(self, cabin: str, now_s: float, kept: KeptSilence | None = None) -> None:
        """Watch a cabin from now on, heard or not."""
        life = self._life(cabin, now_s)
        if life is None:
            return
        life.is_expected = True
        if kept is None:
            return
        life.period_s, life.run, life.seq = kept.period_s, kept.run, kept.seq
        life.kind, life.since_s = kept.kind, now_s - kept.age_s
        life.was_watching = kept.kind != "stopped"
        # What is due meanwhile is told at once: else one that is restarted again and
        # again would never tell it again.
        life.told_s = now_s - kept.told_age_s
        life.begun_s = now_s - kept.begun_age_s

    def connected(self, is_up: bool, now_s: float) -> None:
        """Note whether our own connection to the broker stands."""
        if is_up and not self._broker_up:
            self._back_s = now_s
        self._broker_up = is_up

    def heartbeat(self, beat: BeatHeard, now_s: float, *, is_retained: bool) -> bool:
        """Take a heartbeat; return whether it is of the run that watches now.

        Args:
            beat: as it came.
            now_s: when it arrived, monotonic.
            is_retained: the broker had kept it: it shows that the cabin is there, and
                its period, and nothing of now.
        """
        life = self._life(beat.cabin, now_s)
        if life is None:
            return False
        if is_retained:
            if life.alive_s is None:
                life.period_s = beat.period_s
            return False
        if beat.run == life.run:
            if beat.seq <= life.seq:
                return True  # sent again
        else:
            seq, delay_s = life.old_runs.pop(beat.run, (0, now_s - beat.up_s))
            is_held_back = now_s - (beat.up_s + delay_s) > beat.period_s
            if seq and (beat.seq <= seq or is_held_back):
                life.old_runs[beat.run] = (seq, delay_s)
                return False
            if life.run:
                life.old_runs[life.run] = (life.seq, life.delay_s)
                while len(life.old_runs) > OLD_RUNS:
                    del life.old_runs[next(iter(life.old_runs))]
            life.run, life.delay_s = beat.run, delay_s
        life.seq, life.period_s = beat.seq, beat.period_s
        life.delay_s = min(life.delay_s, now_s - beat.up_s)
        lived_s = min(now_s, beat.up_s + life.delay_s)
        life.alive_s = max(lived_s, life.alive_s if life.alive_s is not None else -1e18)
        life.was_watching, life.is_emulated = True, beat.is_emulated
        # One that had waited for us tells of a moment before we were held up, or amid.
        life.frozen_s = min(life.frozen_s, now_s - life.alive_s)
        return True

    def presence(self, cabin: str, word: str, now_s: float) -> None:
        """Take `watching`, `stopped` or `lost`."""
        life = self._life(cabin, now_s)
        if life is None:
            return
        before, life.presence = life.presence, word
        if word == STOPPED:
            life.was_watching = False
        elif before == STOPPED and word == WATCHING:
            # It starts: its first heartbeat comes with its first completed step.
            life.was_watching, life.seen_s = True, now_s

    def bridge(self, cabin: str, is_up: bool, now_s: float) -> None:
        """Take the bridge's own notice."""
        life = self._life(cabin, now_s)
        if life is not None:
            life.bridge_up = is_up

    # --- what is said -------------------------------------------------------------

    def look(self, now_s: float) -> list[SilenceNews]:
        """Return what is to be told now."""
        if now_s - self._looked_s > FROZEN_S:
            for life in self._lives.values():
                life.frozen_s += min(now_s - self._looked_s, now_s - life.last_s)
        self._looked_s = now_s
        news, strangers = [], 0
        for cabin, life in self._lives.items():
            if life.alive_s is None and not life.is_expected:
                # Whoever may write at the broker may invent cabins by the thousand.
                strangers += 1
                if strangers > MOST_STRANGERS:
                    continue
            one = self._look(cabin, life, now_s)
            if one is not None:
                news.append(one)
        return news

    def is_live(self, cabin: str, now_s: float) -> bool:
        """Return whether somebody watches there, beyond doubt."""
        life = self._lives.get(cabin)
        return life is not None and life.is_alive(now_s) and life.was_watching

    def is_lost(self, cabin: str) -> bool:
        """Return whether the broker said that the monitor died, or lost it."""
        life = self._lives.get(cabin)
        return life is not None and life.presence == LOST

    def is_told(self, cabin: str) -> bool:
        """Return whether it was told as silent or stopped."""
        life = self._lives.get(cabin)
        return life is not None and life.kind != ""

    def is_due(self, cabin: str, now_s: float) -> bool:
        """Return whether nothing came for too long, told or not."""
        life = self._lives.get(cabin)
        return life is None or now_s >= life.due_s(self._back_s)

    def age_s(self, cabin: str, now_s: float) -> float | None:
        """Return how long ago it was last alive; None: never heard."""
        life = self._lives.get(cabin)
        if life is None:
            return None
        last_s = life.since_s if life.alive_s is None else life.alive_s
        return None if last_s is None else max(0.0, now_s - last_s)

    def due_in_s(self, cabin: str, now_s: float) -> float:
        """Return in how long it is silent, if nothing comes."""
        life = self._lives.get(cabin)
        return 0.0 if life is None else max(0.0, life.due_s(self._back_s) - now_s)

    def period_s(self, cabin: str) -> float:
        """Return how often its heartbeat comes."""
        life = self._lives.get(cabin)
        return USUAL_PERIOD_S if life is None else life.period_s

    def cause(self, cabin: str) -> str:
        """Return why nothing comes, where that is known."""
        life = self._lives.get(cabin)
        if not self._broker_up:
            return "broker"
        if life is None:
            return ""
        if not life.bridge_up:
            return "bridge"
        return LOST if self.is_lost(cabin) else ""

    def kept(self, now_s: float) -> Mapping[str, KeptSilence]:
        """Return what is to outlive this process."""
        return {
            cabin: KeptSilence(
                life.kind,
                self.age_s(cabin, now_s) or 0.0,
                life.period_s,
                life.run,
                life.seq,
                now_s - life.told_s if life.kind else 0.0,
                now_s - life.begun_s if life.kind else 0.0,
            )
            for cabin, life in self._lives.items()
            if life.alive_s is not None or (life.kind and life.is_told)
        }

    # --- inside -------------------------------------------------------------------

    def _life(self, cabin: str, now_s: float) -> _Life | None:
        life = self._lives.get(cabin)
        if life is None:
            if len(self._lives) >= MOST_CABINS and not self._make_room():
                self.is_full = True
                return None
            life = self._lives[cabin] = _Life(now_s)
        return life

    def _make_room(self) -> bool:
        """Forget a cabin that was never heard alive."""
        for cabin, life in self._lives.items():
            if life.alive_s is None and not life.is_expected:
                del self._lives[cabin]
                return True
        return False

    def _look(self, cabin: str, life: _Life, now_s: float) -> SilenceNews | None:
        if life.kind == FORGOTTEN and not life.is_alive(now_s):
            return None
        if life.presence == STOPPED and not life.was_watching:
            return self._stopped(cabin, life, now_s)
        if life.is_alive(now_s):
            return self._back(cabin, life, now_s) if life.kind else None
        if now_s < life.due_s(self._back_s):
            return None
        if life.kind == "silent":
            return self._again(cabin, life, now_s)
        life.kind, life.told_s, life.begun_s = "silent", now_s, now_s
        life.is_told = True
        if life.alive_s is not None:
            life.since_s = life.alive_s
        return SilenceNews(cabin, "silent", OUT, life.since_s, self.cause(cabin))

    def _stopped(self, cabin: str, life: _Life, now_s: float) -> SilenceNews | None:
        if life.kind == "stopped":
            return None
        was_known = life.alive_s is not None or life.kind == "silent" or life.run != ""
        life.kind, life.told_s, life.begun_s = "stopped", now_s, now_s
        life.is_told = was_known
        life.since_s = life.alive_s if life.alive_s is not None else life.since_s
        if not was_known:
            return None  # it was stopped before we came: the page says so
        return SilenceNews(cabin, "stopped", NOTE, life.since_s)

    def _back(self, cabin: str, life: _Life, now_s: float) -> SilenceNews | None:
        for_s = 0.0 if life.since_s is None else max(0.0, now_s - life.since_s)
        over = OUT if life.kind == "silent" else NOTE
        since_s, life.kind, life.since_s = life.since_s, "", None
        if not life.is_told:
            return None
        kind = "rehearsed" if life.is_emulated else "back"
        return SilenceNews(cabin, kind, WELL, since_s, for_s=for_s, over=over)

    def _again(self, cabin: str, life: _Life, now_s: float) -> SilenceNews | None:
        is_new = now_s - life.begun_s < OFTEN_S
        if now_s - life.told_s < (AGAIN_S if is_new else OFTEN_S):
            return None
        life.told_s = now_s
        return SilenceNews(cabin, "again", OUT, life.since_s, self.cause(cabin))
