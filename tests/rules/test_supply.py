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


def gauged(charge_pct: float, per_h: float = 0.0, hours: float = 0.0) -> Night:
    """A cell whose gauge falls at one rate, read once a minute."""
    night = Night(cabin(keys=["charge_pct"]))
    for minute in range(int(hours * 60) + 1):
        night.air({"charge_pct": round(charge_pct - per_h * minute / 60.0, 1)}, 60.0)
    return night


@pytest.mark.parametrize(
    ("charge_pct", "raises", "holds", "stage"),
    [
        (80.0, None, None, ""),
        (18.1, None, None, ""),
        (18.0, None, FAULT, ""),
        (15.0, FAULT, FAULT, ""),
        (3.1, FAULT, FAULT, ""),
        (3.0, FAULT, FAULT, "quarter"),
    ],
)
def test_a_gauge_tells_its_charge(
    charge_pct: float, raises: Priority | None, holds: Priority | None, stage: str
) -> None:
    """At its limit, with three percent of dead-band, and at its end."""
    verdict = asked(supply, BATTERY, gauged(charge_pct))
    assert verdict is not None
    assert (verdict.priority, verdict.hold, verdict.wording) == (raises, holds, stage)
    assert verdict.facts == {"charge_pct": charge_pct, "limit": 15.0}
    assert verdict.severity == pytest.approx(1.0 - charge_pct / 15.0)
    assert verdict.evidence["series"] == "charge_pct"


def test_a_gauge_tells_the_hours_left() -> None:
    """30 % that fall by 18 an hour: an hour and a half to three percent."""
    verdict = asked(supply, BATTERY, gauged(48.0, 18.0, 1.0))
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (FAULT, "hours")
    assert verdict.evidence["hours_left"] == pytest.approx(1.5, rel=0.02)


def both(supply_v: float | None, charge_pct: float | None) -> Any:
    """What is said of a battery and of a cell behind it; None: it gives nothing."""
    night = Night(cabin(keys=["supply_v", "charge_pct"]))
    values = {"supply_v": supply_v, "charge_pct": charge_pct}
    night.air({key: one for key, one in values.items() if one is not None}, 60.0)
    return asked(supply, BATTERY, night)


@pytest.mark.parametrize(
    ("supply_v", "charge_pct", "raises", "told"),
    [
        (12.6, 80.0, None, "supply_v"),
        (11.7, 80.0, FAULT, "supply_v"),
        (12.6, 9.0, FAULT, "charge_pct"),
        (11.7, 2.0, FAULT, "charge_pct"),  # the nearer end
        (10.9, 9.0, FAULT, "supply_v"),
        (11.85, 80.0, None, "supply_v"),  # within its dead-band
        (12.6, 17.0, None, "charge_pct"),
        (11.7, 17.0, FAULT, "supply_v"),
    ],
)
def test_the_one_that_is_nearer_its_end_is_told(
    supply_v: float, charge_pct: float, raises: Priority | None, told: str
) -> None:
    verdict = both(supply_v, charge_pct)
    assert verdict.priority is raises
    assert told in verdict.facts


def test_what_is_well_ends_nothing_while_the_other_is_not_known() -> None:
    """The battery that rang may be the one that says nothing any more."""
    assert both(None, 80.0) is None
    assert both(12.6, None) is None
    assert both(None, 17.0).hold is FAULT
    assert both(None, 9.0).priority is FAULT
    assert both(11.7, None).priority is FAULT


def test_the_fewest_hours_are_kept_whichever_is_told() -> None:
    """Precheck asks for them: the cell's end comes first here, its charge is high."""
    night = Night(cabin(keys=["supply_v", "charge_pct"]))
    for minute in range(61):
        values = {"supply_v": 11.9 - 0.1 * minute / 60, "charge_pct": 78 - minute / 5}
        night.air({key: round(one, 3) for key, one in values.items()}, 60.0)
    verdict = asked(supply, BATTERY, night)
    assert verdict is not None
    assert "supply_v" in verdict.facts
    assert verdict.evidence["hours_left"] == pytest.approx(63.0 / 12.0, rel=0.02)
