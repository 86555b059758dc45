"""Names of serial ports that may pass to another adapter: refused, or asked about."""

from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.commands.config_told import cautions
from cabinvigil.daemon.settings.config import Settings, check, example, load
from cabinvigil.daemon.settings.devices import device_mistakes
from cabinvigil.daemon.settings.errors import Mistake
from cabinvigil.daemon.settings.ports import SerialNames, may_move
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.drivers import REGISTRY
from cabinvigil.drivers import part as find_part
from tests.serial_machine import SerialMachine

HEAD = """
[cabin]
name = "lapwing"
[part.bunk]
"""
QUESTION = 'options = { mode = "question", answer_ppm = 0.1 }\n'


def known(root: Path) -> Registries:
    return replace(Registries(), port_names=SerialNames(root))


def mistakes(folder: Path, text: str, root: Path | None = None) -> list[Mistake]:
    path = folder / "cabin.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    found = check(path, known=known(root or folder / "none"))
    return [one for one in found if one.key.endswith("port")]


def loaded(folder: Path, text: str) -> Settings:
    path = folder / "cabin.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return load(path, known=known(folder / "none"))


@pytest.mark.parametrize(
    ("port", "moves"),
    [
        ("/dev/ttyUSB0", True),
        ("/dev/ttyUSB12", True),
        ("/dev/ttyACM0", True),
        ("//dev/ttyUSB0", True),
        ("/dev/ttyAMA0", False),
        ("/dev/serial0", False),
        ("/dev/serial/by-path/platform-usb-0:1.1:1.0-port0", False),
        ("/dev/serial/by-id/usb-maker-if00-port0", False),
        ("/dev/ttyUSB-co", False),  # of a udev rule of one's own
    ],
)
def test_what_the_kernel_numbers_may_move(port: str, moves: bool) -> None:
    assert may_move(port) is moves


@pytest.mark.parametrize(
    ("part", "is_refused"),
    [
        ('kind = "frame9_co2"\n', True),
        ('kind = "frame9_co"\n' + QUESTION, True),
        ('kind = "frame9_o2"\n' + QUESTION, True),
        ('kind = "frame9_co"\n', False),
        ('kind = "frame9_o2"\n', False),
        ('kind = "o2_optical_line"\n', False),
        ('kind = "pm_frame"\n', False),
    ],
)
def test_a_part_that_names_no_gas_is_bound_to_its_port(
    tmp_path: Path, part: str, is_refused: bool
) -> None:
    """After a hub's brown-out two adapters may have changed names."""
    for port in ("/dev/ttyUSB0", "/dev/ttyACM3"):
        found = mistakes(tmp_path, f'{part}port = "{port}"\n')
        assert bool(found) is is_refused
        for one in found:
            assert port in one.what
            assert "do not say which gas" in one.what
            assert "/dev/serial/by-path" in one.mend
    stays = "/dev/serial/by-path/platform-usb-0:1.1:1.0-port0"
    assert mistakes(tmp_path, f'{part}port = "{stays}"\n') == []


def test_every_part_on_a_line_has_said_whether_it_names_its_gas() -> None:
    """What says nothing of itself is bound: the careful way is the usual one."""
    lines = {kind for kind in REGISTRY if find_part(kind).bus == "serial"}
    bound = {kind for kind in lines if not find_part(kind).says_what({})}
    assert bound == {"frame9_co2", "frame9_gas", "modbus_co2"}


def test_two_of_one_kind_are_bound_to_their_ports(tmp_path: Path) -> None:
    """The one outside and the one at the bunk would change places unseen."""
    first = 'kind = "frame9_co"\nport = "/dev/ttyUSB0"\n'
    second = '[part.out]\nkind = "frame9_co"\nplace = "outside"\nport = "{}"\n'
    (found,) = mistakes(tmp_path, first + second.format("/dev/ttyUSB1"))
    assert found.key == "part.out.port"
    assert "[part.bunk]" in found.what
    assert mistakes(tmp_path, first + second.format("/dev/serial/by-path/1")) == []
    other = second.format("/dev/ttyUSB1").replace("_co", "_o2")
    assert mistakes(tmp_path, first + other) == []


def test_the_refusal_says_the_name_to_write(tmp_path: Path) -> None:
    """By-path where the adapter has no number of its own, else by-id."""
    machine = SerialMachine(tmp_path)
    machine.adapter("ttyUSB0", "usb-plain-if00", "usb-0:1.1")
    machine.adapter("ttyUSB1", "usb-numbered_A1-if00", "usb-0:1.2", number="A1")
    names = SerialNames(tmp_path)
    for tty, link in (
        ("ttyUSB0", "by-path/usb-0:1.1"),
        ("ttyUSB1", "by-id/usb-numbered_A1-if00"),
    ):
        port = str(tmp_path / "dev" / tty)
        whole = str(tmp_path / "dev/serial" / link)
        assert names.staying(port) == whole
        assert names.mend(port) == f'write `port = "{whole}"`, which is its name now'


def test_config_asks_for_a_name_that_stays(tmp_path: Path) -> None:
    """A part that names its gas runs, and its owner is told."""
    settings = loaded(tmp_path, 'kind = "frame9_co"\nport = "/dev/ttyUSB0"\n')
    (line,) = [one for one in cautions(settings, Registries()) if "ttyUSB0" in one]
    assert line.startswith("bunk is at /dev/ttyUSB0, which may be another adapter's")
    assert "by-path" in line
    assert not [one for one in cautions(example(), Registries()) if "adapter" in one]


def test_a_name_that_all_of_one_make_have_is_told_on_the_machine(
    tmp_path: Path,
) -> None:
    """Under by-id without a number: the last of two adapters plugged in has it."""
    machine = SerialMachine(tmp_path)
    machine.adapter("ttyUSB0", "usb-plain-if00", "usb-0:1.1")
    port = str(tmp_path / "dev/serial/by-id/usb-plain-if00")
    for kind, count in (("frame9_co2", 1), ("frame9_co", 0)):
        settings = loaded(tmp_path, f'kind = "{kind}"\nport = "{port}"\n')
        told = device_mistakes(settings, "cabin.toml", known=known(tmp_path))
        found = [one for one in told if "serial number" in one.what]
        assert len(found) == count
        for one in found:
            assert "by-path/usb-0:1.1" in one.mend
    machine.adapter("ttyUSB1", "usb-numbered-if00", "usb-0:1.2", number="A1")
    port = str(tmp_path / "dev/serial/by-id/usb-numbered-if00")
    settings = loaded(tmp_path, f'kind = "frame9_co2"\nport = "{port}"\n')
    told = device_mistakes(settings, "cabin.toml", known=known(tmp_path))
    assert not [one for one in told if "serial number" in one.what]
