"""A scan: every part tells itself, strangers are told as such, nothing is changed."""

import asyncio
import os
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.commands.on_wires import FRESH, run_on_wires
from cabinvigil.daemon.parts.scan import (
    Scan,
    ScanAnswer,
    ScanTargets,
    kinds_at,
    scan,
    scan_bus,
)
from cabinvigil.daemon.parts.scan_targets import (
    emulated_ground,
)
from cabinvigil.daemon.parts.scan_text import (
    ScanLine,
    compared,
    missing,
    suggestions,
    told,
)
from cabinvigil.daemon.rehearsal.emulated import known
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.faulty import Stranger
from cabinvigil.daemon.rehearsal.nights import Failure
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import EmulatedSerial, EmulatedSMBus
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.config import Settings, example, load
from cabinvigil.drivers import part as find_part

EVERYTHING = """
[cabin]
name = "lapwing"
[i2c.main]
device = "/dev/i2c-1"
[i2c.second]
device = "/dev/i2c-3"
"""
EMULATED = sorted(
    {*known.ON_I2C, *known.AT_A_CONVERTER, *known.ON_SERIAL, *known.IN_A_FILE}
)
SECOND = {
    "bmp280": "0x76",
    "bmp390": "0x77",
    "ina219": "0x40",
    "ina228": "0x41",
    "sht3x": "0x45",
    "gas_bead_ads1115": "0x48",
    "o2_amplified_ads1115": "0x49",
    "o2_key_register": "0x73",
    "tmp117": "0x4a",
}
"""Kinds put on the second bus, at addresses of their own."""


def everything(folder: Path) -> Settings:
    """A config with one part of every kind that can be emulated."""
    text = EVERYTHING
    for number, kind in enumerate(EMULATED):
        info = find_part(kind)
        text += f'[part.the-{kind.replace("_", "-")}]\nkind = "{kind}"\n'
        match info.bus:
            case "i2c" if kind in SECOND:
                text += f'bus = "second"\naddress = {SECOND[kind]}\n'
            case "i2c" if kind == "co_cell_ads1115":
                text += 'bus = "main"\naddress = 0x49\n'
            case "i2c":
                text += 'bus = "main"\n'
            case "serial":
                text += f'port = "/dev/serial/by-path/usb-{number}"\n'
            case _:
                text += 'path = "/sys/bus/w1/devices/28-1/w1_slave"\n'
    path = folder / "cabin.toml"
    path.write_text(text, encoding="utf-8")
    return load(path)


def scanned(settings: Settings, failures: tuple[Failure, ...] = ()) -> Scan:
    async def job(wires: Wires, _clock: Clock) -> Scan:
        return await scan(emulated_ground(settings, wires))

    return run_on_wires(job, settings, FRESH, failures=failures)


def broken(*names: str, fault: str) -> tuple[Failure, ...]:
    return tuple(Failure(0.0, 1e6, name, fault) for name in names)


def test_every_kind_of_part_is_found(tmp_path: Path) -> None:
    """All of them at once, each by what it says of itself; nothing is missing."""
    settings = everything(tmp_path)
    lines = compared(scanned(settings), settings)
    assert {line.name for line in lines} == set(settings.parts)
    for line in lines:
        assert settings.parts[line.name].kind in line.answer.kinds
        assert not line.is_another
    assert missing(lines, settings) == []
    told_apart = {line.name for line in lines if len(line.answer.kinds) == 1}
    cells = {f"the-{kind.replace('_', '-')}" for kind in known.AT_A_CONVERTER}
    silent = {"the-frame9-gas"}  # its answers name no gas
    assert set(settings.parts) - told_apart == cells | silent


def test_the_suggested_lines_are_a_config_that_loads(tmp_path: Path) -> None:
    """With a cabin's name before them: every part that was found, once."""
    found = scanned(everything(tmp_path))
    lines = suggestions(compared(found, None), None, found.devices)
    path = tmp_path / "new.toml"
    path.write_text('[cabin]\nname = "lapwing"\n' + "\n".join(lines), encoding="utf-8")
    assert len(tomllib.loads(path.read_text(encoding="utf-8"))["part"]) == len(EMULATED)
    settings = load(path)
    names = set(settings.parts)
    assert {"bunk-o2", "bunk-o2-2", "bunk-co", "bunk-co2", "baro", "pane"} <= names
    assert settings.parts["bunk-co2"].pressure_from == "baro"


def test_what_the_config_names_is_not_suggested_again(tmp_path: Path) -> None:
    """And a new part gets a name that is free, and the sources that there are."""
    settings = example()
    scan_ = Scan(
        {"main": [ScanAnswer("0x48", ("o2_cell_ads1115", "co_cell_ads1115"))]}, [], []
    )
    assert suggestions(compared(scan_, settings), settings, {"main": "/dev/i2c-1"}) == [
        "[part.bunk-o2-2]",
        "# or kind = co_cell_ads1115: it does not say which",
        'kind = "o2_cell_ads1115"',
        'bus = "main"',
        'pressure_from = "bunk-o2"',
        'temperature_from = "bunk-co2"',
    ]


def test_a_scan_leaves_the_parts_as_they_were() -> None:
    """A part that measures goes on measuring, with the settings that it had."""

    async def look() -> None:
        loop = asyncio.get_running_loop()
        bus = EmulatedSMBus()
        part = known.ON_I2C["scd4x"](lambda: FRESH, 1, loop.time)
        bus.attach(0x62, part)
        await asyncio.sleep(1.1)
        part.write(bytes.fromhex("21b1"))
        before = (part._mode, dict(part._settings), dict(part._eeprom))  # type: ignore[attr-defined]
        one = I2cBus("main", "/dev/i2c-1", open_smbus=lambda _: bus, blocking=False)
        await asyncio.sleep(6.0)
        (answer,) = await scan_bus(one)
        assert answer == ScanAnswer("0x62", ("scd4x",))
        after = (part._mode, dict(part._settings), dict(part._eeprom))  # type: ignore[attr-defined]
        assert before == after

    run_virtual(look())


def test_a_part_that_refuses_one_question_is_asked_the_next() -> None:
    """An STCC4 tells its number while idle alone, and a reading while it measures."""

    async def look() -> None:
        loop = asyncio.get_running_loop()
        bus = EmulatedSMBus()
        part = known.ON_I2C["stcc4"](lambda: FRESH, 1, loop.time)
        bus.attach(0x65, part)
        one = I2cBus("main", "/dev/i2c-1", open_smbus=lambda _: bus, blocking=False)
        await asyncio.sleep(1.1)
        assert await scan_bus(one) == [ScanAnswer("0x65", ("stcc4",))]
        part.write(bytes.fromhex("3fbc"))
        part.write(bytes.fromhex("218b"))
        await asyncio.sleep(6.0)
        assert await scan_bus(one) == [ScanAnswer("0x65", ("stcc4",))]
        await asyncio.sleep(1.1)
        part.write(bytes.fromhex("ec05"))  # it measures on, paused as before
        await asyncio.sleep(0.01)
        assert part.read(12)[9] == 0x40

    run_virtual(look())


def test_a_stranger_is_told_as_one() -> None:
    """It acknowledges, and is no part here; where a mute part may sit it may be it."""

    async def look() -> list[ScanAnswer]:
        bus = EmulatedSMBus()
        for address in (0x50, 0x62, 0x71):
            bus.attach(address, Stranger(address))
        one = I2cBus("main", "/dev/i2c-1", open_smbus=lambda _: bus, blocking=False)
        found = await scan_bus(one)
        assert not isinstance(found, str)
        return list(found)

    unknown, at_a_parts, maybe = run_virtual(look())
    assert unknown == ScanAnswer("0x50")
    assert at_a_parts == ScanAnswer("0x62")
    assert maybe.kinds == ("o2_key_register",)
    assert "cannot be distinguished" in maybe.text
    lines = list(told(Scan({"main": [unknown]}, [], []), None))
    assert lines[:3] == [
        "1 device found, with no config to compare.",
        "On the I2C bus main",
        "  0x50  something unknown",
    ]


def test_d6_a_look_alike_is_told_as_what_it_is() -> None:
    """Each of the barometers by its own kind; one that nothing here reads by name."""

    class Bme680(Stranger):
        def __init__(self) -> None:
            super().__init__(1)
            self._memory = self._memory[:0xD0] + b"\x61" + self._memory[0xD1:]

    async def look(make: Callable[[Callable[[], float]], Any]) -> ScanAnswer:
        bus = EmulatedSMBus()
        bus.attach(0x76, make(asyncio.get_running_loop().time))
        await asyncio.sleep(1.0)
        one = I2cBus("main", "/dev/i2c-1", open_smbus=lambda _: bus, blocking=False)
        found = await scan_bus(one)
        assert not isinstance(found, str)
        (only,) = found
        return only

    for kind in ("bme280", "bmp280", "bmp390"):
        make = known.ON_I2C[kind]
        only = run_virtual(look(lambda now, make=make: make(AirNow, 1, now)))
        assert only == ScanAnswer("0x76", (kind,))
    only = run_virtual(look(lambda _now: Bme680()))
    assert only == ScanAnswer("0x76", (), "a BME680, which this monitor does not read")
    lines = list(told(Scan({"main": [only]}, [], []), None))
    assert lines[2] == "  0x76  a BME680, which this monitor does not read"


def test_a_part_that_is_not_what_the_config_says_is_told() -> None:
    """Another kind answers at its place: neither found nor suggested."""
    settings = example()
    scan_ = Scan({"main": [ScanAnswer("0x76", ("scd4x",))]}, [], [])
    (line,) = compared(scan_, settings)
    assert line.is_another
    assert "baro" in missing([line], settings)
    assert "but the config has baro there, a bme280" in "\n".join(told(scan_, settings))


def test_what_is_named_and_silent_is_missing() -> None:
    """Unplugged parts of every wire, with where they should be."""
    gone = broken("bunk-o2", "bunk-air", "pane", fault="vanish")
    settings = example()
    found = scanned(settings, gone)
    assert set(missing(compared(found, settings), settings)) == {
        *("bunk-o2", "bunk-air", "pane"),
    }
    text = "\n".join(told(found, settings))
    assert "/dev/serial0  silent; in the config as bunk-o2" in text
    assert "bunk-air: sht4x at main 0x44" in text


def test_a_stuck_bus_is_said_once() -> None:
    """Not a hundred addresses that do not answer."""
    settings = example()
    found = scanned(settings, broken("bus", fault="hold"))
    assert isinstance(found.buses["main"], str)
    assert "the I2C bus /dev/i2c-1 is stuck" in found.buses["main"]


@pytest.mark.parametrize("fault", ["babble", "flip", "zeros"])
def test_a_line_without_sense_is_told_by_its_bytes(fault: str) -> None:
    """Something is there; it is no part here, and is given no name."""
    found = scanned(example(), broken("bunk-co", fault=fault))
    (answer,) = [one for one in found.ports if "by-path" in one.where]
    assert answer.kinds == ()
    assert answer.is_there
    assert answer.text.endswith("bytes that no known sensor sends")


def test_a_port_that_does_not_open_says_why() -> None:
    """With its remedy."""
    found = scanned(example(), broken("bunk-co", fault="unplug"))
    (answer,) = [one for one in found.ports if "by-path" in one.where]
    assert not answer.is_there
    assert "there is no serial port" in answer.text


@pytest.mark.parametrize(
    ("kind", "kinds"),
    [("frame9_co2", ("frame9_co2",)), ("frame9_co", ("frame9_co2", "frame9_co"))],
)
def test_a_module_that_only_answers_is_asked(
    kind: str, kinds: tuple[str, ...], tmp_path: Path
) -> None:
    """Its answer has no gas in it: by its count it is CO2, or cannot be told."""

    class Questioned:
        """A module in question mode."""

        def __init__(self, now: Callable[[], float]) -> None:
            self._part: Any = known.ON_SERIAL[kind](lambda: FRESH, 1, now)

        def due_s(self) -> float | None:
            return None

        def send(self) -> bytes:
            return b""

        def receive(self, data: bytes) -> bytes:
            return bytes(self._part.receive(data))

        def power_up(self) -> None:
            self._part.power_up()

    async def look(folder: Path) -> ScanAnswer:
        loop = asyncio.get_running_loop()
        wire = EmulatedSerial(folder / "port", Questioned(loop.time))
        await asyncio.sleep(90.0)

        def make(baud: int) -> Any:
            return lambda on_bytes, on_gone: SerialPort(
                wire.path,
                baud,
                on_bytes,
                on_gone,
                after_write=wire.after_write,
                blocking=False,
            )

        try:
            found = await scan(ScanTargets((), {"/dev/ttyUSB0": make}, {}))
        finally:
            wire.close()
        return found.ports[0]

    answer = run_virtual(look(tmp_path))
    assert set(kinds) <= set(answer.kinds)
    assert ("does not say which" in answer.text) is (kind == "frame9_co")


def test_addresses_that_parts_can_share_are_asked_of_each() -> None:
    """0x48 may be a converter, a thermometer or a supply monitor (sensors sheet, 0)."""
    assert set(kinds_at(0x48)) == {
        *("co_cell_ads1115", "ina219", "ina226", "ina228", "o2_cell_ads1115"),
        *("tmp117", "gas_bead_ads1115", "o2_amplified_ads1115"),
    }
    assert kinds_at(0x50) == []


def test_an_empty_machine_is_told_what_to_switch_on() -> None:
    """No bus, no port, no 1-wire: three lines, the first with its remedy."""
    lines = list(told(Scan({}, [], []), None))
    assert lines[0].startswith("There is no I2C bus here: switch it on")
    assert lines[1:] == ["On the serial ports: nothing here", "On 1-wire: nothing here"]
    quiet = list(told(Scan({"main": []}, [], []), None))
    assert "nothing responds: check the power supply" in quiet[2]


def test_a_line_without_a_config_has_no_name() -> None:
    """What is found is told all the same."""
    scan_ = Scan({}, [ScanAnswer("/dev/ttyUSB0", ("frame9_co",))], [])
    assert compared(scan_, None) == [ScanLine("serial", scan_.ports[0])]
    assert missing([], None) == []
    assert os.sep in scan_.ports[0].where
