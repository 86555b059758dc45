"""Samplers of polled parts: delivery, 1-wire files, a bus that blocks for ever."""

import asyncio
import math
import threading
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.sht4x import EmulatedSht4x
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.sampler import (
    BACK_OFF_CAP_S,
    PolledSampler,
    SamplerContext,
)
from cabinvigil.drivers import part as find_part
from tests.emulation import Cabin, Fails, live
from tests.sampling.three_parts import I2C, gaps


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


def test_what_nobody_gives_any_more_is_told_as_unknown_after_ten_minutes(
    tmp_path: Path,
) -> None:
    """A pressure of hours ago is none: the part is told so once, and not before."""
    told: list[tuple[float, float]] = []

    async def play() -> None:
        cabin = Cabin(tmp_path, AirNow())
        sampler = cabin.sampler("co2", "scd4x")
        begin_s = cabin.clock.monotonic()
        pressure: list[float | None] = [939.0]
        inform = sampler._codec.inform

        def informed(quantity: str, value: float) -> None:
            if quantity == "pressure_hpa":
                told.append((cabin.clock.monotonic() - begin_s, value))
            inform(quantity, value)

        sampler._codec.inform = informed
        sampler.placing = replace(
            sampler.placing, lookup=lambda q: pressure[0] if "hpa" in q else None
        )
        cabin.faulty._bus = cabin.smbus
        async with asyncio.TaskGroup() as group:
            task = group.create_task(sampler.run())
            await asyncio.sleep(300.0)
            pressure[0] = None
            await asyncio.sleep(2000.0)
            task.cancel()

    run_virtual(play())
    known = [at_s for at_s, value in told if not math.isnan(value)]
    (unknown_s,) = [at_s for at_s, value in told if math.isnan(value)]
    assert max(known) <= 300.0
    assert 600.0 <= unknown_s - max(known) <= 620.0
