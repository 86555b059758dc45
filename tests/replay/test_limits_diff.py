"""`replay --limits`: what other limits would have rung, from the nights' own logs."""

import io
import json
from datetime import timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest

from cabinvigil.daemon.cli import parser_of
from cabinvigil.daemon.commands import replay
from cabinvigil.daemon.log import reader
from cabinvigil.daemon.replay.limits_diff import table
from cabinvigil.daemon.replay.other_limits import read_limits
from cabinvigil.daemon.replay.ring_diff import RingDiff, lines
from cabinvigil.daemon.settings.registries import packaged
from tests.commands import calling
from tests.replay.cutting import any_night, played
from tests.review import logs

MINUTE = 60.0
AT_20 = '[alarm.co-level]\nsteps = [{ at = 20.0, priority = "low" }]\n'


def night(folder: Path, name: str = "night-2026-01-16.jsonl") -> Path:
    """CO rises by 1 ppm a minute from 0 to 60, and oxygen by nothing."""
    rows = ramp()
    rang = logs.line(
        "alarm",
        1800.0,
        alarm="co-level",
        was="normal",
        state="unacknowledged",
        priority="low",
        text="",
        first_up=True,
    )
    data = logs.begin() + logs.air(rows[:61]) + rang + logs.air(rows[61:])
    return logs.write(folder, data, name)


def ramp(from_s: float = 0.0) -> list[logs.Row]:
    """An hour, twice a minute."""
    return [
        (from_s + 30.0 * n, {"co_ppm": n / 2.0, "o2_pct": 20.5 + 0.001 * (n % 3)})
        for n in range(120)
    ]


def limits(folder: Path, text: str) -> Path:
    path = folder / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return path


def call(*words: object) -> tuple[int, str, str]:
    return calling.call(replay, *words)


def told(folder: Path, text: str, *nights: Path) -> list[dict[str, Any]]:
    """The rows of the gases, as a program gets them."""
    nights = nights or (night(folder),)
    code, out, err = call(*nights, "--limits", limits(folder, text), "--json")
    assert code == 0
    assert all("replaces the whole list" in line for line in err.splitlines())
    rows = [json.loads(line) for line in out.splitlines()]
    return [row for row in rows if row["alarm"].startswith(("co-", "o2-"))]


def row_of(folder: Path, text: str, alarm: str = "co-level") -> dict[str, Any]:
    [row] = [row for row in told(folder, text) if row["alarm"] == alarm]
    return row


def test_a_stricter_limit_rings_earlier(tmp_path: Path) -> None:
    """20 in place of 30 ppm: ten minutes earlier at 1 ppm a minute."""
    row = row_of(tmp_path, AT_20)
    assert row["change"] == "earlier"
    assert row["was_s"] == pytest.approx(30 * MINUTE, abs=31.0)
    assert row["moved_min"] == pytest.approx(-10.0, abs=0.6)
    assert (row["was_at"][:16], row["would_at"][:16]) == (
        "2026-01-16T21:30",
        "2026-01-16T21:20",
    )


def test_each_priority_is_compared_at_its_own_moment(tmp_path: Path) -> None:
    """The first note stays; who is woken or ordered out earlier or never is told."""
    steps = '{{ at = {}.0, priority = "low" }}, {{ at = {}.0, priority = "medium" }}'
    text = f"[alarm.co-level]\nsteps = [{steps}]\n"
    woken = told(tmp_path, text.format(30, 40))
    found = {row["priority"]: row for row in woken if row["alarm"] == "co-level"}
    assert found["low"]["change"] == "same"
    assert (found["medium"]["change"], found["medium"]["was_s"]) == ("gained", None)
    both = told(tmp_path, text.format(20, 40))
    moved = {row["priority"]: row for row in both if row["alarm"] == "co-level"}
    assert moved["low"]["moved_min"] == pytest.approx(-10.0, abs=0.6)
    assert moved["medium"]["would_s"] == pytest.approx(40 * MINUTE, abs=31.0)


def test_steps_that_a_list_leaves_out_are_told_once(tmp_path: Path) -> None:
    """Whoever writes one step has no danger left: that must not go unsaid."""
    folder = tmp_path / "nights"
    folder.mkdir()
    night(folder, "night-2026-01-17.jsonl")
    night(folder, "night-2026-01-18.jsonl")
    _, _, err = call(folder, "--limits", limits(tmp_path, AT_20))
    assert err.count("replaces the whole list") == 1
    assert "has none for high, " in err


def test_a_laxer_limit_is_lost_or_later(tmp_path: Path) -> None:
    """At 90 ppm it never rings; at 50, twenty minutes later; nobody must accept it."""
    lost = row_of(tmp_path, AT_20.replace("20.0", "90.0"))
    assert lost["change"] == "lost"
    assert lost["would_s"] is lost["would_at"] is lost["moved_min"] is None
    later = row_of(tmp_path, AT_20.replace("20.0", "50.0"))
    assert later["change"] == "later"
    assert later["moved_min"] == pytest.approx(20.0, abs=0.6)


def test_a_new_limit_is_gained_and_the_rest_stays(tmp_path: Path) -> None:
    """Keys that are not named stay as they were."""
    text = '[alarm.o2-low]\nsteps = [{ at = 20.6, priority = "high" }]\n'
    gained = row_of(tmp_path, text, "o2-low")
    assert (gained["change"], gained["was_s"]) == ("gained", None)
    assert gained["priority"] == "high"
    assert row_of(tmp_path, text)["change"] == "same"
    _, out, _ = call(night(tmp_path), "--limits", limits(tmp_path, text))
    verdict, head, *rows = out.splitlines()
    assert head.split() == ["night", "alarm", "was", "would", "change"]
    assert any("gained (high)" in row for row in rows)
    assert verdict.startswith("1 gained, ")


def with_a_test(folder: Path, gas_until_s: float) -> Path:
    """Forty ppm from the tenth minute on; the test ends by itself at 895 s."""
    rows = [
        (30.0 * n, {"co_ppm": 40.0 if 600.0 <= 30.0 * n < gas_until_s else 0.0})
        for n in range(60)
    ]
    begun = logs.line("act", 595.0, act="bump-test", by="socket")
    begun += logs.line("bump-test", 595.0, state="begun", for_s=300.0)
    data = logs.begin() + logs.air(rows[:20]) + begun + logs.air(rows[20:30])
    data += logs.line("bump-test", 900.0, state="ended") + logs.air(rows[31:])
    return logs.write(folder, data, "night-2026-01-16.jsonl")


def test_what_rings_by_test_gas_is_no_ring_of_a_night(tmp_path: Path) -> None:
    assert told(tmp_path, AT_20, with_a_test(tmp_path, 660.0)) == []


def test_what_still_rings_after_a_test_rings_from_there(tmp_path: Path) -> None:
    rows = told(tmp_path, AT_20, with_a_test(tmp_path, 1500.0))
    found = [row["was_s"] for row in rows if row["alarm"] == "co-level"]
    assert found == [930.0]


def test_the_same_limits_change_nothing(tmp_path: Path) -> None:
    """What rang then rings now, and is counted."""
    same = limits(tmp_path, "[alarm.co-level]\n")
    code, out, _ = call(night(tmp_path), "--limits", same)
    assert code == 0
    count = len(told(tmp_path, "[alarm.co-level]\n"))
    assert count >= 1
    assert out.startswith("Nothing changes, ")
    assert out.count("\n") == 1


def test_many_nights_and_folders_are_one_table(tmp_path: Path) -> None:
    """A row for each night; a folder is all its nights, gzip and all."""
    folder = tmp_path / "nights"
    folder.mkdir()
    night(folder, "night-2026-01-17.jsonl.gz")
    night(folder, "night-2026-01-18.jsonl")
    rows = told(tmp_path, AT_20, night(tmp_path), folder)
    moved = [row["night"] for row in rows if row["alarm"] == "co-level"]
    assert moved == ["night-2026-01-16", "2026-01-17", "2026-01-18"]
    _, out, _ = call(folder, "--limits", limits(tmp_path, AT_20))
    assert "2 earlier" in out.splitlines()[0]


def test_times_are_those_of_the_clock_once_it_was_set(tmp_path: Path) -> None:
    """A Pi that boots three hours behind: the ring is told by the mended clock."""
    rows = ramp()
    behind = logs.START - timedelta(hours=3)
    head = logs.begin(behind, emulated=True)  # told in the trailer's time: CET
    data = head + logs.air(rows[:20], behind) + logs.air(rows[20:])
    path = logs.write(tmp_path, data)
    named = [("n", [path])]
    found = list(table(named, read_limits(limits(tmp_path, AT_20))))
    written = [line for line in lines(found) if "co-level" in line]
    assert "22:30  22:20  10.0 min earlier (low)" in written[0]


def test_a_night_without_a_clock_counts_from_its_first_line(tmp_path: Path) -> None:
    """Also where that line is not the first of its run."""
    head = json.loads(logs.begin(None))
    head["up_s"] = 7200.0
    data = json.dumps(head).encode() + b"\n" + logs.air(ramp(7200.0), None)
    path = logs.write(tmp_path, data)
    row = next(row for row in told(tmp_path, AT_20, path) if row["alarm"] == "co-level")
    assert row["was_s"] == pytest.approx(30 * MINUTE, abs=31.0)
    assert row["was_at"] is None
    found: list[RingDiff] = list(
        table([("n", [path])], read_limits(limits(tmp_path, AT_20)))
    )
    assert any("+0:30  +0:20" in line for line in lines(found))


def test_each_start_keeps_its_own_config(tmp_path: Path) -> None:
    """What a second start changed stays; the limits that are tried go on top of it."""
    second = logs.config()
    second["alarm"]["co-level"]["steps"] = [{"at": 50.0, "priority": "low"}]
    rows = ramp()
    later = logs.START + timedelta(hours=2)
    data = logs.begin() + logs.air(rows)
    data += logs.begin(later, config=second) + logs.air(rows, later)
    path = logs.write(tmp_path, data)
    found = [row for row in told(tmp_path, AT_20, path) if row["alarm"] == "co-level"]
    assert [row["moved_min"] for row in found] == [
        pytest.approx(-10.0, abs=0.6),
        pytest.approx(-30.0, abs=0.6),
    ]


def test_a_night_is_told_by_its_clock_and_a_recording_from_its_start(
    tmp_path: Path,
) -> None:
    """2:39:13 was read as a time of day."""
    rows = [(at_s, {"co_ppm": 2.0 * air["co_ppm"]}) for at_s, air in ramp()]
    data = logs.begin(emulated=True) + logs.air(rows)  # told in the trailer's time: CET
    code, out, _ = call(logs.write(tmp_path, data))
    verdict, first, *_ = out.splitlines()
    assert code == 0
    assert "people, the first at 22:" in verdict
    assert first.startswith(" 22:")
    path = tmp_path / "air.csv"
    cells = "".join(f"{30 * n},{n}\n" for n in range(120))
    path.write_text("time_s,co_ppm\n" + cells, encoding="utf-8")
    verdict, first, *_ = call(path)[1].splitlines()
    assert " after the start: " in verdict
    assert first.startswith(" +0:")


def test_a_recording_is_compared_too(tmp_path: Path) -> None:
    """It says nothing of a cabin: the packaged limits hold, or those of --config."""
    path = tmp_path / "air.csv"
    cells = "".join(f"{30 * n},{n / 2.0:.2f}\n" for n in range(120))
    path.write_text("time_s,co_ppm\n" + cells, encoding="utf-8")
    [row] = [row for row in told(tmp_path, AT_20, path) if row["alarm"] == "co-level"]
    assert row["moved_min"] == pytest.approx(-10.0, abs=0.6)
    assert row["was_at"] is None


def test_a_whole_copy_of_the_packaged_limits_can_be_tried(tmp_path: Path) -> None:
    """With its documents: what was not changed in it changes nothing."""
    text = packaged("limits.toml").read_text(encoding="utf-8")
    rows = told(tmp_path, text)
    assert rows
    assert all(row["moved_min"] in (None, 0.0) for row in rows)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[alarm.co-level]\nsteps = 7\n", "alarm.co-level.steps"),
        ("[alarms.co-level]\n", "alarms is not a known table; write `alarm`"),
        ("", "names no alarm; add a table like [alarm.o2-low]"),
        ("[alarm.co-levl]\nsteps = []\n", "write [alarm.co-level] if that was meant"),
        ("[alarm.co]\nsteps = []\n", "write [alarm.co-level] if that was meant"),
        ("[alarm.o2]\nsteps = []\n", "write [alarm.o2-low] if that was meant"),
        ("[alarm.co-level]\nstep = []\n", "alarm.co-level.step is not a known key"),
        ("alarm = 3\n", "alarm is not a set of named tables"),
        ("[alarm", "is not TOML at line 1"),
    ],
)
def test_a_mistake_names_file_key_and_mend(
    tmp_path: Path, text: str, words: str
) -> None:
    """Exit 2, one sentence, and no table that looks as though nothing changed."""
    code, out, err = call(night(tmp_path), "--limits", limits(tmp_path, text))
    assert (code, out) == (2, "")
    assert err.startswith("cabinvigil: ")
    assert "limits.toml" in err
    assert words in err
    assert err.count("\n") == 1


def test_what_cannot_be_replayed_is_one_sentence(tmp_path: Path) -> None:
    """No start record, no file, no night in the folder, and none of several."""
    good, empty = limits(tmp_path, AT_20), tmp_path / "empty"
    empty.mkdir()
    bare = logs.write(tmp_path, logs.air([(0.0, {"co_ppm": 3.0})]))
    for words, said in (
        ((bare, "--limits", good), "no start record"),
        ((tmp_path / "none.jsonl", "--limits", good), "none.jsonl: not found"),
        ((empty, "--limits", good), "holds no night"),
        ((bare, "--limits", tmp_path / "none.toml"), "none.toml is not there"),
        ((bare, "--limits", good, "--estimates"), "leave out --estimates"),
        ((bare, bare), "no start record"),
    ):
        code, out, err = call(*words)
        assert (code, out) == (2, "")
        assert said in err
        assert err.count("\n") == 1


def test_the_limits_that_help_shows_can_be_tried(tmp_path: Path) -> None:
    """The file in --help is one."""
    example = parser_of("replay").format_help().split("other keys stay:\n")[1]
    text = "\n".join(line.strip() for line in example.splitlines())
    path = played(tmp_path / "log", any_night(Random(4), 0.6))[0]
    _, out, err = call(path, "--limits", limits(tmp_path, text), "--json")
    assert err == ""
    assert {row["change"] for row in map(json.loads, out.splitlines())} >= {"same"}


class Screen(io.StringIO):
    """A terminal, as far as anyone can ask."""

    def isatty(self) -> bool:
        return True


def test_progress_shows_on_a_terminal_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And comes to its end: every byte is read twice."""
    path, tried = night(tmp_path), limits(tmp_path, AT_20)
    words = (path, "--limits", tried, "--json")
    code, _, shown = calling.call(replay, *words, err=Screen())
    assert code == 0
    assert "replaying nights" in shown
    monkeypatch.setattr(reader, "_CHUNK", 1000)
    seen: list[float] = []
    list(table([("n", [path])], read_limits(tried), advance=seen.append))
    assert sum(seen) == 2 * path.stat().st_size
