"""I2C buses: behind which multiplexer, which number stays, and how one comes to be."""

from pathlib import Path

import pytest

from cabinvigil.daemon.settings.bus_names import (
    Adapter,
    I2cNames,
    bus_number,
    how_to_get,
    is_bare,
)
from tests.bus_machine import BusMachine


def test_a_channel_says_its_multiplexer(tmp_path: Path) -> None:
    """The kernel's own example: channel 3 of 0x72 on bus 7 (docs.kernel.org)."""
    machine = BusMachine(tmp_path)
    machine.bus(7, "npcm_i2c_7")
    machine.mux(7, 0x72, range(78, 82))
    assert I2cNames(tmp_path).adapter(81) == Adapter(
        81, "i2c-7-mux (chan_id 3)", 7, 0x72, 3, stays=False, lets_go=True
    )
    assert I2cNames(tmp_path).adapter(82) is None
    (one, *_) = I2cNames(tmp_path).all()
    assert (one.number, one.place) == (7, "npcm_i2c_7")
    channel = I2cNames(tmp_path).adapter(81)
    assert channel is not None
    assert channel.place == "channel 3 of the multiplexer at 0x72 on /dev/i2c-7"


def test_a_multiplexer_that_pins_switch_has_no_address(tmp_path: Path) -> None:
    """As that of a Pi's camera bus: nothing on the wire answers for it."""
    machine = BusMachine(tmp_path)
    machine.bus(0)
    machine.mux(0, 0x70, range(10, 11))
    link = tmp_path / "sys/bus/i2c/devices/i2c-10/mux_device"
    link.unlink()
    (tmp_path / "sys/devices/soc:i2c0mux").mkdir()
    link.symlink_to(tmp_path / "sys/devices/soc:i2c0mux")
    one = I2cNames(tmp_path).adapter(10)
    assert one is not None
    assert (one.parent, one.mux_address) == (0, None)
    assert one.place == "channel 0 of the multiplexer on /dev/i2c-0"


def test_which_numbers_stay(tmp_path: Path) -> None:
    """An alias, `base=` and `bus=` hold it; what the kernel hands out may move."""
    machine = BusMachine(tmp_path)
    machine.bus(1)
    machine.bus(9, "an adapter on USB", alias=False)
    machine.on_pins(8, reg=8)
    machine.on_pins(11, reg=0)
    machine.mux(1, 0x70, range(30, 38), base=30)
    machine.mux(1, 0x71, range(22, 30))
    names = I2cNames(tmp_path)
    stays = {one.number: one.stays for one in names.all()}
    held = {n for n, one in stays.items() if one}
    assert held == {1, 8, *range(30, 38)}
    assert set(stays) - held == {9, 11, *range(22, 30)}
    moved = names.moves("/dev/i2c-22")
    assert moved is not None
    assert moved.number == 22
    assert names.moves("/dev/i2c-30") is None
    assert names.moves("/dev/i2c-99") is None


def test_a_link_is_no_number(tmp_path: Path) -> None:
    """Whoever made one by a rule of udev has said which bus is meant."""
    machine = BusMachine(tmp_path)
    machine.bus(1)
    machine.mux(1, 0x70, range(22, 24))
    link = machine.link("i2c-pane", 23)
    names = I2cNames(tmp_path)
    assert (bus_number(link), names.moves(link)) == (23, None)
    assert names.staying("/dev/i2c-23") == link
    assert (
        names.mend("/dev/i2c-23") == f'write `device = "{link}"`, which is its name now'
    )
    assert "name /dev/i2c-30," in names.mend("/dev/i2c-22")
    assert "`base=30`" in names.mend("/dev/i2c-22")
    assert "`bus=8`" in names.mend("/dev/i2c-40")


@pytest.mark.parametrize(
    ("device", "bare"),
    [
        ("/dev/i2c-1", True),
        ("//dev/i2c-22", True),
        ("/dev/i2c-pane", False),
        ("/dev/pane", False),
    ],
)
def test_what_names_a_bus_by_its_number(device: str, bare: bool) -> None:
    assert is_bare(device) is bare


def test_buses_on_one_wire(tmp_path: Path) -> None:
    """A channel, one behind another multiplexer, and the bus before them all."""
    machine = BusMachine(tmp_path)
    machine.bus(1)
    machine.bus(3)
    machine.mux(1, 0x70, range(30, 32))
    machine.mux(31, 0x71, range(40, 42))
    names = I2cNames(tmp_path)
    wires = [names.wire(f"/dev/i2c-{n}") for n in (1, 30, 41, 3, 99)]
    assert wires == [1, 1, 1, 3, 99]
    assert [one.number for one in names.above(41)] == [41, 31, 1]
    assert names.wire("/dev/none") == "/dev/none"


@pytest.mark.parametrize(
    ("device", "words"),
    [
        ("/dev/i2c-1", ["raspi-config"]),
        ("/dev/i2c-3", ["`dtoverlay=i2c3` on a Pi 4", "bus=3", "base=3"]),
        ("/dev/i2c-2", ["`dtoverlay=i2c2-pi5` on a Pi 5", "bus=2"]),
        ("/dev/i2c-30", ["dtoverlay=i2c-mux,pca9548,base=30", "parts --scan"]),
        ("/dev/i2c-pane", ["udev rule", "hardware.md"]),
    ],
)
def test_how_a_bus_comes_to_be(device: str, words: list[str]) -> None:
    """Overlays and their words by the Pi's own overlays/README (kernel 6.12)."""
    told = how_to_get(device)
    assert all(word in told for word in words)
    assert ("dtoverlay=i2c30`" in told) is False
