"""Limits on what is breathed, now and as means.

Sources of the limits: 29 CFR 1910.146(b) for 19.5 and 23.5 % oxygen and 10 % of the
lower explosive limit (check values `o2_osha_deficient`, `o2_osha_enriched`,
`o2_osha_flammable_lel_fraction`, read, secondary); CDC/NIOSH 1994 for CO2
(`co2_occupational`, `co2_effects_niosh`, read).
"""

from dataclasses import replace
from types import SimpleNamespace

import attrs
import pytest

from cabinvigil.daemon.core.model import Priority, SourceOk
from cabinvigil.daemon.rules import level
from cabinvigil.daemon.rules.level import SILENT_COUNTS_S, LevelStep, Params
from tests.core.scenario import Night, cabin, o2_low, play
from tests.rules.asked import asked, says

P = Priority
LOW_O2 = Params(
    "o2_pct", "below", [LevelStep(19.5, "high"), LevelStep(18.0, "high")], dead_band=0.2
)
CO = Params(
    "co_ppm",
    "above",
    [LevelStep(30.0, "low"), LevelStep(70.0, "medium"), LevelStep(200.0, "high")],
    dead_band=5.0,
)
CO2 = Params(
    "co2_ppm",
    "above",
    [
        LevelStep(5000.0, "low"),
        LevelStep(5000.0, "medium", over_s=28800.0),
        LevelStep(10000.0, "medium"),
        LevelStep(30000.0, "high"),
    ],
    dead_band=300.0,
    before=420.0,
)


def reading(key: str, *values: float, marks: str = "") -> Night:
    night = Night(cabin(keys=[key]))
    for value in values:
        night.air(
            {key: value},
            doubtful=[key] if "?" in marks else [],
            at_least=[key] if "+" in marks else [],
        )
    return night


@pytest.mark.parametrize(
    ("o2_pct", "raises", "holds"),
    [
        (20.9, None, None),
        (19.71, None, None),
        (19.70, None, P.HIGH),
        (19.51, None, P.HIGH),
        (19.50, P.HIGH, P.HIGH),
        (19.49, P.HIGH, P.HIGH),
        (0.2, P.HIGH, P.HIGH),
    ],
)
def test_oxygen_at_and_about_its_limit(
    o2_pct: float, raises: Priority | None, holds: Priority | None
) -> None:
    """19.49, 19.50, 19.51 % (check value `o2_osha_deficient`), and the dead-band."""
    verdict = asked(level, LOW_O2, reading("o2_pct", o2_pct))
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (raises, holds)


@pytest.mark.parametrize(
    ("co_ppm", "raises", "holds"),
    [
        (24.0, None, None),
        (25.0, None, P.LOW),
        (30.0, P.LOW, P.LOW),
        (64.0, P.LOW, P.LOW),
        (65.0, P.LOW, P.MEDIUM),
        (70.0, P.MEDIUM, P.MEDIUM),
        (196.0, P.MEDIUM, P.HIGH),
        (200.0, P.HIGH, P.HIGH),
        (1900.0, P.HIGH, P.HIGH),
    ],
)
def test_carbon_monoxide_climbs_its_ladder(
    co_ppm: float, raises: Priority | None, holds: Priority | None
) -> None:
    """30, 70, 200 ppm: where EN 50291, UL 2034 and the NIOSH ceiling begin."""
    verdict = asked(level, CO, reading("co_ppm", co_ppm))
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (raises, holds)


@pytest.mark.parametrize(
    ("co2_ppm", "raises"),
    [(800, None), (5000, P.LOW), (10000, P.MEDIUM), (30000, P.HIGH), (70000, P.HIGH)],
)
def test_carbon_dioxide_climbs_its_ladder(
    co2_ppm: float, raises: Priority | None
) -> None:
    """At 70 000 ppm people fall unconscious in minutes (`co2_effects_niosh`)."""
    assert says(level, CO2, reading("co2_ppm", float(co2_ppm))) is raises


@pytest.mark.parametrize(
    ("pressure_hpa", "rings"),
    [(1013.25, False), (954.61, False), (942.1, False), (898.75, True)],
)
def test_a_limit_on_partial_pressure_rings_in_clean_air_on_a_mountain(
    pressure_hpa: float, rings: bool
) -> None:
    """0, 500, 610 and 1 000 m (check values `std_atm_po2`, `o2_altitude_equal_195`).

    19.5 % at sea level is what 20.946 % is at 610 m: a percent limit must not move
    with altitude, one on partial pressure does.
    """
    as_pressure = Params("o2_hpa", "below", [LevelStep(0.195 * 1013.25 - 0.3, "high")])
    wanted = P.HIGH if rings else None
    clean = reading("o2_hpa", 0.20946 * pressure_hpa)
    assert says(level, as_pressure, clean) is wanted
    assert says(level, LOW_O2, reading("o2_pct", 20.946)) is None


@pytest.mark.parametrize(
    ("o2_pct", "rings"),
    [(20.656, False), (20.463, False), (20.419, False), (20.068, False), (19.42, True)],
)
def test_humid_air_alone_rings_only_where_it_displaces_that_much(
    o2_pct: float, rings: bool
) -> None:
    """Clean air at 20 C 60 and 100 %, 30 C 60 and 100 %, 40 C 100 % (`o2_wet_air`).

    At 40 C and saturated, vapour alone takes oxygen below the limit as breathed.
    """
    assert (says(level, LOW_O2, reading("o2_pct", o2_pct)) is P.HIGH) is rings


def test_the_order_of_a_ladder_does_not_matter() -> None:
    """Written from the top down, the gravest step still rules."""
    steps = [
        LevelStep(200.0, "high"),
        LevelStep(70.0, "medium"),
        LevelStep(30.0, "low"),
    ]
    turned = attrs.evolve(CO, steps=steps)
    verdict = asked(level, turned, reading("co_ppm", 210.0))
    assert verdict is not None
    assert (verdict.priority, verdict.facts["limit"]) == (P.HIGH, 200.0)
    held = asked(level, turned, reading("co_ppm", 196.0))
    assert held is not None
    assert (held.priority, held.hold) == (P.MEDIUM, P.HIGH)


def test_without_a_fresh_value_nothing_can_be_told() -> None:
    """None before the first value and after the last has gone stale."""
    assert asked(level, LOW_O2, Night(cabin())) is None
    night = reading("o2_pct", 19.0)
    night.air({}, 31.0)
    assert asked(level, LOW_O2, night) is None


@pytest.mark.parametrize("marks", ["?", "+"])
def test_a_doubtful_value_or_a_bound_raises_and_never_clears(marks: str) -> None:
    """Out of its range, or at full scale: good enough to warn, not to reassure."""
    assert says(level, CO, reading("co_ppm", 210.0, marks=marks)) is P.HIGH
    assert asked(level, CO, reading("co_ppm", 10.0, marks=marks)) is None
    assert asked(level, LOW_O2, reading("o2_pct", 20.9, marks=marks)) is None


def test_the_worst_of_all_places_rules_and_names_its_part() -> None:
    """Low oxygen at the ceiling rings though the bunk's is good."""
    night = Night(cabin(keys=["o2_pct", "o2_pct_ceiling"]))
    night.air({"o2_pct": 20.5, "o2_pct_ceiling": 19.2})
    verdict = asked(level, LOW_O2, night)
    assert verdict is not None
    assert verdict.priority is P.HIGH
    assert verdict.evidence == {
        "series": "o2_pct_ceiling",
        "value": 19.2,
        "limit": 19.5,
        "part": "the-o2_pct_ceiling",
    }
    at_bunk = attrs.evolve(LOW_O2, place="")
    assert says(level, at_bunk, night) is None


def test_nobody_breathes_outside_or_the_glass() -> None:
    """A level rule for sleepers passes over the other side of the wall."""
    cold = Params("temp_c", "below", [LevelStep(4.0, "low")])
    night = Night(cabin(keys=["temp_c", "temp_c_outside", "temp_c_glass"]))
    night.air({"temp_c": 18.0, "temp_c_outside": -9.0, "temp_c_glass": 1.0})
    assert says(level, cold, night) is None


def test_the_sentence_gets_the_numbers_of_the_gravest_step() -> None:
    """The limit that was reached, the value, and how far beyond the first limit."""
    verdict = asked(level, CO, reading("co_ppm", 210.0))
    assert verdict is not None
    assert verdict.facts == {"co_ppm": 210.0, "limit": 200.0}
    assert (verdict.severity, verdict.wording) == (180.0, "")
    low = asked(level, LOW_O2, reading("o2_pct", 17.5))
    assert low is not None
    assert low.facts == {"o2_pct": 17.5, "limit": 18.0}
    assert (low.severity, low.wording) == (2.0, "deep")
    first = asked(level, LOW_O2, reading("o2_pct", 18.1))
    assert first is not None
    assert first.wording == ""


def test_the_dead_band_has_numbers_too() -> None:
    """Rung anew in the dead-band, the sentence says what is the case."""
    verdict = asked(level, CO, reading("co_ppm", 196.0))
    assert verdict is not None
    assert verdict.facts["limit"] == 70.0
    held = asked(level, LOW_O2, reading("o2_pct", 19.6))
    assert held is not None
    assert held.facts == {"o2_pct": 19.6, "limit": 19.5}


def silent_bunk(o2_pct: float = 19.2, keys: str = "o2_pct o2_pct_ceiling") -> Night:
    night = Night(cabin(o2_low(), keys=keys.split()))
    good = {key: 20.9 for key in keys.split() if key != "o2_pct"}
    night.air(good | {"o2_pct": 20.9})
    night.hold(good | {"o2_pct": o2_pct}, 20.0)
    night.hold(good, 40.0)
    return night


def test_a_place_that_fell_silent_in_alarm_holds_it() -> None:
    """The bunk's part died at 19.2 %: good air at the ceiling is not the bunk's."""
    night = silent_bunk()
    verdict = asked(level, LOW_O2, night)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, P.HIGH)
    night.hold({"o2_pct_ceiling": 20.9}, 600.0)
    assert night.now_in() == "unacknowledged"


def test_it_holds_for_half_an_hour_and_then_the_rest_of_the_cabin_speaks() -> None:
    """A part that is dead for good must not ring all night; its fault is told."""
    night = silent_bunk()
    spoke_s = night.now - 40.0
    night.hold({"o2_pct_ceiling": 20.9}, SILENT_COUNTS_S - 40.0)
    verdict = asked(level, LOW_O2, night)
    assert night.now - spoke_s == SILENT_COUNTS_S
    assert verdict is not None
    assert verdict.hold is P.HIGH
    night.hold({"o2_pct_ceiling": 20.9}, 100.0)
    assert night.now_in() == "latched-unacknowledged"


def test_a_fellow_at_the_same_place_speaks_for_a_silent_part() -> None:
    """Two parts at the bunk: one alive is enough."""
    night = Night(cabin(keys=["o2_pct__a", "o2_pct__b"]))
    night.air({"o2_pct__a": 19.2, "o2_pct__b": 20.9})
    night.hold({"o2_pct__b": 20.9}, 40.0)
    verdict = asked(level, LOW_O2, night)
    assert verdict is not None
    assert verdict.hold is None


def test_a_place_that_fell_silent_in_good_air_holds_nothing() -> None:
    """And one that never spoke does not either."""
    assert says(level, LOW_O2, silent_bunk(20.8)) is None
    verdict = asked(level, LOW_O2, silent_bunk(20.8))
    assert verdict is not None
    assert verdict.hold is None
    never = Night(cabin(keys=["o2_pct", "o2_pct_ceiling"]))
    never.air({"o2_pct": 20.9})
    verdict = asked(level, LOW_O2, never)
    assert verdict is not None
    assert verdict.hold is None


def test_silence_raises_nothing_by_itself() -> None:
    """What was never raised is not raised by a part that went silent."""
    night = Night(cabin(o2_low(on_delay_s=60.0), keys=["o2_pct", "o2_pct_ceiling"]))
    night.air({"o2_pct": 19.2, "o2_pct_ceiling": 20.9})
    night.hold({"o2_pct_ceiling": 20.9}, 600.0)
    assert night.transitions() == []


def test_the_silent_side_counts_above_too() -> None:
    """CO at the bunk was 150 ppm when its part died: `medium` may stand on."""
    night = Night(cabin(keys=["co_ppm", "co_ppm_ceiling"]))
    night.air({"co_ppm": 150.0, "co_ppm_ceiling": 0.0})
    night.hold({"co_ppm_ceiling": 28.0}, 40.0)
    verdict = asked(level, CO, night)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, P.MEDIUM)


def test_a_silent_places_last_value_is_no_mean() -> None:
    """6 000 ppm as it died is `low`; `medium` would want eight hours of it."""
    night = Night(cabin(keys=["co2_ppm", "co2_ppm_ceiling"]))
    night.air({"co2_ppm": 6000.0, "co2_ppm_ceiling": 600.0})
    night.hold({"co2_ppm_ceiling": 600.0}, 40.0)
    verdict = asked(level, CO2, night)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, P.LOW)


def test_oxygens_sentence_says_how_fast_it_moves_and_no_other_gas_does() -> None:
    """Whether it still falls decides what a sleeper does."""
    trend = SimpleNamespace(o2_rate_pct_per_h=(-4.0, -3.0, -2.0))
    for key, value, params in (("o2_pct", 19.0, LOW_O2), ("co_ppm", 90.0, CO)):
        night = reading(key, value)
        history = replace(night.state.history, trend=trend)
        verdict = level.judge(params, history, night.now)
        assert verdict is not None
        rate = -3.0 if key == "o2_pct" else None
        assert verdict.facts.get("rate_pct_per_h") == rate
        assert verdict.facts[key] == value


def test_a_spare_series_at_another_place_changes_no_verdict() -> None:
    """With every place alive the silent ones are not asked."""
    night = Night(cabin(keys=["o2_pct", "o2_pct_ceiling"]))
    night.air({"o2_pct": 19.6, "o2_pct_ceiling": 20.9})
    verdict = asked(level, LOW_O2, night)
    assert verdict is not None
    assert verdict.hold is P.HIGH


def test_a_good_reading_at_another_moment_counts_for_its_own_series() -> None:
    """An event without air does not make an old value new, or stale too soon."""
    night = play("19.2")
    night.take(SourceOk("cell"), 29.0)
    assert says(level, LOW_O2, night) is P.HIGH
    night.air({}, 2.0)
    assert asked(level, LOW_O2, night) is None
