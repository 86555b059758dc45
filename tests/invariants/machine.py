"""Plays a course: air, parts and people drive the monitor, and the oracle judges."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from tests.invariants import (
    act_clauses,
    air_clauses,
    message_clauses,
    monitor,
)
from tests.invariants import course as steps
from tests.invariants.cabins import cabin
from tests.invariants.course import Course
from tests.invariants.moment import Act, Moment
from tests.invariants.monitor import Monitor
from tests.invariants.oracle import Oracle, Violation
from tests.invariants.scene import Samples, Scene

WALL = datetime(2026, 1, 16, 2, 0, tzinfo=UTC)
"""The cabin's clock at the beginning."""
MOST_TICKS = 100
"""A course is cut off after so many readings."""
LATEST_ACT = 0.9
"""An act comes at most so far into the time between two readings."""
UNTOUCHING = steps.Wait | steps.Press | steps.Ask | steps.Each | steps.Fork
"""Steps after which nobody has a reason to be woken."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a course came to."""

    violations: tuple[Violation, ...]
    checks: Counter[str]
    ticks: int
    commands: tuple[str, ...] = ()
    """Every command, where the course is compared with itself."""


class Machine:
    """One run of a course."""

    def __init__(
        self,
        course: Course,
        *,
        keeps_commands: bool = False,
        falsify: Callable[[Moment], Moment] | None = None,
    ) -> None:
        """Set the cabin up, and start the monitor.

        Args:
            course: what will happen.
            keeps_commands: to be compared with another run.
            falsify: changes each moment before the oracle sees it, to try the oracle.
        """
        build = cabin(course.cabin, trend=course.trend)
        self.course = course
        self.monitor = Monitor(build)
        self.scene = Scene(build.volume_m3, build.altitude_m, course.seed)
        self.oracle = Oracle(
            (
                *air_clauses.clauses(),
                *message_clauses.clauses(),
                *act_clauses.clauses(),
            )
        )
        self.up_s = 0.0
        """The monitor's own monotonic time."""
        self.tick_s = 10.0
        self.ticks = 0
        self.commands: list[str] = []
        self._keeps_commands = keeps_commands
        self._falsify = falsify
        self._has_crashed = False
        self._is_untouched = True
        self._is_confirmed = True
        """Readings have come since the last start or reload."""

    # --- playing ------------------------------------------------------------------

    def play(self) -> Outcome:
        """Play every step, and the end where there is one."""
        for step in self.course.steps:
            if self.ticks < MOST_TICKS:
                self.do(step)
        if self.course.ends:
            self._end()
        return Outcome(
            tuple(self.oracle.violations),
            self.oracle.checks,
            self.ticks,
            tuple(self.commands),
        )

    def do(self, step: steps.Step) -> None:
        """Play one step; nothing more after an exception."""
        if self._has_crashed:
            return
        if not isinstance(step, UNTOUCHING):
            self._is_untouched = False
        match step:
            case steps.Wait(ticks, tick_s):
                self.tick_s = tick_s
                for _ in range(min(ticks, MOST_TICKS - self.ticks)):
                    self._tick()
            case steps.Turn(knob, value):
                self.scene.turn(knob, value)
            case steps.PartTurns(part, mode):
                self._turn_part(part, mode)
            case steps.Press() | steps.Ask():
                self._act(step)
            case steps.Each(act, ticks, tick_s):
                for _ in range(ticks):
                    self.do(steps.Wait(1, tick_s))
                    self.do(act)
            case _:
                self._disturb(step)

    def _disturb(self, step: steps.Step) -> None:
        """Play what happens to the monitor itself."""
        match step:
            case steps.SourceSays(source, kind):
                self._source(source, kind)
            case steps.Reload(name):
                self._reload(name)
            case steps.Restart():
                self._restart(step)
            case steps.Fork() if not self.course.trend:
                self._observe("fork", self._fork)
            case steps.Odd(value, key):
                self._pass(1.0)
                self._feed(monitor.odd_air(key, value), "odd")

    def _pass(self, dt_s: float) -> None:
        self.scene.live(dt_s)
        self.up_s = round(self.up_s + dt_s, 3)

    def _tick(self) -> None:
        if self._has_crashed:
            return
        self.ticks += 1
        self._pass(self.tick_s)
        samples = self.scene.read(self.monitor.cabin.parts)
        self._feed(self.monitor.air(samples), "tick", samples)
        self._is_confirmed = True

    def _turn_part(self, part: str, mode: str) -> None:
        was = self.scene.turn_part(part, mode)
        if part not in self.monitor.cabin.parts:
            return
        if mode == "reported":
            self._source(part, "absent")
        elif was == "reported":
            self._source(part, "ok")

    def _source(self, source: str, kind: str) -> None:
        event = monitor.source_event(source, kind)
        self._feed(event, "source", source=(source, kind))

    def _act(self, step: steps.Press | steps.Ask) -> None:
        if isinstance(step, steps.Press):
            self._pass(min(step.after_s, LATEST_ACT * self.tick_s))
            self._feed_act(monitor.PRESS, self.scene.at_s)
            return
        wall = WALL + timedelta(seconds=self.scene.at_s)
        body = step.body(wall)
        for act in self.monitor.admit(body, step.by, self.up_s, wall):
            self._feed_act(act, self.scene.at_s - step.age_s)

    def _feed_act(self, act: Any, asked_s: float) -> None:
        view = Act(act.kind.value, act.alarm, act.by, asked_s)
        self._feed(act, "act", act=view)

    def _fork(self) -> list[Any]:
        self.monitor.fork(self.up_s, is_confirmed=self._is_confirmed)
        return []

    def _reload(self, name: str) -> None:
        build = cabin(name, trend=self.course.trend)
        self._is_confirmed = False
        self._observe("reload", lambda: self.monitor.reload(build, self.up_s))

    def _restart(self, step: steps.Restart) -> None:
        self.scene.live(step.down_s)
        self.scene.warm_up()
        self.up_s = 0.0
        self._is_confirmed = False
        down_s = step.down_s if step.knows_gap else None
        self._observe(
            "restart",
            lambda: self.monitor.restart(down_s),
            is_gap_known=step.knows_gap,
        )

    def _end(self) -> None:
        """Let an hour of good air pass, acknowledged, and see what is left."""
        for part in self.scene.parts:
            self._turn_part(part, "alive")
        for source in self.monitor.faulty_sources:
            self._source(source, "ok")
        for knob, value in steps.GOOD_AIR.items():
            self.scene.turn(knob, value)
        self.tick_s = 60.0
        for minute in range(60):
            self._tick()
            if minute % 10 == 5:
                self._act(steps.Press())
        if not self._has_crashed:
            for clause, why in act_clauses.at_the_end(self._moment("end", [], {})):
                self.oracle.check(clause, why, self.scene.at_s)

    # --- what the oracle is shown -------------------------------------------------

    def _feed(
        self, event: Any, kind: str, samples: Samples | None = None, **more: Any
    ) -> None:
        def feed() -> list[Any]:
            return self.monitor.feed(event, self.up_s)

        self._observe(kind, feed, samples, **more)

    def _observe(
        self,
        kind: str,
        do: Callable[[], list[Any]],
        samples: Samples | None = None,
        **more: Any,
    ) -> None:
        """Do something to the monitor, and show the oracle what came of it."""
        if self._has_crashed:
            return
        before = {
            "before": self.monitor.alarms,
            "sound_before": self.monitor.sound.pattern,
            "blood_before_pct": self.monitor.blood_pct,
        }
        try:
            commands = do()
        except Exception as error:
            self._has_crashed = True
            commands, kind = [], "crash"
            clause = "j/trend" if self.course.trend == "broken" else "j/exception"
            self.monitor.compared[clause] = f"{type(error).__name__}: {error}"
        if self._keeps_commands:
            self.commands += [repr(command) for command in commands]
        moment = self._moment(kind, commands, samples or {}, **before, **more)
        self.oracle.judge(moment if self._falsify is None else self._falsify(moment))
        self.monitor.compared.clear()

    def _moment(
        self, kind: str, commands: list[Any], samples: Samples, **more: Any
    ) -> Moment:
        view = self.monitor
        more.setdefault("before", view.alarms)
        more.setdefault("sound_before", view.sound.pattern)
        return Moment(
            at_s=self.scene.at_s,
            kind=kind,
            tick_s=self.tick_s,
            truth=self.scene.air.truth(),
            parts=self.scene.views(view.cabin.parts, samples),
            alarms=view.alarms,
            sound=view.sound.pattern,
            sound_of=view.sound.alarm,
            sounds=monitor.sounds(commands),
            messages=monitor.messages(commands),
            moves=monitor.moves(commands),
            bump_tests=monitor.bump_tests(commands),
            blood_pct=view.blood_pct,
            is_loose=view.cabin.is_loose,
            known_alarms=view.known_alarms,
            is_untouched=self._is_untouched,
            is_natural=self.scene.is_natural,
            compared=dict(view.compared),
            **more,
        )


def play(course: Course) -> Outcome:
    """Play a course; twice, and compared, where it says so."""
    outcome = Machine(course, keeps_commands=course.replays).play()
    if not course.replays:
        return outcome
    again = Machine(course, keeps_commands=True).play()
    outcome.checks["h/replay"] += 1
    if again.commands == outcome.commands:
        return outcome
    pairs = zip(again.commands, outcome.commands, strict=False)
    why = next((f"{a} / {b}" for a, b in pairs if a != b), "one has more commands")
    wrong = Violation("h/replay", 0.0, why)
    return replace(outcome, violations=(*outcome.violations, wrong))
