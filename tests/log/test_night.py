"""A night's log on one even, mended time: whatever the card and the clock did."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.log.night import STEP_S, Gap, NightSeries
from cabinvigil.daemon.log.runs import read_tape
from tests.review import logs

HOUR = 3600.0


def tape(
    folder: Path, data: bytes, name: str = "night-2026-01-16.jsonl"
) -> NightSeries:
    return read_tape([logs.write(folder, data, name)])


def known(tape: NightSeries, key: str = "o2_pct") -> list[float]:
    return [one for one in tape.series[key] if one is not None]


def test_half_minute_means_come_in_order(tmp_path: Path) -> None:
    """Ten-second rows 1, 2, 3, ... become the means of threes."""
    rows = [(10.0 * n, {"co2_ppm": 400.0 + n}) for n in range(9)]
    found = tape(tmp_path, logs.begin() + logs.air(rows))
    assert found.count == 3
    assert found.series["co2_ppm"] == [401.0, 404.0, 407.0]
    assert found.origin == logs.START
    assert found.moment(60.0) == logs.START + timedelta(seconds=60)


@pytest.mark.parametrize(
    "name", ["night-2026-01-16.jsonl", "night-2026-01-16.jsonl.gz"]
)
def test_a_torn_last_line_is_dropped(tmp_path: Path, name: str) -> None:
    """A power cut in the middle of a line: all before it counts."""
    whole = logs.begin() + logs.air(logs.still_air(0.0, HOUR))
    found = tape(tmp_path, whole + b'{"t":"2026-01-16T22:00', name)
    assert (found.flaws.torn, found.flaws.unreadable) == (1, 0)
    assert len(known(found)) == HOUR / STEP_S


def test_a_gap_of_two_hours_stays_a_gap(tmp_path: Path) -> None:
    """Nothing is drawn over it, and it is told with its ends."""
    rows = [*logs.still_air(0.0, HOUR), *logs.still_air(3 * HOUR, 4 * HOUR)]
    found = tape(tmp_path, logs.begin() + logs.air(rows))
    assert found.gaps == (Gap(HOUR, 3 * HOUR),)
    assert all(one is None for one in found.series["o2_pct"][121:359])
    assert found.length_s == 4 * HOUR


def test_a_clock_set_hours_later_dates_all_of_its_run(tmp_path: Path) -> None:
    """A Pi without a battery clock: six hours off until the network sets it."""
    wrong = logs.START - timedelta(hours=6)
    data = logs.begin(wrong) + logs.air(logs.still_air(0.0, HOUR), wrong)
    data += logs.air(logs.still_air(HOUR, 2 * HOUR))
    found = tape(tmp_path, data)
    assert found.origin == logs.START
    (step,) = found.clock_steps
    assert step.at_s == HOUR
    assert step.fields["moved_s"] == pytest.approx(6 * HOUR)
    assert found.gaps == ()
    assert len(known(found)) == 240


def test_two_starts_lie_as_far_apart_as_their_clocks_say(tmp_path: Path) -> None:
    """The daemon restarted after ten minutes away: the gap is those ten minutes."""
    later = logs.START + timedelta(minutes=70)
    data = logs.begin() + logs.air(logs.still_air(0.0, HOUR))
    data += logs.begin(later) + logs.air(logs.still_air(0.0, HOUR), later)
    found = tape(tmp_path, data)
    assert found.starts == 2
    assert found.gaps == (Gap(HOUR, HOUR + 600.0),)
    assert found.length_s == 2 * HOUR + 600.0


def test_a_start_before_the_clock_was_ever_set_is_placed_before_the_next(
    tmp_path: Path,
) -> None:
    """Its times are a guess, and that is said."""
    unset = datetime(1970, 1, 1, tzinfo=UTC)
    data = logs.begin(unset) + logs.air(logs.still_air(0.0, HOUR), unset)
    data += logs.begin() + logs.air(logs.still_air(0.0, HOUR))
    found = tape(tmp_path, data)
    assert found.origin is not None
    assert logs.START - timedelta(hours=2) < found.origin < logs.START
    assert any("guess" in note for note in found.notes)
    assert len(known(found)) == 240


def test_without_any_clock_times_count_from_the_first_line(tmp_path: Path) -> None:
    """Better than a date of 1970."""
    data = logs.begin(None) + logs.air(logs.still_air(0.0, HOUR), None)
    found = tape(tmp_path, data)
    assert found.origin is None
    assert found.moment(60.0) is None
    assert any("clock" in note for note in found.notes)
    assert len(known(found)) == 120


def test_a_new_file_that_goes_on_is_no_new_start(tmp_path: Path) -> None:
    """Noon rotates the file in the middle of a run."""
    first = logs.begin() + logs.air(logs.still_air(0.0, HOUR))
    again = logs.line("start", HOUR, continues=True, config=logs.config())
    second = again + logs.air(logs.still_air(HOUR, 2 * HOUR))
    paths = [
        logs.write(tmp_path, first, "night-2026-01-16.jsonl.gz"),
        logs.write(tmp_path, second, "night-2026-01-17.jsonl"),
    ]
    found = read_tape(paths)
    assert (found.starts, found.gaps) == (1, ())
    assert found.length_s == 2 * HOUR


def test_a_start_whose_line_is_lost_shows_by_its_time(tmp_path: Path) -> None:
    """Time that begins anew, and goes on so, is another run."""
    later = logs.START + timedelta(hours=2)
    data = logs.begin() + logs.air(logs.still_air(0.0, HOUR))
    data += logs.air(logs.still_air(0.0, HOUR), later)
    found = tape(tmp_path, data)
    assert found.starts == 2
    assert len(known(found)) == 240


def test_a_line_at_an_impossible_moment_is_left_out(tmp_path: Path) -> None:
    """A flipped digit must not stretch the night to years."""
    rows = logs.still_air(0.0, HOUR)
    stray = [(9e8, {"o2_pct": 1.0})]
    data = logs.begin() + logs.air([*rows[:100], *stray, *rows[100:]], None)
    found = tape(tmp_path, data)
    assert found.length_s == HOUR
    assert found.flaws.unreadable == 1
    assert min(known(found)) > 20.0


@pytest.mark.parametrize(
    ("key", "wild"), [("o2_pct", 2.0), ("co2_ppm", 60000.0), ("co_ppm", 3000.0)]
)
@pytest.mark.parametrize("every_s", [1.0, 30.0, 60.0])
def test_one_wild_value_moves_nothing(
    tmp_path: Path, key: str, wild: float, every_s: float
) -> None:
    """A flipped bit that the part's checksum let pass is no air."""
    rows = logs.still_air(0.0, 2400.0, every_s)
    middle = len(rows) // 2
    rows[middle] = (rows[middle][0], {**rows[middle][1], key: wild})
    values = known(tape(tmp_path, logs.begin() + logs.air(rows)), key)
    usual = {"o2_pct": 20.5, "co2_ppm": 900.0, "co_ppm": 1.0}[key]
    assert values == pytest.approx([usual] * len(values), rel=0.005)


def test_doubtful_values_are_left_out_and_counted(tmp_path: Path) -> None:
    """A part that warms up says nothing that counts."""
    rows = [
        (
            30.0 * n,
            {"o2_pct": 15.0, "doubtful": ["o2_pct"]} if n < 4 else {"o2_pct": 20.5},
        )
        for n in range(20)
    ]
    found = tape(tmp_path, logs.begin() + logs.air(rows))
    assert found.doubtful_s == {"o2_pct": 120.0}
    assert min(known(found)) == 20.5


def test_a_value_at_full_scale_is_a_lower_bound(tmp_path: Path) -> None:
    """It counts as that much or more."""
    rows = [(30.0 * n, {"co2_ppm": 40000.0, "at_least": ["co2_ppm"]}) for n in range(4)]
    found = tape(tmp_path, logs.begin() + logs.air(rows))
    assert found.at_least == {"co2_ppm": frozenset({0, 1, 2, 3})}


def test_values_that_no_air_has_are_refused_and_counted(tmp_path: Path) -> None:
    """Texts, nothing, and numbers outside the physical range."""
    odd = [0.0, -4.0, 99.0, "x", None, True, [1], 10**400]
    rows = [(10.0 * n, {"o2_pct": one}) for n, one in enumerate(odd)]
    rows += [(600.0, {"o2_pct": 20.5, "unheard_of": 3.0})]
    found = tape(tmp_path, logs.begin() + logs.air(rows))
    assert known(found) == [20.5]
    assert found.refused == {"o2_pct": 8}
    assert list(found.series) == ["o2_pct"]


def test_the_worst_of_several_parts_rules(tmp_path: Path) -> None:
    """The lowest oxygen, the highest CO, and never the air that nobody breathes."""
    row = {"o2_pct__a": 20.0, "o2_pct__b": 19.0, "o2_pct_outside": 10.0, "co_ppm": 3.0}
    found = tape(tmp_path, logs.begin() + logs.air([(5.0, row), (65.0, {})]))
    assert found.worst("o2_pct", "below") == [19.0, None, None]
    assert found.worst("co_ppm", "above")[0] == 3.0
    assert found.worst("rh_pct", "above") == [None, None, None]


def test_a_newer_version_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    """What is known is taken, and that something may be missing is noted."""
    data = logs.begin(log_format=9, config={"cabin": 3}) + logs.air(
        logs.still_air(0.0, HOUR)
    )
    found = tape(tmp_path, data)
    assert found.flaws.newer_format == 1
    assert len(known(found)) == 120


def test_thirty_nights_take_no_more_memory_than_one(tmp_path: Path) -> None:
    """Nights are read one after the other, and a tape's size is its hours'."""
    import tracemalloc

    data = logs.begin() + logs.air(logs.still_air(0.0, HOUR, 2.0))
    path = logs.write(tmp_path, data, "night-2026-01-16.jsonl.gz")
    peaks = []
    for count in (2, 12):
        tracemalloc.start()
        for _ in range(count):
            read_tape([path])
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]


def bump(at_s: float, **fields: Any) -> bytes:
    return logs.line("bump-test", at_s, **fields)


def test_what_is_held_to_the_parts_is_no_air_of_the_night(tmp_path: Path) -> None:
    """Nor is what rang by it; the steps are heard of, and are no gap."""
    data = logs.begin() + logs.air(logs.still_air(0.0, 600.0))
    data += bump(600.0, state="begun", for_s=300.0)
    data += logs.air([(610.0 + 10.0 * n, {"o2_pct": 16.5}) for n in range(6)])
    data += logs.line("alarm", 620.0, alarm="o2-low", state="unacknowledged")
    data += bump(670.0, state="ended")
    data += logs.air(logs.still_air(680.0, 1200.0))
    found = tape(tmp_path, data)
    assert min(known(found)) > 20.0
    assert found.gaps == ()
    assert [one.kind for one in found.events] == ["start", "bump-test", "bump-test"]


def test_a_file_that_begins_in_a_test_leaves_the_rest_of_it_out(tmp_path: Path) -> None:
    start = {"continues": True, "config": logs.config()}
    data = logs.line("start", 600.0, **start, bump_for_s=200.0)
    data += logs.air([(610.0 + 10.0 * n, {"o2_pct": 16.5}) for n in range(6)])
    data += bump(670.0, state="ended") + logs.air(logs.still_air(680.0, 1200.0))
    assert min(known(tape(tmp_path, data))) > 20.0


def test_a_test_that_was_never_ended_is_over_by_its_length(tmp_path: Path) -> None:
    """The line of its end is lost, or its length is no length."""
    low = [(700.0 + 10.0 * n, {"o2_pct": 17.0}) for n in range(100)]
    for for_s in (300.0, 1e9, "long", -5.0):
        data = logs.begin() + bump(0.0, state="begun", for_s=for_s) + logs.air(low)
        found = tape(tmp_path, data, f"night-2026-01-{10 + len(str(for_s))}.jsonl")
        assert min(known(found)) == 17.0
