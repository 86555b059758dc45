"""How far a galvanic cell may be off while its temperature runs.

1.25 % of oxygen for each kelvin a minute: `drivers/kit/air_span.py`.
"""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from cabinvigil.daemon.core.history import History, Series, begin
from cabinvigil.daemon.core.layout import Layout
from cabinvigil.daemon.core.warmth import least_true, moved_by, off_by
from tests.core.scenario import series

NOW_S = 3600.0
CELL = {"warmth": "temp_c", "off_per_k_min": 1.25}


def air(temps: Iterable[float], **values: float) -> History:
    """What is known, the warmth minute by minute up to now."""
    keys = {"o2_pct": CELL, "temp_c": {}, "co2_ppm": {}, "rh_pct": {}, "o2_hpa": {}}
    keys["pressure_hpa"] = {}
    keys["o2_hpa"] = {"warmth": "temp_c", "off_per_k_min": 12.5}
    specs: dict[str, Any] = {key: series(key, **more) for key, more in keys.items()}
    history = begin(Layout(specs), NOW_S)
    warm = list(temps)
    minutes = tuple(
        (NOW_S - 60.0 * (len(warm) - n), temp_c) for n, temp_c in enumerate(warm)
    )
    known = {key: Series(value, NOW_S) for key, value in values.items()}
    known["temp_c"] = Series(warm[-1], NOW_S, minutes=minutes)
    return replace(history, series={**history.series, **known})


def ramp(k_min: float, minutes: int = 20, then: int = 0) -> list[float]:
    """A warmth that runs, and then stands."""
    run = [k_min * n for n in range(minutes + 1)]
    return run + [run[-1]] * then


@pytest.mark.parametrize(
    ("temps", "off_pct"),
    [
        ([15.0] * 40, 0.0),
        (ramp(0.04), 0.0),  # 3 K an hour counts for nothing
        (ramp(0.5), 0.625),
        (ramp(-0.5), 0.625),
        (ramp(0.5, then=25), 0.625),  # the slower end of the cell still follows
        (ramp(0.5, then=35), 0.0),
        ([15.0] * 4, 0.0),  # too little is known
    ],
)
def test_a_cell_is_off_by_how_fast_its_warmth_ran(
    temps: list[float], off_pct: float
) -> None:
    """At its fastest over five minutes of the last thirty."""
    assert off_by(air(temps, o2_pct=20.0), "o2_pct") == pytest.approx(off_pct)


def test_what_rose_and_fell_has_moved_it_twice() -> None:
    """From the one side to the other; a rise alone from nothing to one side."""
    up_and_down = [*ramp(0.5, 10), *(5.0 - 0.5 * n for n in range(1, 11))]
    assert moved_by(air(up_and_down, o2_pct=20.0), "o2_pct") == pytest.approx(1.25)
    assert moved_by(air(ramp(0.5), o2_pct=20.0), "o2_pct") == pytest.approx(0.625)


def test_other_parts_are_not_off() -> None:
    """An optical disc has no membrane; and where no warmth is known none can run."""
    history = air(ramp(1.0), o2_pct=20.0, rh_pct=60.0)
    assert off_by(history, "rh_pct") == moved_by(history, "rh_pct") == 0.0
    lost = replace(
        history, series={k: v for k, v in history.series.items() if k != "temp_c"}
    )
    assert off_by(lost, "o2_pct") == 0.0


WET = {"rh_pct": 60.0, "pressure_hpa": 1000.0}


@pytest.mark.parametrize(
    ("o2_pct", "co2_ppm", "least"),
    [
        # The air holds no less than its CO2 says: 20.95 % less 1.9 times 575 ppm, wet.
        (20.6, 1000.0, 20.55),
        (20.0, 1000.0, 20.0),  # what is shown is never raised
        (20.2, 9000.0, 19.575),  # 1.9 times 8575 ppm leave less than that
        (20.2, 5000.0, 19.80),
    ],
)
def test_the_least_is_bounded_by_what_carbon_dioxide_leaves(
    o2_pct: float, co2_ppm: float, least: float
) -> None:
    """By hand: 1.9 moles of oxygen a mole, 1.4 % of vapour at 20 °C and 60 %."""
    temps = ramp(0.5, 40)
    history = air(temps, o2_pct=o2_pct, co2_ppm=co2_ppm, **WET)
    assert least_true(history, "o2_pct") == pytest.approx(least, abs=0.02)
    history = air(temps, o2_hpa=10.0 * o2_pct, co2_ppm=co2_ppm, **WET)
    assert least_true(history, "o2_hpa") == pytest.approx(10.0 * least, abs=0.2)


def test_unknown_vapour_leaves_less() -> None:
    """2.4 moles a mole as breathed: 20.95 less 1.10."""
    history = air(ramp(0.5, 40), o2_pct=20.2, co2_ppm=5000.0)
    assert least_true(history, "o2_pct") == pytest.approx(19.85, abs=0.01)


def test_carbon_dioxide_in_doubt_counts() -> None:
    """Below -10 °C its part is out of its range, as the cell itself is in the cold."""
    history = air(ramp(0.5, 40), o2_pct=20.2, co2_ppm=9000.0, **WET)
    cold = replace(history.series["co2_ppm"], doubtful=True)
    history = replace(history, series={**history.series, "co2_ppm": cold})
    assert least_true(history, "o2_pct") == pytest.approx(19.575, abs=0.02)


@pytest.mark.parametrize(
    ("ppm_min", "ahead_ppm"), [(500.0, 500.0), (0.0, 0.0), (-500.0, 0.0)]
)
def test_carbon_dioxide_that_rises_is_ahead_of_its_part(
    ppm_min: float, ahead_ppm: float
) -> None:
    """By what it rises in the part's lag, here a minute; what falls takes off nothing.

    A burner in a shut cabin of 11 m3: the part then is 0.1 % of oxygen behind.
    """
    warm = [temp_c - 40.0 for temp_c in ramp(1.5, 40)]  # off by 1.9 % at the most
    history = air(warm, o2_pct=20.2, co2_ppm=8000.0, **WET)
    layout = Layout({**history.layout.series, "co2_ppm": series("co2_ppm", lag_s=60.0)})
    minutes = tuple(
        (NOW_S - 60.0 * ago, 8000.0 - ppm_min * ago) for ago in range(20, 0, -1)
    )
    rising = replace(history.series["co2_ppm"], minutes=minutes)
    known = {**history.series, "co2_ppm": rising}
    history = replace(history, layout=layout, series=known)
    wet = 1.0 - 0.6 * 23.39 / 1000.0
    left_pct = (20.946 - 1.9 * (8000.0 + ahead_ppm - 425.0) / 1e4) * wet
    assert least_true(history, "o2_pct") == pytest.approx(left_pct, abs=0.02)


def test_without_carbon_dioxide_what_is_shown_stands() -> None:
    """A cell alone would ring in each cabin that is heated."""
    assert least_true(air(ramp(0.5, 40), o2_pct=20.2), "o2_pct") == 20.2
    thin = air(ramp(0.5, 40), o2_hpa=202.0, co2_ppm=5000.0)
    assert least_true(thin, "o2_hpa") == 202.0
