"""What the phones are told, and when: one voice, the gravest first.

An alarm that began to sound wants to be told; what is really told follows from all of
them together.  While a danger is open nothing softer goes out: it waits, and comes as
one line when the danger is over.  Otherwise at most three texts in ten minutes go to
one phone; a rise to danger is told whatever was told before, and so are who answered
once the second phone was called, and a certified alarm each time it breaks a quiet.

What nobody answers is told again; then the second phone is told, and from then on
whatever sounds again goes to both, until nothing is left open.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.mention import several, what
from cabinvigil.daemon.core.model import Alert, Priority
from cabinvigil.daemon.core.notification import (
    AGAIN,
    AGAIN_S,
    ALL_CLEAR,
    ANSWERED,
    EXPIRY_S,
    FAULT_WAIT_S,
    FIRST,
    JUST_TOLD_S,
    OVER_WAIT_S,
    ROUNDING_S,
    SECOND,
    SOFT_AGAIN_S,
    TEXTS,
    WINDOW_S,
    Notification,
    Weight,
    about,
    has_come_true,
    is_danger,
    may_wake,
    over_line,
    plain_line,
    ruling_alarm,
    softened,
    weight,
)
from cabinvigil.daemon.core.setup import Setup

Renew = Callable[[str, AlarmStatus], AlarmStatus]


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
        self.specs = {spec.id: spec for spec in setup.alarms}
        self.before, self._renew = told, renew
        self.just_rung: frozenset[str] = frozenset()
        recent = now - WINDOW_S - ROUNDING_S
        self.texts = [at for at in told.texts_s if at >= recent]
        self.second = [at for at in told.second_texts_s if at >= recent]
        self.told = dict(told.told)
        self.told_lately = {
            alarm: last
            for alarm, last in told.dangers.items()
            if last[1] >= min(recent, self._since_s(alarm) - WINDOW_S - ROUNDING_S)
        }
        self.waiting = set(told.waiting)
        self.missed = list(told.missed)
        self.ended = list(told.ended)
        self.ended_due_s = told.ended_due_s
        self.lines = list(told.lines)
        self.is_second = told.is_second
        self.alerts: list[Alert] = []

    def _since_s(self, alarm: str) -> float:
        """Return since when an alarm has called for a person; now, where it does not.

        What was told shortly before is no news for having waited for room since.
        """
        one = self.standings.get(alarm)
        return one.unanswered_s if one is not None and one.sounds else self.now

    # --- what may go out --------------------------------------------------------

    def dangers(self) -> list[str]:
        return [a for a, one in self.standings.items() if is_danger(one)]

    def _has_room(self, *, is_soft: bool = False) -> bool:
        """Return whether a text may go; of the three the last is for what wakes."""
        return len(self.texts) < TEXTS - is_soft

    def _is_rise(self, alarm: str) -> bool:
        """Return whether an alarm is a danger that was not told as such.

        One that was told, is back within minutes, or is over by now is no news either.
        """
        standing = self.standings[alarm]
        grave = weight(standing)
        if grave[0] is not Priority.HIGH or not standing.stands:
            return False
        lately = self.told_lately.get(alarm)
        last = self.told.get(alarm, lately)
        if last is None or last[0][0] < grave[0]:
            return True  # never, or as something softer since
        return max(last[0], (lately or last)[0]) < grave

    def _is_urgent(self, alarm: str) -> bool:
        """Return whether an alarm is told whatever was told before.

        A danger that was not told as such; or one that nothing keeps from a phone, and
        that broke a quiet since it was told.
        """
        if self._is_rise(alarm):
            return True
        standing = self.standings[alarm]
        if not (self.specs[alarm].at_once and standing.stands and is_danger(standing)):
            return False
        last = self.told.get(alarm) or self.told_lately.get(alarm)
        return last is None or standing.news_s > last[1] + ROUNDING_S

    def _is_same_news(self, alarm: str) -> bool:
        """Return whether another alarm was lately told as gravely, on the same thing.

        On the same gas; or on what this one causes, such as the silence of a part.
        """
        standing = self.standings[alarm]
        if standing.priority is Priority.HIGH:
            return False
        for other, (grave, at_s) in self.told.items():
            is_cause = alarm in self.specs[other].suppressed_by
            if other == alarm or not (
                is_cause or about(self.specs[other]) == about(self.specs[alarm])
            ):
                continue
            is_fresh = self.now - at_s < WINDOW_S and self.standings[other].sounds
            if is_fresh and grave[0] >= standing.priority:
                return True
        return False

    def send(self, alarm: str, escalation: int) -> None:
        """Report of an alarm with its sentence, with the numbers of now."""
        one = self.standings[alarm]
        if alarm not in self.just_rung:
            one = self.standings[alarm] = self._renew(alarm, one)
        expiry_s = EXPIRY_S[one.priority]
        is_urgent = self._is_urgent(alarm)
        if escalation != SECOND:
            self.waiting.discard(alarm)
            self.texts.append(self.now)
            self.told[alarm] = (weight(one), self.now)
            last = self.told_lately.get(alarm, self.told[alarm])
            if one.priority is Priority.HIGH and last[0] <= self.told[alarm][0]:
                self.told_lately[alarm] = self.told[alarm]
            self.alerts.append(
                Alert(alarm, one.priority, one.text, escalation, expiry_s)
            )
        to_both = self.is_second and escalation == FIRST
        hears = to_both and (is_urgent or self._second_has_room())
        if escalation == SECOND or hears:
            self.second.append(self.now)
            self.alerts.append(Alert(alarm, one.priority, one.text, SECOND, expiry_s))

    def _second_has_room(self) -> bool:
        return len(self.second) < TEXTS

    def _second_hears(self) -> bool:
        return self.is_second and self._second_has_room()

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
            if standing is None or not standing.is_open:
                grave, _ = self.told.pop(alarm)
                spec = self.specs[alarm]
                over = over_line(self.setup, spec, grave[0])
                if over is not None and over not in self.lines:
                    self.lines.append(over)
                if standing and not spec.about_air and grave[0] != Priority.LOW:
                    self._note_end(what(standing.text), grave[0])

        if self.before.is_danger and not self.dangers():
            # What sounds and wakes speaks for itself; the rest becomes one line.
            for alarm in sorted(self.waiting):
                if self.standings[alarm].priority < Priority.MEDIUM:
                    self.waiting.discard(alarm)
                    self._miss(what(self.standings[alarm].text))

    def _note_end(self, words: str, priority: Priority) -> None:
        """Note that a fault is over; whoever was woken for it is told at once."""
        wait_s = 0.0 if priority >= Priority.MEDIUM else OVER_WAIT_S
        self.ended_due_s = min(self.ended_due_s, self.now + wait_s)
        if words not in self.ended:
            self.ended.append(words)

    def _miss(self, words: str) -> None:
        if words not in self.missed:
            self.missed.append(words)

    def tell_new(self) -> None:
        """Report what waits, the gravest first, as far as it may go out now."""
        for alarm in sorted(self.waiting, key=self._gravity, reverse=True):
            is_true = has_come_true(self.specs, self.standings, alarm)
            if is_true:  # the limit itself told it
                self.told.setdefault(alarm, (weight(self.standings[alarm]), self.now))
            if is_true or self._is_same_news(alarm):
                self.waiting.discard(alarm)
                continue
            if self._is_held_back(alarm):
                continue
            is_soft = self.standings[alarm].priority < Priority.MEDIUM
            if self._is_urgent(alarm) or self._has_room(is_soft=is_soft):
                self.send(alarm, FIRST)

    def _gravity(self, alarm: str) -> tuple[Weight, str]:
        return weight(self.standings[alarm]), alarm

    def _is_held_back(self, alarm: str) -> bool:
        """Return whether this has to wait: for something graver, or to be a fault."""
        own = self.standings[alarm].priority
        stood_s = self.now - self.standings[alarm].rang_s
        if (
            own is Priority.FAULT
            and stood_s < FAULT_WAIT_S
            and may_wake(self.specs, alarm)
        ):
            return True
        for other, one in self.standings.items():
            if other == alarm or one.priority <= own:
                continue
            is_new = one.sounds and self.now - one.rang_s < WINDOW_S
            if is_danger(one) or (is_new and one.priority is Priority.MEDIUM):
                return True
        return False

    def tell_again(self, risen: Mapping[str, int]) -> None:
        """Report again what nobody answers, and the second phone in the end.

        Args:
            risen: alarms whose waiting has just reached a level, with that level.
        """
        ruling = ruling_alarm(self.setup, self.standings)
        if ruling is None:
            return
        level = max(risen.values(), default=FIRST)
        is_begun = level >= SECOND and not self.is_second
        if is_begun or self._is_news_to_the_second(ruling):
            self.is_second = True
            self.send(ruling, SECOND)
        last = self.told.get(ruling)
        waited_s = float("inf") if last is None else self.now - last[1]
        is_high = self.standings[ruling].priority is Priority.HIGH
        is_due = waited_s >= (AGAIN_S if is_high else SOFT_AGAIN_S)
        if (risen and waited_s >= JUST_TOLD_S) or (is_due and last is not None):
            self._repeat(ruling, to_both=is_due or level >= AGAIN)
        if {one.escalation == SECOND for one in self.alerts} == {True}:
            # It takes the first phone's room too: whenever that one may be sent a
            # text, so may the second, and neither hears what the other does not.
            self.texts.append(self.now)

    def _is_news_to_the_second(self, alarm: str) -> bool:
        """Return whether a danger rang again, unanswered, since the second phone heard.

        Then it is told by its own room: the first phone's may be full for minutes.
        """
        one = self.standings[alarm]
        is_late = one.priority is Priority.HIGH and one.escalation >= SECOND
        since_s = max(one.unanswered_s, one.rang_s)
        is_new = self.now - since_s <= WINDOW_S  # later both are told again
        has_heard = bool(self.second) and self.second[-1] >= since_s
        return self._second_hears() and is_late and is_new and not has_heard

    def _repeat(self, alarm: str, *, to_both: bool) -> None:
        if self._has_room():
            self.send(alarm, AGAIN)
            told = {(one.alarm, one.escalation) for one in self.alerts}
            if to_both and (alarm, SECOND) not in told and self._second_hears():
                self.send(alarm, SECOND)
        elif self.standings[alarm].priority is Priority.HIGH:
            self.waiting.add(alarm)

    def tell_rest(self) -> None:
        """Report what waited for a danger to end, each kind in one line."""
        self._tell_who_answered()
        if self.dangers():
            return
        self._tell_lines()
        if self.missed and self._has_room(is_soft=True):
            self._tell_line(self._listed("missed", self.missed))
            self.missed.clear()
        is_due = self.ended and self.now >= self.ended_due_s
        if is_due and self._has_room(is_soft=True):
            self._tell_line(self._listed("ended", self.ended))
            self.ended.clear()
            self.ended_due_s = float("inf")

    def _tell_who_answered(self) -> None:
        """Tell it while it is so; once it sounds again, "quiet" is no comfort to send.

        It waits neither for the end of a danger (somebody is awake) nor, where the
        second phone was called, for the first one's room: both are waiting for it.
        """
        answers = [line for line in self.lines if line.alarm == ANSWERED]
        is_over = self.now >= self.before.answered_until_s
        if is_over or any(one.calls for one in self.standings.values()):
            self.lines = [line for line in self.lines if line.alarm != ANSWERED]
            return
        while answers and (self._has_room() or self._second_hears()):
            self.lines.remove(answers[0])
            self._tell_line(answers.pop(0))
            # A danger that sounds again is news: the last word was of quiet.
            self.told, self.told_lately = map(softened, (self.told, self.told_lately))

    def _tell_lines(self) -> None:
        while self.lines and self._has_room(is_soft=True):
            self._tell_line(self.lines.pop(0))

    def _tell_line(self, line: Alert) -> None:
        self.texts.append(self.now)
        self.alerts.append(line)
        if self._second_hears():
            self.second.append(self.now)
            self.alerts.append(replace(line, escalation=SECOND))

    def _listed(self, case: str, words: list[str]) -> Alert:
        return plain_line(self.setup, case, {"text": several(words)})

    def close(self, *, is_owed: bool) -> Notification:
        """Return what is known; the second phone rests once all is over and told."""
        is_owed = is_owed and all(one.alarm != ALL_CLEAR for one in self.alerts)
        is_open = is_owed or any(one.wakes for one in self.standings.values())
        # It hears the ends that wait, of faults that it was told of too.
        is_open = is_open or bool(self.lines or self.ended)
        return Notification(
            tuple(self.texts),
            tuple(self.second),
            self.told,
            self.told_lately,
            frozenset(self.waiting),
            tuple(self.missed),
            tuple(self.ended),
            self.ended_due_s,
            tuple(self.lines),
            self.before.answered_until_s,
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
    """Return what goes to which phone now.

    Args:
        setup: as the core runs.
        standings: the state of every alarm, with its sentence.
        told: what was told before.
        rung: alarms that just began to sound, or sounded again.
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
