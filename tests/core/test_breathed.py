"""What bodies meet in thin air, and in air that is poor in oxygen."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.air.blood import CHILD, REST, at_air, breathe
from cabinvigil.daemon.core.breathed import air_hpa, bodies
from cabinvigil.daemon.core.layout import Surroundings
from tests.core.scenario import Night, cabin, series

HIGH_UP = Surroundings(altitude_m=2500.0, others={"child": CHILD})


def test_the_pressure_is_measured_else_that_of_the_height_else_unknown() -> None:
    """A part in doubt is passed over."""
    night = Night(cabin(keys=["pressure_hpa"], surroundings=HIGH_UP))
    assert air_hpa(night.state.history) == pytest.approx(746.8, abs=0.1)
    night.air({"pressure_hpa": 731.0})
    assert air_hpa(night.state.history) == 731.0
    night.air({"pressure_hpa": 900.0}, doubtful=["pressure_hpa"])
    assert air_hpa(night.state.history) == pytest.approx(746.8, abs=0.1)
    assert air_hpa(Night(cabin(keys=["co_ppm"])).state.history) is None


def test_without_height_and_oxygen_bodies_breathe_at_the_sea() -> None:
    """What nobody knows is what check_values took."""
    assert bodies(Night(cabin(keys=["co_ppm"])).state.history) == (REST, {})


def test_the_least_oxygen_that_may_be_believed_counts() -> None:
    """Of two places the worse; a doubtful one not at all."""
    night = Night(cabin(keys=["o2_pct", "o2_pct_ceiling"], surroundings=HIGH_UP))
    hpa = air_hpa(night.state.history) or 0.0
    night.air({"o2_pct": 19.9, "o2_pct_ceiling": 19.1})
    expected = at_air(REST, hpa, 19.1), {"child": at_air(CHILD, hpa, 19.1)}
    assert bodies(night.state.history) == expected
    night.air({"o2_pct": 19.9, "o2_pct_ceiling": 3.0}, doubtful=["o2_pct_ceiling"])
    assert bodies(night.state.history)[0] == at_air(REST, hpa, 19.9)


def test_the_dose_grows_faster_where_the_air_is_thin() -> None:
    """Two hours at 100 ppm, at the sea and at 2 500 m: measured oxygen tells."""
    doses = []
    for surroundings in (Surroundings(), Surroundings(altitude_m=2500.0)):
        night = Night(cabin(keys=["co_ppm", "o2_pct"], surroundings=surroundings))
        night.hold({"co_ppm": 100.0, "o2_pct": 20.0}, 7200.0, 60.0)
        doses.append(night.state.history.dose.cohb_pct)
    low, high = doses
    assert low == pytest.approx(
        breathe(0.75, 100.0, 7200.0, at_air(REST, 1013.25, 20.0)), rel=1e-6
    )
    assert high > 1.03 * low


MADE = replace(series("o2_hpa"), made_of="o2_pct")


def test_the_partial_pressure_that_no_part_gives_is_worked_out() -> None:
    """Of oxygen and of the pressure measured with it, else of the height's."""
    keys = ["o2_pct", "pressure_hpa", MADE]
    night = Night(cabin(keys=keys, surroundings=HIGH_UP))
    night.air({"o2_pct": 20.0})
    made = night.state.history.value("o2_hpa")
    assert made == pytest.approx(0.2 * 746.8, abs=0.05)
    night.air({"o2_pct": 20.0, "pressure_hpa": 730.0})
    assert night.state.history.value("o2_hpa") == 146.0
    night.air({"o2_pct": 19.0}, doubtful=["o2_pct"])
    assert night.state.history.series["o2_hpa"].doubtful
    night.air({"pressure_hpa": 730.0}, 31.0)
    assert night.state.history.value("o2_hpa") is None, "as old as its oxygen"


def test_without_any_pressure_nothing_is_made_of_oxygen() -> None:
    """The percent are judged all the same."""
    night = Night(cabin(keys=["o2_pct", MADE]))
    night.air({"o2_pct": 20.0})
    assert night.state.history.value("o2_hpa") is None
