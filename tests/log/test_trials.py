"""A night without its trials, and each trial by itself."""

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import compare, morning, trial
from cabinvigil.daemon.log.night import STEP_S, NightSeries
from cabinvigil.daemon.log.runs import read_tape
from tests.commands import calling
from tests.review import logs

HOUR = 3600.0
FOUL = {"o2_pct": 18.6, "co2_ppm": 13_000.0}
NAME = "night-2026-01-16.jsonl"


def rang(at_s: float, state: str, was: str = "normal") -> bytes:
    fields = {"alarm": "o2-low", "state": state, "was": was, "priority": "high"}
    return logs.line("alarm", at_s, text="Too little oxygen.", first_up=True, **fields)


def begun(
    at_s: float, text: str, for_s: float = 3 * HOUR, start: datetime = logs.START
) -> bytes:
    what = {"state": "begun", "text": text, "for_s": for_s, "until": ""}
    return logs.line("trial", at_s, start, **what)


def ended(at_s: float, text: str) -> bytes:
    return logs.line("trial", at_s, state="ended", text=text, why="command")


def afternoon_and_night(airing_s: float = 600.0, second_h: float = 1.0) -> bytes:
    """A trial of an hour in foul air, its airing, a second one in good air, a night."""
    end_s, until_s = 2 * HOUR, (3.0 + second_h) * HOUR
    return b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            begun(HOUR, "all shut"),
            logs.air(logs.still_air(HOUR, 1.5 * HOUR, **FOUL)),
            rang(1.5 * HOUR, "unacknowledged"),
            logs.air(logs.still_air(1.5 * HOUR, end_s, **FOUL)),
            ended(end_s, "all shut"),
            rang(end_s, "unacknowledged", "unacknowledged"),
            logs.air(logs.still_air(end_s, end_s + airing_s, **FOUL)),
            rang(end_s + airing_s, "latched-unacknowledged", "unacknowledged"),
            logs.air(logs.still_air(end_s + airing_s, 3 * HOUR)),
            begun(3 * HOUR, "roof vent a third open"),
            logs.air(logs.still_air(3 * HOUR, until_s, o2_pct=20.1)),
            ended(until_s, "roof vent a third open"),
            logs.air(logs.still_air(until_s, 11 * HOUR)),
            logs.line("stop", 11 * HOUR, reason="stopped on request"),
        ]
    )


def tape(folder: Path, data: bytes, trial: int | None = None) -> NightSeries:
    return read_tape([logs.write(folder, data)], trial=trial)


@pytest.mark.parametrize("cut", [False, True], ids=["one file", "its second file"])
def test_a_night_is_told_without_its_trials(tmp_path: Path, *, cut: bool) -> None:
    """The foul air of the afternoon is nobody's night, and no hole in the watch."""
    data = afternoon_and_night()
    if cut:  # a file that goes on within the trial says so at its top
        lines = data.splitlines(keepends=True)
        at = next(n for n, one in enumerate(lines) if b'"event": "alarm"' in one)
        up_s = 1.5 * HOUR
        head = logs.line(
            *("start", up_s, logs.START), continues=True, log_format=1, file_no=1,
            config=logs.config(), trial_for_s=2.5 * HOUR, trial_text="all shut",
        )  # fmt: skip
        data = head + b"".join(lines[at:])
    path = logs.write(tmp_path, data)
    code, out, err = calling.call(morning, path)
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == "Safe by what was measured."
    assert "oxygen 100 %" in out
    what = "'all shut', 'roof vent a third open'"
    left_h = 1.67 if cut else 2.17
    told = f"2 trials are left out, {left_h:.1f} h with nobody inside: {what}"
    assert told in " ".join(out.split())


def test_what_is_still_foul_half_an_hour_after_it_counts(tmp_path: Path) -> None:
    """Nobody may call it the trial's for ever."""
    path = logs.write(tmp_path, afternoon_and_night(2700.0))
    code, out, _ = calling.call(morning, path)
    assert code == 1
    assert "NOT SAFE: oxygen 18.6 %" in out.splitlines()[0]


def test_a_trial_by_itself_is_all_that_was_measured_in_it(tmp_path: Path) -> None:
    data = afternoon_and_night()
    first, second = (tape(tmp_path, data, number) for number in (1, 2))
    assert first.length_s == pytest.approx(HOUR, abs=STEP_S)
    known = [one for one in first.series["o2_pct"] if one is not None]
    assert max(known) < 18.8
    assert min(one for one in second.series["o2_pct"] if one is not None) > 20.0
    assert second.moment(0.0) == tape(tmp_path, data).moment(3 * HOUR)
    assert tape(tmp_path, data, 3).count == 0


@pytest.mark.parametrize(
    "how", ["never ended", "cut off", "of 1e9 s", "of -1 s", "of text", "twice begun"]
)
def test_a_trial_that_the_log_garbles_hides_no_night(tmp_path: Path, how: str) -> None:
    """It lasts no longer than a watch allows, whatever a line says."""
    odd = {"of 1e9 s": 1e9, "of -1 s": -1.0, "of text": "long"}.get(how, 2 * HOUR)
    lines = [
        *(logs.begin(), logs.air(logs.still_air(0.0, HOUR))),
        logs.line("trial", HOUR, state="begun", text="x", for_s=odd, until=""),
    ]
    if how == "twice begun":
        lines.append(begun(1.5 * HOUR, "y", HOUR))
    until_s = 1.2 * HOUR if how == "cut off" else 2 * HOUR
    lines.append(logs.air(logs.still_air(HOUR, until_s)))
    if how == "cut off":  # what begins anew has no trial open
        lines.append(logs.begin(logs.START.replace(hour=23)))
        start = logs.START.replace(hour=23)
        lines.append(logs.air(logs.still_air(0.0, 15 * HOUR, **FOUL), start))
    else:
        lines.append(logs.air(logs.still_air(2 * HOUR, 16 * HOUR, **FOUL)))
    path = logs.write(tmp_path, b"".join(lines))
    assert calling.call(morning, path)[0] == 1


def test_trials_are_listed_and_compared(tmp_path: Path) -> None:
    logs.write(tmp_path, afternoon_and_night(second_h=2.0))
    code, out, _ = calling.call(trial, "list", "--log", tmp_path)
    assert code == 0
    said, *lines = out.splitlines()
    assert said == "2 trials in these nights."
    assert [line.split("  ") for line in lines] == [
        ["2026-01-16@trial 1", "1.0 h", "all shut"],
        ["2026-01-16@trial 2", "2.0 h", "roof vent a third open"],
    ]
    code, out, err = calling.call(compare, f"{tmp_path}@trial")
    assert (code, err) == (0, "")
    assert "all shut: air past a waking limit" in out
    assert "only roof vent a third open can be ranked" in " ".join(out.split())
    code, _, err = calling.call(compare, f"{tmp_path / NAME}@trial door", tmp_path)
    assert code == 2
    assert "no such trial; it has: 1 'all shut', 2 'roof vent" in err


def test_no_trial_is_listed_where_there_was_none(tmp_path: Path) -> None:
    logs.write(tmp_path, logs.begin() + logs.air(logs.still_air(0.0, HOUR)))
    code, out, _ = calling.call(trial, "list", "--log", tmp_path)
    assert (code, out) == (0, "No trials in these nights.\n")


def test_a_watch_that_dies_in_a_trial_leaves_none_of_its_air(tmp_path: Path) -> None:
    """Not the last half-minute either, within which the power went."""
    data = b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            begun(HOUR, "all shut"),
            logs.air(logs.still_air(HOUR, HOUR + 1815.0, **FOUL)),
        ]
    )
    found = tape(tmp_path, data)
    assert min(one for one in found.series["o2_pct"] if one is not None) > 20.0


@pytest.mark.parametrize("last_s", [5.0, 12.0, 20.0, 29.0])
def test_a_second_run_may_die_in_its_trial_at_any_second(
    tmp_path: Path, last_s: float
) -> None:
    start = logs.START + timedelta(seconds=4216.0)
    data = b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            logs.begin(start),
            logs.air(logs.still_air(0.0, HOUR), start),
            begun(HOUR, "all shut", start=start),
            logs.air(logs.still_air(HOUR, 2 * HOUR, **FOUL), start),
            logs.air([(2 * HOUR + last_s, FOUL)], start),
        ]
    )
    found = tape(tmp_path, data)
    assert max(found.left_out) < found.count
    assert min(one for one in found.series["o2_pct"] if one is not None) > 20.0
    assert calling.call(morning, tmp_path / NAME)[0] in (0, 1)


@pytest.mark.parametrize(
    ("alarm", "priority", "is_told"),
    [
        ("co-level", "high", True),
        ("o2-projected", "high", True),
        ("o2-low", "high", False),
        ("sensor-lost", "medium", False),
        ("condensing", "low", False),
    ],
)
def test_what_first_wakes_people_after_a_trial_ends_its_airing(
    tmp_path: Path, alarm: str, priority: str, *, is_told: bool
) -> None:
    """New, or graver than at its end: somebody is there again, and so is a danger."""
    end_s = 2 * HOUR

    def moved(at_s: float, state: str, priority: str, alarm: str) -> bytes:
        fields = {"alarm": alarm, "state": state, "was": "normal", "text": "x"}
        return logs.line("alarm", at_s, priority=priority, first_up=True, **fields)

    new_s, over_s = end_s + 300.0, end_s + 900.0
    data = b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            begun(HOUR, "all shut"),
            logs.air(logs.still_air(HOUR, end_s, **FOUL)),
            ended(end_s, "all shut"),
            rang(end_s, "unacknowledged"),
            moved(end_s, "unacknowledged", "medium", "o2-projected"),
            logs.air(logs.still_air(end_s, new_s, **FOUL)),
            rang(new_s - 60.0, "latched-unacknowledged"),
            moved(new_s, "unacknowledged", priority, alarm),
            logs.air(logs.still_air(new_s, over_s, co_ppm=400.0)),
            moved(over_s, "normal", "high", alarm),
            moved(over_s, "normal", "medium", "o2-projected"),
            rang(over_s, "normal"),
            logs.air(logs.still_air(over_s, 9 * HOUR)),
        ]
    )
    found = tape(tmp_path, data)
    most_ppm = max(one for one in found.series["co_ppm"] if one is not None)
    assert (most_ppm > 100.0) is is_told
    said = {one.fields["alarm"] for one in found.events if one.kind == "alarm"}
    assert not is_told or alarm in said


def test_a_config_read_anew_in_a_trial_cuts_it_in_no_two(tmp_path: Path) -> None:
    reload_s, end_s = 1.5 * HOUR, 2 * HOUR
    head = {"config": logs.config(), "log_format": 1, "reload": True}
    data = b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            begun(HOUR, "all shut"),
            logs.air(logs.still_air(HOUR, reload_s, o2_pct=20.1)),
            logs.line(
                *("start", reload_s), **head, trial_for_s=9000.0, trial_text="all shut"
            ),
            logs.air(logs.still_air(reload_s, end_s, o2_pct=20.2)),
            ended(end_s, "all shut"),
            begun(end_s, "all shut"),
            logs.air(logs.still_air(end_s, 3 * HOUR, o2_pct=20.3)),
            ended(3 * HOUR, "all shut"),
            logs.air(logs.still_air(3 * HOUR, 9 * HOUR)),
        ]
    )
    logs.write(tmp_path, data)
    _, out, _ = calling.call(trial, "list", "--log", tmp_path)
    assert out.splitlines() == [
        "2 trials in these nights.",
        "2026-01-16@trial 1  1.0 h  all shut",
        "2026-01-16@trial 2  1.0 h  all shut",
    ]
    known = [one for one in tape(tmp_path, data, 1).series["o2_pct"] if one is not None]
    assert (min(known), max(known)) == pytest.approx((20.1, 20.2), abs=0.05)
    said = " ".join(calling.call(morning, tmp_path / NAME)[1].split())
    assert (
        "2 trials are left out, 2.0 h with nobody inside: 'all shut', 'all shut'; nit"
        in said
    )
    _, out, _ = calling.call(compare, f"{tmp_path}@trial")
    assert [line for line in out.splitlines() if line.endswith("(1.0 h)")] == [
        "trial 1/all shut  (1.0 h)",
        "trial 2/all shut  (1.0 h)",
    ]


@pytest.mark.parametrize("asked", ["trial 9", "trial door", "trial 0"])
def test_a_trial_that_no_night_of_a_folder_has_is_told(
    tmp_path: Path, asked: str
) -> None:
    logs.write(tmp_path, afternoon_and_night())
    code, _, err = calling.call(compare, f"{tmp_path}@{asked}", f"{tmp_path}@trial")
    assert code == 2
    assert f"{tmp_path}@{asked}: no such trial; `cabinvigil trial list" in err
