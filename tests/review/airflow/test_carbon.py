"""CO2 beyond the end of its part's range, told from the oxygen that went with it.

Stoichiometry by hand: propane takes 5 O2 for 3 CO2; the dry oxygen falls by
5/3 - 0.2095 (5/3 - 1) = 1.527 of the CO2 that came, and by 1.14 for breath at 0.85.
"""

import math
from random import Random

import pytest

from cabinvigil.daemon.review.airflow.carbon import _beyond, _line, still

FRESH_PCT, OUTDOOR_PPM, FLAME = 20.93, 425.0, 1.527
END_PPM = 5000.0
COUNT = 400


def climb() -> list[float]:
    """Up to some 9,500 ppm and down again."""
    return [OUTDOOR_PPM + 9000.0 * math.sin(math.pi * n / COUNT) for n in range(COUNT)]


def oxygen(ppm: list[float], per_co2: float, noise_pct: float = 0.02) -> list[float]:
    random = Random(3)
    return [
        FRESH_PCT - 1e-4 * per_co2 * (one - OUTDOOR_PPM) + random.gauss(0.0, noise_pct)
        for one in ppm
    ]


def hidden(ppm: list[float]) -> list[float | None]:
    return [one if one < END_PPM else None for one in ppm]


@pytest.mark.parametrize("per_co2", [1.45, FLAME])
def test_what_is_beyond_the_range_is_told_from_oxygen(per_co2: float) -> None:
    """Within a tenth, and within three times the doubt that is told."""
    ppm = climb()
    o2 = oxygen(ppm, per_co2)
    found = _beyond(hidden(ppm), o2, {}, OUTDOOR_PPM, FLAME)
    assert set(found) == {n for n, one in enumerate(ppm) if one >= END_PPM}
    for n, (told, doubt) in found.items():
        excess = ppm[n] - OUTDOOR_PPM
        assert told - OUTDOOR_PPM == pytest.approx(excess, rel=0.1)
        assert abs(told - ppm[n]) < 3.0 * doubt * excess
        assert 0.05 < doubt < 0.12


def test_readings_lost_at_little_co2_stay_lost() -> None:
    """Their part did not end there: its own readings before and after say more."""
    ppm = climb()
    told: list[float | None] = list(ppm)
    told[20:30] = [None] * 10
    assert _beyond(told, oxygen(ppm, FLAME), {}, OUTDOOR_PPM, FLAME) == {}


def test_oxygen_that_goes_to_another_gas_tells_no_co2() -> None:
    """It falls by a percent while CO2 stays; and a cell that stands tells none."""
    ppm = climb()
    leaking = [20.9 - 0.005 * n for n in range(COUNT)]
    assert _line(hidden(ppm), leaking, OUTDOOR_PPM, FLAME) is None
    assert _line(hidden(ppm), [20.9] * COUNT, OUTDOOR_PPM, FLAME) is None
    assert _beyond(hidden(ppm), [20.9] * COUNT, {}, OUTDOOR_PPM, FLAME) == {}


def test_a_marked_end_that_oxygen_denies_stays_a_bound() -> None:
    """The part says more than 5,000 ppm, oxygen says 3,000: neither is believed."""
    ppm = [3000.0] * COUNT
    told: list[float | None] = [3000.0] * 300 + [None] * 100
    full = dict.fromkeys(range(300, 400), END_PPM)
    assert _beyond(told, oxygen(ppm, FLAME), full, OUTDOOR_PPM, FLAME) == {}


def test_a_series_that_stands_still_is_no_reading() -> None:
    assert still([1.0, 2.0] + [3.0] * 12 + [4.0]) == [(2, 14)]
    assert still([None] * 20) == []
