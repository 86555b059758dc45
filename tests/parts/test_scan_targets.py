"""Which wires of a machine a scan looks at."""

from pathlib import Path

from cabinvigil.daemon.parts.scan_targets import DeviceTree, ports, real_ground
from cabinvigil.daemon.settings.config import example
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
