"""The rolling log: what reaches the card and when, and what a bad disk costs."""

import errno
import gzip
import json
import os
import threading
import time
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.core.model import (
    AlarmState,
    Priority,
    Record,
    SourceFault,
    Transition,
)
from cabinvigil.daemon.log import writer
from cabinvigil.daemon.log.folder import Nights, night_of
from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import Stamp
from tests.outputs.hands import EVENING, HandClock, Told

pytestmark = pytest.mark.made_up("counts its lines by a field of its own")

START = {"version": "0.1.0", "config_digest": "ab" * 32, "config": {"cabin": "lapwing"}}
RING = Transition(
    "o2-low", AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL, Priority.HIGH,
    "Oxygen low.", 1.0,
)  # fmt: skip


@pytest.fixture(autouse=True)
def _quick_sync(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sync nothing: tested is when it is asked for, and what a refusal costs."""
    monkeypatch.setattr(os, "fsync", lambda fd: None)


class Bench:
    """A recorder that works inline, and the hands to feed it."""

    def __init__(
        self,
        folder: Path,
        *,
        packed: bool = True,
        keep_days: float = 30.0,
        max_bytes: int = 10**9,
        start: datetime = EVENING,
    ) -> None:
        self.folder = folder
        self.clock = HandClock(start)
        self.told = Told()
        self.nights = Nights(
            folder, keep_days=keep_days, max_bytes=max_bytes, packed=packed, zone=UTC
        )
        self.recorder = Recorder(self.nights, self.clock, self.told, inline=True)

    def begin(self) -> "Bench":
        self.recorder.handle(Record("start", START, urgent=True), self.clock.stamp())
        return self

    def air(self, seconds: int, step_s: float = 1.0) -> None:
        for _ in range(seconds):
            self.clock.now_s += step_s
            fields = {"o2_pct": 20.5, "tick": self.clock.now_s}
            self.recorder.handle(Record("air", fields), self.clock.stamp())

    def ring(self) -> None:
        self.recorder.handle(RING, self.clock.stamp())

    def on_disk(self) -> list[LogLine]:
        book = Logbook(*(each.path for each in self.nights.files()))
        lines = list(book)
        assert book.flaws.is_clean, book.flaws
        return lines

    def names(self) -> list[str]:
        return sorted(path.name for path in self.folder.iterdir())


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path / "log").begin()


def ticks(lines: list[LogLine]) -> list[float]:
    return [each.fields["tick"] for each in lines if each.event == "air"]


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


def test_at_most_thirty_seconds_of_readings_are_lost(bench: Bench) -> None:
    """Design section 8, at every instant of an hour: a cut loses no more than 30 s."""
    for _ in range(720):
        bench.air(5)
        safe = (
            max(ticks(bench.on_disk()), default=0.0)
            if bench.clock.now_s % 600 == 0
            else None
        )
        if safe is not None:
            assert bench.clock.now_s - safe <= 30.0


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


# --- caps ------------------------------------------------------------------------


def fill(bench: Bench, nights: int) -> None:
    for _ in range(nights):
        bench.air(20, step_s=1.0)
        bench.clock.now_s += 86_400.0 - 20
    bench.air(1)


def test_the_oldest_go_when_the_folder_is_over_its_size(tmp_path: Path) -> None:
    bench = Bench(tmp_path, max_bytes=2_500, keep_days=1e4).begin()
    fill(bench, 12)
    files = bench.nights.files()
    assert sum(f.size for f in files) <= 2_500 + 600
    assert files[-1].night == date(2025, 1, 26)
    assert files[0].night > date(2025, 1, 14)


def test_the_running_night_is_never_deleted(tmp_path: Path) -> None:
    bench = Bench(tmp_path, max_bytes=1, keep_days=0.0).begin()
    fill(bench, 3)
    bench.air(730, step_s=10.0)
    assert [f.night for f in bench.nights.files()] == [date(2025, 1, 17)]


def test_old_nights_go_by_age(tmp_path: Path) -> None:
    bench = Bench(tmp_path, keep_days=5.0).begin()
    fill(bench, 12)
    assert bench.nights.files()[0].night == date(2025, 1, 26 - 5)


@pytest.mark.parametrize("wrong", [timedelta(days=-9000), timedelta(days=27_000)])
def test_a_clock_that_cannot_be_right_deletes_nothing_by_age(
    tmp_path: Path, wrong: timedelta
) -> None:
    """1970, or 2099: neither is a reason to think a winter's nights too old."""
    bench = Bench(tmp_path, keep_days=10.0).begin()
    fill(bench, 8)
    bench.recorder.stop(1.0)
    before = {f.path.name for f in bench.nights.files()}
    later = Bench(tmp_path, keep_days=10.0, start=EVENING + wrong).begin()
    later.air(1_440, step_s=10.0)
    later.recorder.stop(1.0)
    assert before <= {f.path.name for f in later.nights.files()}


def test_a_clock_that_lies_for_days_empties_the_folder_slowly(tmp_path: Path) -> None:
    """Once nights of the wrong date stand, age takes two a noon and no more."""
    bench = Bench(tmp_path, keep_days=10.0).begin()
    fill(bench, 9)
    bench.recorder.stop(1.0)
    wrong = Bench(tmp_path, keep_days=10.0, start=EVENING + timedelta(days=27_000))
    fill(wrong.begin(), 2)
    left = [f for f in wrong.nights.files() if f.night < date(2026, 1, 1)]
    assert len(left) >= 10 - 2 * 2


def test_size_holds_though_the_clock_is_wrong(tmp_path: Path) -> None:
    """By the true order, not the dates: a night of '1970' is not the oldest."""
    bench = Bench(tmp_path, keep_days=1e4).begin()
    fill(bench, 4)
    bench.recorder.stop(1.0)
    lost = Bench(
        tmp_path,
        max_bytes=1_800,
        keep_days=1e4,
        start=EARLIEST - timedelta(days=20_000),
    ).begin()
    fill(lost, 2)
    nights = [f.night for f in lost.nights.files()]
    assert nights[-1].year < 1975
    assert date(2025, 1, 14) not in nights


def test_foreign_files_are_left_alone(tmp_path: Path) -> None:
    for name in ("night-notes.jsonl", "night-2025-99-99.jsonl", "mine.txt"):
        (tmp_path / name).write_text("keep me")
    bench = Bench(tmp_path, max_bytes=1, keep_days=0.0).begin()
    fill(bench, 3)
    assert {"night-notes.jsonl", "night-2025-99-99.jsonl", "mine.txt"} <= set(
        bench.names()
    )


# --- a bad disk --------------------------------------------------------------------


class BadDisk:
    """Makes the system calls fail, as a full, read-only or dying card does."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.fails: dict[str, int] = {}
        self.short = False
        for name in ("write", "fsync", "open"):
            self._wrap(monkeypatch, name, getattr(os, name))

    def _wrap(self, monkeypatch: pytest.MonkeyPatch, name: str, real: object) -> None:
        def call(*args: object, **kw: object) -> object:
            if name == "write" and self.short and len(args[1]) > 40:  # type: ignore[arg-type]
                self.short = False
                self.fails["write"] = errno.ENOSPC
                return real(args[0], args[1][:40])  # type: ignore[operator,index]
            if name in self.fails and (name != "open" or "night-" in str(args[0])):
                raise OSError(self.fails[name], os.strerror(self.fails[name]))
            return real(*args, **kw)  # type: ignore[operator]

        monkeypatch.setattr(os, name, call)


@pytest.mark.parametrize(
    ("call", "number", "word"),
    [
        ("write", errno.ENOSPC, "full"),
        ("write", errno.EROFS, "read-only"),
        ("fsync", errno.EIO, "renew"),
        ("open", errno.EACCES, "user cabinvigil"),
    ],
)
@pytest.mark.parametrize("packed", [True, False])
def test_a_bad_disk_is_told_and_nothing_is_lost(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    call: str,
    number: int,
    word: str,
    packed: bool,
) -> None:
    """For ten minutes the card refuses: one fault, and every line once it is back."""
    disk = BadDisk(monkeypatch)
    bench = Bench(tmp_path, packed=packed).begin()
    bench.air(30)
    disk.fails = {call: number}
    if call == "open":
        bench.recorder._close()
    bench.air(300)
    bench.ring()
    bench.air(300)
    assert bench.told.kinds() == ["not-writable"]
    assert isinstance(bench.told[0], SourceFault)
    assert word in bench.told[0].text
    assert bench.told[0].source == "log"
    disk.fails = {}
    bench.air(30)
    bench.recorder.stop(1.0)
    lines = bench.on_disk()
    assert bench.told.kinds() == ["not-writable", "ok"]
    assert ticks(lines) == [float(n) for n in range(1, 661)]
    assert len([e for e in lines if e.event == "alarm"]) == 1


def test_a_disk_that_takes_bytes_and_drops_them_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ext4 remounted read-only under the open file: write and fsync say all is well."""
    bench = Bench(tmp_path).begin()
    bench.air(30)
    real = os.fstatvfs

    class ReadOnly:
        f_flag = os.ST_RDONLY

    monkeypatch.setattr(os, "fstatvfs", lambda fd: ReadOnly)
    bench.air(60)
    assert bench.told.kinds() == ["not-writable"]
    assert isinstance(bench.told[0], SourceFault)
    assert "read-only" in bench.told[0].text
    monkeypatch.setattr(os, "fstatvfs", real)
    bench.air(60)
    bench.recorder.stop(1.0)
    assert bench.told.kinds() == ["not-writable", "ok"]
    assert ticks(bench.on_disk()) == [float(n) for n in range(1, 151)]


def test_a_write_that_stops_half_way_is_taken_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk filled within a batch: no half batch, no line twice."""
    disk = BadDisk(monkeypatch)
    bench = Bench(tmp_path).begin()
    bench.air(30)
    disk.short = True
    bench.air(60)
    disk.fails = {}
    bench.air(60)
    bench.recorder.stop(1.0)
    assert ticks(bench.on_disk()) == [float(n) for n in range(1, 151)]


def test_a_file_deleted_beneath_us_is_begun_again(bench: Bench) -> None:
    """Lines written into a deleted file would be gone in silence."""
    bench.air(30)
    for each in bench.nights.files():
        each.path.unlink()
    bench.air(60)
    bench.recorder.stop(1.0)
    lines = bench.on_disk()
    assert lines[0].event == "start"
    assert lines[0].fields["continues"] is True
    assert ticks(lines)[-1] == 90.0
    assert bench.told.kinds() == ["not-writable", "ok"]


def test_a_folder_that_cannot_be_made_is_a_fault_and_no_crash(tmp_path: Path) -> None:
    (tmp_path / "log").write_text("a file where the folder should be")
    bench = Bench(tmp_path / "log").begin()
    bench.air(60)
    assert bench.told.kinds() == ["not-writable"]


def test_memory_for_waiting_lines_is_bounded_and_alarms_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The oldest readings go first, and the log says how many when it can."""
    monkeypatch.setattr(writer, "PENDING_BYTES", 20_000)
    disk = BadDisk(monkeypatch)
    bench = Bench(tmp_path).begin()
    disk.fails = {"write": errno.ENOSPC}
    bench.air(50)
    bench.ring()
    bench.air(2_000)
    disk.fails = {}
    bench.air(30)
    bench.recorder.stop(1.0)
    lines = bench.on_disk()
    got = ticks(lines)
    assert got == sorted(got)
    assert got[-1] == 2_080.0
    assert 100 < len(got) < 500
    assert len([e for e in lines if e.event == "alarm"]) == 1
    (lost,) = [e for e in lines if e.event == "fault"]
    assert str(2_080 - len(got)) in lost.fields["text"]


# --- the thread --------------------------------------------------------------------


class QuickClock(HandClock):
    def monotonic(self) -> float:
        return time.perf_counter()


def wait_for(what: object, deadline_s: float = 10.0) -> None:
    until = time.perf_counter() + deadline_s
    while not what():  # type: ignore[operator]
        assert time.perf_counter() < until, "never happened"
        time.sleep(0.005)


def test_on_its_thread_an_alarm_is_on_the_card_within_a_moment(tmp_path: Path) -> None:
    clock, told = QuickClock(), Told()
    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    recorder = Recorder(nights, clock, told)
    recorder.start()
    recorder.start()
    recorder.handle(Record("start", START, urgent=True), Stamp(0.0, EVENING))
    recorder.handle(Record("air", {"o2_pct": 20.5}), Stamp(1.0, EVENING))
    recorder.handle(RING, Stamp(1.0, EVENING))
    wait_for(lambda: nights.files() and len(list(Logbook(nights.files()[0].path))) == 3)
    recorder.handle(Record("stop", {"reason": "asked"}), Stamp(2.0, EVENING))
    recorder.stop(5.0)
    events = [e.event for e in Logbook(nights.files()[0].path)]
    assert events == ["start", "air", "alarm", "stop"]
    assert told == []


def test_a_hung_disk_holds_up_nobody_and_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The write never returns: offers go on at once, the fault comes, stop returns."""
    release, hung = threading.Event(), threading.Event()
    real = os.fsync

    def hang(fd: int) -> None:
        hung.set()
        release.wait(20.0)
        real(fd)

    monkeypatch.setattr(os, "fsync", hang)
    monkeypatch.setattr(writer, "HUNG_S", 0.05)
    clock, told = QuickClock(), Told()
    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    recorder = Recorder(nights, clock, told)
    recorder.start()
    recorder.handle(RING, Stamp(0.0, EVENING))
    assert hung.wait(10.0)
    time.sleep(0.1)
    began = time.perf_counter()
    for number in range(2_000):
        recorder.handle(Record("air", {"tick": number}), Stamp(1.0 + number, EVENING))
    assert time.perf_counter() - began < 2.0
    assert told.kinds() == ["blocked"]
    recorder.stop(0.05)
    release.set()
    assert recorder._thread is not None
    recorder._thread.join(10.0)
    assert len(ticks(list(Logbook(nights.files()[0].path)))) == 2_000
    assert told.kinds() == ["blocked", "ok"]


def test_a_bug_does_not_end_the_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock, told = QuickClock(), Told()
    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    recorder = Recorder(nights, clock, told)
    real = recorder._renderer.render
    bugs = iter([True])

    def render(*args: object) -> bytes:
        if next(bugs, False):
            raise ZeroDivisionError("bug")
        return real(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(recorder._renderer, "render", render)
    recorder.start()
    recorder.handle(RING, Stamp(0.0, EVENING))
    wait_for(lambda: told.kinds() == ["late"])
    recorder.handle(RING, Stamp(1.0, EVENING))
    recorder.stop(5.0)
    assert json.dumps(told.kinds()) == '["late", "ok"]'
    assert [e.event for e in Logbook(nights.files()[0].path)][-1] == "alarm"
