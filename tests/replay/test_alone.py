"""R7: each file of a log stands alone: what rang in it rings in its replay."""

import json
from datetime import date, timedelta
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.commands import replay
from cabinvigil.daemon.core.model import Air
from cabinvigil.daemon.log.reader import Logbook
from tests.commands import calling
from tests.replay.cutting import (
    EVENING,
    Steps,
    any_night,
    in_file,
    in_replay,
    lapwing,
    played,
)
from tests.review import logs

pytestmark = pytest.mark.usefixtures("nothing_synced")


def replayed(path: Path) -> list[object]:
    code, out, err = calling.call(replay, path, "--json")
    assert (code, err) == (0, "")
    return list(in_replay(out))


@pytest.mark.parametrize("seed", range(6))
def test_a_night_cut_anywhere_rings_file_by_file_as_it_rang(
    tmp_path: Path, seed: int
) -> None:
    random = Random(seed)
    steps = any_night(random)
    cuts = sorted(at for at, _ in random.sample(steps, 3))
    files = played(tmp_path / "cut", steps, cuts)
    assert len(files) == 4
    told = []
    for path in files:
        assert replayed(path) == in_file(path), path
        told += in_file(path)
    [whole] = played(tmp_path / "whole", steps)
    assert told == in_file(whole)
    assert replayed(whole) == told
    assert len(told) > 5


def test_what_a_start_took_over_is_not_taken_over_again_at_noon(
    tmp_path: Path,
) -> None:
    """R7: what stood at the start rang at the first line of the next file."""
    kept = {
        "version": 1,
        "alarms": {
            alarm: {"state": "unacknowledged", "priority": "medium", "age_s": 60.0}
            for alarm in ("o2-low", "co-level", "cold", "supply-low")
        },
    }
    steps = any_night(Random(8))
    files = played(tmp_path, steps, [1000.0, 3000.0], kept=kept)
    for path in files:
        assert replayed(path) == in_file(path)
    first = [one.alarm for one in in_file(files[0]) if one.at_s == 0.0]
    assert {"o2-low", "co-level"} <= set(first)


def test_with_the_same_limits_nothing_changes_in_any_file(tmp_path: Path) -> None:
    """Eleven alarms that never rang, in a file that began at noon."""
    steps = any_night(Random(3))
    files = played(tmp_path, steps, [2000.0, 4000.0])
    limits = tmp_path / "limits.toml"
    limits.write_text("[alarm.o2-low]\non_delay_s = 3.0\n", encoding="utf-8")
    # Two files of one night, as a clock's step leaves them: joined, the run goes on.
    second = files[0].with_name(files[0].name.replace(".jsonl", ".2.jsonl"))
    files[1].rename(second)
    for words in ([second], [files[2]], [tmp_path]):
        code, out, err = calling.call(replay, *words, "--limits", limits)
        assert (code, err) == (0, "")
        assert out.startswith("Nothing changes, "), out


def test_what_the_lines_of_a_state_hold_is_no_column(tmp_path: Path) -> None:
    """They come after the start of a file that goes on, and hold what was known."""
    _, path = played(tmp_path, any_night(Random(1), 0.5), [900.0])
    lines = list(Logbook(path))
    events = [line.event for line in lines]
    count = events.count("state")
    assert events[: count + 1] == ["start"] + ["state"] * count
    assert count >= 1
    assert set(lines[1].fields) == {"piece", "pieces", "known"}
    assert not {"kept", "down_s", "reload"} & set(lines[0].fields)


def test_a_file_of_the_first_version_that_goes_on_says_what_is_missing(
    tmp_path: Path,
) -> None:
    """It repeats the start's kept state, which is of another moment."""
    kept = {"version": 1, "alarms": {"o2-low": {"state": "unacknowledged"}}}
    data = logs.begin(continues=True, kept=kept, down_s=5.0)
    path = logs.write(tmp_path, data + logs.air(logs.still_air(10.0, 200.0)))
    code, out, err = calling.call(replay, path)
    assert code == 0
    assert "o2-low" not in out
    assert "without the state at its start" in err


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (lambda text: text[:50] + "AAAA" + text[54:], "damaged"),
        (lambda text: text[:-400], "cut short"),
        (lambda _text: "!", "cannot be read"),
    ],
)
def test_a_state_that_cannot_be_read_is_told(
    tmp_path: Path, harm: object, words: str
) -> None:
    _, path = played(tmp_path, any_night(Random(1), 0.5), [900.0])
    data = b""
    for line in Logbook(path):
        fields = dict(line.fields)
        if line.event == "state" and fields["piece"] == fields["pieces"]:
            fields["known"] = harm(fields["known"])  # type: ignore[operator]
        data += logs.line(line.event, line.up_s, EVENING, **fields)
    other = logs.write(tmp_path, data, "night-2027-01-01.jsonl")
    code, _, err = calling.call(replay, other)
    assert code == 0
    assert words in err


def past_its_life(folder: Path) -> tuple[Path, Steps]:
    """The oxygen part's five years are over on this night, nine years on."""
    steps = any_night(Random(2), 0.5)
    [path] = played(folder, steps, start=EVENING.replace(year=2035))
    return path, steps


def test_a_part_past_its_life_rings_in_the_replay_as_in_the_night(
    tmp_path: Path,
) -> None:
    path, _ = past_its_life(tmp_path)
    told = in_file(path)
    assert any("service" in one.alarm for one in told), told
    assert replayed(path) == told


def test_a_life_is_counted_from_the_runs_begin_in_each_of_its_files(
    tmp_path: Path,
) -> None:
    """By the date that was composed with: a clock that is set later changes nothing."""
    day = timedelta(days=400)
    life = next(p for p in lapwing().parts.values() if p.in_service)
    assert life.in_service == date(2026, 10, 1)
    steps: Steps = [(60.0 * n, Air({"o2_pct": 20.5})) for n in range(1, 60)]
    files = played(tmp_path, steps, [1800.0], start=EVENING - 100 * day)
    for path in files:
        assert replayed(path) == in_file(path)


def test_estimates_go_on_where_the_file_turned(tmp_path: Path) -> None:
    """The forecast does not begin anew."""
    steps = any_night(Random(5), 0.8)
    _, path = played(tmp_path, steps, [1500.0])
    told = [
        (line.up_s, line.fields["o2_rate_pct_per_h"])
        for line in Logbook(path)
        if line.event == "estimate"
    ]
    code, out, _ = calling.call(replay, path, "--json", "--estimates")
    rows = [json.loads(line) for line in out.splitlines()]
    again = [
        (row["time_s"], row["o2_rate_pct_per_h"])
        for row in rows
        if row["event"] == "estimate"
    ]
    assert code == 0
    assert told == again
    assert told
