"""A trial whose end is lost, or that a power cut ends: no sleeper's air is hidden."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import compare, morning, rehearse
from cabinvigil.daemon.log import runs
from cabinvigil.daemon.log.night import STEP_S
from tests.commands import calling
from tests.log.test_trials import FOUL, HOUR, afternoon_and_night, begun, ended, tape
from tests.review import logs


def in_trial(from_s: float, to_s: float, **values: float) -> bytes:
    """Air whose lines say that it was measured in a trial, as the log writes them."""
    rows = logs.still_air(from_s, to_s, **values)
    return logs.air((at_s, {**row, "trial": True}) for at_s, row in rows)


@pytest.mark.parametrize("is_marked", [True, False])
@pytest.mark.parametrize(
    "left", ["nothing", "act", "pressed", "pressed on a phone", "next file"]
)
def test_a_trial_whose_end_is_lost_hides_no_sleepers_air(
    tmp_path: Path, left: str, *, is_marked: bool
) -> None:
    """The line of its end is torn off: what else tells of it ends it.

    Up to now it lasted as long as it might have, and foul air after it was "Safe."
    """
    end_s = 2 * HOUR
    act = {"alarm": "", "text": "", "for_s": 0.0}
    rest = {
        "act": logs.line("act", end_s, act="trial-end", by="socket", **act),
        "pressed": logs.line("act", end_s, act="acknowledge", by="button", **act),
        "pressed on a phone": logs.line(
            "act", end_s, act="acknowledge", by="phone", **act
        ),
        "next file": logs.line(
            "start", end_s, continues=True, config=logs.config(), log_format=1
        ),
    }
    measured = in_trial if is_marked else lambda *at: logs.air(logs.still_air(*at))
    data = b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            begun(HOUR, "all shut", 9 * HOUR),
            measured(HOUR, end_s),
            rest.get(left, b""),
            logs.air(logs.still_air(end_s, 3 * HOUR, o2_pct=20.6)),
            logs.air(logs.still_air(3 * HOUR, 9 * HOUR, **FOUL)),
            logs.line("stop", 9 * HOUR, reason="SIGTERM"),
        ]
    )
    code, out, _ = calling.call(morning, logs.write(tmp_path, data))
    is_known = is_marked or left in ("act", "pressed", "next file")
    assert (code == 1) is is_known
    assert out.startswith("NOT SAFE: oxygen 18.6 %") is is_known
    if is_known:
        (one,) = tape(tmp_path, data).trials
        assert one.to_s - one.from_s == pytest.approx(HOUR, abs=STEP_S)
        assert one.why in ("lost", "command", "button")


def test_a_trial_with_all_its_lines_is_left_out_as_ever(tmp_path: Path) -> None:
    """Its marks change nothing where its own end is there."""
    data = b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            begun(HOUR, "all shut", 9 * HOUR),
            in_trial(HOUR, 2 * HOUR, **FOUL),
            ended(2 * HOUR, "all shut"),
            logs.air(logs.still_air(2 * HOUR, 9 * HOUR)),
        ]
    )
    found = tape(tmp_path, data)
    assert found.trials[0].why == "command"
    assert min(one for one in found.series["o2_pct"] if one is not None) > 20.0


@pytest.mark.parametrize(
    ("down_s", "new", "is_told"),
    [
        (60.0, False, False),
        (60.0, True, True),
        (1900.0, False, True),
        (None, False, True),
    ],
)
def test_a_power_cut_in_a_trial_blames_its_air_on_no_sleeper(
    tmp_path: Path, down_s: float | None, *, new: bool, is_told: bool
) -> None:
    """For half an hour from the cut, while what stood stands; a new danger is told."""
    cut_s = 2 * HOUR
    after = logs.START + timedelta(seconds=cut_s + (down_s or 60.0))
    grave = {"priority": "high", "was": "normal", "text": "x", "first_up": True}
    standing = logs.line(
        "alarm", 1.0, after, alarm="o2-low", state="unacknowledged", **grave
    )
    over = logs.line("alarm", 600.0, after, alarm="o2-low", state="normal", **grave)
    other = logs.line(
        "alarm", 300.0, after, alarm="co-level", state="unacknowledged", **grave
    )
    data = b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            begun(HOUR, "all shut", 9 * HOUR),
            in_trial(HOUR, cut_s, **FOUL),
            logs.begin(after, kept={}, down_s=down_s),
            logs.line(
                "trial", 1.0, after, state="ended", text="all shut", why="restart"
            ),
            standing,
            logs.air(logs.still_air(1.0, 300.0, **FOUL), after),
            other if new else b"",
            logs.air(logs.still_air(300.0, 600.0, **FOUL), after),
            over,
            logs.air(logs.still_air(600.0, 7 * HOUR), after),
            logs.line("stop", 7 * HOUR, after, reason="SIGTERM"),
        ]
    )
    code, out, _ = calling.call(morning, logs.write(tmp_path, data))
    assert out.startswith("NOT SAFE: oxygen 18.6 %") is is_told, out
    assert (code == 1) is is_told
    assert len(tape(tmp_path, data).trials) == 1


def test_a_cut_in_a_trial_leaves_nothing_out_for_ever(tmp_path: Path) -> None:
    """Half an hour after it, what is still foul is the night's."""
    after = logs.START + timedelta(seconds=2 * HOUR)
    grave = {"priority": "high", "was": "normal", "text": "x", "first_up": True}
    data = b"".join(
        [
            logs.begin(),
            logs.air(logs.still_air(0.0, HOUR)),
            begun(HOUR, "all shut", 9 * HOUR),
            in_trial(HOUR, 2 * HOUR, **FOUL),
            logs.begin(after, kept={}, down_s=0.0),
            logs.line(
                "trial", 1.0, after, state="ended", text="all shut", why="restart"
            ),
            logs.line(
                "alarm", 1.0, after, alarm="o2-low", state="unacknowledged", **grave
            ),
            logs.air(logs.still_air(1.0, 2400.0, **FOUL), after),
            logs.air(logs.still_air(2400.0, 7 * HOUR), after),
        ]
    )
    found = tape(tmp_path, data)
    foul = [one for one in found.series["o2_pct"] if one is not None and one < 19.0]
    assert len(foul) * STEP_S == pytest.approx(600.0, abs=2 * STEP_S)


def test_all_trials_of_a_night_are_compared_from_one_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A night of ten trials was read eleven times."""
    asked: list[object] = []

    def read_night(*told: object) -> object:
        asked.append(told)
        return runs.read_night(*told)  # type: ignore[arg-type]

    monkeypatch.setattr(morning, "read_night", read_night)
    path = logs.write(tmp_path, afternoon_and_night())
    code, out, _ = calling.call(compare, f"{path}@trial")
    assert code == 0
    assert "roof vent a third open" in out
    assert len(asked) == 1


def test_what_is_measured_in_a_trial_says_so_in_its_line(tmp_path: Path) -> None:
    """As the watch itself writes it: each line of air, and none before."""
    words = ("trials", "--hours", "0.5", "--tick-s", "60", "--log", tmp_path / "log")
    assert calling.call(rehearse, *words)[0] == 0
    (path,) = (tmp_path / "log").glob("night-*.jsonl")
    is_open, marks = False, []
    for line in path.read_bytes().splitlines():
        row = json.loads(line)
        if row["event"] == "trial":
            is_open = row["state"] == "begun"
        if row["event"] == "air":
            marks.append((is_open, row.get("trial", False)))
    assert set(marks) == {(False, False), (True, True)}
