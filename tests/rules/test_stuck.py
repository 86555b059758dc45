"""A part that repeats one value for longer than a live part does."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.rules import stuck
from cabinvigil.daemon.rules.stuck import Params
from tests.core.scenario import Night, cabin, series
from tests.rules.asked import asked, says

FAULT, MEDIUM = Priority.FAULT, Priority.MEDIUM
KEYS = [
    series("o2_pct", stuck_s=600.0),
    series("co2_ppm", stuck_s=300.0),
    series("rh_pct", stuck_s=600.0),
    series("temp_c", stuck_s=600.0),
    series("co_ppm", stuck_s=600.0),
    series("o2_hpa", stuck_s=600.0, resolution=0.1, noise=0.2),
]
AIR = {"o2_pct": 20.9, "co2_ppm": 800.0, "rh_pct": 50.0, "temp_c": 18.0}


def still(
    minutes: int,
    moving: str = "",
    per_min: float = 0.0,
    keys: Sequence[SeriesSpec] = KEYS,
) -> Night:
    """Everything stands but one quantity."""
    night = Night(cabin(keys=keys))
    for tick in range(6 * minutes + 1):
        values = AIR | {"co_ppm": 0.0, "o2_hpa": 195.0}
        if moving:
            values[moving] += per_min * tick / 6.0
        night.air(values, 10.0)
    return night


def test_a_column_of_a_recording_may_stand_for_six_times_as_long() -> None:
    """Its step is not known: an hour without the least flicker is stuck."""
    assert says(stuck, Params("o2_pct"), still(10)) is None
    assert says(stuck, Params("o2_pct"), still(60)) is None
    verdict = asked(stuck, Params("o2_pct"), still(61))
    assert verdict is not None
    assert verdict.priority is FAULT
    assert verdict.facts == {
        "part": "the-o2_pct",
        "value": 20.9,
        "unit": "%",
        "seconds": 61 * 60.0,
        "text": "oxygen",
    }


def test_a_part_that_flickers_is_stuck_in_minutes() -> None:
    """Its noise exceeds its step: five minutes, or sixty of its intervals."""
    assert says(stuck, Params("o2_hpa"), still(5)) is None
    assert says(stuck, Params("o2_hpa"), still(6)) is FAULT
    slow = [replace(KEYS[-1], interval_s=10.0)]
    assert says(stuck, Params("o2_hpa"), still(10, keys=slow)) is None
    assert says(stuck, Params("o2_hpa"), still(11, keys=slow)) is FAULT


def test_a_quantity_that_protects_life_wakes_people_where_it_is_alone() -> None:
    """Proved dead: its noise exceeds its step, or the air has moved without it."""
    lively = [series("o2_pct", resolution=0.01, noise=0.02)]
    verdict = asked(stuck, Params("o2_pct"), still(6, keys=lively))
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (MEDIUM, "alone")
    two = [*lively, series("o2_pct_ceiling")]
    night = Night(cabin(keys=two))
    for tick in range(16):
        night.air({"o2_pct": 20.9, "o2_pct_ceiling": 20.8 + 0.01 * tick}, 30.0)
    verdict = asked(stuck, Params("o2_pct"), night)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (FAULT, "")


def test_readings_that_come_slowly_are_counted() -> None:
    """One a minute: five alike come by chance, thirteen do not."""
    for readings, wanted in ((6, None), (12, None), (13, FAULT)):
        night = Night(cabin(keys=KEYS))
        for _ in range(readings):
            night.air({"o2_hpa": 195.0}, 60.0)
        assert says(stuck, Params("o2_hpa"), night) is wanted, readings


def test_carbon_monoxide_away_from_zero_is_never_still() -> None:
    """However coarse its part; near zero it rests, for a week at the most."""
    coarse = [series("co_ppm", resolution=0.1, noise=0.05, moves_above=3.0)]
    for value, minutes, wanted in (
        (29.0, 5, None),
        (29.0, 6, MEDIUM),
        (3.0, 600, None),
        (0.0, 7 * 24 * 60, None),
        (0.0, 7 * 24 * 60 + 1, FAULT),
    ):
        night = Night(cabin(keys=coarse))
        for _ in range(13):
            night.air({"co_ppm": value}, 20.0)
        night.air({}, 60.0 * (minutes - 4) - 10.0)
        night.air({"co_ppm": value}, 10.0)
        assert says(stuck, Params("co_ppm"), night) is wanted, (value, minutes)


@pytest.mark.parametrize(("key", "top"), [("co2_ppm", 40_000.0), ("rh_pct", 100.0)])
def test_the_end_of_a_range_is_no_stuck_part(key: str, top: float) -> None:
    """Though another gas moves, and whether its part says 'at least' or not."""
    for spec, marks in (
        (series(key, top=top, resolution=0.1, noise=0.4), []),
        (series(key, resolution=0.1, noise=0.4), [key]),
    ):
        night = Night(cabin(keys=[spec, series("o2_pct"), series("temp_c")]))
        for minute in range(600):
            air = {key: top, "o2_pct": 20.9 - 0.01 * minute, "temp_c": 0.1 * minute}
            night.air(air, 60.0, at_least=marks)
        assert says(stuck, Params(key), night) is None


@pytest.mark.parametrize(("stuck_s", "minutes"), [(600.0, 60), (7200.0, 120)])
def test_a_coarse_part_may_stand_for_an_hour_in_still_air(
    stuck_s: float, minutes: int
) -> None:
    """Or for its own time, where that is longer; not while the air moves.

    Sensors sheet, 'how a wire fails', row 13: 300 s unless every witness is flat too.
    """
    coarse = series("o2_pct", stuck_s=stuck_s, resolution=0.1, noise=0.05)
    keys = [coarse, series("co2_ppm")]
    params = Params("o2_pct")
    assert says(stuck, params, still(minutes, "co2_ppm", 1.0, keys)) is None
    assert says(stuck, params, still(minutes + 1, "co2_ppm", 1.0, keys)) is MEDIUM
    assert says(stuck, params, still(5, "co2_ppm", 500.0, keys)) is None
    assert says(stuck, params, still(6, "co2_ppm", 500.0, keys)) is MEDIUM


@pytest.mark.parametrize(
    ("subject", "witness", "per_min"),
    [
        ("o2_pct", "co2_ppm", 500.0),
        ("o2_hpa", "co2_ppm", 500.0),
        ("co2_ppm", "o2_pct", -0.1),
        ("co2_ppm", "rh_pct", 2.0),
        ("rh_pct", "temp_c", 0.8),
        ("rh_pct", "co2_ppm", 500.0),
    ],
)
def test_what_stands_while_its_witness_moved_is_stuck(
    subject: str, witness: str, per_min: float
) -> None:
    """Oxygen that stands for five minutes while CO2 climbs by thousands is no air."""
    wanted = MEDIUM if subject == "o2_pct" else FAULT
    keys = KEYS if subject != "o2_hpa" else [series("o2_hpa"), *KEYS[1:-1]]
    assert says(stuck, Params(subject), still(5, witness, per_min, keys)) is None
    assert says(stuck, Params(subject), still(6, witness, per_min, keys)) is wanted
    slow = still(6, witness, per_min / 10, keys)
    assert says(stuck, Params(subject), slow) is None


def test_what_has_no_witness_waits() -> None:
    """Carbon monoxide rests at nothing for days, whatever else moves."""
    assert says(stuck, Params("co_ppm"), still(16, "co2_ppm", 500.0)) is None
    assert says(stuck, Params("co_ppm"), still(600)) is None
    assert says(stuck, Params("temp_c"), still(61)) is FAULT


def test_the_signal_of_a_cell_shows_whether_it_lives() -> None:
    """Percent goes on moving with the barometer, or stands in coarser steps."""
    percent = series("o2_pct", resolution=0.01, noise=0.02)
    signal = replace(series("o2_hpa", resolution=0.1, noise=0.2), part=percent.part)
    dead, alive = (Night(cabin(keys=[percent, signal])) for _ in range(2))
    for minute in range(8):
        dead.air({"o2_pct": 20.9 + 0.01 * minute, "o2_hpa": 195.0}, 30.0)
        alive.air({"o2_pct": 20.9, "o2_hpa": 195.0 + 0.1 * minute}, 30.0)
    for night, wanted in ((dead, None), (alive, None)):
        assert says(stuck, Params("o2_pct"), night) is wanted
    dead.air({"o2_pct": 20.99, "o2_hpa": 195.0}, 29.0)
    for _ in range(4):
        dead.air({"o2_pct": 20.98, "o2_hpa": 195.0}, 29.0)
        alive.air({"o2_pct": 20.9, "o2_hpa": 195.0 + 0.1 * minute}, 29.0)
    assert says(stuck, Params("o2_pct"), dead) is MEDIUM
    assert says(stuck, Params("o2_hpa"), dead) is None
    assert says(stuck, Params("o2_pct"), alive) is None


def test_a_witness_that_is_silent_says_nothing() -> None:
    """CO2 moved, and then died: what it said is old."""
    night = Night(cabin(keys=KEYS[:2]))
    for minute in range(20):
        values = {"o2_pct": 20.9}
        if minute < 12:
            values["co2_ppm"] = 800.0 + 500.0 * minute
        night.air(values, 60.0)
    assert says(stuck, Params("o2_pct"), night) is None


def test_a_value_that_changed_a_moment_ago_is_alive() -> None:
    """The least flicker is enough."""
    night = still(61)
    night.air({"o2_pct": 20.89})
    assert says(stuck, Params("o2_pct"), night) is None


def test_a_silent_series_is_not_stuck_but_stale() -> None:
    """None: another rule tells that."""
    night = still(61)
    night.air({}, 31.0)
    assert asked(stuck, Params("o2_pct"), night) is None


def test_endless_patience_is_refused() -> None:
    """It would be no guard."""
    with pytest.raises(ValueError, match="patience is 1000"):
        Params(patience=1000.0)
