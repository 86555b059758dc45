"""Samplers of polled parts: codecs that misbehave, and the daemon's own lateness."""

import asyncio
from collections.abc import Callable, Generator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.sampler import (
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
from tests.emulation import Cabin
from tests.sampling.three_parts import gaps


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
