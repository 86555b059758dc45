"""Glass against dew point, now and within the hour.

Dew points from check values `dewpoint_rows` (a reference library, computed there).
"""

import math
from typing import Any

import pytest

from cabinvigil.daemon.core.layout import Surroundings
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.rules import condensing
from cabinvigil.daemon.rules.condensing import Params
from tests.core.scenario import Night, cabin
from tests.rules.asked import asked, says

LOW = Priority.LOW
KEYS = ("temp_c", "rh_pct", "temp_c_glass")
# C, %RH, dew point C.
ROWS = [(20, 50, 9.272), (20, 60, 12.007), (10, 90, 8.437), (5, 80, 1.841)]


def in_air(
    temp_c: float,
    rh_pct: float,
    glass_c: float | None = None,
    marks: tuple[str, ...] = (),
    **more: Any,
) -> Night:
    night = Night(cabin(keys=[*KEYS, "temp_c_outside"], **more))
    values = {"temp_c": temp_c, "rh_pct": rh_pct}
    if glass_c is not None:
        values["temp_c_glass"] = glass_c
    night.air(values, doubtful=marks)
    return night


@pytest.mark.parametrize(("temp_c", "rh_pct", "dew_c"), ROWS)
def test_glass_at_the_dew_point_is_wet(
    temp_c: float, rh_pct: float, dew_c: float
) -> None:
    """A tenth above it is dry, a tenth below it is wet, for each published row."""
    assert says(condensing, Params(), in_air(temp_c, rh_pct, dew_c - 0.1)) is LOW
    dry = asked(condensing, Params(), in_air(temp_c, rh_pct, dew_c + 0.1))
    assert dry is not None
    assert (dry.priority, dry.hold) == (None, LOW)
    far = asked(condensing, Params(), in_air(temp_c, rh_pct, dew_c + 1.1))
    assert far is not None
    assert far.hold is None


def test_the_numbers_of_the_sentence() -> None:
    """Dew point, surface, humidity and temperature."""
    verdict = asked(condensing, Params(), in_air(20.0, 60.0, 10.0))
    assert verdict is not None
    assert verdict.facts["dew_point_c"] == pytest.approx(12.007, abs=0.05)
    assert verdict.facts["surface_c"] == 10.0
    assert verdict.facts["rh_pct"] == 60.0
    assert verdict.severity == pytest.approx(2.0, abs=0.05)
    assert verdict.wording == ""


def test_without_a_part_on_the_glass_its_temperature_is_worked_out() -> None:
    """18 C inside, -9 outside, U 5.0: 18 - 5 x 0.13 x 27 = 0.45 C (`surface_c`)."""
    known = Surroundings(outside_c=-9.0, glass_u_w_m2k=5.0)
    verdict = asked(condensing, Params(), in_air(18.0, 50.0, surroundings=known))
    assert verdict is not None
    assert verdict.facts["surface_c"] == pytest.approx(0.45)
    assert verdict.priority is LOW


def test_a_measured_outside_goes_before_the_planned_one() -> None:
    """The config plans for -9 C; outdoors it is 10 C tonight."""
    known = Surroundings(outside_c=-9.0, glass_u_w_m2k=5.0)
    night = in_air(18.0, 50.0, surroundings=known)
    night.air({"temp_c_outside": 10.0, "temp_c": 18.0, "rh_pct": 50.0})
    assert says(condensing, Params(), night) is None


@pytest.mark.parametrize(
    "known",
    [Surroundings(), Surroundings(outside_c=-9.0), Surroundings(glass_u_w_m2k=5.0)],
)
def test_an_unknown_surface_cannot_be_told(known: Surroundings) -> None:
    """No part on the glass, and not both of outside and U-value."""
    assert asked(condensing, Params(), in_air(18.0, 99.0, surroundings=known)) is None


@pytest.mark.parametrize("lost", ["temp_c", "rh_pct"])
def test_unknown_air_cannot_be_told(lost: str) -> None:
    """Humidity without warmth says nothing, nor the other way round."""
    night = Night(cabin(keys=KEYS))
    values = {"temp_c": 20.0, "rh_pct": 60.0, "temp_c_glass": 5.0}
    night.air({key: value for key, value in values.items() if key != lost})
    assert asked(condensing, Params(), night) is None


@pytest.mark.parametrize("mark", KEYS)
def test_a_doubtful_value_may_say_wet_and_never_dry(mark: str) -> None:
    """Any of the three."""
    assert says(condensing, Params(), in_air(20.0, 60.0, 5.0, (mark,))) is LOW
    assert asked(condensing, Params(), in_air(20.0, 60.0, 18.0, (mark,))) is None


def drifting(
    per_h: float, glass_c: float, minutes: int, **skip: bool
) -> Verdict | None:
    """Humidity that climbs at a rate, a minute a tick, at 20 C."""
    night = Night(cabin(keys=KEYS))
    for minute in range(minutes + 1):
        rh_pct = 60.0 + per_h * (minute - minutes) / 60.0
        values = {"temp_c": 20.0, "rh_pct": rh_pct, "temp_c_glass": glass_c}
        if skip.get("glass") and minute < minutes:
            del values["temp_c_glass"]
        night.air(values, 60.0)
    return asked(condensing, Params(), night)


def test_what_will_be_wet_within_the_hour_is_told_now() -> None:
    """A degree and a half above the dew point, which rises by two an hour."""
    verdict = drifting(9.0, 13.5, 45)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (LOW, "soon")
    assert verdict.evidence["ahead_c"] < 0.0 < verdict.evidence["margin_c"]


def test_a_far_margin_is_not_carried_forward() -> None:
    """Right after lighting everything climbs; five degrees away that is no news."""
    verdict = drifting(30.0, 17.0, 45)
    assert verdict is not None
    assert verdict.priority is None


def test_a_growing_margin_is_not_carried_forward_either() -> None:
    """Drying air is judged as it is."""
    verdict = drifting(-9.0, 13.5, 45)
    assert verdict is not None
    assert verdict.evidence["ahead_c"] == verdict.evidence["margin_c"]


@pytest.mark.parametrize("skip", [{}, {"glass": True}])
def test_without_a_past_it_is_judged_as_it_is(skip: dict[str, bool]) -> None:
    """Half an hour of air, or a glass part that has just come alive."""
    verdict = drifting(9.0, 13.5, 30 if not skip else 45, **skip)
    assert verdict is not None
    assert verdict.evidence["ahead_c"] == verdict.evidence["margin_c"]


@pytest.mark.parametrize("swing_pct", [16.0, 5.0])
def test_vapour_that_levels_off_is_carried_to_its_level(swing_pct: float) -> None:
    """Humidity that goes to 62 % like a charge, time constant 20 min, stays dry.

    Carried on in a straight line the same margin would vanish within the hour.
    """
    night = Night(cabin(keys=KEYS))
    for minute in range(46):
        rh_pct = 62.0 - swing_pct * math.exp(-minute / 20.0)
        night.air({"temp_c": 20.0, "rh_pct": rh_pct, "temp_c_glass": 13.0}, 60.0)
    verdict = asked(condensing, Params(), night)
    assert verdict is not None
    assert verdict.priority is None
    # At 62 % and 20 C the dew point is 12.5 C, by the rows above: half a degree stays.
    assert verdict.evidence["ahead_c"] == pytest.approx(0.5, abs=0.15)


def test_a_hole_in_the_past_is_no_past() -> None:
    """Twenty minutes ago nothing was read: nothing is carried forward."""
    night = Night(cabin(keys=KEYS))
    values = {"temp_c": 20.0, "rh_pct": 50.0, "temp_c_glass": 13.5}
    night.hold(values, 600.0, 60.0)
    night.air({}, 1500.0)
    night.hold(values | {"rh_pct": 60.0}, 300.0, 60.0)
    verdict = asked(condensing, Params(), night)
    assert verdict is not None
    assert verdict.evidence["ahead_c"] == verdict.evidence["margin_c"]


@pytest.mark.parametrize("lost", ["temp_c", "rh_pct"])
def test_half_a_past_is_no_past(lost: str) -> None:
    """Twenty minutes ago one of the two was silent: nothing is carried forward."""
    night = Night(cabin(keys=KEYS))
    values = {"temp_c": 20.0, "rh_pct": 50.0, "temp_c_glass": 13.5}
    night.hold(values, 600.0, 60.0)
    night.hold({k: v for k, v in values.items() if k != lost}, 1500.0, 60.0)
    night.hold(values | {"rh_pct": 60.0}, 300.0, 60.0)
    verdict = asked(condensing, Params(), night)
    assert verdict is not None
    assert verdict.evidence["ahead_c"] == verdict.evidence["margin_c"]


@pytest.mark.parametrize(
    ("temp_c", "rh_pct"), [(-40.0, 0.0), (84.0, 120.0), (0.0, 1.0)]
)
def test_extreme_air_is_judged_without_an_error(temp_c: float, rh_pct: float) -> None:
    """The corners of what a part may say."""
    verdict = asked(condensing, Params(), in_air(temp_c, rh_pct, 0.0))
    assert verdict is not None
    assert math.isfinite(verdict.severity)


@pytest.mark.parametrize(
    "wrong", [{"slope_s": 0.0}, {"ahead_s": -1.0}, {"dead_band_c": math.nan}]
)
def test_limits_that_cannot_be_are_refused(wrong: dict[str, float]) -> None:
    """A slope over no time has no value."""
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Params(**wrong)


def test_the_first_minute_of_all_is_a_past_too() -> None:
    """Forty minutes after the first reading its minute is looked at."""
    verdict = drifting(9.0, 13.5, 40)
    assert verdict is not None
    assert verdict.evidence["ahead_c"] < verdict.evidence["margin_c"]


@pytest.mark.parametrize(("dead_band_c", "wording"), [(0.8, "soon"), (0.7, None)])
def test_near_is_twice_the_dead_band(dead_band_c: float, wording: str | None) -> None:
    """A degree and a half away counts as near from a dead-band of 0.75 on."""
    night = Night(cabin(keys=KEYS))
    for minute in range(46):
        rh_pct = 60.0 + 9.0 * (minute - 45) / 60.0
        night.air({"temp_c": 20.0, "rh_pct": rh_pct, "temp_c_glass": 13.5}, 60.0)
    verdict = asked(condensing, Params(dead_band_c=dead_band_c), night)
    assert verdict is not None
    assert (verdict.wording if verdict.priority else None) == wording
