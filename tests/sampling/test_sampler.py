"""Samplers of polled parts: delivery, retries, faults told once, recovery."""

import asyncio
import threading
from collections.abc import Callable, Generator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.sht4x import EmulatedSht4x
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.sampler import (
    BACK_OFF_CAP_S,
    STEPS_LIMIT,
    PolledSampler,
    SamplerContext,
    TooManyStepsError,
    run_steps,
)
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import (
    CrcError,
    NotMeasuredError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from tests.emulation import Cabin, Fails, live

I2C = {"co2": "scd4x", "air": "sht4x", "baro": "bme280"}


def gaps(cabin: Cabin, name: str, quantity: str) -> list[float]:
    times = [at_s for at_s, _ in cabin.of(name, quantity)]
    return [b - a for a, b in pairwise(times)]


# --- delivery ----------------------------------------------------------------------


def test_each_part_is_asked_at_its_interval(tmp_path: Path) -> None:
    """Ten minutes of three parts: readings at each interval, none twice, no fault."""
    cabin = run_virtual(live(tmp_path, I2C, 600.0))
    for name, quantity in (("co2", "co2_ppm"), ("air", "rh_pct"), ("baro", "temp_c")):
        interval_s = find_part(I2C[name]).interval_s
        steps = gaps(cabin, name, quantity)[1:]  # the first try may wake the part
        assert steps == pytest.approx([interval_s] * len(steps), abs=0.02)
        assert len(steps) >= 600.0 / interval_s - 4
    assert cabin.events == []


def test_values_before_the_warm_up_is_over_are_doubtful(tmp_path: Path) -> None:
    """They are delivered, marked with the reason; after it they are good."""
    cabin = run_virtual(live(tmp_path, {"baro": "bme280"}, 300.0))
    warm_up_s = find_part("bme280").warm_up_s
    assert warm_up_s > 0
    readings = cabin.of("baro", "pressure_hpa")
    # From the set-up on, half a second after the start.
    cold = [s for at_s, s in readings if at_s < warm_up_s]
    warm = [s for at_s, s in readings if at_s > warm_up_s + 1.0]
    assert {(s.quality, s.reason) for s in cold} == {("outside-range", "warming up")}
    assert {s.quality for s in warm} == {"good"}


def test_a_part_gets_the_pressure_that_it_needs(tmp_path: Path) -> None:
    """At 939 hPa an SCD4x that is told the pressure reads true, not 7 % low."""
    air = AirNow(co2_ppm=10_000.0)
    told = run_virtual(live(tmp_path, {"co2": "scd4x"}, 300.0, air=air))

    async def untold() -> Cabin:
        cabin = Cabin(tmp_path, air)
        sampler = cabin.sampler("co2", "scd4x")
        sampler.placing = replace(sampler.placing, lookup=lambda _: None)
        cabin.faulty._bus = cabin.smbus
        async with asyncio.TaskGroup() as group:
            task = group.create_task(sampler.run())
            await asyncio.sleep(300.0)
            task.cancel()
        return cabin

    plain = run_virtual(untold())
    ratio = plain.readings[-3][2].value / told.readings[-3][2].value
    assert ratio == pytest.approx(939.0 / 1013.25, abs=0.01)


# --- absence and recovery -----------------------------------------------------------


def test_a_part_unplugged_for_ten_minutes_comes_back(tmp_path: Path) -> None:
    """Told within its interval, silent while away, back within the back-off's cap."""
    gone, back = 300.0, 900.0
    cabin = run_virtual(live(tmp_path, I2C, 1200.0, Fails("air", "vanish", gone, back)))
    (lost_s, kind), (found_s, over) = cabin.told("air")
    assert (kind, over) == ("absent", "")
    assert gone < lost_s < gone + find_part("sht4x").interval_s + 1.0
    assert back < found_s < back + BACK_OFF_CAP_S + 1.0
    times = [at_s for at_s, _ in cabin.of("air", "rh_pct")]
    assert not [t for t in times if lost_s - 0.1 < t < found_s]
    assert cabin.told("co2") == cabin.told("baro") == cabin.told("main") == []
    for other, quantity in (("co2", "co2_ppm"), ("baro", "pressure_hpa")):
        usual_s = find_part(I2C[other]).interval_s
        assert max(gaps(cabin, other, quantity)) < usual_s + 0.5


def test_a_part_that_comes_back_warms_up_again(tmp_path: Path) -> None:
    """It was without power, as far as anyone can tell."""
    cabin = run_virtual(
        live(tmp_path, {"baro": "bme280"}, 700.0, Fails("baro", "vanish", 200.0, 400.0))
    )
    (_, _), (found_s, _) = cabin.told("baro")
    warm_up_s = find_part("bme280").warm_up_s
    after = [(t, s) for t, s in cabin.of("baro", "pressure_hpa") if t >= found_s]
    assert after[0][1].reason == "warming up"
    assert all(s.quality == "good" for t, s in after if t > found_s + warm_up_s)
    assert after[-1][1].quality == "good"


def test_a_missing_part_is_asked_ever_more_rarely(tmp_path: Path) -> None:
    """Tries back off to half a minute, so that a dead part costs the bus nothing."""

    async def count() -> list[float]:
        cabin = Cabin(tmp_path)
        tried: list[float] = []
        sampler = cabin.sampler("air", "sht4x")
        cabin.smbus.detach(0x44)
        original = cabin.bus.transfer

        async def transfer(address: int, transfer_: Transfer) -> bytes:
            tried.append(cabin.loop.time())
            return await original(address, transfer_)

        cabin.bus.transfer = transfer  # type: ignore[method-assign]
        cabin.faulty._bus = cabin.smbus
        async with asyncio.TaskGroup() as group:
            task = group.create_task(sampler.run())
            await asyncio.sleep(600.0)
            task.cancel()
        assert cabin.told("air")[0][1] == "absent"
        return tried

    tried = run_virtual(count())
    late = [t for t in tried if t > 200.0]
    rounds = [t for t, before in zip(late[1:], late, strict=False) if t - before > 1.0]
    assert len(late) <= 3 * 14
    assert all(
        b - a == pytest.approx(BACK_OFF_CAP_S, abs=1.0) for a, b in pairwise(rounds)
    )


def test_a_refusal_now_and_then_is_tried_again_in_silence(tmp_path: Path) -> None:
    """A fifth of the transfers unanswered: most readings come, and come in time."""
    cabin = run_virtual(
        live(tmp_path, {"air": "sht4x"}, 600.0, Fails("air", "drop", 200.0, 500.0))
    )
    during = [t for t, _ in cabin.of("air", "rh_pct") if 200.0 < t < 500.0]
    assert 40 < len(during) <= 60
    assert cabin.of("air", "rh_pct")[-1][1].quality == "good"
    assert [kind for _, kind in cabin.told("air")][-1:] == ["unsteady"]


# --- the whole bus -------------------------------------------------------------------


def test_a_stuck_bus_is_told_once_and_not_for_each_part(tmp_path: Path) -> None:
    """One event with the bus's name; no part blamed; all set up again afterwards."""
    cabin = run_virtual(live(tmp_path, I2C, 700.0, Fails("bus", "hold", 300.0, 360.0)))
    (lost_s, kind), (found_s, over) = cabin.told("main")
    assert (kind, over) == ("bus-stuck", "")
    assert 300.0 <= lost_s < 306.0
    assert 360.0 < found_s < 360.0 + BACK_OFF_CAP_S + 1.0
    assert all(cabin.told(name) == [] for name in I2C)
    (fault,) = [e for _, e in cabin.events if isinstance(e, SourceFault)]
    assert "switch the sensors' supply off and on" in fault.text
    for name, quantity in (("co2", "co2_ppm"), ("air", "rh_pct"), ("baro", "temp_c")):
        times = [t for t, _ in cabin.of(name, quantity)]
        assert not [t for t in times if 300.5 < t < 360.0]
        assert [t for t in times if t > 400.0]


def test_one_part_that_holds_the_line_takes_the_bus(tmp_path: Path) -> None:
    """A held line is the bus's fault, whoever holds it (table 14, row 4)."""
    cabin = run_virtual(live(tmp_path, I2C, 400.0, Fails("air", "hold", 300.0, 330.0)))
    assert [kind for _, kind in cabin.told("main")] == ["bus-stuck", ""]
    assert all(cabin.told(name) == [] for name in I2C)


def test_a_clock_held_by_one_part_is_that_parts_fault(tmp_path: Path) -> None:
    """Errno 5 at one address while others answer: the part, not the bus (row 5)."""
    cabin = run_virtual(live(tmp_path, I2C, 500.0, Fails("air", "stall", 300.0, 360.0)))
    assert [kind for _, kind in cabin.told("air")] == ["absent", ""]
    assert cabin.told("main") == []


def test_errno_5_everywhere_is_the_bus(tmp_path: Path) -> None:
    """On other adapters a held line gives 5 at every address: one fault for the bus.

    The part that is asked first cannot know yet; those after it say the bus.
    """
    cabin = run_virtual(live(tmp_path, I2C, 500.0, Fails("bus", "stall", 300.0, 360.0)))
    assert [kind for _, kind in cabin.told("main")] == ["bus-stuck", ""]
    blamed = [name for name in I2C if cabin.told(name)]
    assert len(blamed) <= 1


@pytest.mark.parametrize(
    ("number", "kind"),
    [(13, "no-permission"), (2, "port-missing"), (1, "no-permission")],
)
def test_a_bus_that_does_not_open_is_told_once(
    tmp_path: Path, number: int, kind: str
) -> None:
    """Missing or forbidden: one event for the bus, and it goes on trying."""

    async def refuse() -> Cabin:
        cabin = Cabin(tmp_path)
        refuses = True

        def open_smbus(_: str) -> EmulatedSMBus:
            if refuses:
                raise OSError(number, "refused")
            return cabin.smbus

        cabin.bus = I2cBus("main", "/dev/i2c-1", open_smbus=open_smbus, blocking=False)
        samplers = [cabin.sampler(name, part) for name, part in I2C.items()]
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(sampler.run()) for sampler in samplers]
            await asyncio.sleep(100.0)
            refuses = False
            await asyncio.sleep(100.0)
            for task in tasks:
                task.cancel()
        return cabin

    cabin = run_virtual(refuse())
    assert [told for _, told in cabin.told("main")] == [kind, ""]
    assert all(cabin.told(name) == [] for name in I2C)
    assert {name for _, name, _ in cabin.readings} == set(I2C)


# --- parts that answer, but wrongly --------------------------------------------------


def test_a_flipped_bit_in_every_answer_is_a_checksum_fault(tmp_path: Path) -> None:
    """Nothing false is delivered; the fault is told within the age limit."""
    cabin = run_virtual(
        live(tmp_path, {"air": "sht4x"}, 500.0, Fails("air", "flip", 200.0, 300.0))
    )
    (lost_s, kind), (found_s, over) = cabin.told("air")
    assert (kind, over) == ("checksum", "")
    assert lost_s < 200.0 + find_part("sht4x").max_age_s
    assert found_s < 300.0 + BACK_OFF_CAP_S + 1.0
    assert not [t for t, _ in cabin.of("air", "rh_pct") if lost_s < t < 300.0]


@pytest.mark.parametrize(
    ("fault", "words"), [("zeros", "held low"), ("ones", "open line")]
)
def test_a_dead_line_is_named(tmp_path: Path, fault: str, words: str) -> None:
    """All zeros or all ones fail the checksum, and the sentence says which (row 8)."""
    cabin = run_virtual(
        live(tmp_path, {"air": "sht4x"}, 260.0, Fails("air", fault, 200.0, 300.0))
    )
    (fault_event,) = [e for _, e in cabin.events if isinstance(e, SourceFault)]
    assert words in fault_event.text


def test_another_part_in_its_place_is_not_believed(tmp_path: Path) -> None:
    """Another identity at the address: told, never read, until ours is back."""
    cabin = run_virtual(
        live(tmp_path, I2C, 700.0, Fails("baro", "identity", 300.0, 400.0))
    )
    (_, kind), (found_s, over) = cabin.told("baro")
    assert (kind, over) == ("wrong-part", "")
    times = [t for t, _ in cabin.of("baro", "pressure_hpa")]
    assert not [t for t in times if 300.0 < t < 400.0]
    assert [t for t in times if t > found_s]


@pytest.mark.parametrize(
    ("name", "quantity"), [("baro", "pressure_hpa"), ("co2", "co2_ppm")]
)
def test_a_part_that_lost_its_mode_is_set_up_again(
    tmp_path: Path, name: str, quantity: str
) -> None:
    """After one brown-out readings go on within a few intervals, without a fault."""
    cabin = run_virtual(live(tmp_path, I2C, 600.0, Fails(name, "reset", 300.0, 301.0)))
    interval_s = find_part(I2C[name]).interval_s
    assert max(gaps(cabin, name, quantity)) < 5 * interval_s + 1.0
    assert cabin.told(name) == []


def test_brown_outs_again_and_again_are_a_fault(tmp_path: Path) -> None:
    """Four losses of mode within the hour: the supply is to be looked at (row 14)."""
    spans = [Fails("co2", "reset", 300.0 * n, 300.0 * n + 1.0) for n in range(1, 6)]
    cabin = run_virtual(live(tmp_path, {"co2": "scd4x"}, 1800.0, *spans))
    assert [kind for _, kind in cabin.told("co2")] == ["not-measured"]
    assert cabin.of("co2", "co2_ppm")[-1][0] > 1750.0  # and values go on


# --- codecs that misbehave, and the daemon's own lateness -----------------------------


class Codec:
    """A codec whose poll is a function's generator."""

    def __init__(self, poll: Callable[[], Steps]) -> None:
        self.poll = poll
        self.set_ups = 0

    def setup(self) -> Setup:
        self.set_ups += 1
        yield Transfer(b"\x94", 0, 0.002)

    def inform(self, quantity: str, value: float) -> None:
        raise AssertionError("it needs nothing")


def info(**changes: Any) -> PartInfo:
    return replace(
        find_part("sht4x"),
        interval_s=1.0,
        max_age_s=5.0,
        warm_up_s=0.0,
        needs=(),
        **changes,
    )


async def sample(cabin: Cabin, codec: Codec, for_s: float) -> None:
    cabin.sampler("air", "sht4x")  # puts the part on the bus
    cabin.faulty._bus = cabin.smbus
    placing = SamplerContext(
        "air", info(), codec, cabin.clock, cabin.on_reading, cabin.on_event
    )
    sampler = PolledSampler(placing, cabin.bus, 0x44)
    async with asyncio.TaskGroup() as group:
        task = group.create_task(sampler.run())
        await asyncio.sleep(for_s)
        task.cancel()


def good() -> Steps:
    yield Transfer(b"\xfd", 6, 0.01)
    return [Sample("temp_c", 15.0)]


def test_a_codec_without_end_is_stopped(tmp_path: Path) -> None:
    """More transfers than any part needs end the try, and are told."""

    def endless() -> Steps:
        while True:
            yield Transfer(b"\x94", 0, 0.002)

    async def play() -> Cabin:
        cabin = Cabin(tmp_path)
        await sample(cabin, Codec(endless), 20.0)
        return cabin

    assert run_virtual(play()).told("air")[0][1] == "blocked"


def test_steps_are_closed_and_counted(tmp_path: Path) -> None:
    """`run_steps` returns the generator's value, and closes one that goes on."""
    closed: list[str] = []

    def endless() -> Generator[Transfer, bytes, None]:
        try:
            while True:
                yield Transfer()
        finally:
            closed.append("closed")

    async def play() -> int:
        cabin = Cabin(tmp_path)
        cabin.faulty._bus = cabin.smbus
        cabin.sampler("air", "sht4x")
        with pytest.raises(TooManyStepsError, match=str(STEPS_LIMIT)):
            await run_steps(cabin.bus, 0x44, endless())

        def one() -> Generator[Transfer, bytes, int]:
            reply = yield Transfer(b"\xfd", 6, 0.01)
            return len(reply)

        await asyncio.sleep(0.1)
        return await run_steps(cabin.bus, 0x44, one())

    assert run_virtual(play()) == 6
    assert closed == ["closed"]


def test_a_poll_that_takes_too_long_meets_its_deadline(tmp_path: Path) -> None:
    """A try that would last a hundred seconds is given up after five, and told."""

    def slow() -> Steps:
        yield Transfer(b"\xfd", 6, 100.0)
        return []

    async def play() -> Cabin:
        cabin = Cabin(tmp_path)
        await sample(cabin, Codec(slow), 20.0)
        return cabin

    told = run_virtual(play()).told("air")
    assert told == [(pytest.approx(5.5, abs=1.0), "blocked")]


def test_isolated_checksum_errors_cost_no_reading(tmp_path: Path) -> None:
    """Each tenth answer wrong: tried again after 50 ms, each second has its reading."""
    count = 0

    def tenth() -> Steps:
        nonlocal count
        yield Transfer(b"\xfd", 6, 0.01)
        count += 1
        if count % 10 == 0:
            raise CrcError("wrong")
        return [Sample("temp_c", float(count))]

    async def play() -> Cabin:
        cabin = Cabin(tmp_path)
        await sample(cabin, Codec(tenth), 60.5)
        return cabin

    cabin = run_virtual(play())
    values = [s.value for _, s in cabin.of("air", "temp_c")]
    assert len(values) >= 60
    assert len(set(values)) == len(values)  # never the last one again
    assert max(gaps(cabin, "air", "temp_c")) < 1.1
    assert cabin.events == []


def test_a_failed_try_delivers_nothing_at_all(tmp_path: Path) -> None:
    """A part that falls silent leaves no later reading, however long it is watched."""
    count = 0

    def once() -> Steps:
        nonlocal count
        yield Transfer(b"\xfd", 6, 0.01)
        count += 1
        if count > 1:
            raise NotMeasuredError("asleep")
        return [Sample("temp_c", 15.0)]

    async def play() -> Cabin:
        cabin = Cabin(tmp_path)
        await sample(cabin, Codec(once), 300.0)
        return cabin

    cabin = run_virtual(play())
    assert len(cabin.readings) == 1
    assert [kind for _, kind in cabin.told("air")] == ["not-measured"]


def test_full_scale_stays_full_scale_while_warming_up(tmp_path: Path) -> None:
    """'At least' is not softened to 'doubtful': the air is that bad, warm or not."""

    def full() -> Steps:
        yield Transfer(b"\xfd", 6, 0.01)
        return [Sample("co_ppm", 500.0, "at-least"), Sample("temp_c", 15.0)]

    async def play() -> Cabin:
        cabin = Cabin(tmp_path)
        cabin.sampler("air", "sht4x")
        cabin.faulty._bus = cabin.smbus
        cold = replace(info(), warm_up_s=100.0)
        placing = SamplerContext(
            "air", cold, Codec(full), cabin.clock, cabin.on_reading, cabin.on_event
        )
        async with asyncio.TaskGroup() as group:
            task = group.create_task(PolledSampler(placing, cabin.bus, 0x44).run())
            await asyncio.sleep(3.0)
            task.cancel()
        return cabin

    cabin = run_virtual(play())
    assert {s.quality for _, s in cabin.of("air", "co_ppm")} == {"at-least"}
    assert {s.quality for _, s in cabin.of("air", "temp_c")} == {"outside-range"}


def test_after_a_suspend_there_is_no_burst_of_polls(tmp_path: Path) -> None:
    """The clock jumps by ten minutes: the part is asked once, then each second."""

    async def play() -> Cabin:
        cabin = Cabin(tmp_path)
        clock, jump_s = cabin.clock, 0.0

        class Jumping:
            def monotonic(self) -> float:
                return clock.monotonic() + (jump_s if clock.monotonic() > 30.0 else 0.0)

            wall = clock.wall

        jump_s = 600.0
        cabin.clock = Jumping()  # type: ignore[assignment]
        await sample(cabin, Codec(good), 60.5)
        return cabin

    cabin = run_virtual(play())
    assert 58 <= len(cabin.readings) <= 62


def test_a_bug_in_a_codec_ends_the_task(tmp_path: Path) -> None:
    """Only named failures are caught: a mistake of ours must not look like a fault."""

    def bug() -> Steps:
        yield Transfer(b"\xfd", 6, 0.01)
        raise ZeroDivisionError

    async def play() -> None:
        await sample(Cabin(tmp_path), Codec(bug), 5.0)

    with pytest.raises(ExceptionGroup) as caught:
        run_virtual(play())
    assert isinstance(caught.value.exceptions[0], ZeroDivisionError)


# --- files ----------------------------------------------------------------------------


def test_a_one_wire_part_that_leaves_and_comes_back(tmp_path: Path) -> None:
    """Its file gone, it is absent; back, it is well; no value in between."""
    cabin = run_virtual(
        live(
            tmp_path, {"pane": "ds18b20"}, 600.0, Fails("pane", "vanish", 200.0, 300.0)
        )
    )
    (lost_s, kind), (found_s, over) = cabin.told("pane")
    assert (kind, over) == ("absent", "")
    assert lost_s < 200.0 + find_part("ds18b20").max_age_s
    assert 300.0 < found_s <= 300.0 + BACK_OFF_CAP_S + 1.0
    times = [t for t, _ in cabin.of("pane", "temp_c")]
    assert not [t for t in times if 200.0 < t < found_s]


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        ("flip", "checksum"),
        ("ones", "checksum"),
        ("zeros", "out-of-range"),
        ("stall", "short"),
    ],
)
def test_a_one_wire_part_fails_by_name(tmp_path: Path, fault: str, kind: str) -> None:
    """Flips, open and shorted lines, and an empty file are told apart (sensors 0.4)."""
    cabin = run_virtual(
        live(tmp_path, {"pane": "ds18b20"}, 400.0, Fails("pane", fault, 200.0, 300.0))
    )
    assert [told for _, told in cabin.told("pane")] == [kind, ""]


# --- in real time -------------------------------------------------------------------


async def test_a_driver_that_blocks_for_ever_does_not_stop_another_bus() -> None:
    """One bus hangs in the kernel; the parts on another keep their pace, and no thread
    or task is left behind."""
    release = threading.Event()
    clock = SystemClock()
    arrivals: list[float] = []
    events: list[Any] = []

    class Hanging(EmulatedSMBus):
        def i2c_rdwr(self, *i2c_msgs: Any) -> None:
            release.wait(20.0)

    well = EmulatedSMBus()
    well.attach(0x44, EmulatedSht4x(AirNow, 1, clock.monotonic))
    buses = [
        I2cBus("hung", "/dev/i2c-1", open_smbus=lambda _: Hanging(), deadline_s=0.3),
        I2cBus("well", "/dev/i2c-3", open_smbus=lambda _: well, deadline_s=0.3),
    ]
    fast = replace(find_part("sht4x"), interval_s=0.05, max_age_s=0.5)
    samplers = [
        PolledSampler(
            SamplerContext(
                bus.name,
                fast,
                fast.make({}),
                clock,
                lambda name, _samples, at_s: arrivals.append(at_s),
                events.append,
            ),
            bus,
            0x44,
        )
        for bus in buses
    ]
    async with asyncio.TaskGroup() as group:
        tasks = [group.create_task(sampler.run()) for sampler in samplers]
        await asyncio.sleep(1.5)
        for task in tasks:
            task.cancel()
    release.set()
    for bus in buses:
        bus.close()
    assert len(arrivals) > 10
    steps = [b - a for a, b in pairwise(arrivals)]
    assert max(steps) < 0.5
    assert [(e.source, e.kind) for e in events] == [("hung", "bus-stuck")]
    for _ in range(200):
        if not [t for t in threading.enumerate() if t.name.startswith("bus-")]:
            break
        await asyncio.sleep(0.01)
    assert not [t for t in threading.enumerate() if t.name.startswith("bus-")]
