"""The pool of samplers: a task a part, a bug fenced in, a changed config, the wires."""

import asyncio
import traceback
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.clock import VirtualClock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated_wires import EmulatedWires
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.collector import SampleCollector
from cabinvigil.daemon.sampling.sampler_pool import (
    START_AGAIN_S,
    SamplerPool,
    sampling,
)
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.config import Settings, example
from cabinvigil.daemon.settings.values import I2cSettings, PartSettings, changed
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import PartInfo
from tests.emulation import START

PARTS = {
    "baro": PartSettings(kind="bme280", bus="main"),
    "bunk-air": PartSettings(kind="sht4x", bus="main"),
    "bunk-co2": PartSettings(kind="scd4x", bus="main", pressure_from="baro"),
}
LINE = {"co": PartSettings(kind="frame9_co", port="/dev/co")}
SLOW_BARO = changed(PARTS["baro"], interval_s=30.0)


def config(parts: Mapping[str, PartSettings], device: str = "/dev/i2c-1") -> Settings:
    """The example's cabin with these parts, on one bus."""
    return replace(example(), parts=parts, i2c={"main": I2cSettings(device=device)})


class NotingCollector(SampleCollector):
    """Keeps every event, in order."""

    def __init__(self, clock: VirtualClock) -> None:
        super().__init__(clock)
        self.told: list[SourceFault | SourceOk] = []

    def on_event(self, event: SourceFault | SourceOk) -> None:
        self.told.append(event)
        super().on_event(event)


class Stage:
    """Emulated wires that note which buses are open, and who was forgotten on them."""

    def __init__(self, folder: Path) -> None:
        loop = asyncio.get_running_loop()
        self.clock = VirtualClock(loop, START)
        self.sink = NotingCollector(self.clock)
        self._emulated = EmulatedWires(folder, AirNow, loop.time, loop.call_at)
        self._emulated.attach({**PARTS, **LINE})
        self.opened: list[str] = []
        self.closed: list[str] = []
        self.forgotten: list[int] = []

    def wires(self) -> Wires:
        stage, emulated = self, self._emulated.wires()

        class NotedBus(I2cBus):
            def close(self) -> None:
                stage.closed.append(self.device)
                super().close()

            def forget(self, address: int) -> None:
                stage.forgotten.append(address)
                super().forget(address)

        def i2c(name: str, device: str) -> I2cBus:
            stage.opened.append(device)
            opener = emulated.i2c(name, device)._open_smbus
            return NotedBus(name, device, open_smbus=opener, blocking=False)

        return replace(emulated, i2c=i2c)

    def gave(self, part: str) -> int:
        """How many readings a part has given."""
        return max(
            (len(kept) for (who, _), kept in self.sink.readings.items() if who == part),
            default=0,
        )


class Buggy:
    """A codec with a bug of its own, some polls long."""

    def __init__(self, codec: Any, bugs: int) -> None:
        self._codec, self._bugs = codec, bugs

    def __getattr__(self, name: str) -> Any:
        return getattr(self._codec, name)

    def poll(self) -> Any:
        if self._bugs:
            self._bugs -= 1
            raise ZeroDivisionError("a bug of its own")
        return self._codec.poll()


def buggy_baro(name: str, part: PartSettings, info: PartInfo) -> Any:
    codec = info.make(part.options)
    return Buggy(codec, bugs=1) if name == "baro" else codec


def part_tasks() -> dict[str, asyncio.Task[Any]]:
    """The tasks of parts, by part."""
    tasks = {task.get_name(): task for task in asyncio.all_tasks()}
    return {
        name.removeprefix("part-"): task
        for name, task in tasks.items()
        if name.startswith("part-")
    }


def pooled(
    folder: Path,
    meanwhile: Callable[[SamplerPool, Stage], Awaitable[None]],
    parts: Mapping[str, PartSettings] = PARTS,
    **others: Any,
) -> Stage:
    """Sample parts while something goes on."""

    async def live() -> Stage:
        stage = Stage(folder)
        async with sampling(
            config(parts), stage.sink, stage.clock, stage.wires(), **others
        ) as pool:
            await meanwhile(pool, stage)
        assert part_tasks() == {}
        return stage

    return run_virtual(live())


def test_each_part_has_a_task_and_the_wires_are_left_alone_at_the_end(
    tmp_path: Path,
) -> None:
    async def meanwhile(_pool: SamplerPool, stage: Stage) -> None:
        assert set(part_tasks()) == set(PARTS)
        await asyncio.sleep(30.0)
        assert stage.closed == []

    stage = pooled(tmp_path, meanwhile)
    assert all(stage.gave(name) for name in PARTS)
    assert stage.opened == stage.closed == ["/dev/i2c-1"]


def test_a_drivers_bug_is_its_parts_fault_and_it_is_started_again(
    tmp_path: Path,
) -> None:
    """The others do not notice; a watch does not give a part up."""

    async def meanwhile(_pool: SamplerPool, stage: Stage) -> None:
        await asyncio.sleep(START_AGAIN_S - 1.0)
        assert stage.sink.faults == {
            "baro": SourceFault(
                "baro",
                "blocked",
                "baro: its driver had an internal error (ZeroDivisionError: a bug of "
                "its own); it is started again",
            )
        }
        assert stage.gave("bunk-air")
        assert not stage.gave("baro")
        await asyncio.sleep(10.0)
        assert stage.gave("baro")
        assert stage.sink.faults == {}  # its good readings have ended it

    pooled(tmp_path, meanwhile, make=buggy_baro)


class Stumbling:
    """A line's codec with a bug of its own in every message, for a while."""

    def __init__(self, codec: Any) -> None:
        self._codec = codec
        self.bugs: list[ZeroDivisionError] = []
        self.is_mended = False

    def __getattr__(self, name: str) -> Any:
        return getattr(self._codec, name)

    def feed(self, data: bytes) -> Any:
        if not self.is_mended:
            self.bugs.append(ZeroDivisionError("a bug of its own"))
            raise self.bugs[-1]
        return self._codec.feed(data)


def test_a_bug_on_a_line_is_told_once_and_ends_with_its_readings(
    tmp_path: Path,
) -> None:
    """For an hour it is one fault, whose traceback is as long as at the first time."""
    made: list[Stumbling] = []

    def make(_name: str, part: PartSettings, info: PartInfo) -> Any:
        made.append(Stumbling(info.make(part.options)))
        return made[-1]

    async def meanwhile(_pool: SamplerPool, stage: Stage) -> None:
        await asyncio.sleep(3600.0)
        assert list(stage.sink.faults) == ["co"]
        made[0].is_mended = True
        await asyncio.sleep(30.0)
        assert stage.gave("co")
        assert stage.sink.faults == {}

    stage = pooled(tmp_path, meanwhile, LINE, make=make)
    assert [type(event) for event in stage.sink.told] == [SourceFault, SourceOk]
    raised = [bug for bug in made[0].bugs if bug.__traceback__]
    assert len(raised) >= 300
    depths = {len(traceback.extract_tb(bug.__traceback__)) for bug in raised}
    assert max(depths) < 10


def test_a_short_look_does_without_the_part(tmp_path: Path) -> None:
    async def meanwhile(_pool: SamplerPool, stage: Stage) -> None:
        await asyncio.sleep(10.0 * START_AGAIN_S)
        assert "baro" not in part_tasks()

    stage = pooled(tmp_path, meanwhile, make=buggy_baro, restarts=False)
    assert not stage.gave("baro")
    assert stage.gave("bunk-air")
    text = (
        "baro: its driver had an internal error (ZeroDivisionError: a bug of its own)"
    )
    assert stage.sink.faults == {"baro": SourceFault("baro", "blocked", text)}


@pytest.mark.parametrize(
    ("parts", "anew"),
    [
        (PARTS, set()),
        ({**PARTS, "bunk-air": changed(PARTS["bunk-air"], place="roof")}, {"bunk-air"}),
        # What informs a part belongs to its place: its pressure comes from there.
        ({**PARTS, "baro": SLOW_BARO}, {"baro", "bunk-co2"}),
    ],
)
def test_a_changed_config_begins_anew_what_it_changes_and_no_other(
    tmp_path: Path, parts: Mapping[str, PartSettings], anew: set[str]
) -> None:
    async def meanwhile(pool: SamplerPool, stage: Stage) -> None:
        before = part_tasks()
        await pool.apply(config(parts))
        after = part_tasks()
        assert {name for name in PARTS if after[name] is not before[name]} == anew
        assert stage.closed == []

    pooled(tmp_path, meanwhile)


def test_who_leaves_is_ended_and_forgotten_on_its_bus(tmp_path: Path) -> None:
    """Else one that answers no more would make the whole bus look stuck."""

    async def meanwhile(pool: SamplerPool, stage: Stage) -> None:
        await asyncio.sleep(10.0)
        alone = {"baro": PARTS["baro"]}
        await pool.apply(config(alone))
        assert set(part_tasks()) == {"baro"}
        assert stage.forgotten == [find_part(k).address for k in ("sht4x", "scd4x")]

    pooled(tmp_path, meanwhile)


def test_who_comes_is_begun(tmp_path: Path) -> None:
    async def meanwhile(pool: SamplerPool, stage: Stage) -> None:
        await asyncio.sleep(10.0)
        assert not stage.gave("bunk-air")
        await pool.apply(config(PARTS))
        await asyncio.sleep(10.0)
        assert stage.gave("bunk-air")

    pooled(tmp_path, meanwhile, {"baro": PARTS["baro"]})


def test_a_fault_ends_with_the_config_that_had_it(tmp_path: Path) -> None:
    """Whether the part at its new place has it too is not known yet."""

    async def meanwhile(pool: SamplerPool, stage: Stage) -> None:
        for name in ("baro", "bunk-air"):
            stage.sink.on_event(SourceFault(name, "absent", "it does not answer"))
        await pool.apply(config({**PARTS, "baro": SLOW_BARO}))
        assert set(stage.sink.faults) == {"bunk-air"}

    pooled(tmp_path, meanwhile)


def test_a_bus_at_another_device_is_opened_anew_with_its_parts(tmp_path: Path) -> None:
    async def meanwhile(pool: SamplerPool, stage: Stage) -> None:
        before = part_tasks()
        await pool.apply(config(PARTS, "/dev/i2c-3"))
        assert stage.opened == ["/dev/i2c-1", "/dev/i2c-3"]
        assert stage.closed == ["/dev/i2c-1"]
        assert not set(before.values()) & set(part_tasks().values())

    stage = pooled(tmp_path, meanwhile)
    assert stage.closed == stage.opened


def test_the_fault_of_a_bus_ends_with_its_device(tmp_path: Path) -> None:
    """A reload puts the device right: what the old one had is over."""

    async def meanwhile(pool: SamplerPool, stage: Stage) -> None:
        stage.sink.on_event(SourceFault("main", "bus-stuck", "it is stuck"))
        await pool.apply(config(PARTS, "/dev/i2c-3"))
        assert stage.sink.faults == {}

    pooled(tmp_path, meanwhile)


def test_no_fault_outlives_who_had_it(tmp_path: Path) -> None:
    """A part that is taken out, and a bus on which nobody hangs any more."""

    async def meanwhile(pool: SamplerPool, stage: Stage) -> None:
        for name in ("baro", "main"):
            stage.sink.on_event(SourceFault(name, "absent", "it does not answer"))
        await pool.apply(config({"co": LINE["co"]}))
        assert stage.sink.faults == {}

    pooled(tmp_path, meanwhile, {**PARTS, **LINE})


def test_whatever_ends_the_block_the_wires_are_closed(tmp_path: Path) -> None:
    stages = []

    async def meanwhile(_pool: SamplerPool, stage: Stage) -> None:
        stages.append(stage)
        raise ArithmeticError("of whoever looks")

    with pytest.raises(ExceptionGroup) as raised:
        pooled(tmp_path, meanwhile)
    assert raised.group_contains(ArithmeticError, match="of whoever looks")
    assert stages[0].closed == ["/dev/i2c-1"]
