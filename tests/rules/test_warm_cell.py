"""An oxygen cell whose warmth runs: what the rules make of it.

It may be off by 1.25 % for each kelvin a minute (`drivers/kit/air_span.py`).
"""

from typing import Any

import pytest

from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.rules import disagree, implausible, level, rate
from tests.core.scenario import Night, cabin, series
from tests.rules.asked import asked

LOW = level.Params(
    "o2_pct",
    "below",
    [level.LevelStep(19.5, "high"), level.LevelStep(18.0, "high")],
    dead_band=0.2,
)
FALLING = rate.Params("o2_pct", "below", 3.0, 19.5, 900.0)
CELL = {"warmth": "temp_c", "off_per_k_min": 1.25}


def night(k_min: float, o2_pct: float, per_h: float = 0.0, **air: float) -> Night:
    """A quarter of an hour in which the cabin warms, and what is then shown."""
    keys = ["temp_c", "co2_ppm", "rh_pct", "pressure_hpa"]
    cells = [series("o2_pct__a", **CELL), series("o2_pct__b")]
    played = Night(cabin(keys=[*keys, *cells]))
    known = {"co2_ppm": 9000.0, "rh_pct": 60.0, "pressure_hpa": 940.0}
    other = air.pop("other_pct", o2_pct)
    for tick in range(91):
        now_h = (tick - 90) / 360.0
        fallen = o2_pct + per_h * now_h
        played.air(
            {
                **{key: air.get(key, value) for key, value in known.items()},
                "temp_c": k_min * tick / 6.0,
                "o2_pct__a": fallen,
                "o2_pct__b": max(other, fallen),
            }
        )
    return played


def verdict(module: Any, params: Any, played: Night) -> Verdict:
    found = asked(module, params, played)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("k_min", "shown", "co2_ppm", "rings"),
    [
        (0.0, 19.6, 9000.0, False),
        (0.0, 19.5, 9000.0, True),
        (0.5, 20.0, 9000.0, True),  # 0.62 less may be true
        (0.5, 20.2, 9000.0, False),
        (0.5, 20.0, 1000.0, False),  # so little CO2 goes with 20.6 % and more
        (0.5, 19.5, 1000.0, True),  # another gas: what is shown always counts
    ],
)
def test_oxygen_rings_by_the_least_that_may_be_true(
    k_min: float, shown: float, co2_ppm: float, rings: bool
) -> None:
    """A warming cell may show too much; CO2 tells whether it can."""
    played = night(k_min, shown, co2_ppm=co2_ppm, other_pct=21.0)
    said = verdict(level, LOW, played)
    assert (said.priority is Priority.HIGH) is rings


def test_the_sentence_tells_a_cell_that_warms() -> None:
    """It names what is shown, as any message; the evidence has the least."""
    said = verdict(level, LOW, night(0.5, 20.0))
    assert said.wording == "warming"
    assert said.facts["o2_pct"] == said.evidence["value"] == 20.0
    assert said.evidence["least"] == pytest.approx(19.375, abs=0.01)
    assert verdict(level, LOW, night(0.5, 19.4)).wording == ""


@pytest.mark.parametrize(("k_min", "rings"), [(0.0, True), (0.5, False)])
def test_a_fall_that_its_warmth_explains_is_none(k_min: float, rings: bool) -> None:
    """5 % an hour for ten minutes are 0.83 %, of which 0.62 may be the cell's."""
    said = verdict(rate, FALLING, night(k_min, 20.0, -5.0))
    assert (said.priority is Priority.MEDIUM) is rings


def test_a_fast_fall_rings_while_it_warms_too() -> None:
    """8 % an hour is more than the warmth explains."""
    said = verdict(rate, FALLING, night(0.5, 20.0, -8.0))
    assert said.priority is Priority.MEDIUM


@pytest.mark.parametrize(("k_min", "rings"), [(0.0, True), (0.5, False)])
def test_a_cell_that_warms_may_read_high(k_min: float, rings: bool) -> None:
    """21.9 % where 20.95 is the most: 0.25 beyond its margin."""
    params = implausible.Params("o2_pct__a")
    said = verdict(implausible, params, night(k_min, 21.9, co2_ppm=420.0))
    assert (said.priority is not None) is rings


@pytest.mark.parametrize(("k_min", "rings"), [(0.0, True), (0.5, False)])
def test_a_cell_that_warms_may_differ(k_min: float, rings: bool) -> None:
    """1.2 % from an optical part's, where two may be 0.8 apart."""
    played = night(k_min, 19.6, other_pct=20.8)
    said = verdict(disagree, disagree.Params("o2_pct"), played)
    assert (said.priority is not None) is rings
