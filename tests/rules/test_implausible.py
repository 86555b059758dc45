"""What cannot be, given what else is known of the same air.

Vapour from the saturation tables behind daemon/air/moisture.py (ASHRAE 2017, held in
tests/air); pressures by ISO 2533; the parts' figures from the sensors sheet.
"""

from dataclasses import replace
from typing import Any

import pytest

from cabinvigil.daemon.core.layout import Surroundings
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.rules import implausible
from cabinvigil.daemon.rules.implausible import Params
from tests.core.scenario import Night, cabin, series
from tests.rules.asked import asked

FAULT, MEDIUM = Priority.FAULT, Priority.MEDIUM
KEYS = [
    *("o2_pct", "co2_ppm", "co_ppm", "temp_c", "rh_pct", "pressure_hpa"),
    *("supply_v", "supply_a", "o2_pct_ceiling", "temp_c_ceiling", "temp_c_outside"),
    replace(series("o2_hpa"), part="the-o2_pct"),
]
FELLOWS = {"o2_pct_upper": 20.7, "co_ppm_upper": 0.0}


def told(
    subject: str,
    values: dict[str, float],
    *,
    altitude_m: float | None = None,
    **marks: Any,
) -> Verdict | None:
    """What is said where another part gives the same, so that nobody is woken."""
    keys = [*KEYS, *FELLOWS]
    night = Night(cabin(keys=keys, surroundings=Surroundings(altitude_m)))
    night.air(FELLOWS | values, **marks)
    return asked(implausible, Params(subject), night)


def raised(subject: str, values: dict[str, float], **how: Any) -> tuple[Any, str]:
    verdict = told(subject, values, **how)
    assert verdict is not None
    return verdict.priority, verdict.wording if verdict.priority else ""


def test_no_air_holds_more_oxygen_than_its_vapour_leaves_room_for() -> None:
    """Saturated air of 25 °C and 1013 hPa: 31.7 hPa of vapour leave 20.3 % (design)."""
    wet = {"temp_c": 25.0, "rh_pct": 100.0, "pressure_hpa": 1013.25}
    assert raised("o2_pct", wet | {"o2_pct": 20.3}) == (None, "")
    assert raised("o2_pct", wet | {"o2_pct": 20.95}) == (None, "")
    assert raised("o2_pct", wet | {"o2_pct": 21.0}) == (FAULT, "rich")
    dry = wet | {"temp_c": 0.0, "rh_pct": 0.0}
    assert raised("o2_pct", dry | {"o2_pct": 21.6}) == (None, "")
    assert raised("o2_pct", dry | {"o2_pct": 21.7}) == (FAULT, "rich")


@pytest.mark.parametrize(
    ("co2_ppm", "most_pct"),
    [
        # 20.95 - 0.9 * (0.95 * CO2 - 50 - 425) / 1e4, and the margin of 0.7.
        (425.0, 21.65),
        (5_000.0, 21.26),
        (10_000.0, 20.84),
        (20_000.0, 19.98),
        (40_000.0, 18.27),
    ],
)
def test_oxygen_goes_for_the_carbon_dioxide_that_comes(
    co2_ppm: float, most_pct: float
) -> None:
    """Nothing breathes or burns that takes less than 0.9 for one (quotient 1.0)."""
    air = {"co2_ppm": co2_ppm}
    assert raised("o2_pct", air | {"o2_pct": most_pct - 0.02}) == (None, "")
    assert raised("o2_pct", air | {"o2_pct": most_pct + 0.02})[1] == "rich"


@pytest.mark.parametrize("co2_ppm", [500.0, 4_000.0, 9_000.0, 20_000.0, 45_000.0])
@pytest.mark.parametrize(
    ("gone_per_co2", "what"),
    [
        (1.0, "breath that burns sugars alone: quotient 1.0 (from memory)"),
        (1.16, "a mixed diet: 0.83 to 0.86, taken in ASHRAE 62.1"),
        (1.53, "propane, C3H8 + 5 O2 = 3 CO2 + 4 H2O, with its net moles"),
        (1.83, "methane, CH4 + 2 O2 = CO2 + 2 H2O, likewise"),
    ],
)
@pytest.mark.parametrize(
    ("o2_off", "co2_off"), [(0.6, 0.0), (0.5, 0.05), (-0.6, -0.05)]
)
def test_good_parts_in_any_air_are_not_called_too_high(
    co2_ppm: float, gone_per_co2: float, what: str, o2_off: float, co2_off: float
) -> None:
    """Whatever made the carbon dioxide, and each part at the end of its accuracy."""
    true_pct = 20.95 - gone_per_co2 * (co2_ppm - 425.0) / 1e4
    seen = {"o2_pct": true_pct + o2_off, "co2_ppm": co2_ppm * (1.0 + co2_off) + 50.0}
    assert raised("o2_pct", seen) == (None, ""), what


def test_a_cell_that_no_longer_follows_wakes_people_by_then() -> None:
    """The last oxygen part: a propane flame has taken 1.4 % and the cell shows none.

    Nor does another one of the same age vouch for it; one that follows does.
    """
    night = Night(cabin(keys=["o2_pct", "co2_ppm"]))
    night.air({"o2_pct": 20.7, "co2_ppm": 13_000.0})
    verdict = asked(implausible, Params("o2_pct"), night)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (MEDIUM, "rich")
    for fellow_pct, weighs in ((20.9, MEDIUM), (19.4, FAULT)):
        night = Night(cabin(keys=["o2_pct", "o2_pct_upper", "co2_ppm"]))
        night.air({"o2_pct": 20.7, "o2_pct_upper": fellow_pct, "co2_ppm": 13_000.0})
        verdict = asked(implausible, Params("o2_pct"), night)
        assert verdict is not None
        assert verdict.priority is weighs


@pytest.mark.parametrize("how", ["doubtful", "silent"])
def test_carbon_dioxide_that_is_not_known_tells_nothing_of_oxygen(how: str) -> None:
    """A part that warms up may show anything; one that is gone shows nothing."""
    air = {"o2_pct": 20.9} | ({} if how == "silent" else {"co2_ppm": 20_000.0})
    night = Night(cabin(keys=["o2_pct", "co2_ppm"]))
    night.air(air, doubtful=["co2_ppm"] if how == "doubtful" else [])
    verdict = asked(implausible, Params("o2_pct"), night)
    assert verdict is not None
    assert verdict.priority is None


def test_without_humidity_the_bound_is_that_of_dry_air() -> None:
    """20.95 % and the margin; nobody is told on what is not known."""
    assert raised("o2_pct", {"o2_pct": 21.6}) == (None, "")
    assert raised("o2_pct", {"o2_pct": 21.7}) == (FAULT, "rich")


def test_a_part_at_another_place_is_judged_by_the_air_there_or_at_the_bunk() -> None:
    """The ceiling has a thermometer, and no hygrometer."""
    air = {"rh_pct": 100.0, "pressure_hpa": 1013.25, "o2_pct_ceiling": 20.9}
    warm = air | {"temp_c": 10.0, "temp_c_ceiling": 30.0}
    assert raised("o2_pct_ceiling", warm) == (FAULT, "rich")
    cool = air | {"temp_c": 30.0, "temp_c_ceiling": 10.0}
    assert raised("o2_pct_ceiling", cool) == (None, "")


def test_oxygen_must_be_its_own_pressure_over_the_airs() -> None:
    """196 hPa of 939 are 20.87 %; a barometer at sea level makes it 19.34."""
    air = {"o2_pct": 20.87, "o2_hpa": 196.0}
    assert raised("o2_pct", air | {"pressure_hpa": 939.0}) == (None, "")
    assert raised("o2_pct", air | {"pressure_hpa": 1013.25}) == (FAULT, "pressure")
    assert raised("o2_pct", air) == (None, "")
    doubtful = air | {"pressure_hpa": 1013.25}
    assert raised("o2_pct", doubtful, doubtful=["pressure_hpa"]) == (None, "")


def test_another_parts_pressure_goes_before_its_own() -> None:
    """A part that takes its own wrong pressure agrees with itself and with no other."""
    own = replace(series("pressure_hpa__one"), part="the-o2_pct")
    other = replace(series("pressure_hpa__two"), part="baro")
    keys = [*KEYS[:5], own, other, KEYS[-1], "o2_pct_ceiling"]
    night = Night(cabin(keys=keys))
    air = {"o2_pct": 20.87, "o2_hpa": 196.0, "pressure_hpa__one": 939.0}
    air["o2_pct_ceiling"] = 20.7
    night.air(air)
    verdict = asked(implausible, Params("o2_pct"), night)
    assert verdict is not None
    assert verdict.priority is None
    night.air(air | {"pressure_hpa__two": 1000.0})
    verdict = asked(implausible, Params("o2_pct"), night)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (FAULT, "pressure")
    assert verdict.facts["value"] == pytest.approx(20.87 - 19.6, abs=0.01)


@pytest.mark.parametrize(
    ("pressure_hpa", "is_told"),
    [(938.8, False), (990.0, False), (885.0, False), (1013.25, True), (870.0, True)],
)
def test_a_pressure_must_fit_the_height(pressure_hpa: float, is_told: bool) -> None:
    """640 m: 938.8 hPa (ISO 2533); weather moves it by less than 60."""
    air = {"pressure_hpa": pressure_hpa}
    wanted = (FAULT, "altitude") if is_told else (None, "")
    assert raised("pressure_hpa", air, altitude_m=640.0) == wanted
    assert told("pressure_hpa", air) is None


def test_less_carbon_dioxide_than_outdoors_is_a_moved_baseline() -> None:
    """Sensors sheet, 14, row 26: below 380 ppm; held up to 390."""
    assert raised("co2_ppm", {"co2_ppm": 420.0}) == (None, "")
    assert raised("co2_ppm", {"co2_ppm": 380.0}) == (None, "")
    assert raised("co2_ppm", {"co2_ppm": 379.0}) == (FAULT, "baseline")
    held = told("co2_ppm", {"co2_ppm": 385.0})
    assert held is not None
    assert (held.priority, held.hold) == (None, FAULT)


def test_carbon_monoxide_while_the_battery_gasses_may_be_hydrogen() -> None:
    """Told low beside the gas's own alarms, which nothing here holds back."""
    charging = {"supply_v": 14.4, "supply_a": 8.0}
    verdict = told("co_ppm", {"co_ppm": 20.0} | charging)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (Priority.LOW, "hydrogen")
    assert verdict.facts == {"part": "the-co_ppm", "value": 20.0, "unit": "ppm"}
    for calm in (
        {"supply_v": 13.9, "supply_a": 8.0},  # it floats
        {"supply_v": 14.4, "supply_a": -0.4},
        {"supply_v": 14.4},
        {},
    ):
        assert raised("co_ppm", {"co_ppm": 20.0} | calm) == (None, "")
    assert raised("co_ppm", {"co_ppm": 2.0} | charging) == (None, "")


@pytest.mark.parametrize("co_ppm", [30.0, 31.0, 70.0, 400.0])
def test_what_the_alarm_standards_ring_for_is_never_called_hydrogen(
    co_ppm: float,
) -> None:
    """EN 50291-1 begins at 30 ppm: whoever believes in hydrogen opens no window."""
    charging = {"supply_v": 15.5, "supply_a": 20.0}
    assert raised("co_ppm", {"co_ppm": co_ppm} | charging) == (None, "")


@pytest.mark.parametrize(
    ("volts", "temps", "gasses"),
    [
        (14.1, {}, True),
        (14.1, {"temp_c": 25.0}, True),
        (14.1, {"temp_c": 35.0}, True),
        (14.1, {"temp_c": 15.0}, False),
        (14.5, {"temp_c": 12.0}, True),
        (14.5, {"temp_c": 12.0, "temp_c_outside": -9.0}, False),
        (15.0, {"temp_c": 12.0, "temp_c_outside": -9.0}, True),
    ],
)
def test_a_cold_battery_gasses_at_more_volts(
    volts: float, temps: dict[str, float], gasses: bool
) -> None:
    """By 4 mV a cell and degree (from memory); the coldest that is known rules."""
    air = {"co_ppm": 20.0, "supply_v": volts, "supply_a": 8.0} | temps
    assert (raised("co_ppm", air)[1] == "hydrogen") is gasses


def test_in_the_cold_a_carbon_monoxide_part_reads_too_little() -> None:
    """Below -10 °C no maker promises anything (sensors sheet, 12 and 14, row 28)."""
    assert raised("co_ppm", {"co_ppm": 0.0, "temp_c": 2.0}) == (None, "")
    assert raised("co_ppm", {"co_ppm": 0.0, "temp_c": -10.5}) == (FAULT, "cold")
    held = told("co_ppm", {"co_ppm": 0.0, "temp_c": -9.5})
    assert held is not None
    assert (held.priority, held.hold) == (None, FAULT)


@pytest.mark.parametrize(
    ("subject", "values", "why"),
    [
        (
            "o2_pct",
            {"o2_pct": 20.9, "o2_hpa": 180.0, "pressure_hpa": 940.0},
            "pressure",
        ),
        ("co_ppm", {"co_ppm": 0.0, "temp_c": -12.0}, "cold"),
    ],
)
def test_what_cannot_be_is_a_loss_where_nothing_else_watches(
    subject: str, values: dict[str, float], why: str
) -> None:
    """As silence is: told as `alone`, with what it was judged on in the evidence."""
    night = Night(cabin(keys=KEYS))
    night.air(values)
    verdict = asked(implausible, Params(subject), night)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (MEDIUM, "alone")
    assert (verdict.hold, verdict.evidence["why"]) == (MEDIUM, why)
    assert verdict.facts["text"] in ("oxygen", "carbon monoxide")


@pytest.mark.parametrize("marks", [{"doubtful": ["o2_pct"]}, {"at_least": ["o2_pct"]}])
def test_what_is_not_relied_on_is_not_judged(marks: dict[str, Any]) -> None:
    """A part that warms up contradicts nobody."""
    assert told("o2_pct", {"o2_pct": 24.0}, **marks) is None
    assert told("o2_pct", {}) is None


def test_a_quantity_without_a_fellow_is_never_implausible() -> None:
    """Temperature, battery and the rest have their own rules."""
    assert raised("temp_c", {"temp_c": 60.0}) == (None, "")
    assert raised("supply_v", {}) == (None, "")


@pytest.mark.parametrize(
    ("co_ppm", "priority"),
    [(-1.3, None), (-1.6, Priority.LOW), (-8.9, Priority.LOW), (-11.9, Priority.LOW)],
)
def test_a_zero_taken_in_foul_air_is_named_and_wakes_nobody(
    co_ppm: float, priority: Priority | None
) -> None:
    """A module zeroed at 9 ppm shows -9 in clean air, and goes on seeing what comes.

    Nothing else measures carbon monoxide, and it counts as watched all the same.
    """
    night = Night(cabin(keys=["co_ppm", "temp_c"]))
    night.air({"co_ppm": co_ppm, "temp_c": 12.0})
    verdict = asked(implausible, Params("co_ppm"), night)
    assert verdict is not None
    assert verdict.priority is priority
    assert verdict.wording == "zero"
    assert night.state.history.is_watched("co_ppm")


def test_the_cold_outweighs_a_foul_zero() -> None:
    """Where the part may be blind, that is told."""
    values = {"co_ppm": -8.9, "temp_c": -12.0}
    assert raised("co_ppm", values) == (FAULT, "cold")
