"""What a body gets of oxygen, at the sea and in thin air.

Sources: 14 CFR 25.841 (cabins of passenger aircraft, 8 000 ft); 29 CFR 1910.134, table
II (check values `o2_osha_table2_altitude`, from memory); pressures by ISO 2533
(`std_atm_po2`, computed).
"""

from typing import Any

import pytest

from cabinvigil.daemon.air.atmosphere import altitude_like_m, pressure_hpa
from cabinvigil.daemon.air.moisture import vapour_hpa
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.rules import level
from cabinvigil.daemon.rules.level import LevelStep, Params
from tests.air.published import rows
from tests.core.scenario import Night, cabin, series
from tests.rules.asked import asked, says
from tests.rules.test_rules import LIMITS, params_of

P = Priority
O2_PRESSURE: Params = params_of(level, LIMITS["o2-pressure"])
O2_LOW: Params = params_of(level, LIMITS["o2-low"])
HEIGHTS_M = range(-400, 5501, 100)


def at(altitude_m: float, o2_pct: float, **marks: Any) -> Night:
    night = Night(cabin(keys=["o2_pct", "o2_hpa"]))
    o2_hpa = o2_pct / 100.0 * pressure_hpa(altitude_m)
    night.air({"o2_pct": o2_pct, "o2_hpa": o2_hpa}, **marks)
    return night


def raised(altitude_m: float, o2_pct: float) -> Priority | None:
    verdict = asked(level, O2_PRESSURE, at(altitude_m, o2_pct))
    assert verdict is not None
    return verdict.priority


def first_pct(altitude_m: float) -> float:
    """The oxygen, to a hundredth, at which it first rings as it falls."""
    o2_pct = 20.95
    while raised(altitude_m, o2_pct) is None:
        o2_pct -= 0.01
    return o2_pct


def test_in_good_air_it_rings_at_no_height() -> None:
    """Damp, and with the little that an aired flame takes: 20.1 %, as breathed."""
    assert {raised(height_m, 20.1) for height_m in HEIGHTS_M} == {None}
    for height_m in HEIGHTS_M:
        damp = 20.95 * (1.0 - vapour_hpa(15.0, 90.0) / pressure_hpa(height_m))
        assert raised(height_m, damp) is None


@pytest.mark.parametrize("altitude_m", [0.0, 640.0, 1500.0, 1800.0])
def test_in_the_lowlands_the_percent_ring_first(altitude_m: float) -> None:
    """Where the air is thick 19.5 % comes long before a body lacks pressure."""
    assert first_pct(altitude_m) < 19.5


@pytest.mark.parametrize("altitude_m", [2000.0, 2500.0, 3000.0, 4000.0])
def test_high_up_it_rings_before_the_percent(altitude_m: float) -> None:
    """19.5 % at 2 500 m is what outdoor air holds at 3 100: told earlier."""
    first = first_pct(altitude_m)
    assert 19.5 < first <= 20.01
    assert altitude_like_m(first / 100.0 * pressure_hpa(altitude_m)) > altitude_m
    low = asked(level, O2_LOW, at(altitude_m, first))
    assert low is not None
    assert low.priority is None


@pytest.mark.parametrize(
    ("altitude_m", "o2_pct", "priority"),
    [
        (2500.0, 20.1, None),
        (2500.0, 20.0, P.MEDIUM),
        (2500.0, 19.45, P.MEDIUM),
        (2500.0, 19.3, P.HIGH),
        (3000.0, 19.6, P.MEDIUM),
        (3000.0, 19.5, P.HIGH),
        (0.0, 19.0, None),
        (0.0, 15.4, P.MEDIUM),
        (0.0, 14.3, P.HIGH),
    ],
)
def test_the_ladder(
    altitude_m: float, o2_pct: float, priority: Priority | None
) -> None:
    """157 hPa wakes, 145 orders people out; at most at 20.0 and at 19.5 %."""
    assert raised(altitude_m, o2_pct) is priority


def test_the_order_to_leave_keeps_to_the_table_of_heights() -> None:
    """29 CFR 1910.134: at no height is its floor reached without `high`.

    Its floors, for the lowest height of each row, are 144 to 145 hPa.
    """
    ends_ft = [3000, 4000, 5000, 6000, 7000, 8000]
    for row, end_ft in zip(rows("o2_osha_table2_altitude"), ends_ft, strict=True):
        assert raised(end_ft * 0.3048, row["o2_low"] - 0.1) is P.HIGH, row


def test_it_clears_past_its_dead_band_of_pressure_or_of_share() -> None:
    """Either is enough: the air is thick enough again, or as good as outdoors."""
    for o2_pct, hold in ((20.1, P.MEDIUM), (20.2, P.MEDIUM), (20.21, None)):
        verdict = asked(level, O2_PRESSURE, at(2500.0, o2_pct))
        assert verdict is not None
        assert verdict.hold is hold


@pytest.mark.parametrize(
    ("rh_pct", "o2_pct", "hold"),
    [
        (60.0, 20.1, None),
        (60.0, 19.8, P.MEDIUM),
        (0.0, 20.1, P.MEDIUM),
        # A humidity that no good air has at this height explains no more away.
        (100.0, 19.5, P.MEDIUM),
    ],
)
def test_damp_air_is_the_height_s_too(
    rh_pct: float, o2_pct: float, hold: Priority | None
) -> None:
    """Outdoor air of 20 C and 60 % at 2 500 m, by a cell that reads 0.4 % too low."""
    night = Night(cabin(keys=["o2_pct", "o2_hpa", "temp_c", "rh_pct", "pressure_hpa"]))
    at_hpa = pressure_hpa(2500.0)
    air = {"o2_pct": o2_pct, "o2_hpa": o2_pct / 100.0 * at_hpa, "pressure_hpa": at_hpa}
    night.air(air | {"temp_c": 20.0 if rh_pct < 100.0 else 45.0, "rh_pct": rh_pct})
    verdict = asked(level, O2_PRESSURE, night)
    assert verdict is not None
    assert verdict.hold is hold


def test_it_tells_the_height_that_it_is_like() -> None:
    """Rounded to a hundred metres: 19.5 % at 2 500 m is like 3 100."""
    verdict = asked(level, O2_PRESSURE, at(2500.0, 19.5))
    assert verdict is not None
    assert verdict.facts["height_m"] == 3100.0


def test_doubtful_percent_let_no_thin_air_pass() -> None:
    """A part in doubt says nothing good; nor does one that gives no percent.

    But for five minutes: a part that warms up after a start in clean, thin air would
    else wake people each time.
    """
    night = at(3500.0, 20.6, doubtful=["o2_pct"])
    air = {"o2_pct": 20.6, "o2_hpa": 0.206 * pressure_hpa(3500.0)}
    assert says(level, O2_PRESSURE, night) is None
    for _ in range(29):
        night.air(air, doubtful=["o2_pct"])
    assert says(level, O2_PRESSURE, night) is None
    night.air(air, doubtful=["o2_pct"])
    assert says(level, O2_PRESSURE, night) is P.HIGH
    used = at(3500.0, 19.0, doubtful=["o2_pct"])
    assert says(level, O2_PRESSURE, used) is P.HIGH
    alone = Night(cabin(keys=["o2_hpa"]))
    alone.air({"o2_hpa": 144.0})
    verdict = asked(level, O2_PRESSURE, alone)
    assert verdict is not None
    assert verdict.priority is P.HIGH


@pytest.mark.parametrize(
    ("warm_up_s", "passes_s"), [(900.0, 900.0), (60.0, 300.0)], ids=["cell", "disc"]
)
def test_a_cell_that_warms_up_in_clean_thin_air_wakes_nobody(
    warm_up_s: float, passes_s: float
) -> None:
    """At 2,548 m it rang after five minutes, on what a cell gives that needs fifteen.

    Percent and pressure are of one signal.  Longer than its warm-up lasts, nothing
    doubtful passes for the height's; and what is low by its percent too rings at once.
    """
    keys = [
        series("o2_pct", warm_up_s=warm_up_s),
        series("o2_hpa", warm_up_s=warm_up_s),
    ]
    at_hpa = pressure_hpa(2548.0)
    night = Night(cabin(keys=keys))
    air = {"o2_pct": 20.6, "o2_hpa": 0.206 * at_hpa}
    for _ in range(round(passes_s / 10.0)):
        night.air(air, doubtful=list(air))
        assert asked(level, O2_PRESSURE, night) is None  # and it clears nothing
    night.air(air, doubtful=list(air))
    assert says(level, O2_PRESSURE, night) is P.MEDIUM
    foul = Night(cabin(keys=keys))
    foul.air({"o2_pct": 19.8, "o2_hpa": 0.198 * at_hpa}, doubtful=list(air))
    assert says(level, O2_PRESSURE, foul) is P.MEDIUM


def test_a_share_is_for_the_partial_pressure_alone() -> None:
    """On any other quantity it would be a guard against nothing."""
    with pytest.raises(ValueError, match="share_pct is for o2_hpa, not for co_ppm"):
        Params("co_ppm", "above", [LevelStep(30.0, "low", share_pct=20.0)])
