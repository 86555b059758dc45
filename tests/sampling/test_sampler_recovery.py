"""Samplers of polled parts: absence told once, tries again, recovery."""

import asyncio
from itertools import pairwise
from pathlib import Path

import pytest

from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.sampler import (
    BACK_OFF_CAP_S,
)
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import (
    Transfer,
)
from tests.emulation import Cabin, Fails, live
from tests.sampling.three_parts import I2C, gaps


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
