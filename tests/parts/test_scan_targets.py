"""Which wires of a machine a scan looks at."""

from pathlib import Path

from cabinvigil.daemon.parts.scan import Scan, ScanAnswer
from cabinvigil.daemon.parts.scan_targets import DeviceTree, ports, real_ground
from cabinvigil.daemon.parts.scan_text import compared, suggestions
from cabinvigil.daemon.settings.config import example, load
from tests.serial_machine import SerialMachine


def test_a_port_with_two_names_is_looked_at_once(tmp_path: Path) -> None:
    """The config's name goes first, then one that stays the same."""
    machine = SerialMachine(tmp_path)
    machine.adapter("ttyUSB0", "usb-maker-if00", "0:1.1", number="A1")
    machine.adapter("ttyUSB1", "usb-other-if00", "0:1.2")
    machine.adapter("ttyUSB2", "", "")
    (tmp_path / "dev/ttyAMA0").touch()
    (tmp_path / "dev/serial0").symlink_to(tmp_path / "dev/ttyAMA0")
    named = str(tmp_path / "dev/ttyAMA0")
    assert ports(DeviceTree(tmp_path), [named]) == [
        named,
        str(tmp_path / "dev/serial/by-id/usb-maker-if00"),
        str(tmp_path / "dev/serial/by-path/0:1.2"),
        str(tmp_path / "dev/ttyUSB2"),
    ]


def test_the_machines_own_wires(tmp_path: Path) -> None:
    """The header's bus where no config names one; others only when they are named."""
    folder = tmp_path / "sys/bus/w1/devices/28-00000a"
    folder.mkdir(parents=True)
    (folder / "w1_slave").write_bytes(b"")
    (tmp_path / "dev").mkdir()
    (tmp_path / "dev/i2c-1").touch()
    (tmp_path / "dev/i2c-20").touch()
    machine = DeviceTree(tmp_path)
    ground = real_ground(None, ["/dev/i2c-3"], machine)
    assert [(bus.name, bus.device) for bus in ground.buses] == [
        ("main", "/dev/i2c-1"),
        ("i2c-3", "/dev/i2c-3"),
    ]
    assert list(ground.files) == [str(folder / "w1_slave")]
    named = real_ground(example(), [], DeviceTree(tmp_path / "nothing"))
    assert [bus.name for bus in named.buses] == ["main"]
    assert "/dev/serial0" in named.ports


def test_the_converter_of_a_watched_wire_is_its_contacts(tmp_path: Path) -> None:
    """It is in the config, so no cell is offered in its place."""
    file = tmp_path / "van.toml"
    file.write_text(
        '[cabin]\nname = "van"\n[i2c.main]\ndevice = "/dev/i2c-1"\n'
        '[part.smoke-alarm]\nkind = "contact"\nline = "GPIO6"\nmeans = "smoke"\n'
        'bus = "main"\naddress = 0x4b\noptions = { pull = "none", pins = "3" }\n'
        '[buzzer]\nline = "GPIO17"\n',
        encoding="utf-8",
    )
    settings = load(file)
    cells = ("co_cell_ads1115", "o2_cell_ads1115")
    wired = Scan({"main": [ScanAnswer("0x4b", cells)]}, [], [])
    (line,) = compared(wired, settings)
    assert (line.name, line.is_another) == ("smoke-alarm", False)
    assert suggestions([line], settings, {}) == []
    other = Scan({"main": [ScanAnswer("0x4b", ("tmp117",))]}, [], [])
    (line,) = compared(other, settings)
    assert line.is_another, "a thermometer there watches no wire"
