"""`cabinvigil log check`: what a folder of nights holds, and what is wrong with it."""

import gzip
import json
import os
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.commands import log, log_check, morning, rehearse
from cabinvigil.daemon.text.json import dumps
from tests.commands.calling import call
from tests.review import logs

BATCH = 20
HOUR_S = 3600.0


def night(day: int = 16) -> bytes:
    """An hour of a night as the watch itself writes it."""
    start = logs.START.replace(day=day)
    air = logs.air(logs.still_air(0.0, HOUR_S), start)
    stop = logs.line("stop", HOUR_S, start, reason="SIGTERM")
    data = logs.begin(start) + air + stop
    lines = [dumps(json.loads(line)) for line in data.splitlines()]
    return "\n".join([*lines, ""]).encode()


def batches(data: bytes) -> list[bytes]:
    """The members of a packed night, as the watch writes them."""
    lines = data.splitlines(keepends=True)
    return [
        gzip.compress(b"".join(lines[at : at + BATCH]), 6, mtime=0)
        for at in range(0, len(lines), BATCH)
    ]


def folder_of(tmp_path: Path, **files: bytes) -> Path:
    """Make a folder of nights; `_` in a name stands for `-`, `__` for a dot."""
    for name, data in files.items():
        path = tmp_path / name.replace("__", ".").replace("_", "-")
        path.write_bytes(data)
    return tmp_path


def test_a_folder_that_is_well(tmp_path: Path) -> None:
    """Each file with its moments, lines, size and run; and exit code 0."""
    folder = folder_of(tmp_path, night_2026_01_16__jsonl=night())
    code, out, err = call(log, "check", folder)
    assert (code, err) == (0, "")
    verdict, first = out.splitlines()
    assert first.startswith("night-2026-01-16.jsonl: 2026-01-16 2")
    assert "362 lines, " in first
    assert first.endswith(" kB, run 2026-01-16T21:00:00Z")
    assert verdict == "1 file: nothing is damaged or doubled."


def test_what_is_lost_is_told_with_its_place(tmp_path: Path) -> None:
    """A line that is none, with its number; a flipped bit, with its minutes."""
    lines = night().splitlines(keepends=True)
    lines[100] = b'{"t":"2026-01-1\n'
    packed = batches(night(17))
    broken = bytearray(packed[3])
    broken[60] ^= 4
    packed[3] = bytes(broken)
    folder = folder_of(
        tmp_path,
        night_2026_01_16__jsonl=b"".join(lines),
        night_2026_01_17__jsonl__gz=b"".join(packed),
        night_2026_01_18__jsonl=b"",
    )
    code, out, _ = call(log, "check", folder, "--json")
    assert code == 1
    found = json.loads(out)
    assert found["well"] is False
    by_name = {one["file"]: one for one in found["files"]}
    (lost,) = by_name["night-2026-01-16.jsonl"]["lost"]
    assert (lost["after_line"], lost["lines"], lost["exact"]) == (100, 1, True)
    assert lost["from"] == "2026-01-16T21:16:20Z"
    assert lost["to"] == "2026-01-16T21:16:40Z"
    (lost,) = by_name["night-2026-01-17.jsonl.gz"]["lost"]
    assert (lost["after_line"], lost["exact"]) == (60, False)
    assert lost["lines"] == pytest.approx(BATCH, abs=1)
    assert by_name["night-2026-01-18.jsonl"]["damaged"] is True
    _, out, _ = call(log, "check", folder)
    assert "DAMAGED: 1 line after line 100, " in out
    assert "DAMAGED: about 20 lines after line 60, " in out
    assert "DAMAGED: holds no line that can be read." in out
    assert "3 files: 3 damaged, 0 doubled. `cabinvigil log mend " in out


@pytest.mark.hazard("record-comforts")
def test_a_bit_flipped_anywhere_is_told_and_costs_its_batch(tmp_path: Path) -> None:
    """200 places: never more than one batch, and never in silence."""
    packed = b"".join(batches(night()))
    whole = night().splitlines(keepends=True)
    path = tmp_path / "night-2026-01-16.jsonl.gz"
    random = Random(21)
    for _ in range(200):
        data = bytearray(packed)
        data[random.randrange(len(data))] ^= 1 << random.randrange(8)
        path.write_bytes(data)
        code, _, _ = call(log, "mend", path)
        made = tmp_path / "mended" / path.name
        kept = gzip.decompress(made.read_bytes()).splitlines(keepends=True)
        made.unlink()
        assert code == 0
        assert len(whole) - len(kept) <= BATCH
        if kept != whole:
            code, out, _ = call(log, "check", path)
            is_last = kept == whole[: len(kept)] and len(whole) - len(kept) < BATCH
            assert code == 1 or (is_last and "torn, as by a power cut" in out)


@pytest.mark.hazard("record-comforts")
def test_one_file_plain_and_packed_counts_once(tmp_path: Path) -> None:
    """R5: a cut between packing and deleting doubled the hours below 19.5 %."""
    low = logs.begin() + logs.air(logs.still_air(0.0, 7200.0, o2_pct=19.0))
    once = folder_of(tmp_path, night_2026_01_16__jsonl=low)
    plain = call(morning, once)[1]
    (tmp_path / "night-2026-01-16.jsonl.gz").write_bytes(gzip.compress(low, mtime=0))
    assert call(morning, tmp_path)[1] == plain
    code, out, _ = call(log, "check", tmp_path)
    assert code == 1
    assert (
        "DOUBLED: night-2026-01-16.jsonl and night-2026-01-16.jsonl.gz are one file "
        "twice; readers take one.\n" in out
    )


def test_of_two_the_one_that_holds_more_counts(tmp_path: Path) -> None:
    """Unpacked by hand on a full disk, the plain one is half of it."""
    data = night()
    folder_of(
        tmp_path,
        night_2026_01_16__jsonl=data[: len(data) // 2],
        night_2026_01_16__jsonl__gz=gzip.compress(data, mtime=0),
    )
    _, out, _ = call(morning, tmp_path, "--json")
    assert json.loads(out)["hours"] == pytest.approx(1.0, abs=0.02)


def test_the_same_run_in_two_files_is_told(tmp_path: Path) -> None:
    """R5: two rehearsals into one folder; files that go on with a run are no such."""
    goes_on = (
        logs.begin()
        + logs.air(logs.still_air(0.0, 1800.0)),
        logs.line("start", 1800.0, log_format=1, config={}, continues=True)
        + logs.air(logs.still_air(1800.0, 3600.0)),
    )  # fmt: skip
    folder = folder_of(
        tmp_path,
        night_2026_01_16__jsonl=goes_on[0],
        night_2026_01_16__2__jsonl=goes_on[1],
    )
    assert call(log, "check", folder)[0] == 0
    folder_of(tmp_path, night_2026_01_16__3__jsonl=night())
    code, out, _ = call(log, "check", folder)
    assert code == 1
    assert "hold the same hours of one run; both are read: move one away." in out


def test_what_is_left_over_is_told_and_is_no_damage(tmp_path: Path) -> None:
    """A cut while a night was packed leaves half of it; a folder may be named so."""
    folder = folder_of(
        tmp_path,
        night_2026_01_16__jsonl=night(),
        night_2026_01_15__jsonl__gz__part=b"\x1f\x8b",
    )
    (folder / "night-2026-01-14.jsonl").mkdir()
    code, out, _ = call(log, "check", folder)
    assert code == 0
    assert (
        "LEFT OVER: night-2026-01-14.jsonl, 0 bytes: not the file of a night.\n" in out
    )
    assert "LEFT OVER: night-2026-01-15.jsonl.gz.part, 2 bytes" in out


def test_a_torn_last_line_is_no_damage_and_a_newer_format_is(tmp_path: Path) -> None:
    data = night()
    folder_of(tmp_path, night_2026_01_16__jsonl=data + b'{"t":')
    code, out, _ = call(log, "check", tmp_path)
    assert code == 0
    assert "its last lines are torn" in out
    assert ", but night-2026-01-16.jsonl ends at " in out.splitlines()[0]
    assert "without a stop: what came after it is missing." in out.splitlines()[0]
    folder_of(tmp_path, night_2026_01_17__jsonl=logs.begin(log_format=99))
    code, out, _ = call(log, "check", tmp_path)
    assert code == 1
    assert "NEWER: a later version wrote it; bring the software up to date." in out


def test_a_folder_without_a_night_and_one_that_is_not_there(tmp_path: Path) -> None:
    code, out, err = call(log, "check", tmp_path)
    assert (code, out) == (2, "")
    assert "holds no night" in err
    os.mkfifo(tmp_path / "pipe")
    for name in ("none", "pipe"):
        code, out, err = call(log, "check", tmp_path / name)
        assert (code, out) == (2, "")
        assert "is neither a folder nor a file; give a folder of nights" in err


def test_the_folder_is_the_config_s_where_none_is_named(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, night_2026_01_16__jsonl=night())
    assert call(log, "check", "--log", folder)[0] == 0


def test_a_file_that_is_gone_meanwhile_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The watch packs and deletes as it pleases."""
    folder = folder_of(tmp_path, night_2026_01_16__jsonl=night())
    gone = folder / "night-2026-01-15.jsonl"
    monkeypatch.setattr(log_check, "files_of", lambda nights: [gone])
    code, out, _ = call(log, "check", folder)
    assert code == 1
    assert "DAMAGED: cannot be read (No such file or directory)." in out


def test_a_night_with_a_trial_is_well_and_is_mended_whole(tmp_path: Path) -> None:
    """Each line of a trial counted as damage, and `log mend` dropped it."""
    words = ("trials", "--hours", "0.8", "--tick-s", "30", "--log", tmp_path / "own")
    assert call(rehearse, *words)[0] == 0
    code, out, _ = call(log, "check", tmp_path / "own")
    assert code == 0, out
    assert "nothing is damaged" in out
    assert call(log, "mend", tmp_path / "own", "-o", tmp_path / "whole")[0] == 0
    (one,), (other,) = ((tmp_path / f).glob("*.jsonl") for f in ("own", "whole"))
    lines = one.read_text("utf-8").splitlines()
    assert sum('"trial":true' in line for line in lines) > 10
    assert other.read_text("utf-8").splitlines() == lines
    rows = call(log, "csv", tmp_path / "own")[1].splitlines()
    column = rows[0].split(",").index("co2_ppm")
    assert all(row.split(",")[column] for row in rows[60:])
