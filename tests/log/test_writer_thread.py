"""The rolling log's thread: in time, held up by nobody, ended by no bug."""

import json
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
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.log.writer import Recorder
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
