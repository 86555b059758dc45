"""The emulated SHT4x: other people's drivers, what it refuses, how it stays wet."""

from dataclasses import replace

import adafruit_sht4x
import pytest
from sensirion_i2c_sht4x.device import Sht4xDevice

from cabinvigil.daemon.rehearsal.emulated import words
from cabinvigil.daemon.rehearsal.emulated.sht4x import EmulatedSht4x
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.other_drivers import ByBuffers, attached, channel
from tests.rehearsal.emulated.world import World


def test_the_makers_driver_reads_the_sht4x(world: World) -> None:
    """Temperature, humidity and serial number come through the maker's own driver."""
    device = Sht4xDevice(channel(attached(0x44, world.make(EmulatedSht4x)), 0x44))
    world.pass_(0.01)
    temp, humidity = device.measure_high_precision()
    assert temp.value == pytest.approx(16.5, abs=0.6)
    assert humidity.value == pytest.approx(54.8, abs=5)
    hot, dry = device.activate_highest_heater_power_long()
    assert hot.value > 50.0
    assert dry.value < 20.0


def test_another_driver_reads_the_sht4x(world: World) -> None:
    """A second, independent driver finds the same air."""
    bus = attached(0x44, world.make(EmulatedSht4x))
    world.pass_(0.01)
    device = adafruit_sht4x.SHT4x(ByBuffers(bus))
    temp_c, rh_pct = device.measurements
    assert temp_c == pytest.approx(16.5, abs=0.6)
    assert rh_pct == pytest.approx(54.8, abs=5)
    assert device.serial_number != 0


def test_the_sht4x_refuses_its_address_while_it_measures(world: World) -> None:
    """8.3 ms for the high precision; nothing to read without a command."""
    part = world.make(EmulatedSht4x)
    world.pass_(0.01)
    with pytest.raises(Nack):
        part.read(6)
    part.write(b"\xfd")
    world.pass_(0.005)
    with pytest.raises(Nack):
        part.read(6)
    world.pass_(0.0034)
    assert words.checked_words(part.read(6)) is not None


def test_a_wet_sht4x_stays_at_the_top_for_a_while(world: World) -> None:
    """A film of water holds 100 %RH after the air has dried, for as long again."""
    world.air = replace(world.air, rh_pct=104.0)
    part = world.make(EmulatedSht4x)

    def rh_pct() -> float:
        part.write(b"\xfd")
        world.pass_(10.0)
        got = words.checked_words(part.read(6))
        assert got is not None
        return -6 + 125 * got[1] / 65535

    for _ in range(12):
        world.pass_(10.0)
        rh_pct()
    world.air = replace(world.air, rh_pct=70.0)
    assert rh_pct() > 95.0
    for _ in range(30):
        world.pass_(10.0)
        last = rh_pct()
    assert last == pytest.approx(70.0, abs=6.0)
