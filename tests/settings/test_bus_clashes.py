"""Parts that would answer for each other, each told in one sentence with its remedy."""

from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.commands.config_told import cautions
from cabinvigil.daemon.precheck.buses import bus_findings
from cabinvigil.daemon.settings.bus_names import I2cNames
from cabinvigil.daemon.settings.config import Settings, load
from cabinvigil.daemon.settings.devices import device_mistakes
from cabinvigil.daemon.settings.errors import Mistake
from cabinvigil.daemon.settings.registries import Registries
from tests.bus_machine import BusMachine

HEAD = '[cabin]\nname = "lapwing"\n'


def config(folder: Path, buses: dict[str, str], parts: dict[str, str]) -> Settings:
    """A config of buses by name, and of parts as `kind bus [address]` by name."""
    text = HEAD
    for name, device in buses.items():
        text += f'[i2c.{name}]\ndevice = "{device}"\n'
    for name, words in parts.items():
        kind, bus, *address = words.split()
        text += f'[part.{name}]\nkind = "{kind}"\nbus = "{bus}"\n'
        text += "".join(f"address = {one}\n" for one in address)
    path = folder / "cabin.toml"
    path.write_text(text, encoding="utf-8")
    return load(path)


def clashes(root: Path, settings: Settings) -> list[Mistake]:
    known = replace(Registries(), bus_names=I2cNames(root))
    told = device_mistakes(settings, "cabin.toml", known=known)
    usual = ("which is not there", "which is not a device", "needs the group")
    return [one for one in told if not any(words in one.what for words in usual)]


@pytest.fixture
def machine(tmp_path: Path) -> BusMachine:
    """The header's bus with a multiplexer at 0x70, and a bus on two pins."""
    machine = BusMachine(tmp_path / "root")
    machine.bus(1)
    machine.on_pins(8, reg=8)
    machine.mux(1, 0x70, range(30, 38), base=30)
    return machine


BUSES = {"main": "/dev/i2c-1", "pane": "/dev/i2c-30", "roof": "/dev/i2c-31"}


def test_one_kind_behind_two_channels_is_what_multiplexers_are_for(
    tmp_path: Path, machine: BusMachine
) -> None:
    """The same address three times, and on a bus of its own: nothing clashes."""
    buses = {**BUSES, "far": "/dev/i2c-8"}
    parts = {
        "window": "tmp117 pane",
        "loft": "tmp117 roof",
        "baro": "bme280 main",
        "door": "tmp117 far",
    }
    settings = config(tmp_path, buses, parts)
    assert clashes(machine.root, settings) == []
    assert list(bus_findings(settings, I2cNames(machine.root))) == []


def test_a_part_at_the_multiplexers_own_address(
    tmp_path: Path, machine: BusMachine
) -> None:
    """On its bus, and on each of its channels: what is meant for one switches it."""
    for bus in ("main", "pane"):
        parts = {"bunk-o2": f"o2_key_register {bus} 0x70", "baro": "bme280 main 0x77"}
        (found,) = clashes(machine.root, config(tmp_path, BUSES, parts))
        assert found.key == "part.bunk-o2.address"
        assert f"is 0x70 on bus {bus}, where the multiplexer" in found.what
        assert "`addr=`" in found.mend
    parts = {"bunk-o2": "o2_key_register far 0x70"}
    elsewhere = config(tmp_path, {"far": "/dev/i2c-8"}, parts)
    assert clashes(machine.root, elsewhere) == []


def test_a_part_before_a_multiplexer_answers_behind_it_too(
    tmp_path: Path, machine: BusMachine
) -> None:
    """Told at the part behind it, whichever the config names first."""
    for names in (("bunk-air", "roof-air"), ("roof-air", "bunk-air")):
        places = {"bunk-air": "sht4x main", "roof-air": "sht4x roof"}
        parts = {name: places[name] for name in names}
        (found,) = clashes(machine.root, config(tmp_path, BUSES, parts))
        assert found.key == "part.roof-air.address"
        assert "[part.bunk-air] on bus main before it responds there too" in found.what
        assert "a channel of its own" in found.mend


def test_two_names_of_one_bus(tmp_path: Path, machine: BusMachine) -> None:
    """A link and the number behind it; and a part that both names reach is named."""
    buses = {"main": "/dev/i2c-1", "other": machine.link("i2c-header", 1)}
    parts = {"bunk-air": "sht4x main", "twin": "sht4x other"}
    (found,) = clashes(machine.root, config(tmp_path, buses, parts))
    assert found.key == "i2c.other.device"
    assert "another name of the bus that [i2c.main] has" in found.what
    assert "bunk-air and twin would be one sensor" in found.what
    parts = {"bunk-air": "sht4x main", "pane": "tmp117 other"}
    (found,) = clashes(machine.root, config(tmp_path, buses, parts))
    assert "one sensor" not in found.what
    assert 'write `bus = "main"`' in found.mend


@pytest.mark.parametrize(("idle", "count"), [("-1", 1), ("-2", 0)])
def test_a_multiplexer_that_stays_connected_is_heard_beside_another(
    tmp_path: Path, idle: str, count: int
) -> None:
    """Two of them on one bus, each with a part of one address behind it."""
    machine = BusMachine(tmp_path / "root")
    machine.bus(1)
    machine.mux(1, 0x70, range(30, 38), base=30)
    machine.mux(1, 0x71, range(40, 48), base=40, idle=idle)
    buses = {"pane": "/dev/i2c-30", "roof": "/dev/i2c-40"}
    parts = {"bunk-air": "sht4x pane", "roof-air": "sht4x roof"}
    found = clashes(machine.root, config(tmp_path, buses, parts))
    assert len(found) == count
    for one in found:
        assert one.key == "part.roof-air.address"
        assert "disconnect_on_idle" in one.mend


def test_two_of_one_kind_on_numbers_that_move(tmp_path: Path) -> None:
    """Bunk and window would change places, and no reading would look wrong."""
    machine = BusMachine(tmp_path / "root")
    machine.bus(1)
    machine.mux(1, 0x70, range(22, 30))
    buses = {"one": "/dev/i2c-22", "two": "/dev/i2c-23"}
    settings = config(
        tmp_path, buses, {"bunk-air": "sht4x one", "roof-air": "sht4x two"}
    )
    (found,) = clashes(machine.root, settings)
    assert found.key == "i2c.two.device"
    assert "roof-air and bunk-air could be swapped" in found.what
    assert "name /dev/i2c-31" in found.mend
    words = [one.word for one in bus_findings(settings, I2cNames(machine.root))]
    assert words == ["bad", "mind"]
    one_stays = config(
        tmp_path,
        {"one": "/dev/i2c-1", "two": "/dev/i2c-22"},
        {"bunk-air": "sht4x one 0x44", "roof-air": "sht4x two 0x45"},
    )
    assert clashes(machine.root, one_stays) == []
    machine.on_pins(8, reg=8)
    buses["one"] = "/dev/i2c-8"
    parts = {"bunk-air": "sht4x one", "roof-air": "sht4x two"}
    assert clashes(machine.root, config(tmp_path, buses, parts)) == []
    unlike = config(tmp_path, buses, {"bunk-air": "sht4x one", "pane": "tmp117 two"})
    assert clashes(machine.root, unlike) == []


def test_a_number_that_moves_is_told(tmp_path: Path) -> None:
    """By `config` on the machine that has it, and before bed; a link is not."""
    machine = BusMachine(tmp_path / "root")
    machine.bus(1)
    machine.mux(1, 0x70, range(22, 30))
    known = replace(Registries(), bus_names=I2cNames(machine.root))
    buses = {"main": "/dev/i2c-1", "pane": "/dev/i2c-22"}
    settings = config(tmp_path, buses, {"bunk-air": "sht4x pane"})
    (line,) = [one for one in cautions(settings, known) if "another bus's" in one]
    assert line.startswith("[i2c.pane] is /dev/i2c-22, which may be another bus's")
    (finding,) = bus_findings(settings, known.bus_names)
    assert finding.word == "mind"
    assert "base=30" in finding.text
    buses["pane"] = machine.link("i2c-pane", 22)
    settings = config(tmp_path, buses, {"bunk-air": "sht4x pane"})
    assert not [one for one in cautions(settings, known) if "another bus's" in one]
    assert list(bus_findings(settings, known.bus_names)) == []
