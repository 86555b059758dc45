"""The rolling log's thread: in time, held up by nobody, ended by no bug."""

import os
import threading
import time
from datetime import UTC
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import (
    Record,
)
from cabinvigil.daemon.log import writer
from cabinvigil.daemon.log.folder import Nights, OpenNight
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs import thread
from cabinvigil.daemon.outputs.base import Stamp
from tests.log.writing import RING, START, ticks
from tests.outputs.hands import EVENING, HandClock, Told

pytestmark = [
    pytest.mark.made_up("counts its lines by a field of its own"),
    pytest.mark.usefixtures("nothing_synced"),
]


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
    monkeypatch.setattr(thread, "HUNG_S", 0.05)
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


def test_a_bug_does_not_end_the_record_and_loses_no_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock, told = QuickClock(), Told()
    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    recorder = Recorder(nights, clock, told)
    real = nights.open
    bugs = iter([True])

    def open_night(*args: object) -> OpenNight:
        if next(bugs, False):
            raise ZeroDivisionError("bug")
        return real(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(nights, "open", open_night)
    recorder.start()
    recorder.handle(RING, Stamp(0.0, EVENING))
    wait_for(lambda: told.kinds()[:1] == ["late"])
    recorder.handle(RING, Stamp(1.0, EVENING))
    wait_for(lambda: told.kinds() == ["late", "ok"])
    recorder.stop(5.0)
    lines = [e for e in Logbook(nights.files()[0].path) if e.event == "alarm"]
    assert [e.up_s for e in lines] == [0.0, 1.0]
    assert told.kinds() == ["late", "ok"]


def test_a_disk_is_hung_after_thirty_seconds_and_not_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the clock that a test sets: at thirty it may still answer."""
    release, hung = threading.Event(), threading.Event()

    def hang(*_: object) -> OpenNight:
        hung.set()
        release.wait(20.0)
        raise OSError(5, "Input/output error")

    clock, told = HandClock(), Told()
    clock.now_s = 10.0
    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    monkeypatch.setattr(nights, "open", hang)
    recorder = Recorder(nights, clock, told)
    recorder.start()
    recorder.handle(RING, Stamp(0.0, EVENING))
    assert hung.wait(10.0)
    for now_s, kinds in ((39.0, []), (40.0, []), (40.5, ["blocked"])):
        clock.now_s = now_s
        recorder.handle(Record("air", {}), Stamp(now_s, EVENING))
        assert told.kinds() == kinds
    release.set()
    recorder.stop(10.0)
    clock.now_s = 1_000.0
    recorder.handle(Record("air", {}), Stamp(1_000.0, EVENING))
    assert "blocked" not in told.kinds()[1:]


def test_the_writer_is_woken_by_what_matters_and_by_a_full_batch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reading alone waits for its batch: each wake is a sync, and wears the card."""
    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    recorder = Recorder(nights, HandClock(), Told())
    wakes: list[int] = []
    monkeypatch.setattr(recorder._thread, "wake", lambda: wakes.append(1))
    for number in range(writer.BATCH_LINES - 1):
        recorder.handle(Record("air", {}), Stamp(float(number), EVENING))
    assert wakes == []
    recorder.handle(Record("air", {}), Stamp(300.0, EVENING))
    assert wakes == [1]
    other = Recorder(nights, HandClock(), Told())
    monkeypatch.setattr(other._thread, "wake", lambda: wakes.append(2))
    other.handle(Record("mark", {}, urgent=True), Stamp(0.0, EVENING))
    assert wakes == [1, 2]


def test_the_writer_sleeps_until_its_batch_is_due(tmp_path: Path) -> None:
    """Longer, and more than thirty seconds could be lost; shorter, and it spins."""
    clock = HandClock()
    clock.now_s = 100.0
    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    recorder = Recorder(nights, clock, Told())
    assert recorder._round() == writer.BATCH_S
    clock.now_s = 110.0
    assert recorder._round() == writer.BATCH_S - 10.0
    recorder.handle(RING, Stamp(0.0, EVENING))
    assert recorder._round() == writer.BATCH_S
