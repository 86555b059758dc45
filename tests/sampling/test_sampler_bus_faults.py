"""Samplers of polled parts: faults of the whole bus are told once, in its name."""

import asyncio
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.sampler import (
    BACK_OFF_CAP_S,
)
from tests.emulation import Cabin, Fails, live
from tests.sampling.three_parts import I2C


def test_a_stuck_bus_is_told_once_and_not_for_each_part(tmp_path: Path) -> None:
    """One event with the bus's name; no part blamed; all set up again afterwards."""
    cabin = run_virtual(live(tmp_path, I2C, 700.0, Fails("bus", "hold", 300.0, 360.0)))
    (lost_s, kind), (found_s, over) = cabin.told("main")
    assert (kind, over) == ("bus-stuck", "")
    assert 300.0 <= lost_s < 306.0
    assert 360.0 < found_s < 360.0 + BACK_OFF_CAP_S + 1.0
    assert all(cabin.told(name) == [] for name in I2C)
    (fault,) = [e for _, e in cabin.events if isinstance(e, SourceFault)]
    assert "switch the sensors' power off and on" in fault.text
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
