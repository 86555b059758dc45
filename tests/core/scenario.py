"""A night in a few words: values and acts in order, and what came of them.

`play("20.9 19.4 _ _ 20.9")` gives one value a step to `o2_pct`; `_` is a step in which
nothing came, `19.4?` a doubtful value, `25+` one at full scale.  `ack`, `reset`,
`test`, `mark`, `shelve:600`, `unshelve`, `remove`, `return` are acts between steps.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import attrs

from cabinvigil.daemon.core.alarm_status import HEARD_S, AlarmStatus
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.core.layout import Layout, SeriesSpec
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    Alert,
    Command,
    Event,
    Priority,
    Record,
    Sound,
    Transition,
)
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from cabinvigil.daemon.rules import level
from cabinvigil.drivers.kit.quantity import split_channel

ACTS = {
    "ack": ActKind.ACKNOWLEDGE,
    "reset": ActKind.RESET,
    "test": ActKind.TEST,
    "mark": ActKind.MARK,
    "shelve": ActKind.SHELVE,
    "unshelve": ActKind.UNSHELVE,
    "remove": ActKind.OUT_OF_SERVICE,
    "return": ActKind.RETURN_TO_SERVICE,
}


def render(
    alarm: str, priority: Priority, wording: str, facts: Mapping[str, Any]
) -> str:
    numbers = " ".join(
        f"{key}={value:g}" if isinstance(value, float) else f"{key}={value}"
        for key, value in facts.items()
    )
    return f"{alarm} {priority.word} {wording} {numbers}".strip()


def series(key: str, **changes: Any) -> SeriesSpec:
    """A series that lives as long as a part asked every ten seconds."""
    found = split_channel(key)
    assert found is not None
    part = key.split("__")[1] if "__" in key else f"the-{key}"
    known: dict[str, Any] = {"low": found[0].low, "high": found[0].high}
    return SeriesSpec(key=key, part=part, title=part, **(known | changes))


def o2_low(**changes: Any) -> AlarmSpec:
    """The alarm `o2-low` as the packaged limits have it."""
    params = level.Params(
        "o2_pct",
        "below",
        [level.LevelStep(19.5, "high"), level.LevelStep(18.0, "high")],
        dead_band=0.2,
    )
    known: dict[str, Any] = {"on_delay_s": 5.0, "off_delay_s": 60.0, "again_step": 0.5}
    return AlarmSpec("o2-low", "level", params, level.judge, **(known | changes))


def ladder(
    alarm: str, quantity: str, *steps: tuple[float, str], **changes: Any
) -> AlarmSpec:
    """A level alarm from above with these steps and no delays."""
    params = level.Params(
        quantity,
        "above",
        [level.LevelStep(at, priority) for at, priority in steps],  # type: ignore[arg-type]
        dead_band=changes.pop("dead_band", 0.0),
    )
    return AlarmSpec(alarm, "level", params, level.judge, **changes)


def co_level(**changes: Any) -> AlarmSpec:
    """The alarm `co-level` with the packaged ladder."""
    known: dict[str, Any] = {"dead_band": 5.0, "off_delay_s": 60.0, "again_step": 50.0}
    steps = ((30.0, "low"), (70.0, "medium"), (200.0, "high"))
    spec = ladder("co-level", "co_ppm", *steps, **(known | changes))
    return replace(spec, params=attrs.evolve(spec.params, no_quiet_at=300.0))


LAYOUT = ("surroundings", "part_facts")


def cabin(
    *alarms: AlarmSpec, keys: Iterable[str | SeriesSpec] = ("o2_pct",), **changes: Any
) -> Setup:
    """A cabin with these series and alarms."""
    specs = [series(key) if isinstance(key, str) else key for key in keys]
    about = {key: changes.pop(key) for key in LAYOUT if key in changes}
    layout = Layout({spec.key: spec for spec in specs}, **about)
    return Setup(layout, alarms, render, **changes)


class FailingTrend:
    """A trend with a bug, until `fails` is taken back."""

    def __init__(self) -> None:
        self.fails = True

    def start(self) -> int:
        return 0

    def reanchor(self, state: int, quantities: frozenset[str]) -> int:
        del quantities
        return state

    def update(self, state: int, now_s: float, values: object) -> int:
        if self.fails:
            raise ZeroDivisionError("bug")
        return state + 1

    def estimate(self, state: int, now_s: float) -> int:
        return state

    def fields(self, estimate: int) -> dict[str, int]:
        return {}


@dataclass
class Night:
    """A core that is fed, and everything it said."""

    setup: Setup
    now: float = 0.0
    state: State = field(init=False)
    said: list[tuple[float, Command]] = field(default_factory=list)
    events: list[tuple[Event, float]] = field(default_factory=list)
    acted_s: float = -1.0
    late_s: float = 0.0
    """How far acts have run ahead of the ticks."""

    def __post_init__(self) -> None:
        self.state = start(self.setup, self.now)

    def take(self, event: Event, after_s: float = 0.0) -> list[Command]:
        """Feed one event, so many seconds after the one before."""
        self.now += after_s
        self.events.append((event, self.now))
        self.state, commands = step(self.state, event, self.now)
        self.said += [(self.now, command) for command in commands]
        return commands

    def air(
        self,
        values: Mapping[str, float] | None = None,
        after_s: float = 10.0,
        *,
        doubtful: Iterable[str] = (),
        at_least: Iterable[str] = (),
    ) -> list[Command]:
        """Feed one tick of readings."""
        air = Air(values or {}, frozenset(at_least), frozenset(doubtful))
        after_s, self.late_s = max(after_s - self.late_s, 0.0), 0.0
        return self.take(air, after_s)

    def hold(
        self, values: Mapping[str, float], for_s: float, step_s: float = 10.0
    ) -> None:
        """Feed the same readings again and again."""
        for _ in range(round(for_s / step_s)):
            self.air(values, step_s)

    def act(self, word: str, alarm: str = "", by: str = "button") -> list[Command]:
        """Do what a word of `ACTS` says; `shelve:600` for so many seconds.

        It comes as late after the last tick as an answer must to count; the next tick
        comes in its own time all the same.
        """
        name, _, for_s = word.partition(":")
        late_s = 0.0 if self.acted_s == self.now else HEARD_S
        commands = self.take(
            Act(ACTS[name], alarm, by, for_s=float(for_s or 0.0)), late_s
        )
        self.acted_s, self.late_s = self.now, self.late_s + late_s
        return commands

    def play(
        self,
        script: str,
        key: str = "o2_pct",
        step_s: float = 10.0,
        alarm: str = "",
    ) -> "Night":
        """Play a script of values and acts."""
        for word in script.split():
            if word.partition(":")[0] in ACTS:
                self.act(word, alarm)
            elif word == "_":
                self.air({}, step_s)
            else:
                marks = {"doubtful": [key] if "?" in word else []}
                marks["at_least"] = [key] if "+" in word else []
                self.air({key: float(word.rstrip("?+"))}, step_s, **marks)
        return self

    def standing(self, alarm: str = "o2-low") -> AlarmStatus:
        return self.state.standings[alarm]

    def now_in(self, alarm: str = "o2-low") -> str:
        """The word of the state an alarm is in."""
        return self.standing(alarm).state.value

    def transitions(self, alarm: str = "") -> list[Transition]:
        return [
            command
            for _, command in self.said
            if isinstance(command, Transition) and command.alarm.startswith(alarm)
        ]

    def path(self, alarm: str = "o2-low") -> str:
        """The states an alarm went through, as one line."""
        found = self.transitions(alarm)
        return " ".join([found[0].was.value, *(t.state.value for t in found)])

    def moments(self, alarm: str = "o2-low") -> list[tuple[float, str]]:
        return [
            (at, command.state.value)
            for at, command in self.said
            if isinstance(command, Transition) and command.alarm == alarm
        ]

    def alerts(self) -> list[tuple[float, Alert]]:
        return [(at, c) for at, c in self.said if isinstance(c, Alert)]

    def sounds(self) -> list[tuple[float, str]]:
        return [(at, c.pattern) for at, c in self.said if isinstance(c, Sound)]

    def records(self, event: str) -> list[Record]:
        return [c for _, c in self.said if isinstance(c, Record) and c.event == event]


def play(
    script: str, setup: Setup | None = None, step_s: float = 10.0, **how: str
) -> Night:
    """Play a script in a new cabin, with `o2-low` alone unless told otherwise."""
    night = Night(cabin(o2_low()) if setup is None else setup)
    return night.play(script, step_s=step_s, **how)
