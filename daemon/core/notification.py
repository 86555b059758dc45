"""What the phones are told, and when: one voice, the gravest first.

An alarm that began to sound wants to be told; what is really told follows from all of
them together.  While a danger is open nothing softer goes out: it waits, and comes as
one line when the danger is over.  Otherwise at most three texts in ten minutes go to
one phone; a rise to danger is told whatever was told before.

What nobody answers is told again; then the second phone is told, and from then on
whatever sounds anew goes to both, until nothing is left open.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.mention import several, what
from cabinvigil.daemon.core.model import EMPTY, Alert, Priority
from cabinvigil.daemon.core.setup import Setup, quantity_of

WINDOW_S = 600.0
TEXTS = 3
"""Three texts in ten minutes to one phone: what a sleeper can take in (own choice; a
tenth of what an operator is expected to, check value `alarm_rate_eemua`); the last of
them is kept for what wakes people."""
AGAIN_S = 840.0
"""A danger that nobody answers is told again every quarter of an hour, with ticks of a
minute too."""
SOFT_AGAIN_S = 3600.0
"""What wakes people and is no danger, every hour."""
JUST_TOLD_S = 60.0
"""Told so lately, it is not repeated because something else was left unanswered."""

EXPIRY_S: Mapping[Priority, float] = {
    Priority.HIGH: 6 * 3600.0,
    Priority.MEDIUM: 3 * 3600.0,
    Priority.LOW: 3600.0,
    Priority.FAULT: 3600.0,
}
"""How long an undelivered text is still worth telling: a night's half for a danger."""

FIRST, AGAIN, SECOND = 0, 1, 2
"""`Alert.escalation`: told, told again, told to the second phone."""

Renew = Callable[[str, AlarmStatus], AlarmStatus]

Weight = tuple[Priority, bool]
"""How grave: the priority, and whether its further step is reached."""


@dataclass(frozen=True, slots=True)
class Notification:
    """What the phones were told, and what waits to be told."""

    texts_s: tuple[float, ...] = ()
    """When the phone got its last texts."""
    second_texts_s: tuple[float, ...] = ()
    """When the second phone got its last texts."""
    told: Mapping[str, tuple[Weight, float]] = field(default_factory=lambda: EMPTY)
    """By alarm that is open: as how grave it was last told, and when."""
    dangers: Mapping[str, tuple[Weight, float]] = field(default_factory=lambda: EMPTY)
    """By alarm, open or over: as how grave a danger it was told lately, and when."""
    waiting: frozenset[str] = frozenset()
    """Alarms that began to sound and were not told."""
    missed: tuple[str, ...] = ()
    """What was over, or answered, before it could be told."""
    ended: tuple[str, ...] = ()
    """Faults that were told and are over."""
    lines: tuple[Alert, ...] = ()
    """Other texts that wait: who answered, the all-clear."""
    is_second: bool = False
    """Whether the second phone has been told of what is open."""
    is_danger: bool = False
    """Whether a danger was open when this was last looked at."""


def weight(standing: AlarmStatus) -> Weight:
    """Return how grave an alarm is."""
    return standing.priority, standing.is_deep and standing.priority is Priority.HIGH


FORECASTS = frozenset({"projection", "rate"})
"""Kinds of rules that say what will be: once it is, they have nothing more to say."""


def ruling_alarm(setup: Setup, standings: Mapping[str, AlarmStatus]) -> str | None:
    """Return the gravest alarm that waits for an answer; None where none wakes people.

    Of equals what is goes before what will be, then the one that has waited longest.
    """
    kinds = {spec.id: spec.kind for spec in setup.alarms}
    open_now = [
        (weight(one), kinds.get(alarm) not in FORECASTS, -one.unanswered_s, alarm)
        for alarm, one in standings.items()
        if one.sounds and one.priority >= Priority.MEDIUM
    ]
    return max(open_now)[-1] if open_now else None


def _is_danger(standing: AlarmStatus) -> bool:
    return standing.priority is Priority.HIGH and (standing.stands or standing.sounds)


def _is_open(standing: AlarmStatus) -> bool:
    return standing.stands or standing.sounds


class _Turn:
    """One look at what is to be told; made for a step and thrown away."""

    def __init__(
        self,
        setup: Setup,
        standings: Mapping[str, AlarmStatus],
        told: Notification,
        renew: Renew,
        now: float,
    ) -> None:
        self.setup, self.standings, self.now = setup, dict(standings), now
        self.before, self._renew = told, renew
        self.just_rung: frozenset[str] = frozenset()
        recent = now - WINDOW_S
        self.texts = [at for at in told.texts_s if at >= recent]
        self.second = [at for at in told.second_texts_s if at >= recent]
        self.told = dict(told.told)
        self.told_lately = {
            alarm: last for alarm, last in told.dangers.items() if last[1] >= recent
        }
        self.waiting = set(told.waiting)
        self.missed = list(told.missed)
        self.ended = list(told.ended)
        self.lines = list(told.lines)
        self.is_second = told.is_second
        self.alerts: list[Alert] = []

    # --- what may go out --------------------------------------------------------

    def dangers(self) -> list[str]:
        return [a for a, one in self.standings.items() if _is_danger(one)]

    def _has_room(self, *, is_soft: bool = False) -> bool:
        """Return whether a text may go; of the three the last is for what wakes."""
        return len(self.texts) < TEXTS - is_soft

    def _is_rise(self, alarm: str) -> bool:
        """Return whether an alarm is a danger that was not told as such.

        One that was told, was over and is back within minutes is no news either.
        """
        grave = weight(self.standings[alarm])
        if grave[0] is not Priority.HIGH:
            return False
        tellings = (self.told.get(alarm), self.told_lately.get(alarm))
        return all(last is None or last[0] < grave for last in tellings)

    def _is_same_news(self, alarm: str) -> bool:
        """Return whether another alarm on the same gas was told as gravely lately."""
        standing = self.standings[alarm]
        if standing.priority is Priority.HIGH:
            return False
        about = {spec.id: quantity_of(spec) or spec.id for spec in self.setup.alarms}
        for other, (grave, at_s) in self.told.items():
            if other == alarm or about.get(other) != about.get(alarm):
                continue
            is_fresh = self.now - at_s < WINDOW_S and self.standings[other].sounds
            if is_fresh and grave[0] >= standing.priority:
                return True
        return False

    def _has_come_true(self, alarm: str) -> bool:
        """Return whether a forecast's gas is as bad by now as it said."""
        specs = {spec.id: spec for spec in self.setup.alarms}
        if specs[alarm].kind not in FORECASTS:
            return False
        own = self.standings[alarm].priority
        return any(
            spec.kind not in FORECASTS
            and quantity_of(spec) == quantity_of(specs[alarm])
            and self.standings[spec.id].stands
            and self.standings[spec.id].priority >= own
            for spec in self.setup.alarms
        )

    def send(self, alarm: str, escalation: int) -> None:
        """Tell of an alarm with its sentence, with the numbers of now."""
        one = self.standings[alarm]
        if alarm not in self.just_rung:
            one = self.standings[alarm] = self._renew(alarm, one)
        expiry_s = EXPIRY_S[one.priority]
        is_rise = self._is_rise(alarm)
        if escalation != SECOND:
            self.texts.append(self.now)
            self.told[alarm] = (weight(one), self.now)
            if one.priority is Priority.HIGH:
                self.told_lately[alarm] = self.told[alarm]
            self.alerts.append(
                Alert(alarm, one.priority, one.text, escalation, expiry_s)
            )
        to_both = self.is_second and escalation == FIRST
        if escalation == SECOND or (to_both and self._second_hears(is_rise=is_rise)):
            self.second.append(self.now)
            self.alerts.append(Alert(alarm, one.priority, one.text, SECOND, expiry_s))
        self.waiting.discard(alarm)

    def _second_hears(self, *, is_rise: bool) -> bool:
        return is_rise or len(self.second) < TEXTS

    # --- in this order ----------------------------------------------------------

    def settle(self, rung: Iterable[str]) -> None:
        """Note what began to sound, and what is over or answered unheard."""
        self.just_rung = frozenset(rung)
        self.waiting |= self.just_rung
        for alarm in sorted(self.waiting):
            one = self.standings.get(alarm)
            if one is None or not one.sounds:
                self.waiting.discard(alarm)
                if one is not None and one.text:
                    self._miss(what(one.text))
        for alarm in list(self.told):
            standing = self.standings.get(alarm)
            if standing is None or not _is_open(standing):
                (grave, _), is_air = self.told.pop(alarm), self._is_air(alarm)
                if standing is not None and not is_air and grave[0] != Priority.LOW:
                    self.ended.append(what(standing.text))

        if self.before.is_danger and not self.dangers():
            # What sounds and wakes speaks for itself; the rest becomes one line.
            for alarm in sorted(self.waiting):
                if self.standings[alarm].priority < Priority.MEDIUM:
                    self.waiting.discard(alarm)
                    self._miss(what(self.standings[alarm].text))

    def _miss(self, words: str) -> None:
        if words not in self.missed:
            self.missed.append(words)

    def _is_air(self, alarm: str) -> bool:
        return any(spec.id == alarm and spec.about_air for spec in self.setup.alarms)

    def tell_new(self) -> None:
        """Tell what waits, the gravest first, as far as it may go out now."""
        order = sorted(
            self.waiting,
            key=lambda alarm: (weight(self.standings[alarm]), alarm),
            reverse=True,
        )
        for alarm in order:
            if self._is_held_back(alarm):
                continue
            if self._is_same_news(alarm) or self._has_come_true(alarm):
                self.waiting.discard(alarm)
                continue
            is_soft = self.standings[alarm].priority < Priority.MEDIUM
            if self._is_rise(alarm) or self._has_room(is_soft=is_soft):
                self.send(alarm, FIRST)

    def _is_held_back(self, alarm: str) -> bool:
        """Return whether something graver is open, beside which this is not told."""
        own = self.standings[alarm].priority
        for other, one in self.standings.items():
            if other == alarm or one.priority <= own:
                continue
            is_new = one.sounds and self.now - one.rang_s < WINDOW_S
            if _is_danger(one) or (is_new and one.priority is Priority.MEDIUM):
                return True
        return False

    def tell_again(self, risen: Mapping[str, int]) -> None:
        """Tell again what nobody answers, and the second phone in the end.

        Args:
            risen: alarms whose waiting has just reached a level, with that level.
        """
        ruling = ruling_alarm(self.setup, self.standings)
        if ruling is None:
            return
        level = max(risen.values(), default=FIRST)
        if level >= SECOND and not self.is_second:
            self.is_second = True
            self.send(ruling, SECOND)
        last = self.told.get(ruling)
        waited_s = float("inf") if last is None else self.now - last[1]
        is_grave = self.standings[ruling].priority is Priority.HIGH
        is_due = waited_s >= (AGAIN_S if is_grave else SOFT_AGAIN_S)
        if (risen and waited_s >= JUST_TOLD_S) or (is_due and last is not None):
            self._repeat(ruling, to_both=is_due or level >= AGAIN)
        if self.second[-1:] == [self.now] and self.texts[-1:] != [self.now]:
            # It takes the first phone's room too: whenever that one may be sent a
            # text, so may the second, and neither hears what the other does not.
            self.texts.append(self.now)

    def _repeat(self, alarm: str, *, to_both: bool) -> None:
        if self._has_room():
            self.send(alarm, AGAIN)
            was_told = bool(self.second) and self.second[-1] == self.now
            to_second = self.is_second and to_both and not was_told
            if to_second and self._second_hears(is_rise=False):
                self.send(alarm, SECOND)
        else:
            self.waiting.add(alarm)

    def tell_rest(self) -> None:
        """Tell what waited for a danger to end, each kind in one line."""
        if self.dangers():
            return
        self._tell_lines()
        for case in ("missed", "ended"):
            words: list[str] = getattr(self, case)
            if words and self._has_room(is_soft=True):
                self._tell_line(self._listed(case, words))
                words.clear()

    def _tell_lines(self) -> None:
        while self.lines and self._has_room():
            self._tell_line(self.lines.pop(0))

    def _tell_line(self, line: Alert) -> None:
        self.texts.append(self.now)
        self.alerts.append(line)
        if self.is_second and self._second_hears(is_rise=False):
            self.second.append(self.now)
            self.alerts.append(replace(line, escalation=SECOND))

    def _listed(self, case: str, words: list[str]) -> Alert:
        facts = {"text": several(words)}
        text = self.setup.render(case, Priority.LOW, "", facts)
        return Alert(case, Priority.LOW, text, FIRST, EXPIRY_S[Priority.LOW])

    def close(self, *, is_owed: bool) -> Notification:
        """Return what is known now; once all is over the second phone rests."""
        is_open = is_owed or any(
            _is_open(one) and one.priority >= Priority.MEDIUM
            for one in self.standings.values()
        )
        return Notification(
            tuple(self.texts),
            tuple(self.second),
            self.told,
            self.told_lately,
            frozenset(self.waiting),
            tuple(self.missed),
            tuple(self.ended),
            tuple(self.lines),
            is_second=self.is_second and is_open,
            is_danger=bool(self.dangers()),
        )


def notify(
    setup: Setup,
    standings: Mapping[str, AlarmStatus],
    told: Notification,
    rung: Iterable[str],
    risen: Mapping[str, int],
    now: float,
    *,
    renew: Renew,
    is_owed: bool,
) -> tuple[Notification, list[Alert], dict[str, AlarmStatus]]:
    """Say what goes to which phone now.

    Args:
        setup: as the core runs.
        standings: where every alarm stands, with its sentence.
        told: what was told before.
        rung: alarms that just began to sound, or sounded anew.
        risen: alarms whose waiting for an answer has just reached a level.
        now: monotonic seconds.
        renew: puts the numbers of now into an alarm's sentence.
        is_owed: whether an all-clear is still owed to whoever was sent out.

    Returns:
        What was told and what waits; the texts; where all alarms stand, with the
        sentences that were told.
    """
    turn = _Turn(setup, standings, told, renew, now)
    turn.settle(rung)
    turn.tell_new()
    turn.tell_again(risen)
    turn.tell_rest()
    return turn.close(is_owed=is_owed), turn.alerts, turn.standings


def has_work(told: Notification) -> bool:
    """Return whether time alone may bring something to tell."""
    return bool(told.told or told.waiting or told.missed or told.ended or told.lines)
