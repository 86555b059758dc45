"""A scan of buses behind multiplexers: each answer where it is, no channel switched."""

import asyncio
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from cabinvigil.daemon.commands.on_wires import FRESH
from cabinvigil.daemon.parts.scan import Scan, ScanAnswer, ScanTargets, scan
from cabinvigil.daemon.parts.scan_channels import Channels, shared_out, with_channels
from cabinvigil.daemon.parts.scan_targets import DeviceTree, real_ground
from cabinvigil.daemon.parts.scan_text import as_plain, compared, told
from cabinvigil.daemon.rehearsal.emulated import known
from cabinvigil.daemon.rehearsal.faulty import Stranger
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.settings.bus_names import I2cNames
from cabinvigil.daemon.settings.config import Settings, load
from tests.bus_machine import BusMachine


class Channel(EmulatedSMBus):
    """What a channel's bus shows: its own parts, and all that is before it."""

    def __init__(self, before: EmulatedSMBus, mux: int) -> None:
        super().__init__()
        self.before, self.mux = before, mux
        self.switched: list[int] = []
        """Calls that a multiplexer would have taken for its own."""

    def i2c_rdwr(self, *i2c_msgs: Any) -> None:
        if i2c_msgs[0].addr == self.mux:
            self.switched.append(self.mux)
        try:
            super().i2c_rdwr(*i2c_msgs)
        except OSError:
            self.before.i2c_rdwr(*i2c_msgs)


def machine(root: Path, base: int = 30) -> BusMachine:
    made = BusMachine(root)
    made.bus(1)
    made.bus(20, "fef04500.i2c")
    made.mux(1, 0x70, range(30, 34), base=base)
    return made


def looked(root: Path, settings: Settings | None = None) -> tuple[Scan, list[int]]:
    """Scan a machine: a BME280 on the header, an SHT4x on each of two channels."""

    async def look() -> tuple[Scan, list[int]]:
        now = asyncio.get_running_loop().time
        header = EmulatedSMBus()
        header.attach(0x76, known.ON_I2C["bme280"](lambda: FRESH, 1, now))
        header.attach(0x70, Stranger(0x70))
        channels = [Channel(header, 0x70) for _ in range(4)]
        for n in (0, 2):
            channels[n].attach(0x44, known.ON_I2C["sht4x"](lambda: FRESH, n, now))
        ground = real_ground(settings, [], DeviceTree(root))
        smbuses: Mapping[int | None, EmulatedSMBus] = {
            1: header,
            **{30 + n: one for n, one in enumerate(channels)},
        }
        buses = [
            I2cBus(
                bus.name,
                bus.device,
                open_smbus=lambda path: smbuses[int(Path(path).resolve().name[4:])],
                blocking=False,
            )
            for bus in ground.buses
        ]
        found = await scan(ScanTargets(buses, {}, {}, ground.channels))
        return found, [one for channel in channels for one in channel.switched]

    return run_virtual(look())


def test_each_part_is_found_where_it_is(tmp_path: Path) -> None:
    """Two of one address behind two channels, and the header's own said once."""
    machine(tmp_path)
    found, switched = looked(tmp_path)
    assert found.buses["main"] == [
        ScanAnswer(
            "0x70", (), "the multiplexer of /dev/i2c-30 to /dev/i2c-33", is_mux=True
        ),
        ScanAnswer("0x76", ("bme280",)),
    ]
    for name in ("mux-70-0", "mux-70-2"):
        assert found.buses[name] == [ScanAnswer("0x44", ("sht4x",))]
    assert found.buses["mux-70-1"] == []
    assert switched == []
    text = "\n".join(told(found, None))
    assert "0x70  the multiplexer of /dev/i2c-30 to /dev/i2c-33" in text
    assert "On the I2C bus mux-70-0, /dev/i2c-30\n" in text
    assert "Nothing responds on mux-70-1, mux-70-3" in text
    assert "not looked at: --bus does that\n  /dev/i2c-20 (fef04500.i2c)" in text
    assert '[i2c.mux-70-2]\n  device = "/dev/i2c-32"' in text
    assert as_plain(found, None)["others"] == ["/dev/i2c-20 (fef04500.i2c)"]


def test_the_configs_names_stand_for_its_buses(tmp_path: Path) -> None:
    """A channel by its link, another by its number; what clashes is told as another."""
    made = machine(tmp_path / "root")
    link = made.link("i2c-pane", 30)
    path = tmp_path / "cabin.toml"
    path.write_text(
        '[cabin]\nname = "lapwing"\n'
        '[i2c.main]\ndevice = "/dev/i2c-1"\n'
        f'[i2c.pane]\ndevice = "{link}"\n'
        '[part.bunk-air]\nkind = "sht4x"\nbus = "pane"\n'
        '[part.baro]\nkind = "bme280"\nbus = "main"\n'
        '[part.bunk-o2]\nkind = "o2_key_register"\nbus = "main"\naddress = 0x70\n',
        encoding="utf-8",
    )
    settings = load(path)
    found, _ = looked(tmp_path / "root", settings)
    assert found.devices["pane"] == link
    named = {line.name: line.is_another for line in compared(found, settings)}
    assert named["bunk-air"] is False
    assert named["bunk-o2"] is True
    text = "\n".join(told(found, settings))
    assert "but the config has bunk-o2 there, a o2_key_register" in text


def test_a_number_that_moves_is_written_into_the_suggestion(tmp_path: Path) -> None:
    """So that whoever copies the lines reads it."""
    machine(tmp_path, base=0)
    found, _ = looked(tmp_path)
    text = "\n".join(told(found, None))
    assert "# may be another bus after a restart: add `base=30`" in text


def test_one_bus_by_two_names_is_looked_at_once(tmp_path: Path) -> None:
    """Of the config and of the call."""
    made = machine(tmp_path)
    link = made.link("i2c-loft", 31)
    ground = real_ground(None, [link, "/dev/i2c-31"], DeviceTree(tmp_path))
    devices = [bus.device for bus in ground.buses]
    assert devices[:2] == ["/dev/i2c-1", link]
    assert "/dev/i2c-31" not in devices
    assert len({id(bus.one_at_a_time) for bus in ground.buses}) == 1


def test_what_is_left_connected_belongs_to_its_channel() -> None:
    """A multiplexer without `disconnect_on_idle` shows its last channel before it."""
    before = {"a": "main", "b": "main", "c": "main"}
    seen = {
        "main": frozenset({"0x44", "0x76"}),
        "a": frozenset({"0x44", "0x76"}),
        "b": frozenset({"0x76"}),
        "c": frozenset({"0x44", "0x76"}),
    }
    assert shared_out(seen, before) == {
        "main": {"0x76"},
        "a": {"0x44"},
        "b": frozenset(),
        "c": {"0x44"},
    }


def test_multiplexers_behind_one_another() -> None:
    """What is on the wire shows everywhere, and is said once."""
    before = {"a": "main", "b": "main", "a0": "a", "a1": "a"}
    seen = {
        "main": frozenset({"0x76"}),
        "a": frozenset({"0x76", "0x44"}),
        "b": frozenset({"0x76"}),
        "a0": frozenset({"0x76", "0x44", "0x62"}),
        "a1": frozenset({"0x76", "0x44"}),
    }
    own = shared_out(seen, before)
    assert own["main"] == {"0x76"}
    assert own["a"] == {"0x44"}
    assert own["a0"] == {"0x62"}
    assert own["b"] == own["a1"] == frozenset()
    nested = Channels({"a": "main", "a0": "a"}, {"main": {0x70: ""}, "a": {0x71: ""}})
    assert nested.heard_at("a0") == {0x70, 0x71}
    assert nested.heard_at("main") == {0x70}


def test_channels_of_two_multiplexers_have_names_of_their_own(tmp_path: Path) -> None:
    """Also where two wires have one each at the same address."""
    made = BusMachine(tmp_path)
    made.bus(1)
    made.bus(3)
    made.mux(1, 0x70, range(30, 32))
    made.mux(3, 0x70, range(40, 42))
    buses = {"/dev/i2c-1": "main", "/dev/i2c-3": "second"}
    found, channels = with_channels(buses, {}, I2cNames(tmp_path))
    assert len(set(found.values())) == len(found) == 6
    assert set(channels.before.values()) == {"main", "second"}


def test_a_stranger_at_a_multiplexers_address_is_told_the_overlay() -> None:
    """One that the kernel does not switch is no part, and can be made one's bus."""

    async def look() -> ScanAnswer:
        bus = EmulatedSMBus()
        bus.attach(0x74, Stranger(0x74))
        one = I2cBus("main", "/dev/i2c-1", open_smbus=lambda _: bus, blocking=False)
        found = (await scan(ScanTargets([one]))).buses["main"]
        assert not isinstance(found, str)
        return found[0]

    answer = run_virtual(look())
    assert (answer.where, answer.kinds) == ("0x74", ())
    assert "dtoverlay=i2c-mux" in answer.text
