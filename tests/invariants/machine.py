"""Plays a course: true air, parts and people drive a watch, and the oracle looks on."""

import random
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, cast

from cabinvigil.daemon.core.model import Act, Air, Command
from tests.invariants import act_clauses, air_clauses, course, telling_clauses
from tests.invariants import air as true_air
from tests.invariants.cabins import KINDS as PART_KINDS
from tests.invariants.cabins import cabin
from tests.invariants.moment import Act as ActView
from tests.invariants.moment import Moment, PartView
from tests.invariants.oracle import Oracle, Violation
from tests.invariants.parts import KINDS, Part, Sample
from tests.invariants.watch import PRESS, Watch, moves, sounds, source_event, texts

WALL = datetime(2026, 1, 16, 2, 0, tzinfo=UTC)
"""The cabin's clock at the beginning."""
MOST_TICKS = 100
"""A course is cut off after so many readings."""
WARM_S = 60.0
"""Parts warm up for so long after a restart."""
UNNATURAL = ("o2_dry_pct", "co2_ppm", "vapour_hpa", "temp_c")
"""Set at once, these break the balance by which one gas follows from another."""
JUDGED = ("o2_pct", "co_ppm", "co2_ppm")
HARMLESS = course.Wait | course.Press | course.Ask | course.Each | course.Fork
Given = Mapping[str, Sequence[Sample]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a course came to."""

    violations: tuple[Violation, ...]
    checks: Counter[str]
    ticks: int
    said: tuple[str, ...] = ()
    """Every command, where the course is compared with itself."""


@dataclass(slots=True)
class Still:
    """Since when a part's own quantity has stood still."""

    value: float | None = None
    since_s: float = 0.0


class Machine:
    """One run of a course."""

    def __init__(self, one: course.Course, *, keeps_commands: bool = False) -> None:
        """Set the cabin up, and start the watch."""
        self.course = one
        self.at_s = 0.0
        """True time."""
        self.up_s = 0.0
        """The watch's own monotonic time."""
        self.tick_s = 10.0
        self.ticks = 0
        self.said: list[str] = []
        self._keeps_commands = keeps_commands
        self._is_gone = False
        """An exception escaped: nothing more can be played."""
        self._is_untouched = self._is_natural = True
        self._is_confirmed = True
        self._rng = random.Random(one.seed)
        first = cabin(one.cabin, trend=one.trend)
        self.watch = Watch(first)
        self.air = true_air.Air(first.volume_m3, first.altitude_m)
        self.parts = {name: Part(name, KINDS[k]) for name, k in PART_KINDS.items()}
        self._still = {name: Still() for name in self.parts}
        clauses = (
            *air_clauses.CLAUSES,
            *telling_clauses.clauses(),
            *act_clauses.clauses(),
        )
        self.oracle = Oracle(cast(Any, clauses))

    # --- playing -------------------------------------------------------------------

    def play(self) -> Outcome:
        """Play every step, and the end where there is one."""
        for one in self.course.steps:
            if not self._is_gone and self.ticks < MOST_TICKS:
                self.do(one)
        if self.course.ends:
            self._end()
        return Outcome(
            tuple(self.oracle.violations),
            self.oracle.checks,
            self.ticks,
            tuple(self.said),
        )

    def do(self, one: course.Step) -> None:
        """Play one step."""
        if not isinstance(one, HARMLESS):
            self._is_untouched = False
        match one:
            case course.Wait():
                self._wait(one)
            case course.Turn():
                self._is_natural = self._is_natural and one.knob not in UNNATURAL
                self.air.turn(one.knob, one.value)
            case course.PartTurns():
                self._turn_part(one)
            case course.Press():
                self._pass(min(one.after_s, 0.9 * self.tick_s))
                self._act(PRESS, self.at_s)
            case course.Ask():
                self._ask(one)
            case course.Each():
                for _ in range(one.ticks):
                    self.do(course.Wait(1, one.tick_s))
                    self.do(one.act)
            case course.SourceSays():
                self._source(one.source, one.kind)
            case course.Reload():
                self._reload(one.cabin)
            case course.Restart():
                self._restart(one)
            case course.Fork() if self.course.trend:
                pass  # what the trend has learnt is no part of a snapshot
            case course.Fork():
                self._step("fork", self._fork)
            case course.Odd():
                self._pass(1.0)
                self._feed(Air({one.key: one.value}), "odd")

    def _wait(self, one: course.Wait) -> None:
        self.tick_s = one.tick_s
        for _ in range(min(one.ticks, MOST_TICKS - self.ticks)):
            self._tick(one.tick_s)

    def _pass(self, dt_s: float) -> None:
        self.air.live(dt_s)
        self.at_s = round(self.at_s + dt_s, 3)
        self.up_s = round(self.up_s + dt_s, 3)

    def _tick(self, tick_s: float) -> None:
        self.ticks += 1
        self._pass(tick_s)
        truth = self.air.truth()
        given = {
            name: self.parts[name].read(truth, self.at_s, self._rng)
            for name in self.watch.cabin.parts
        }
        self._feed(self.watch.air(given), "tick", given=given, truth=truth)
        self._is_confirmed = True

    def _turn_part(self, one: course.PartTurns) -> None:
        part = self.parts[one.part]
        was = part.mode
        if one.mode == "skewed" and self.at_s > 0.0:
            self._is_natural = False  # from one reading to the next, no air does that
        part.set_mode(one.mode, self.at_s)
        if one.part not in self.watch.cabin.parts:
            return
        if one.mode == "reported":
            self._source(one.part, "absent")
        elif was == "reported":
            self._source(one.part, "ok")

    def _source(self, source: str, kind: str) -> None:
        self._feed(source_event(source, kind), "source", source=(source, kind))

    def _ask(self, one: course.Ask) -> None:
        body: dict[str, Any] = {"ask": one.verb}
        if one.alarm:
            body["alarm"] = one.alarm
        if one.for_s:
            body["for_s"] = one.for_s
        if one.verb == "mark":
            body["text"] = "roof vent open"
        wall = WALL + timedelta(seconds=self.at_s)
        if one.says_when:
            body["at"] = (wall - timedelta(seconds=one.age_s)).isoformat()
        for act in self.watch.asked(body, one.by, self.up_s, wall):
            self._act(act, self.at_s - one.age_s)

    def _act(self, act: Act, asked_s: float) -> None:
        view = ActView(act.kind.value, act.alarm, act.by, asked_s)
        self._feed(act, "act", act=view)

    def _fork(self) -> list[Command]:
        self.watch.fork(self.up_s, is_confirmed=self._is_confirmed)
        return []

    def _reload(self, name: str) -> None:
        new = cabin(name, trend=self.course.trend)
        self._is_confirmed = False
        self._step("reload", lambda: self.watch.reload(new, self.up_s))

    def _restart(self, one: course.Restart) -> None:
        self.air.live(one.down_s)
        self.at_s = round(self.at_s + one.down_s, 3)
        self.up_s = 0.0
        for part in self.parts.values():
            part.doubtful_until_s = self.at_s + WARM_S
        self._is_confirmed = False
        down_s = one.down_s if one.knows_gap else None
        self._step("restart", lambda: self.watch.restart(down_s))

    def _end(self) -> None:
        """Let an hour of good air pass, with answers, and see what still stands."""
        for name in self.parts:
            self._turn_part(course.PartTurns(name, "alive"))
        for source in list(self.watch.state.history.sources):
            self._source(source, "ok")
        for knob in ("burner_kw", "co_ppm_per_min", "gas_pct_per_min"):
            self.air.turn(knob, 0.0)
        self.air.turn("changes_per_h", 40.0)
        self.air.turn("outside_c", 2.0)
        self.tick_s = 60.0
        for minute in range(60):
            self._tick(60.0)
            if minute % 10 == 5:
                self._act(PRESS, self.at_s)
        if self._is_gone:
            return
        for name, why in act_clauses.at_the_end(self._moment("end", [])):
            self.oracle.check(name, why, self.at_s)

    # --- what the oracle is shown ----------------------------------------------

    def _feed(self, event: Any, kind: str, **more: Any) -> None:
        self._step(kind, lambda: self.watch.feed(event, self.up_s), **more)

    def _step(
        self,
        kind: str,
        do: Callable[[], list[Command]],
        given: Given | None = None,
        **more: Any,
    ) -> None:
        """Do something to the watch, and show the oracle what came of it."""
        if self._is_gone:
            return
        before = {
            "before": self.watch.alarms,
            "sound_before": self.watch.sound.pattern,
            "blood_before_pct": self.watch.blood_pct,
        }
        try:
            commands = do()
        except Exception as error:
            self._is_gone = True
            commands, kind = [], "crash"
            clause = "j/trend" if self.course.trend == "broken" else "j/exception"
            self.watch.compared[clause] = f"{type(error).__name__}: {error}"
        if self._keeps_commands:
            self.said += [repr(command) for command in commands]
        self.oracle.watch(self._moment(kind, commands, given, **before, **more))
        self.watch.compared.clear()

    def _moment(
        self,
        kind: str,
        commands: list[Command],
        given: Given | None = None,
        **more: Any,
    ) -> Moment:
        watch = self.watch
        more.setdefault("before", watch.alarms)
        more.setdefault("sound_before", watch.sound.pattern)
        more.setdefault("truth", None)
        more["truth"] = more["truth"] or self.air.truth()
        return Moment(
            at_s=self.at_s,
            kind=kind,
            tick_s=self.tick_s,
            parts=self._parts(given or {}, is_tick=kind == "tick"),
            alarms=watch.alarms,
            sound=watch.sound.pattern,
            sound_of=watch.sound.alarm,
            sounds=sounds(commands),
            texts=texts(commands),
            moves=moves(commands),
            blood_pct=watch.blood_pct,
            is_loose=watch.cabin.is_loose,
            known=watch.state.standings.keys(),
            is_untouched=self._is_untouched,
            is_natural=self._is_natural,
            extra=dict(watch.compared),
            **more,
        )

    def _parts(self, given: Given, *, is_tick: bool) -> tuple[PartView, ...]:
        views = []
        for name in self.watch.cabin.parts:
            part = self.parts[name]
            quantity = part.kind.channels[0].quantity
            if quantity not in JUDGED:
                continue
            samples = given.get(name)
            _, value, quality = samples[0] if samples else ("", None, "")
            still = self._still[name]
            if is_tick and value is not None and value != still.value:
                still.value, still.since_s = value, self.at_s
            views.append(
                PartView(
                    name,
                    quantity,
                    self._mode(part),
                    part.since_s,
                    value,
                    quality == "at-least",
                    self.at_s - still.since_s,
                )
            )
        return tuple(views)

    def _mode(self, part: Part) -> str:
        is_cold = self.air.temp_c < part.kind.coldest_c
        warms = self.at_s < part.doubtful_until_s
        return "doubtful" if part.mode == "alive" and (is_cold or warms) else part.mode


def play(one: course.Course) -> Outcome:
    """Play a course; twice, and compared, where it says so."""
    outcome = Machine(one, keeps_commands=one.replays).play()
    if not one.replays:
        return outcome
    again = Machine(one, keeps_commands=True).play()
    outcome.checks["h/replay"] += 1
    if again.said == outcome.said:
        return outcome
    pairs = zip(again.said, outcome.said, strict=False)
    differs = next((f"{a} / {b}" for a, b in pairs if a != b), "one says more")
    wrong = Violation("h/replay", 0.0, differs)
    return replace(outcome, violations=(*outcome.violations, wrong))
