"""The sampler of serial parts, on real ptys, in virtual time: table 14, rows 15-22."""

import asyncio
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.frame9 import (
    EmulatedFrame9Co,
    EmulatedFrame9O2,
)
from cabinvigil.daemon.rehearsal.faulty_serial import FaultySerialPart
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import EmulatedSerial
from cabinvigil.daemon.sampling.sampler import BACK_OFF_CAP_S, SamplerContext
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.stream_sampler import SETTLE_S, StreamSampler
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import (
    DriverError,
    OutOfRangeError,
    Sample,
    ShortError,
)
from tests.emulation import Cabin, Fails, live

O2 = {"o2": "o2_optical_line"}
CO = {"co": "frame9_co"}
MAX_AGE_S = find_part("frame9_co").max_age_s


def times(cabin: Cabin, name: str, quantity: str) -> list[float]:
    return [at_s for at_s, _ in cabin.of(name, quantity)]


def test_a_reading_comes_with_each_line(tmp_path: Path) -> None:
    """Ten minutes of two modules: one reading a second each, at its own moment."""
    cabin = run_virtual(live(tmp_path, O2 | CO, 600.0))
    for name, quantity in (("o2", "o2_pct"), ("co", "co_ppm")):
        got = times(cabin, name, quantity)
        assert got == [float(n) for n in range(1, len(got) + 1)]
        assert len(got) >= 599
    assert cabin.events == []


def test_a_part_that_answers_when_asked(tmp_path: Path) -> None:
    """The CO2 module sends nothing of itself: one request, one reading, an interval."""
    cabin = run_virtual(live(tmp_path, {"co2": "frame9_co2"}, 300.0))
    interval_s = find_part("frame9_co2").interval_s
    got = times(cabin, "co2", "co2_ppm")
    assert {round(b - a, 3) for a, b in pairwise(got)} == {interval_s}
    assert cabin.events == []


def test_early_values_are_doubtful(tmp_path: Path) -> None:
    """Until its warm-up is over a module's values are marked; then they are good."""
    cabin = run_virtual(live(tmp_path, CO, 300.0))
    warm_up_s = find_part("frame9_co").warm_up_s
    early = [s for at_s, s in cabin.of("co", "co_ppm") if at_s < warm_up_s - 1]
    late = [s for at_s, s in cabin.of("co", "co_ppm") if at_s > warm_up_s + 1]
    assert {s.reason for s in early} == {"warming up"}
    assert {s.quality for s in late} == {"good"}


@pytest.mark.parametrize("fault", ["split", "merge"])
def test_split_and_merged_frames_are_no_fault(tmp_path: Path, fault: str) -> None:
    """Frames in halves, or three at once, are all read (row 16)."""
    cabin = run_virtual(live(tmp_path, CO, 500.0, Fails("co", fault, 200.0, 400.0)))
    assert cabin.events == []
    got = [t for t in times(cabin, "co", "co_ppm") if 200.0 <= t <= 400.0]
    assert len(got) >= (198 if fault == "split" else 65)


def test_noise_at_power_up_is_no_fault(tmp_path: Path) -> None:
    """Junk and half frames first, then readings; nothing is told (row 15)."""
    noisy = [Fails("co", "noise", 0.0, 8.0), Fails("o2", "noise", 0.0, 8.0)]
    cabin = run_virtual(live(tmp_path, O2 | CO, 120.0, *noisy))
    assert cabin.events == []
    assert times(cabin, "co", "co_ppm")[0] < 8.0
    assert times(cabin, "o2", "o2_pct")[0] < 8.0


def test_a_silent_part_is_absent_at_its_age(tmp_path: Path) -> None:
    """Told when its last value grows stale; well again with the first good frame."""
    cabin = run_virtual(live(tmp_path, CO, 900.0, Fails("co", "stall", 200.0, 800.0)))
    (lost_s, kind), (found_s, over) = cabin.told("co")
    assert (kind, over) == ("absent", "")
    assert 200.0 + MAX_AGE_S - 2.0 <= lost_s <= 200.0 + MAX_AGE_S + 2.0
    assert found_s == pytest.approx(800.0, abs=2.0)
    assert not [t for t in times(cabin, "co", "co_ppm") if 200.0 < t < 799.0]
    (fault,) = [e for _, e in cabin.events if isinstance(e, SourceFault)]
    assert fault.text.startswith("co (")
    assert "check its plug and cable" in fault.text


def test_a_part_without_power_for_ten_minutes_warms_up_again(tmp_path: Path) -> None:
    """Back, its values are doubtful for its warm-up, as after every power-up."""
    cabin = run_virtual(live(tmp_path, CO, 1200.0, Fails("co", "vanish", 200.0, 800.0)))
    (_, _), (found_s, _) = cabin.told("co")
    after = [(t, s) for t, s in cabin.of("co", "co_ppm") if t >= found_s]
    assert after[1][1].reason == "warming up"
    assert after[-1][1].quality == "good"


def test_a_part_back_in_another_mode_is_told_again_how_to_work(tmp_path: Path) -> None:
    """A module that was set to another mode meanwhile is set right by the opening."""

    async def play() -> Cabin:
        async def silence(cabin: Cabin) -> None:
            await asyncio.sleep(100.0)
            line = cabin.serials[0]
            line.part.receive(b"M 2\r\n")  # off, as a reset by other hands may leave it
            line.reschedule()

        return await live(tmp_path, O2, 200.0, meanwhile=silence)

    cabin = run_virtual(play())
    assert [kind for _, kind in cabin.told("o2")] == ["absent", ""]
    assert times(cabin, "o2", "o2_pct")[-1] > 290.0


def test_an_adapter_that_is_back_within_seconds_is_no_fault(tmp_path: Path) -> None:
    """Re-enumeration of two seconds: the port is opened again, nothing is told."""
    cabin = run_virtual(live(tmp_path, O2, 120.0, Fails("o2", "unplug", 60.2, 62.2)))
    assert cabin.events == []
    after = [t for t in times(cabin, "o2", "o2_pct") if t > 62.2]
    assert after[0] < 66.0
    assert after[-1] > 118.0


def test_an_adapter_unplugged_for_ten_minutes(tmp_path: Path) -> None:
    """Told at its age limit (row 18), back within the back-off; others undisturbed."""
    gone = Fails("o2", "unplug", 100.2, 700.2)
    cabin = run_virtual(live(tmp_path, O2 | CO, 900.0, gone))
    (lost_s, kind), (found_s, over) = cabin.told("o2")
    assert (kind, over) == ("port-missing", "")
    patience_s = min(SETTLE_S, find_part("o2_optical_line").max_age_s)
    assert 100.2 + patience_s - 1.0 < lost_s < 100.2 + patience_s + 2.0
    assert 700.0 < found_s < 700.2 + BACK_OFF_CAP_S + 2.0
    assert cabin.told("co") == []
    assert max(b - a for a, b in pairwise(times(cabin, "co", "co_ppm"))) < 1.01
    (fault,) = [e for _, e in cabin.events if isinstance(e, SourceFault)]
    assert "by-path" in fault.text


def test_a_port_that_is_missing_at_the_start_is_told_at_once(tmp_path: Path) -> None:
    """Row 19: the fault comes at once, and it is tried until the port is there."""

    async def play() -> Cabin:
        async def later(cabin: Cabin) -> None:
            cabin.serials[0].unplug()
            await asyncio.sleep(60.0)
            cabin.serials[0].plug()

        return await live(tmp_path, CO, 60.0, meanwhile=later)

    cabin = run_virtual(play())
    (lost_s, kind), (found_s, over) = cabin.told("co")
    assert (lost_s, kind, over) == (0.0, "port-missing", "")
    assert 60.0 < found_s < 60.0 + BACK_OFF_CAP_S + 2.0


def test_a_babbling_part_is_named(tmp_path: Path) -> None:
    """All that the line carries and no frame: told as babbling within the age limit."""
    spans = Fails("co", "babble", 100.0, 200.0)
    cabin = run_virtual(live(tmp_path, O2 | CO, 300.0, spans))
    (lost_s, kind), (found_s, over) = cabin.told("co")
    assert (kind, over) == ("babbling", "")
    assert lost_s < 100.0 + MAX_AGE_S + 2.0
    assert 200.0 <= found_s < 203.0
    assert max(b - a for a, b in pairwise(times(cabin, "o2", "o2_pct"))) < 1.01


@pytest.mark.parametrize(
    ("fault", "kinds"),
    [
        ("flip", {"checksum", "framing"}),
        ("drop", {"checksum", "framing"}),
        ("truncate", {"checksum", "framing"}),
        ("zeros", {"framing"}),
        ("ones", {"checksum", "framing"}),
    ],
)
def test_garbled_frames_are_a_fault_when_none_is_good(
    tmp_path: Path, fault: str, kinds: set[str]
) -> None:
    """No good frame for the part's age: told, and nothing false delivered."""
    cabin = run_virtual(live(tmp_path, CO, 400.0, Fails("co", fault, 100.0, 300.0)))
    told = cabin.told("co")
    assert told[0][1] in kinds
    assert told[0][0] < 100.0 + MAX_AGE_S + 3.0
    values = [s.value for t, s in cabin.of("co", "co_ppm") if 100.0 < t < 300.0]
    assert all(value < 3.0 for value in values)  # the air holds none
    assert times(cabin, "co", "co_ppm")[-1] > 395.0


def test_another_module_on_the_port_is_never_believed(tmp_path: Path) -> None:
    """An O2 module on the CO port: wrong-part, and not one of its values (row 22)."""

    async def play() -> Cabin:
        cabin = Cabin(tmp_path, AirNow())
        air, now = (lambda: cabin.air), cabin.loop.time
        part = FaultySerialPart(
            "co",
            EmulatedFrame9Co(air, 1, now),
            [Fails("co", "identity", 100.0, 200.0)],
            1,
            now,
            stranger=EmulatedFrame9O2(air, 2, now),
        )
        line = EmulatedSerial(tmp_path / "co", part)
        sampler = StreamSampler(
            cabin.placing("co", "frame9_co"),
            lambda on_bytes, on_gone: SerialPort(
                line.path, 9600, on_bytes, on_gone, blocking=False
            ),
        )
        async with asyncio.TaskGroup() as group:
            task = group.create_task(sampler.run())
            await asyncio.sleep(300.0)
            task.cancel()
        line.close()
        return cabin

    cabin = run_virtual(play())
    (lost_s, kind), (_, over) = cabin.told("co")
    assert (kind, over) == ("wrong-part", "")
    assert lost_s < 104.0
    assert not [t for t in times(cabin, "co", "co_ppm") if 101.0 < t < 200.0]


# --- a codec by the book -----------------------------------------------------------


class Book:
    """A codec that does as the bytes say: a digit is a value, a letter an error."""

    def __init__(self) -> None:
        self.queue: list[str] = []
        self.kept: list[Sample] = []

    def opening(self) -> bytes:
        return b""

    def request(self) -> bytes:
        return b""

    def inform(self, quantity: str, value: float) -> None:
        raise AssertionError("it needs nothing")

    def feed(self, data: bytes) -> list[Sample]:
        self.queue += data.decode()
        while self.queue:
            letter = self.queue.pop(0)
            if letter == "s":
                raise ShortError("cut")
            if letter == "r":
                raise OutOfRangeError("0 ppm is no air")
            if letter == "!":
                raise ZeroDivisionError
            self.kept.append(Sample("co_ppm", float(letter)))
        samples, self.kept = self.kept, []
        return samples


class FakePort:
    """A port that tests feed."""

    baud = 9600

    def __init__(self, on_bytes: Any, on_gone: Any) -> None:
        self.on_bytes, self.on_gone = on_bytes, on_gone
        self.is_open = False

    async def open(self) -> None:
        self.is_open = True

    def write(self, data: bytes) -> None:
        assert not data

    async def close(self) -> None:
        self.is_open = False


async def by_the_book(tmp_path: Path, *said: tuple[float, bytes]) -> tuple[Cabin, Book]:
    """Run a sampler while bytes come at moments; end ten seconds after the last."""
    cabin, codec = Cabin(tmp_path), Book()
    info = replace(
        find_part("frame9_co"), interval_s=1.0, max_age_s=5.0, warm_up_s=0.0, needs=()
    )
    placing = SamplerContext(
        "co", info, codec, cabin.clock, cabin.on_reading, cabin.on_event
    )
    ports: list[FakePort] = []

    def open_port(on_bytes: Any, on_gone: Any) -> Any:
        ports.append(FakePort(on_bytes, on_gone))
        return ports[-1]

    sampler = StreamSampler(placing, open_port)
    async with asyncio.TaskGroup() as group:
        task = group.create_task(sampler.run())
        for at_s, data in said:
            await asyncio.sleep(at_s - cabin.loop.time())
            ports[0].on_bytes(data)
        await asyncio.sleep(2.0)
        task.cancel()
    assert not ports[0].is_open
    return cabin, codec


def test_what_was_good_before_an_error_is_not_lost(tmp_path: Path) -> None:
    """Values before and after a bad message in one chunk are all delivered."""
    cabin, _ = run_virtual(by_the_book(tmp_path, (1.0, b"12s3s4")))
    values = [sample.value for _, _, sample in cabin.readings]
    assert values == [1.0, 2.0, 3.0, 4.0]


def test_one_bad_value_is_dropped_and_three_are_told(tmp_path: Path) -> None:
    """Impossible values: one is silence, three in a row a fault, a good one ends it."""
    cabin, _ = run_virtual(by_the_book(tmp_path, (1.0, b"1"), (2.0, b"r"), (3.0, b"1")))
    assert cabin.events == []
    said = [(1.0, b"1"), (2.0, b"r"), (3.0, b"r"), (4.0, b"r"), (5.0, b"1")]
    cabin, _ = run_virtual(by_the_book(tmp_path, *said))
    assert cabin.told("co") == [(4.0, "out-of-range"), (5.0, "")]


def test_a_part_that_only_says_the_impossible_is_not_called_absent(
    tmp_path: Path,
) -> None:
    """Its line works: the fault stays what it is, however long it lasts."""
    said = [(float(n), b"r") for n in range(1, 40)]
    cabin, _ = run_virtual(by_the_book(tmp_path, *said))
    assert cabin.told("co") == [(3.0, "out-of-range")]


def test_garbled_messages_beyond_five_percent_are_a_fault(tmp_path: Path) -> None:
    """Row 17: every fifth message lost, readings between: told, and they go on."""
    said = [(float(n), b"1" if n % 5 else b"s") for n in range(1, 1200)]
    cabin, _ = run_virtual(by_the_book(tmp_path, *said))
    assert [kind for _, kind in cabin.told("co")] == ["short"]
    assert len(cabin.readings) > 900


def test_a_bug_in_a_codec_ends_the_task(tmp_path: Path) -> None:
    """A mistake of ours ends the task; it is not swallowed by the loop's callback."""
    with pytest.raises(ExceptionGroup) as caught:
        run_virtual(by_the_book(tmp_path, (1.0, b"1"), (2.0, b"!"), (3.5, b"1")))
    assert isinstance(caught.value.exceptions[0], ZeroDivisionError)


def test_errors_without_end_do_not_hang_the_loop(tmp_path: Path) -> None:
    """A codec that fails at every call is asked a bounded number of times a chunk."""

    class Broken(Book):
        calls = 0

        def feed(self, data: bytes) -> list[Sample]:
            self.calls += 1
            raise DriverError("always")

    async def play() -> int:
        cabin, codec = Cabin(tmp_path), Broken()
        info = replace(find_part("frame9_co"), needs=())
        placing = SamplerContext(
            "co", info, codec, cabin.clock, cabin.on_reading, cabin.on_event
        )
        ports: list[FakePort] = []

        def open_port(on_bytes: Any, on_gone: Any) -> Any:
            ports.append(FakePort(on_bytes, on_gone))
            return ports[-1]

        sampler = StreamSampler(placing, open_port)
        async with asyncio.TaskGroup() as group:
            task = group.create_task(sampler.run())
            await asyncio.sleep(1.5)
            ports[0].on_bytes(b"x" * 1000)
            task.cancel()
        return codec.calls

    assert run_virtual(play()) < 20
