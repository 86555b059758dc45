"""What the page remembers of one cabin."""

from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.phone.inbound import AlarmHeard, TextHeard, TrialHeard
from cabinvigil.daemon.phone.part_test import PartTest

PAST_S, PAST_STEP_S = 3600.0, 60.0
"""The hour that is drawn, in steps."""


@dataclass(slots=True)
class Value:
    """The last of a series, and its past hour."""

    value: float
    at_s: float
    at_least: bool
    times: "array[float]" = field(default_factory=lambda: array("d"))
    values: "array[float]" = field(default_factory=lambda: array("f"))

    def put(self, value: float, at_s: float, *, at_least: bool) -> None:
        """Take a new one."""
        self.value, self.at_s, self.at_least = value, at_s, at_least
        if self.times and at_s - self.times[-1] < PAST_STEP_S:
            return
        self.times.append(at_s)
        self.values.append(value)
        while self.times and at_s - self.times[0] > PAST_S:
            self.times.pop(0)
            self.values.pop(0)


@dataclass(slots=True)
class HeardCabin:
    """What was heard of one cabin."""

    run: str = ""
    run_began_s: float = 0.0
    is_emulated: bool = False
    unknown: tuple[str, ...] = ()
    """What protects life and is not measured beyond doubt, by the last heartbeat."""
    alarms: dict[str, AlarmHeard] = field(default_factory=dict)
    stands: dict[str, int] = field(default_factory=dict)
    """By alarm: the number of the message by which it last began to ring."""
    values: dict[str, Value] = field(default_factory=dict)
    estimates: Mapping[str, Any] = field(default_factory=dict)
    estimates_s: float = float("-inf")
    morning: str = ""
    trial: TrialHeard | None = None
    answered: str = ""
    """The last text of the watch on who answered."""
    test: TextHeard | None = None
    """The precheck's, of late."""
    test_s: float = float("-inf")
    tests: int = 0
    part_test: PartTest | None = None

    def is_test(self, alarm: AlarmHeard, now_s: float) -> bool:
        """Return whether an alarm sounded by the test of the parts that runs."""
        test, stand = self.part_test, self.stands.get(alarm.alarm, 0)
        return test is not None and test.covers(alarm, stand, now_s)
