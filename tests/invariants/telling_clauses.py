"""Clauses on what is told: to whom, how often, never softer, nothing hidden."""

import math
from collections.abc import Iterator

from tests.invariants import oracle as o
from tests.invariants.moment import HIGH, LOUD, MEDIUM, Moment, Text
from tests.invariants.oracle import Oracle, wakes

Checks = Iterator[tuple[str, str]]
PHONES = ("first", "second")


class Telling:
    """d. and g. What the phones hear of a danger, and how much."""

    def __init__(self) -> None:
        self._since_s: float | None = None
        """Since when a high has sounded without an answer."""
        self._reached: set[str] = set()
        """Who has heard of anything that wakes and is unanswered."""
        self._told_s: dict[str, float] = {}
        self._restarted_s = -math.inf
        """A restart leaves so long as an escalation to say again what stands."""
        self._texts: dict[str, list[float]] = {phone: [] for phone in PHONES}
        self._ringing: dict[str, int] = {}

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Judge one event."""
        yield from self._crowd(moment)
        yield from self._danger(moment)
        self._ringing = {a: v.priority for a, v in moment.alarms.items() if v.sounds}

    def _danger(self, moment: Moment) -> Checks:
        if not any(v.sounds and v.priority >= MEDIUM for v in moment.alarms.values()):
            self._reached = set()
        was = any(v.sounds and v.priority >= HIGH for v in moment.before.values())
        is_now = any(v.sounds and v.priority >= HIGH for v in moment.alarms.values())
        if was and is_now and moment.kind != "restart":
            soft = [text for text in moment.texts if text.priority < HIGH]
            words = "; ".join(f"{one.alarm} to {one.phone}" for one in soft)
            yield "d/softer", words
        high = {text.phone for text in moment.texts if text.priority >= HIGH}
        if "first" in high and moment.kind != "restart" and "second" in self._reached:
            yield "d/both", "" if "second" in high else "only the first hears of it"
        self._reached |= {one.phone for one in moment.texts if one.priority >= MEDIUM}
        if not is_now:
            self._since_s, self._told_s = None, {}
            return
        if self._since_s is None:
            self._since_s = moment.at_s
        if moment.kind == "restart":
            self._restarted_s = moment.at_s
        self._told_s |= dict.fromkeys(high, moment.at_s)
        if moment.kind == "tick":
            yield from self._again(moment)

    def _again(self, moment: Moment) -> Checks:
        since_s = self._since_s or 0.0
        up_s = moment.at_s - self._restarted_s
        is_settled = up_s >= o.ESCALATE_S + 2 * moment.tick_s
        for phone in {"first", *self._told_s}:
            silent_s = moment.at_s - self._told_s.get(phone, since_s)
            late = is_settled and silent_s > o.RETOLD_S + moment.tick_s
            why = f"the {phone} phone heard nothing for {silent_s:.0f} s"
            yield "d/again", why if late else ""
        unanswered_s = moment.at_s - since_s
        if is_settled and unanswered_s >= o.ESCALATE_S + 2 * moment.tick_s:
            why = f"not told after {unanswered_s:.0f} s"
            yield "d/second", "" if "second" in self._told_s else why

    def _crowd(self, moment: Moment) -> Checks:
        """At most three texts in ten minutes, but for a rise to high."""
        for text in moment.texts:
            rises = text.priority >= HIGH and self._ringing.get(text.alarm, 0) < HIGH
            if rises:
                continue
            times = self._texts[text.phone]
            times.append(moment.at_s)
            while times[0] < moment.at_s - o.TEXTS_S:
                times.pop(0)
            many = f"{len(times)} texts in ten minutes to the {text.phone} phone"
            yield "g/crowd", many if len(times) > o.TEXTS else ""


class Log:
    """o. The transitions that are told are where the alarms stand."""

    def __init__(self) -> None:
        self._at: dict[str, str] = {}

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Judge one event."""
        if moment.kind in ("restart", "reload"):
            self._at = {alarm: view.state for alarm, view in moment.alarms.items()}
            return
        wrong = []
        for alarm, was, to in moment.moves:
            if self._at.get(alarm, "normal") != was:
                wrong.append(f"{alarm} told from {was}, was {self._at.get(alarm)}")
            self._at[alarm] = to
        if moment.alarms is not moment.before:
            for alarm in self._at.keys() | moment.alarms.keys():
                view = moment.alarms.get(alarm)
                stands = "normal" if view is None else view.state
                if self._at.get(alarm, "normal") != stands:
                    wrong.append(f"{alarm} is {stands}, told {self._at.get(alarm)}")
            yield "o/log", "; ".join(wrong)


def one_sound(oracle: Oracle, moment: Moment) -> Checks:
    """k. The gravest unanswered alarm rules the sound, and nothing hides it."""
    is_same = moment.alarms is moment.before and moment.sound == moment.sound_before
    if is_same and "test" not in moment.sounds:
        return
    least = {HIGH: 3, 3: 2, 2: 0, 1: 1}
    gravest = max(
        (least[v.priority] for v in moment.alarms.values() if v.sounds), default=0
    )
    lower = LOUD[moment.sound] < gravest
    yield "k/lower", f"{moment.sound} plays" if lower else ""
    hides = "test" in moment.sounds and wakes(moment.sound_before)
    yield "k/test", f"a test over {moment.sound_before}" if hides else ""
    view = moment.alarms.get(moment.sound_of)
    baseless = LOUD[moment.sound] > 0 and (view is None or not view.sounds)
    yield "p/cause", f"{moment.sound} for {moment.sound_of}" if baseless else ""


class Sources:
    """n. Another fault of a source at fault is told."""

    def __init__(self) -> None:
        self._kinds: dict[str, str] = {}

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Judge one event."""
        if moment.kind != "source":
            return
        source, kind = moment.source
        was = self._kinds.get(source, "ok")
        self._kinds[source] = kind
        about = [a for a in moment.known if a.endswith(f"/{source}")]
        if kind == "ok" or was in ("ok", kind) or not about:
            return
        stands = any(a in moment.before and moment.before[a].stands for a in about)
        if not stands:
            return
        told = any(_is_about(text, about) for text in moment.texts) or any(
            moment.alarms[a].text != moment.before[a].text
            for a in about
            if a in moment.before and a in moment.alarms
        )
        yield "n/other-fault", "" if told else f"{source}: {was}, then {kind}"


def _is_about(text: Text, alarms: list[str]) -> bool:
    return text.alarm in alarms


def clauses() -> tuple[object, ...]:
    """Return the clauses of this file, with nothing remembered."""
    return (Telling(), Log(), one_sound, Sources())
