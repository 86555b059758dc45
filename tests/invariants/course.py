"""A course of events in words: what the air does, what parts do, what people do."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

GOOD_AIR: Mapping[str, float] = {
    "burner_kw": 0.0,
    "co_ppm_per_min": 0.0,
    "gas_pct_per_min": 0.0,
    "changes_per_h": 60.0,
    "outside_c": 2.0,
}
"""How the knobs of the air stand when somebody has put the heater out and aired."""


@dataclass(frozen=True, slots=True)
class Wait:
    """Readings come so many times, so far apart."""

    ticks: int
    tick_s: float = 10.0

    def __str__(self) -> str:
        return f"wait {self.ticks * self.tick_s:g} s (a reading each {self.tick_s:g} s)"


@dataclass(frozen=True, slots=True)
class Turn:
    """A source of the air is turned, or the air is another at once."""

    knob: str
    value: float

    def __str__(self) -> str:
        return f"air: {self.knob} = {self.value:g}"


@dataclass(frozen=True, slots=True)
class PartTurns:
    """A part fails, fails otherwise, or comes back."""

    part: str
    mode: str

    def __str__(self) -> str:
        return f"part {self.part}: {self.mode}"


@dataclass(frozen=True, slots=True)
class Press:
    """A short press of the button, so long after the last reading."""

    after_s: float = 0.9

    def __str__(self) -> str:
        return f"button: short press {self.after_s:g} s after a reading"


@dataclass(frozen=True, slots=True)
class Ask:
    """Something asked from outside."""

    verb: str
    alarm: str = ""
    by: str = "phone"
    for_s: float = 0.0
    age_s: float = 0.0
    """So long it has been on its way."""
    says_when: bool = True
    """Whether it carries the moment at which it was asked."""

    def __str__(self) -> str:
        about = self.alarm or "all"
        late = f", asked {self.age_s:g} s ago" if self.age_s else ""
        late += "" if self.says_when else ", without a moment"
        long = f" for {self.for_s:g} s" if self.for_s else ""
        return f"{self.by}: {self.verb} {about}{long}{late}"

    def body(self, wall: datetime) -> Mapping[str, Any]:
        """Return the ask as it travels, arriving at this moment of the clock."""
        body: dict[str, Any] = {"ask": self.verb}
        if self.alarm:
            body["alarm"] = self.alarm
        if self.for_s:
            body["for_s"] = self.for_s
        if self.verb == "mark":
            body["text"] = "roof vent open"
        if self.says_when:
            body["at"] = (wall - timedelta(seconds=self.age_s)).isoformat()
        return body


@dataclass(frozen=True, slots=True)
class Each:
    """After each of so many readings the same is done.

    Contacts that chatter, a phone that acknowledges every minute.
    """

    act: Press | Ask
    ticks: int
    tick_s: float

    def __str__(self) -> str:
        many = f"{self.ticks} times, {self.tick_s:g} s apart"
        return f"{many}: a reading, then {self.act}"


@dataclass(frozen=True, slots=True)
class SourceSays:
    """A source has a fault, or is well again (`ok`)."""

    source: str
    kind: str

    def __str__(self) -> str:
        return f"{self.source} reports: {self.kind}"


@dataclass(frozen=True, slots=True)
class Reload:
    """The config is changed while the monitor runs."""

    cabin: str

    def __str__(self) -> str:
        return f"reload: config of {self.cabin}"


@dataclass(frozen=True, slots=True)
class Restart:
    """The monitor is killed, and started again after a while."""

    down_s: float
    knows_gap: bool = True

    def __str__(self) -> str:
        lost = "" if self.knows_gap else ", the clock lost meanwhile"
        return f"killed, and started {self.down_s:g} s later{lost}"


@dataclass(frozen=True, slots=True)
class Fork:
    """A snapshot is taken and restored at once, beside the monitor itself."""

    def __str__(self) -> str:
        return "snapshot: restored at once, beside"


@dataclass(frozen=True, slots=True)
class Odd:
    """A tick with a value that no part gives."""

    value: float
    key: str

    def __str__(self) -> str:
        return f"odd reading: {self.key} = {self.value}"


Act = Press | Ask | Each
Step = Wait | Turn | PartTurns | Act | SourceSays | Reload | Restart | Fork | Odd


@dataclass(frozen=True, slots=True)
class Course:
    """A whole course, from a start in good air."""

    cabin: str
    steps: tuple[Step, ...]
    trend: str = ""
    """`real`, `broken` (a bug in it raises), or none."""
    seed: int = 0
    """Of the parts' noise."""
    ends: bool = False
    """At its end an hour of good air follows, with acknowledgements."""
    replays: bool = False
    """It is played twice, and compared command for command."""

    def __str__(self) -> str:
        trend = f"{self.trend} trend" if self.trend else "without trend"
        head = f"cabin {self.cabin}, {trend}, noise {self.seed}"
        lines = [f"  {number}. {step}" for number, step in enumerate(self.steps, 1)]
        if self.ends:
            lines.append("  then an hour of good air, acknowledged every ten minutes")
        if self.replays:
            lines.append("  and all of it once more")
        return "\n".join([head, *lines])
