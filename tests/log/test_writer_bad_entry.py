"""One entry that cannot be written: left out by itself, told, and nothing else lost."""

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import Record, SourceFault
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import Stamp
from tests.log.writing import RING, Bench, ticks
from tests.outputs.hands import HandClock, Told

pytestmark = [
    pytest.mark.made_up("counts its lines by a field of its own"),
    pytest.mark.usefixtures("nothing_synced"),
]


class Hostile(Mapping[str, Any]):
    """Fields that raise what nobody expects, as soon as they are looked at."""

    def __getitem__(self, key: str) -> Any:
        raise KeyError(key)

    def __iter__(self) -> Iterator[str]:
        raise ZeroDivisionError("bug")

    def __len__(self) -> int:
        return 1


class Mute:
    """A value that no words can be found for, not even why."""

    def __repr__(self) -> str:
        raise RuntimeError("no words")

    __str__ = __repr__


BEFORE_ALL_TIME = Stamp(1.0, datetime.min.replace(tzinfo=UTC))
BAD = {
    "fields that raise": Hostile(),
    "no fields": None,
    "a number for fields": 7,
    "a value without words": {"tick": Mute()},
}


def air(number: int) -> Record:
    return Record("air", {"tick": float(number)})


def stamp(number: int) -> Stamp:
    clock = HandClock()
    clock.now_s = float(number)
    return clock.stamp()


@pytest.mark.parametrize("event", ["air", "start"])
@pytest.mark.parametrize("fields", BAD.values(), ids=BAD)
def test_the_rest_of_its_batch_is_written(
    tmp_path: Path, fields: Any, event: str
) -> None:
    """Forty-one readings and an alarm wait with it: all of them reach the card."""
    told = Told()
    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    recorder = Recorder(nights, HandClock(), told)
    recorder.handle(Record("start", {"version": "1"}, urgent=True), stamp(0))
    for number in range(20):
        recorder.handle(air(number), stamp(number))
    recorder.handle(Record(event, fields, urgent=True), stamp(20))
    for number in range(20, 41):
        recorder.handle(air(number), stamp(number))
    recorder.handle(RING, stamp(41))
    recorder.start()
    recorder.stop(10.0)
    lines = list(Logbook(*(each.path for each in nights.files())))
    assert ticks([e for e in lines if "tick" in e.fields]) == [
        float(n) for n in range(41)
    ]
    assert [e.event for e in lines][-1] == "alarm"
    assert told.kinds()[0] == "unwritable"
    assert isinstance(told[0], SourceFault)
    assert f"'{event}'" in told[0].text


def test_a_moment_that_is_in_no_night_is_left_out_and_told(bench: Bench) -> None:
    """East of Greenwich the first moment of all lies in no year."""
    bench.air(10)
    bench.recorder.handle(Record("air", {"tick": 0.0}), BEFORE_ALL_TIME)
    bench.air(100)
    bench.recorder.stop(1.0)
    assert ticks(bench.on_disk()) == [float(n) for n in range(1, 111)]
    assert bench.told.kinds() == ["unwritable", "ok"]


def test_it_is_told_once_and_its_end_within_a_minute_of_the_last(
    bench: Bench,
) -> None:
    for _ in range(3):
        bench.recorder.handle(Record("air", Hostile()), bench.clock.stamp())
    bench.air(5)
    bench.ring()
    assert bench.told.kinds() == ["unwritable"]
    bench.air(20)
    assert bench.told.kinds() == ["unwritable"]
    bench.air(40)
    assert bench.told.kinds() == ["unwritable", "ok"]


def test_a_line_says_what_was_there_where_that_can_be_said(bench: Bench) -> None:
    """When, and that something happened: a gap would say that nothing did."""
    bench.air(1)
    bench.recorder.handle(Record("air", Hostile()), bench.clock.stamp())
    bench.recorder.stop(1.0)
    (line,) = [e for e in bench.on_disk() if "unwritable" in e.fields]
    assert (line.event, line.up_s) == ("air", 1.0)
    assert json.dumps(line.fields) == '{"unwritable": "ZeroDivisionError: bug"}'


def test_a_disk_that_mends_ends_no_fault_of_an_entry(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two faults of one log, each with its own end."""

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    bench.air(1)
    with monkeypatch.context() as full:
        full.setattr(bench.nights, "open", refuse)
        bench.recorder._close()
        bench.ring()
    bench.recorder.handle(Record("air", Hostile(), urgent=True), bench.clock.stamp())
    assert bench.told.kinds() == ["not-writable", "unwritable"]
    bench.air(100)
    assert bench.told.kinds() == ["not-writable", "unwritable", "ok"]


def test_the_rest_is_written_though_nobody_can_be_told(tmp_path: Path) -> None:
    """The loop is closed, and the last batch of the night has one in it."""

    def gone(_event: object) -> None:
        raise RuntimeError("the loop is closed")

    nights = Nights(tmp_path, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    recorder = Recorder(nights, HandClock(), gone)
    for number in range(5):
        fields = Hostile() if number == 2 else {"tick": float(number)}
        recorder.handle(Record("air", fields), stamp(number))
    recorder.start()
    recorder.stop(10.0)
    lines = list(Logbook(*(each.path for each in nights.files())))
    assert [e.up_s for e in lines if e.event == "air"] == [0.0, 1.0, 2.0, 3.0, 4.0]
