"""The emulated SHT3x, INA219, INA228, MAX17048 and PMSA003I: other people's drivers."""

import time
from dataclasses import replace

import pytest

from cabinvigil.daemon.rehearsal.emulated.ina219 import EmulatedIna219
from cabinvigil.daemon.rehearsal.emulated.ina228 import EmulatedIna228
from cabinvigil.daemon.rehearsal.emulated.max17048 import EmulatedMax17048, cell_v
from cabinvigil.daemon.rehearsal.emulated.pmsa003i import EmulatedPmsa003i
from cabinvigil.daemon.rehearsal.emulated.sht3x import EmulatedSht3x
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from cabinvigil.daemon.rehearsal.emulated.words import checked_words
from tests.rehearsal.emulated.other_drivers import ByWritesAndReads, attached
from tests.rehearsal.emulated.world import World, ask, word


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> World:
    """A world whose time is what the libraries sleep."""
    world = World(supply_v=11.98, supply_a=1.2, pm2_5_ugm3=60.0, charge_pct=64.0)
    monkeypatch.setattr(time, "sleep", world.pass_)
    return world


def test_another_driver_reads_the_sht3x(world: World) -> None:
    """adafruit-circuitpython-sht31d, which also reads its status and heats it."""
    library = pytest.importorskip("adafruit_sht31d")
    part = world.make(EmulatedSht3x)
    world.pass_(0.01)
    device = library.SHT31D(ByWritesAndReads(attached(0x44, part)))
    world.pass_(0.01)
    assert device.temperature == pytest.approx(15.0, abs=0.6)
    assert device.relative_humidity == pytest.approx(75.0, abs=3.0)
    assert device.status & 0x500C == 0
    device.heater = True
    assert device.heater
    assert device.temperature > 17.0
    device.heater = False
    assert not device.heater
    assert device.temperature < 16.0


def test_the_sht3x_refuses_its_address_while_it_measures(world: World) -> None:
    """15.5 ms; nothing to read without a command, and none of one byte."""
    part = world.make(EmulatedSht3x)
    world.pass_(0.01)
    part.write(b"")
    with pytest.raises(Nack):
        part.read(6)
    with pytest.raises(Nack):
        part.write(b"\xfd")
    part.write(b"\x24\x00")
    world.pass_(0.015)
    with pytest.raises(Nack):
        part.read(6)
    with pytest.raises(Nack):
        part.write(b"\xf3\x2d")
    world.pass_(0.0006)
    assert checked_words(part.read(6)) is not None
    part.write(b"\x30\x41")
    assert checked_words(ask(world, part, b"\xf3\x2d", 3)) == [0]
    part.write(b"\x30\xa2")
    world.pass_(0.002)
    assert checked_words(ask(world, part, b"\xf3\x2d", 3)) == [0x8010]


def test_a_wet_sht3x_stands_at_its_end(world: World) -> None:
    """Fog: the scale ends at 100 %."""
    world.air = replace(world.air, rh_pct=104.0)
    part = world.make(EmulatedSht3x, 5)
    world.pass_(0.01)
    found = []
    for _ in range(40):
        words = checked_words(ask(world, part, b"\x24\x00", 6, 0.02))
        assert words is not None
        found.append(words[1])
    assert min(found) > 0xF000


def test_another_driver_reads_the_ina219(world: World) -> None:
    """adafruit-circuitpython-ina219: volts, the shunt's, and amperes by calibration."""
    library = pytest.importorskip("adafruit_ina219")
    part = world.make(EmulatedIna219)
    device = library.INA219(ByWritesAndReads(attached(0x40, part)))
    assert device.bus_voltage == pytest.approx(11.98, abs=0.02)
    assert device.shunt_voltage == pytest.approx(0.12, abs=0.001)
    assert device.current == pytest.approx(1200.0, abs=10.0)
    assert device.power == pytest.approx(14.4, abs=0.3)
    assert device.conversion_ready
    assert not device.overflow


def test_the_ina219_names_itself_nowhere_and_ends_at_its_gain() -> None:
    """After a reset 399f; a shunt past its range stands, and its current overflows."""
    world = World(supply_a=-9.0)
    part = world.make(EmulatedIna219)
    assert [word(ask(world, part, bytes([r]), 2)) for r in (0xFE, 0x3E, 0)] == [
        *(0, 0, 0x399F),
    ]
    assert ask(world, part, b"\x01", 2) == (-32000).to_bytes(2, "big", signed=True)
    part.write(bytes.fromhex("05 ff ff"))
    assert ask(world, part, b"\x05", 2) == b"\xff\xfe"
    assert word(ask(world, part, b"\x02", 2)) & 3 == 3
    part.write(bytes.fromhex("00 20 07"))
    assert ask(world, part, b"\x01", 2) == (-4000).to_bytes(2, "big", signed=True)
    part.write(bytes.fromhex("00 20 00"))  # it sleeps: what it had stands
    world.air = replace(world.air, supply_a=0.0)
    assert ask(world, part, b"\x01", 2) == (-4000).to_bytes(2, "big", signed=True)
    part.write(bytes.fromhex("00 80 00"))
    assert word(ask(world, part, b"\x00", 2)) == 0x399F


def test_another_driver_reads_the_ina228(world: World) -> None:
    """adafruit-circuitpython-ina228: maker and die, then both voltages."""
    library = pytest.importorskip("adafruit_ina228")
    part = world.make(EmulatedIna228)
    device = library.INA228(ByWritesAndReads(attached(0x40, part)))
    assert device.bus_voltage == pytest.approx(11.98, abs=0.005)
    assert device.shunt_voltage == pytest.approx(0.018, abs=0.0001)
    assert device.die_temperature == pytest.approx(15.0, abs=0.1)


def test_the_ina228_tells_a_conversion_once(world: World) -> None:
    """Flags 0001 until one has ended, then 0003 for once; a damaged memory 0000."""
    part = world.make(EmulatedIna228)
    assert ask(world, part, b"\x3f", 3) == b"\x22\x81\xff"
    part.write(b"")
    part.write(bytes.fromhex("01 fb6a"))
    world.pass_(0.050)
    assert ask(world, part, b"\x0b", 2) == b"\x00\x01"
    world.pass_(0.001)
    assert ask(world, part, b"\x0b", 2) == b"\x00\x03"
    assert ask(world, part, b"\x0b", 2) == b"\x00\x01"
    part.is_damaged = True
    assert ask(world, part, b"\x0b", 2) == b"\x00\x00"
    wide = int.from_bytes(ask(world, part, b"\x04", 3), "big")
    part.write(bytes.fromhex("00 0010"))
    narrow = int.from_bytes(ask(world, part, b"\x04", 3), "big")
    assert narrow == pytest.approx(4 * wide, rel=0.01)
    part.write(bytes.fromhex("3f 0000"))  # not to be written
    part.write(bytes.fromhex("00 8000"))
    assert ask(world, part, b"\x01", 2) == b"\xfb\x68"
    assert ask(world, part, b"\x3f", 2) == b"\x22\x81"


def test_another_driver_reads_the_max17048(world: World) -> None:
    """adafruit-circuitpython-max1704x: it starts the gauge anew, then reads it."""
    library = pytest.importorskip("adafruit_max1704x")
    part = world.make(EmulatedMax17048)
    device = library.MAX17048(ByWritesAndReads(attached(0x36, part)))
    assert device.cell_voltage == pytest.approx(cell_v(64.0), abs=0.01)
    assert device.cell_percent == pytest.approx(64.0, abs=3.0)


def test_the_max17048_reads_on_and_forgets_by_a_command(world: World) -> None:
    """Words follow one another; 5400 at fe is a power-up, which nobody acknowledges."""
    part = world.make(EmulatedMax17048)
    assert ask(world, part, b"\x08", 2) == b"\x00\x12"
    assert ask(world, part, b"\x02", 4)[2:] == ask(world, part, b"\x04", 2)
    part.write(b"")
    part.write(bytes.fromhex("0c 1234"))
    part.write(bytes.fromhex("08 1234"))
    assert ask(world, part, b"\x0c", 2) == b"\x12\x34"
    assert ask(world, part, b"\x08", 2) == b"\x00\x12"
    with pytest.raises(Nack):
        part.write(bytes.fromhex("fe 5400"))
    assert ask(world, part, b"\x0c", 2) == b"\x97\x1c"
    assert ask(world, part, b"\x0d", 1) == b"\x00"


@pytest.mark.parametrize(
    ("percent", "volts"), [(-5.0, 3.2), (0.0, 3.2), (50.0, 3.725), (100.0, 4.15)]
)
def test_a_cell_falls_with_its_charge(percent: float, volts: float) -> None:
    """Our own line: flat in its middle, steep at its end."""
    assert cell_v(percent) == pytest.approx(volts)


def test_another_driver_reads_the_pmsa003i(world: World) -> None:
    """adafruit-circuitpython-pm25: the newest frame, from the first byte on."""
    library = pytest.importorskip("adafruit_pm25.i2c")
    part = world.make(EmulatedPmsa003i)
    device = library.PM25_I2C(ByWritesAndReads(attached(0x12, part)), None)
    assert device.read()["particles 03um"] == 0  # its fan has just started
    world.pass_(60.0)
    assert device.read()["pm25 env"] == pytest.approx(60, abs=12)
    assert part.read(1) == b"B"
    assert ask(world, part, b"\x1e", 4)[2:] == b"\xff\xff"
    assert not part.fan_stopped
    part.fan_stopped = True
    world.pass_(5.0)
    assert device.read()["particles 03um"] == 0
