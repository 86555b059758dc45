"""Every emulated part against our own driver, and against its own seed."""

import asyncio
import math
from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.rehearsal.emulated import known
from cabinvigil.daemon.rehearsal.emulated.ads1115 import converter
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.faulty import FaultySMBus
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.sampler import PolledSampler
from cabinvigil.drivers import REGISTRY
from tests.emulation import Cabin, live
from tests.rehearsal.emulated.truths import ELSEWHERE, TRUTHS
from tests.rehearsal.emulated.world import World


@pytest.mark.parametrize("kind", sorted(known.ON_SERIAL))
def test_a_seed_repeats_itself_and_another_does_not(kind: str) -> None:
    """Two parts of one seed send the same bytes; parts of two seeds differ."""

    def sends(seed: int) -> list[bytes]:
        world = World(co_ppm=40.0, pm2_5_ugm3=90.0, co2_ppm=2000.0, gas_lel_pct=40.0)
        part = known.ON_SERIAL[kind](world.see, seed, world.now)
        out = []
        for _ in range(100):
            world.pass_(1.0)
            out.append(part.send())
        return out

    assert sends(3) == sends(3)
    assert sends(3) != sends(4)


def test_every_part_has_its_truth() -> None:
    """Else it could be added without any test of its emulated part."""
    lacking = set(REGISTRY) - TRUTHS.keys() - ELSEWHERE.keys()
    assert lacking == set(), "TRUTHS in tests/rehearsal/emulated/truths.py lacks them"
    assert TRUTHS.keys() | ELSEWHERE.keys() <= set(REGISTRY), "no such part"
    tests = Path(__file__).parents[2]
    assert [file for file in ELSEWHERE.values() if not (tests / file).exists()] == []


MEASURED = sorted(kind for kind, one in TRUTHS.items() if one.mean_within is not None)


@pytest.mark.parametrize("kind", MEASURED)
def test_our_driver_hears_the_truth_from_each_part(kind: str, tmp_path: Path) -> None:
    """Driver and emulated part, written apart, agree on the air within the class."""
    truth = TRUTHS[kind]
    air = AirNow(co_ppm=40.0, co2_ppm=1500.0, pm2_5_ugm3=60.0, gas_lel_pct=12.0)
    for_s = 400.0
    cabin = run_virtual(live(tmp_path, {"it": kind}, for_s, air=air))
    heard = cabin.of("it", truth.quantity)
    values = [sample.value for at_s, sample in heard if at_s > 200.0]
    mean = math.fsum(values) / len(values)
    assert mean == pytest.approx(truth.true(air), abs=truth.mean_within)
    assert all(sample.quality == "good" for _, sample in heard[-5:])
    assert cabin.events == []


@pytest.mark.parametrize("volts", [0.0, 1.4])
def test_a_bridge_and_a_cell_share_one_converter(volts: float, tmp_path: Path) -> None:
    """Three inputs and two gains in turn: each reads its own, dead bridge or not."""

    async def play() -> Cabin:
        cabin = Cabin(tmp_path, AirNow(gas_lel_pct=20.0))
        see, now = (lambda: cabin.air), cabin.loop.time
        beads = known.AT_A_CONVERTER["gas_bead_ads1115"](see, 1, now)
        assert isinstance(beads, tuple)
        pair = beads if volts else ((lambda: 0.0), (lambda: 0.0))
        cell = known.AT_A_CONVERTER["o2_amplified_ads1115"](see, 2, now, on_for_s=1e4)
        cabin.smbus.attach(0x48, converter({"0-1": pair, "2": cell}, 3, now))
        cabin.faulty = FaultySMBus(cabin.smbus, {}, (), 1, now)
        assert not isinstance(cell, tuple)
        options = {
            "gas": ("gas_bead_ads1115", {"mv_per_lel_pct": 0.765}),
            "o2": (
                "o2_amplified_ads1115",
                {"pins": "2", "air_mv": 1000 * cell(), "air_hpa": 939.0},
            ),
        }
        async with asyncio.TaskGroup() as group:
            tasks = []
            for name, (kind, own) in options.items():
                placing = cabin.placing(name, kind)
                codec = placing.info.make(own)
                sampler = PolledSampler(replace(placing, codec=codec), cabin.bus, 0x48)
                tasks.append(group.create_task(sampler.run()))
            await asyncio.sleep(400.0)
            for task in tasks:
                task.cancel()
        return cabin

    cabin = run_virtual(play())
    o2 = [s.value for _, s in cabin.of("o2", "o2_pct")]
    assert len(o2) >= 75
    assert o2[-1] == pytest.approx(20.9, abs=0.2)
    gas = [s.value for _, s in cabin.of("gas", "gas_lel_pct")]
    if volts:
        assert gas[-1] == pytest.approx(20.0, rel=0.1)
        assert cabin.events == []
    else:
        assert gas == []
        assert {event.source for _, event in cabin.events} == {"gas"}


def test_our_drivers_share_one_converter(tmp_path: Path) -> None:
    """An O2 and a CO cell at one address are read in turn, and both read true."""

    async def play() -> Cabin:
        cabin = Cabin(tmp_path, AirNow(co_ppm=40.0))
        see, now = (lambda: cabin.air), cabin.loop.time
        cells = {
            "0-1": known.AT_A_CONVERTER["o2_cell_ads1115"](see, 1, now),
            "2-3": known.AT_A_CONVERTER["co_cell_ads1115"](see, 2, now),
        }
        cabin.smbus.attach(0x48, converter(cells, 3, now))
        cabin.faulty = FaultySMBus(cabin.smbus, {}, (), 1, now)
        # The span of this very cell, as `cabinvigil span` would have kept it.
        await asyncio.sleep(1000.0)
        air_mv = 1000 * cells["0-1"]()  # type: ignore[operator]  # a lone one's volts
        options = {
            "o2": {"pins": "0-1", "air_mv": air_mv, "air_hpa": 939.0},
            "co": {"pins": "2-3"},
        }
        async with asyncio.TaskGroup() as group:
            tasks = []
            for name, kind in (("o2", "o2_cell_ads1115"), ("co", "co_cell_ads1115")):
                placing = cabin.placing(name, kind)
                codec = placing.info.make(options[name])
                sampler = PolledSampler(replace(placing, codec=codec), cabin.bus, 0x48)
                tasks.append(group.create_task(sampler.run()))
            await asyncio.sleep(600.0)
            for task in tasks:
                task.cancel()
        return cabin

    cabin = run_virtual(play())
    o2 = [s.value for _, s in cabin.of("o2", "o2_pct")][-20:]
    co = [s.value for _, s in cabin.of("co", "co_ppm")][-20:]
    assert sum(o2) / 20 == pytest.approx(20.9, abs=0.3)  # what the span was told
    assert sum(co) / 20 == pytest.approx(40.0, rel=0.1)
    assert cabin.events == []
