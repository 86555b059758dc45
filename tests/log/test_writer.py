"""The rolling log: what reaches the card and when, and which file it goes to."""

import gzip
import json
import os
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import (
    Record,
)
from cabinvigil.daemon.log.folder import OpenNight, night_of
from tests.log.writing import START, Bench, ticks
from tests.outputs.hands import EVENING

pytestmark = [
    pytest.mark.made_up("counts its lines by a field of its own"),
    pytest.mark.usefixtures("nothing_synced"),
]


def test_a_night_file_begins_with_what_ran(bench: Bench) -> None:
    """Version, config, its digest and the log's format: a replay knows what ran."""
    (first,) = bench.on_disk()
    assert bench.names() == ["night-2025-01-14.jsonl.gz"]
    assert first.event == "start"
    assert {**first.fields, **START} == first.fields
    assert first.fields["log_format"] == 1
    assert "continues" not in first.fields


def test_readings_wait_and_an_alarm_takes_them_to_the_card(bench: Bench) -> None:
    """An alarm is on the card at once, after every reading before it."""
    bench.air(10)
    assert ticks(bench.on_disk()) == []
    bench.ring()
    lines = bench.on_disk()
    assert ticks(lines) == [float(n) for n in range(1, 11)]
    assert lines[-1].event == "alarm"


def test_at_most_thirty_seconds_of_readings_are_lost(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Design section 8, at every second of an hour: a cut loses at most 30 s."""
    safe_s, real = [0.0], OpenNight.append

    def append(night: OpenNight, lines: bytes) -> None:
        real(night, lines)
        safe_s[0] = json.loads(lines.splitlines()[-1])["up_s"]

    monkeypatch.setattr(OpenNight, "append", append)
    most_s = 0.0
    for _ in range(3_600):
        most_s = max(most_s, bench.clock.now_s + 1.0 - safe_s[0])
        bench.air(1)
    assert 20.0 < most_s <= 30.0
    assert max(ticks(bench.on_disk())) == safe_s[0]


@pytest.mark.parametrize("packed", [True, False])
def test_card_wear_of_a_night(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, packed: bool
) -> None:
    """Design section 9 on one of nine hours, ten quantities at 1 Hz.

    Syncs hold for both forms; bytes hold for the packed form.  The plain form is for
    looking at and writes about 7 MB a night.
    """
    wear = {"bytes": 0, "syncs": 0}
    real_write, real_sync = os.write, os.fsync

    def write(fd: int, data: bytes) -> int:
        wear["bytes"] += len(data)
        return real_write(fd, data)

    def sync(fd: int) -> None:
        wear["syncs"] += 1
        real_sync(fd)

    monkeypatch.setattr(os, "write", write)
    monkeypatch.setattr(os, "fsync", sync)
    bench = Bench(tmp_path, packed=packed).begin()
    for second in range(3600):
        bench.clock.now_s += 1.0
        wobble = (second * 7919 % 101) / 101
        fields = {
            "o2_pct": round(20.4 + wobble / 30, 3),
            "co_ppm": round(3 * wobble, 1),
            "co2_ppm": round(1500 + 40 * wobble),
            "gas_lel_pct": round(wobble, 1),
            "temp_c": round(18 + wobble / 5, 2),
            "rh_pct": round(55 + wobble, 1),
            "pressure_hpa": round(941 + wobble / 4, 2),
            "pm2_5_ugm3": round(12 + wobble, 1),
            "voc_index": round(100 + 5 * wobble),
            "supply_v": round(12.8 + wobble / 90, 3),
        }
        bench.recorder.handle(Record("air", fields), bench.clock.stamp())
    bench.recorder.stop(1.0)
    assert wear["syncs"] * 9 <= 1_500
    assert wear["bytes"] * 9 <= (5_000_000 if packed else 8_000_000)


def test_nights_run_from_noon_to_noon(bench: Bench) -> None:
    """The file of 15 January begins at noon of the 15th, and says it goes on."""
    bench.clock.start = datetime(2025, 1, 15, 11, 59, 50, tzinfo=UTC)
    bench.clock.now_s = 0.0
    bench.air(60)
    bench.recorder.stop(1.0)
    assert [n for n in bench.names() if "01-15" in n] == ["night-2025-01-15.jsonl.gz"]
    lines = bench.on_disk()
    second = [each for each in lines if each.event == "start"][-1]
    assert second.fields["continues"] is True
    assert second.fields["config"] == START["config"]
    before = [
        e for e in lines if e.wall and e.wall < datetime(2025, 1, 15, 12, tzinfo=UTC)
    ]
    assert len(ticks(before)) == 9
    assert [e.run for e in lines] == [1] * len(lines)
    assert ticks(lines) == [float(n) for n in range(1, 61)]


def test_a_file_that_begins_in_a_bump_test_says_so(bench: Bench) -> None:
    """At noon: the morning read the rest of the bag as air of the cabin."""
    bench.clock.start = datetime(2025, 1, 15, 11, 59, 50, tzinfo=UTC)
    bench.clock.now_s = 0.0
    begun = {"state": "begun", "for_s": 300.0}
    bench.recorder.handle(Record("bump-test", begun, urgent=True), bench.clock.stamp())
    bench.air(20)
    ended = Record("bump-test", {"state": "ended"}, urgent=True)
    bench.recorder.handle(ended, bench.clock.stamp())
    bench.recorder.stop(1.0)
    second = [one for one in bench.on_disk() if one.event == "start"][-1]
    assert second.fields["bump_for_s"] == 290.0


def test_noon_is_local() -> None:
    """A night belongs to the date of its noon on the cabin's own clock."""
    west = timezone(timedelta(hours=-8))
    moment = datetime(2025, 1, 15, 7, 0, tzinfo=UTC)  # 23:00 of the 14th out west
    assert night_of(moment, west) == date(2025, 1, 14)
    assert night_of(datetime(2025, 1, 15, 20, 30, tzinfo=UTC), west) == date(
        2025, 1, 15
    )


@pytest.mark.parametrize("packed", [True, False])
def test_closed_nights_are_gzipped_and_read_the_same(
    tmp_path: Path, packed: bool
) -> None:
    bench = Bench(tmp_path, packed=packed).begin()
    for _ in range(3):
        bench.air(10)
        bench.clock.now_s += 86_400.0 - 10
    bench.air(1)
    bench.recorder.stop(1.0)
    closed = [n for n in bench.names() if "01-17" not in n]
    assert closed == [f"night-2025-01-{day}.jsonl.gz" for day in (14, 15, 16)]
    assert len(ticks(bench.on_disk())) == 31
    assert not [n for n in bench.names() if "part" in n]


@pytest.mark.parametrize("packed", [True, False])
def test_a_restart_goes_on_in_the_same_file_after_mending_it(
    tmp_path: Path, packed: bool
) -> None:
    """A power cut tore the end: the torn bytes go, the whole lines stay."""
    bench = Bench(tmp_path, packed=packed).begin()
    bench.air(30)
    bench.ring()
    (path,) = [each.path for each in bench.nights.files()]
    whole = path.read_bytes()
    half = gzip.compress(b'{"t": "2025-01-14T21:00:31')[:-9]
    for torn in (half, b'{"t": "2025', bytes(10)):
        path.write_bytes(whole + torn)
        os.utime(path, (EVENING.timestamp() + 31,) * 2)
        after = Bench(tmp_path, packed=packed, start=EVENING + timedelta(seconds=40))
        after.begin().air(5)
        after.recorder.stop(1.0)
        lines = after.on_disk()
        assert len(after.nights.files()) == 1
        assert ticks(lines)[-5:] == [1.0, 2.0, 3.0, 4.0, 5.0]
        assert len([e for e in lines if e.event == "alarm"]) >= 1
        assert lines[-1].run == 2
        path.write_bytes(whole)


def test_a_clock_behind_the_last_line_never_mixes_nights(tmp_path: Path) -> None:
    """Two boots in 1970 without network are two files, in the order they were."""
    for boot in range(3):
        bench = Bench(tmp_path, start=datetime(1970, 1, 1, 0, 0, 5, tzinfo=UTC))
        bench.begin().air(30)
        bench.recorder.stop(1.0)
        os.utime(bench.nights.files()[-1].path, (10_000.0 + boot,) * 2)
    assert bench.names() == [
        "night-1969-12-31.2.jsonl.gz",
        "night-1969-12-31.3.jsonl.gz",
        "night-1969-12-31.jsonl.gz",
    ]
    assert [f.number for f in bench.nights.files()] == [1, 2, 3]


def test_a_clock_stepped_at_night_opens_the_right_night(bench: Bench) -> None:
    """Years off until the network came: later lines go to their own night's file."""
    bench.air(30)
    bench.clock.start += timedelta(days=700)
    bench.air(30)
    bench.recorder.stop(1.0)
    lines = bench.on_disk()
    assert len(bench.nights.files()) == 2
    assert ticks(lines) == [float(n) for n in range(1, 61)]
    assert max(e.clock_step_s for e in lines) == pytest.approx(700 * 86_400, abs=1)
