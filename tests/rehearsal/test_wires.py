"""Emulated wires carry real messages: smbus2's own objects, and pyserial on ptys."""

import asyncio
import errno
import inspect
import itertools
import os
from contextlib import suppress
from pathlib import Path

import pytest
import serial
import smbus2

from cabinvigil.daemon.rehearsal import wires
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import (
    EmulatedFile,
    EmulatedSerial,
    EmulatedSMBus,
)
from cabinvigil.daemon.sampling.buses import I2cBus, SMBusLike
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.drivers.kit.steps import Transfer


class Memory:
    """A register part that counts on from its pointer."""

    def __init__(self) -> None:
        self.pointer = 0
        self.log: list[bytes] = []

    def write(self, data: bytes) -> None:
        if data == b"\xee":
            raise Nack
        self.log.append(data)
        self.pointer = data[0]

    def read(self, length: int) -> bytes:
        return bytes((self.pointer + n) & 0xFF for n in range(length))

    def power_up(self) -> None:
        self.pointer = 0


def test_every_call_that_we_use_is_smbus2s_own() -> None:
    """Names and signatures of what we use are those of `smbus2.SMBus`."""
    ours = [name for name in vars(SMBusLike) if not name.startswith("_")]
    assert sorted(ours) == ["close", "i2c_rdwr"]
    for name in ours:
        real = inspect.signature(getattr(smbus2.SMBus, name)).parameters
        emulated = inspect.signature(getattr(EmulatedSMBus, name)).parameters
        assert [(p.name, p.kind) for p in real.values()] == [
            (p.name, p.kind) for p in emulated.values()
        ]


def test_a_combined_message_writes_then_reads() -> None:
    """A write and a read in one call set the pointer and fill the read's buffer."""
    bus, part = EmulatedSMBus(), Memory()
    bus.attach(0x76, part)
    read = smbus2.i2c_msg.read(0x76, 4)
    bus.i2c_rdwr(smbus2.i2c_msg.write(0x76, [0xF7]), read)
    assert bytes(read) == b"\xf7\xf8\xf9\xfa"
    assert part.log == [b"\xf7"]


def test_nobody_at_an_address_is_errno_121() -> None:
    """A missing part, and a part that refuses, give what the Pi's controller gives."""
    bus = EmulatedSMBus()
    bus.attach(0x76, Memory())
    for message in (smbus2.i2c_msg.read(0x44, 1), smbus2.i2c_msg.write(0x76, b"\xee")):
        with pytest.raises(OSError) as caught:  # noqa: PT011  # the number is checked
            bus.i2c_rdwr(message)
        assert caught.value.errno == errno.EREMOTEIO


def test_a_read_must_come_last() -> None:
    """Two reads in one call are refused with errno 95, as by the Pi's driver.

    Source: i2c-bcm2835, quoted in the project's sensor notes, section 0 item 6.
    """
    bus = EmulatedSMBus()
    bus.attach(0x76, Memory())
    with pytest.raises(OSError) as caught:  # noqa: PT011  # the number is checked
        bus.i2c_rdwr(smbus2.i2c_msg.read(0x76, 1), smbus2.i2c_msg.read(0x76, 1))
    assert caught.value.errno == errno.EOPNOTSUPP


def test_our_bus_speaks_to_the_emulated_one() -> None:
    """`I2cBus` reads through the emulated bus what the part answers."""
    smbus = EmulatedSMBus()
    smbus.attach(0x76, Memory())
    bus = I2cBus("main", "/dev/i2c-1", open_smbus=lambda _: smbus, blocking=False)
    got = run_virtual(bus.transfer(0x76, Transfer(b"\x10", 3)))
    assert got == b"\x10\x11\x12"


class Echo:
    """A serial part that says its count each second, and echoes in capitals."""

    def __init__(self) -> None:
        self.now_s = 1.0
        self.count = 0

    def due_s(self) -> float | None:
        return self.now_s

    def send(self) -> bytes:
        self.now_s += 1.0
        self.count += 1
        return f"{self.count}\n".encode()

    def receive(self, data: bytes) -> bytes:
        return data.upper()

    def power_up(self) -> None:
        self.count = 0
        self.now_s = asyncio.get_running_loop().time() + 1.0


def test_real_pyserial_opens_the_line_and_hears_it(tmp_path: Path) -> None:
    """pyserial itself opens the pty; each frame comes at its own virtual second."""

    async def listen() -> list[tuple[float, bytes]]:
        loop = asyncio.get_running_loop()
        heard: list[tuple[float, bytes]] = []
        line = EmulatedSerial(tmp_path / "o2", Echo())
        port = SerialPort(
            line.path,
            9600,
            lambda data: heard.append((loop.time(), data)),
            lambda error: pytest.fail(str(error)),
            after_write=line.after_write,
            blocking=False,
        )
        await port.open()
        await asyncio.sleep(2.5)
        port.write(b"abc")
        await asyncio.sleep(1.0)
        await port.close()
        line.close()
        return heard

    assert run_virtual(listen()) == [
        (1.0, b"1\n"),
        (2.0, b"2\n"),
        (2.5, b"ABC"),
        (3.0, b"3\n"),
    ]


def test_many_runs_of_a_line_go_alike(tmp_path: Path) -> None:
    """Three thousand frames come each at its own second, though a pty takes time."""

    async def listen() -> list[float]:
        loop = asyncio.get_running_loop()
        heard: list[float] = []
        line = EmulatedSerial(tmp_path / "o2", Echo())
        port = SerialPort(
            line.path,
            9600,
            lambda _: heard.append(loop.time()),
            lambda _: None,
            blocking=False,
        )
        await port.open()
        await asyncio.sleep(3000.5)
        await port.close()
        line.close()
        return heard

    assert run_virtual(listen()) == [float(n) for n in range(1, 3001)]


def test_a_kernel_that_takes_its_time_silences_no_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a busy machine the bytes come through late; the part waits for them."""
    looks = itertools.count()
    real = wires._unread
    late = wires._LOOKS + 20
    monkeypatch.setattr(
        wires, "_unread", lambda fd: 0 if 0 < next(looks) < late else real(fd)
    )

    async def send() -> int:
        line = EmulatedSerial(tmp_path / "o2", Echo())
        line.put(b"1\n")
        found = real(line._slave)
        line.close()
        return found

    assert run_virtual(send()) == 2
    assert next(looks) > late


def test_an_unread_line_loses_bytes_and_never_blocks(tmp_path: Path) -> None:
    """A port that nobody opens does not stop the part: old bytes are lost."""

    async def ignore() -> bytes:
        line = EmulatedSerial(tmp_path / "o2", Echo())
        await asyncio.sleep(4000.5)
        with serial.Serial(line.path, 9600, timeout=0) as port:
            await asyncio.sleep(1.0)
            got = bytes(port.read(4096))
        line.close()
        return got

    got = run_virtual(ignore())
    assert got.endswith(b"4001\n")
    assert len(got) < 4096


def test_unplugging_takes_the_port_away_under_its_name(tmp_path: Path) -> None:
    """Unplugged, the port fails and its name is gone; plugged in, both are back."""

    async def unplug() -> tuple[list[str], int, list[bytes]]:
        gone: list[str] = []
        heard: list[bytes] = []
        line = EmulatedSerial(tmp_path / "co", Echo())
        port = SerialPort(
            line.path,
            9600,
            heard.append,
            lambda error: gone.append(str(error)),
            blocking=False,
        )
        await port.open()
        await asyncio.sleep(1.5)
        line.unplug()
        await asyncio.sleep(0.5)
        assert not port.is_open
        try:
            await port.open()
        except OSError as error:
            number = error.errno or 0
        line.plug()
        await port.open()
        await asyncio.sleep(1.5)
        await port.close()
        line.close()
        return gone, number, heard

    gone, number, heard = run_virtual(unplug())
    assert len(gone) == 1
    assert "has vanished" in gone[0]
    assert number == errno.ENOENT
    assert heard == [b"1\n", b"1\n"]  # it counts from 1 again: it was without power


def terminals() -> int:
    """How many are open: sockets that threads of other tests hold do not count."""
    links = []
    for fd in os.listdir("/proc/self/fd"):
        with suppress(FileNotFoundError):  # the one that lists them
            links.append(os.readlink(f"/proc/self/fd/{fd}"))
    return sum(link.startswith(("/dev/ptmx", "/dev/pts/")) for link in links)


def test_a_closed_line_leaves_nothing_open(tmp_path: Path) -> None:
    """Plugging and unplugging leaks no file descriptor."""

    async def plug() -> tuple[int, int]:
        before = terminals()
        line = EmulatedSerial(tmp_path / "co", Echo())
        for _ in range(20):
            line.unplug()
            line.plug()
        line.close()
        return before, terminals()

    before, after = run_virtual(plug())
    assert before == after


class Text:
    def __init__(self) -> None:
        self.is_gone = False

    def text(self) -> bytes:
        if self.is_gone:
            raise FileNotFoundError
        return b"t=2000\n"

    def power_up(self) -> None:
        self.is_gone = False


def test_an_emulated_file_is_read_as_a_kernels(tmp_path: Path) -> None:
    """Its text comes as bytes; a part that left gives errno 2 with the path."""
    part = Text()
    file = EmulatedFile(str(tmp_path / "none" / "w1_slave"), part)
    assert run_virtual(file.read()) == b"t=2000\n"
    part.is_gone = True
    with pytest.raises(OSError, match="w1_slave: the sensor has left") as caught:
        run_virtual(file.read())
    assert caught.value.errno == errno.ENOENT
