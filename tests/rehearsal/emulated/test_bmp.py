"""The emulated BMP280 and BMP390: other people's drivers, and their modes."""

import pytest

from cabinvigil.daemon.rehearsal.emulated.bmp280 import EmulatedBmp280
from cabinvigil.daemon.rehearsal.emulated.bmp390 import EmulatedBmp390
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.other_drivers import ByBuffers, attached
from tests.rehearsal.emulated.world import World, ask


def test_another_driver_reads_the_bmp280(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """adafruit-circuitpython-bmp280 finds it by its identity, and reads the air."""
    library = pytest.importorskip("adafruit_bmp280")
    monkeypatch.setattr(library, "sleep", world.pass_)
    bus = ByBuffers(attached(0x77, world.make(EmulatedBmp280)))
    world.pass_(1.0)
    device = library.Adafruit_BMP280_I2C(bus)
    assert device.pressure == pytest.approx(1013.25, abs=1.2)
    assert device.temperature == pytest.approx(16.5, abs=1.5)


def test_the_bmp280_has_nothing_of_humidity() -> None:
    """Its registers are the sister's, and where that has humidity there is nothing."""
    world = World()
    part = world.make(EmulatedBmp280)
    world.pass_(0.01)
    assert ask(world, part, b"\xd0", 1) == b"\x58"
    assert ask(world, part, b"\xe1", 7) == bytes(7)
    part.write(bytes.fromhex("f201 f42d"))
    assert ask(world, part, b"\xf2", 2) == b"\x00\x08"
    world.pass_(0.016)
    data = ask(world, part, b"\xf3", 12)
    assert data[:3] == bytes.fromhex("002c00")
    assert data[4:7] != b"\x80\x00\x00"
    assert data[10:] == bytes(2)


def test_another_driver_reads_the_bmp390(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """adafruit-circuitpython-bmp3xx finds it by its identity, and reads the air."""
    library = pytest.importorskip("adafruit_bmp3xx")
    monkeypatch.setattr(library.time, "sleep", world.pass_)
    bus = ByBuffers(attached(0x77, world.make(EmulatedBmp390)))
    world.pass_(1.0)
    device = library.BMP3XX_I2C(bus)
    world.pass_(0.01)
    assert device.pressure == pytest.approx(1013.25, abs=0.6)
    assert device.temperature == pytest.approx(16.5, abs=1.5)


def test_a_sleeping_bmp390_holds_what_it_held() -> None:
    """Nothing is new before a measurement, nor once it was read."""
    world = World()
    part = world.make(EmulatedBmp390)
    world.pass_(0.01)
    assert ask(world, part, b"\x00", 1) == b"\x60"
    skipped = bytes.fromhex("10 000080 000080")
    assert ask(world, part, b"\x03", 7) == skipped
    part.write(bytes.fromhex("1c03 1b13"))
    assert ask(world, part, b"\x1b", 1) == b"\x13"
    world.pass_(0.018)
    assert ask(world, part, b"\x03", 7) == skipped
    world.pass_(0.002)
    assert ask(world, part, b"\x1b", 1) == b"\x03"
    first = ask(world, part, b"\x03", 7)
    assert first[0] == 0x70
    world.pass_(60.0)
    assert ask(world, part, b"\x03", 7) == b"\x10" + first[1:]
    part.write(b"\x1b\x31")  # pressure alone, again and again
    world.pass_(0.02)
    alone = ask(world, part, b"\x03", 7)
    assert (alone[0], alone[4:]) == (0x30, skipped[4:])
    world.pass_(0.02)
    assert ask(world, part, b"\x03", 4) != alone[:4]
    assert ask(world, part, b"\x1b", 1) == b"\x31"
    part.write(b"\x7e\xb6")
    with pytest.raises(Nack):  # it starts up
        part.write(b"\x00")
    with pytest.raises(Nack):
        part.read(1)
    world.pass_(0.002)
    assert ask(world, part, b"\x03", 7) == skipped
