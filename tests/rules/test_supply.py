"""The battery that feeds the watch."""

import math
import random
from typing import Any

import attrs
import pytest

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.rules import supply
from cabinvigil.daemon.rules.supply import Params
from tests.core.scenario import Night, cabin
from tests.rules.asked import asked, says

FAULT = Priority.FAULT
BATTERY = Params(low_v=11.8, empty_v=11.0, hours=2.0)


def sagging(
    per_h: float, hours: float, start: float = 12.6, noise: float = 0.0
) -> Night:
    """A battery that falls at one rate, read once a minute."""
    rng = random.Random(3)
    night = Night(cabin(keys=["supply_v"]))
    for minute in range(int(hours * 60) + 1):
        value = start - per_h * minute / 60.0 + rng.gauss(0.0, noise)
        night.air({"supply_v": round(value, 3)}, 60.0)
    return night


@pytest.mark.parametrize(
    ("supply_v", "raises", "holds"),
    [
        (12.6, None, None),
        (11.91, None, None),
        (11.9, None, FAULT),
        (11.8, FAULT, FAULT),
        (11.1, FAULT, FAULT),
        (11.01, FAULT, FAULT),
    ],
)
def test_low_now(
    supply_v: float, raises: Priority | None, holds: Priority | None
) -> None:
    """At its limit, and a tenth of a volt of dead-band."""
    verdict = asked(supply, BATTERY, sagging(0.0, 0.0, supply_v))
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (raises, holds)
    assert verdict.facts == {"supply_v": supply_v, "limit": 11.8}
    assert verdict.severity == pytest.approx(11.8 - supply_v)
    assert verdict.wording == ""


def test_empty_before_the_night_is_over() -> None:
    """12.1 V and half a volt an hour: two hours and some are left, then fewer."""
    verdict = asked(supply, BATTERY, sagging(0.5, 0.7, 12.4))
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, FAULT)
    assert verdict.facts["hours"] == pytest.approx((12.05 - 11.0) / 0.5, rel=0.01)
    assert verdict.wording == "hours"
    assert says(supply, BATTERY, sagging(0.5, 0.9, 12.4)) is FAULT


def test_it_is_told_again_as_the_end_comes_near() -> None:
    """At two hours, at one and at a quarter of one, in words of their own."""
    told = []
    for hours in (0.0, 0.9, 1.5, 2.05, 2.75, 2.85):
        verdict = asked(supply, BATTERY, sagging(0.5, hours, 12.4))
        assert verdict is not None
        told.append((verdict.priority, verdict.wording))
        assert verdict.topic == verdict.wording
    stages = ["hours", "hours", "hour", "quarter", "quarter"]
    assert told == [(None, ""), *((FAULT, stage) for stage in stages)]


def test_without_a_trend_the_voltage_alone_is_told() -> None:
    """Low, and then empty: the watch goes dark at any moment."""
    for supply_v, stage in ((11.8, ""), (11.0, "quarter"), (10.4, "quarter")):
        verdict = asked(supply, BATTERY, sagging(0.0, 0.0, supply_v))
        assert verdict is not None
        assert (verdict.priority, verdict.topic) == (FAULT, stage)


def test_it_chirps_three_times_and_never_asks_for_a_vent() -> None:
    """Each stage rings anew, answered or not, once in a stand."""
    spec = AlarmSpec("supply-low", "supply", BATTERY, supply.judge, ack_s=28800.0)
    night = Night(cabin(spec, keys=["supply_v"]))
    for minute in range(200):
        night.air({"supply_v": round(12.4 - 0.5 * minute / 60.0, 3)}, 60.0)
        night.act("ack")
    rung = [one for one in night.transitions() if one.state.value == "unacknowledged"]
    stages = [one.text.removeprefix("supply-low fault ").split()[0] for one in rung]
    assert stages == ["hours", "hour", "quarter"]
    assert {pattern for _, pattern in night.sounds()} == {"chirp", "quiet"}


def test_past_empty_no_hours_are_left() -> None:
    """Never fewer than none, and no time is told: it may be over."""
    verdict = asked(supply, BATTERY, sagging(1.0, 0.7, 11.5))
    assert verdict is not None
    assert verdict.evidence["hours_left"] == 0.0
    assert "hours" not in verdict.facts


def test_noise_alone_wakes_nobody() -> None:
    """A steady battery read roughly is not emptied by its noise."""
    verdict = asked(supply, BATTERY, sagging(0.0, 2.0, 12.2, noise=0.02))
    assert verdict is not None
    assert verdict.priority is None


def test_a_battery_that_is_charged_has_no_hours_left_to_tell() -> None:
    """Rising: only the voltage itself is judged."""
    verdict = asked(supply, BATTERY, sagging(-0.3, 1.0, 12.0))
    assert verdict is not None
    assert "hours" not in verdict.facts


def test_only_the_window_counts() -> None:
    """It fell in the evening and has been steady since: no hours to tell."""
    night = sagging(0.8, 1.0)
    night.hold({"supply_v": 11.95}, 2 * 3600.0, 60.0)
    verdict = asked(supply, BATTERY, night)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (None, "")


def test_a_doubtful_voltage_may_warn_and_never_reassures() -> None:
    """And an unknown one says nothing."""
    night = Night(cabin(keys=["supply_v"]))
    assert asked(supply, BATTERY, night) is None
    night.air({"supply_v": 12.6}, doubtful=["supply_v"])
    assert asked(supply, BATTERY, night) is None
    night.air({"supply_v": 11.2}, doubtful=["supply_v"])
    assert says(supply, BATTERY, night) is FAULT


def test_it_is_not_about_the_air() -> None:
    """A battery that recovers gives no all-clear."""
    assert supply.ABOUT_AIR is False


@pytest.mark.parametrize(
    "wrong",
    [{"window_s": 600.0}, {"low_v": math.nan}, {"empty_v": 0.0}, {"hours": -1.0}],
)
def test_limits_that_cannot_be_are_refused(wrong: dict[str, Any]) -> None:
    """Ten minutes hold too few means to tell a fall."""
    with pytest.raises(ValueError, match=next(iter(wrong))):
        attrs.evolve(BATTERY, **wrong)
