"""Wires of the machine: real smbus2 messages, real pyserial on ptys, named failures."""

import asyncio
import contextlib
import errno
import os
import stat
import termios
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from time import perf_counter
from typing import Any

import pytest
import serial
from smbus2 import SMBus

from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling import bus_errors
from cabinvigil.daemon.sampling.bus_errors import (
    BlockedError,
    BusError,
    BusStuckError,
    DeviceMissingError,
    NoAnswerError,
    NoPermissionError,
    PortBusyError,
    TransferError,
)
from cabinvigil.daemon.sampling.buses import I2cBus, KernelFile, SerialPort
from cabinvigil.drivers.kit.steps import Transfer


class ScriptedSMBus:
    """Records what messages came, answers reads with 0x11, or fails as told."""

    def __init__(self) -> None:
        self.calls: list[list[tuple[int, bool, bytes | int]]] = []
        self.fail: Callable[[], None] = lambda: None
        self.closed = 0
        self.threads: set[int] = set()

    def i2c_rdwr(self, *i2c_msgs: Any) -> None:
        self.threads.add(threading.get_ident())
        self.fail()
        call: list[tuple[int, bool, bytes | int]] = []
        for message in i2c_msgs:
            is_read = bool(message.flags & 1)
            call.append(
                (message.addr, is_read, message.len if is_read else bytes(message))
            )
            for at in range(message.len if is_read else 0):
                message.buf[at] = 0x11
        self.calls.append(call)

    def close(self) -> None:
        self.closed += 1


def inline(smbus: ScriptedSMBus) -> I2cBus:
    return I2cBus("main", "/dev/i2c-1", open_smbus=lambda _: smbus, blocking=False)


# --- I2C ---------------------------------------------------------------------------


def test_the_default_opener_is_smbus2() -> None:
    """Without hardware the real smbus2 says which file is missing, and how to mend."""
    bus = I2cBus("main", "/dev/i2c-none", blocking=False)
    with pytest.raises(DeviceMissingError) as caught:
        run_virtual(bus.transfer(0x44, Transfer(b"\xfd")))
    assert isinstance(caught.value, OSError)
    assert caught.value.errno == errno.ENOENT
    assert str(caught.value) == (
        "there is no /dev/i2c-none: switch I2C on with raspi-config, and check the "
        "device in the config"
    )
    assert caught.value.kind == "port-missing"
    assert SMBus is not None


def test_register_parts_get_one_combined_message() -> None:
    """A write and a read without delay go in one call, with repeated start."""
    smbus = ScriptedSMBus()
    got = run_virtual(inline(smbus).transfer(0x76, Transfer(b"\xf7", 8)))
    assert got == b"\x11" * 8
    assert smbus.calls == [[(0x76, False, b"\xf7"), (0x76, True, 8)]]


def test_command_parts_get_a_stop_and_their_time() -> None:
    """With a delay it is a write, the wait, and a read of its own."""

    async def play(smbus: ScriptedSMBus) -> float:
        bus = inline(smbus)
        await bus.transfer(0x62, Transfer(b"\xec\x05", 9, 0.5))
        return asyncio.get_running_loop().time()

    smbus = ScriptedSMBus()
    assert run_virtual(play(smbus)) == 0.5
    assert smbus.calls == [[(0x62, False, b"\xec\x05")], [(0x62, True, 9)]]


def test_writes_and_reads_alone() -> None:
    """A transfer may only write, only read, or only wait."""
    smbus = ScriptedSMBus()
    bus = inline(smbus)
    assert run_virtual(bus.transfer(0x44, Transfer(b"\x94"))) == b""
    assert run_virtual(bus.transfer(0x44, Transfer(b"", 6))) == b"\x11" * 6
    assert run_virtual(bus.transfer(0x44, Transfer(b"", 0, 0.1))) == b""
    assert smbus.calls == [[(0x44, False, b"\x94")], [(0x44, True, 6)]]


def test_the_bus_is_free_while_a_part_takes_its_time() -> None:
    """Another address is served during a delay; the same address waits its turn."""

    async def play() -> list[tuple[float, str]]:
        bus = inline(ScriptedSMBus())
        loop = asyncio.get_running_loop()
        done: list[tuple[float, str]] = []

        async def poll(name: str, address: int, delay_s: float) -> None:
            async with bus.exclusive(address):
                await bus.transfer(address, Transfer(b"\x01", 2, delay_s))
                done.append((loop.time(), name))

        async with asyncio.TaskGroup() as group:
            group.create_task(poll("slow", 0x62, 0.5))
            group.create_task(poll("other", 0x44, 0.01))
            group.create_task(poll("same", 0x62, 0.01))
        return done

    assert run_virtual(play()) == [(0.01, "other"), (0.5, "slow"), (0.51, "same")]


@pytest.mark.parametrize(
    ("number", "kind", "word"),
    [
        (errno.EREMOTEIO, NoAnswerError, "no answer at 0x62"),
        (errno.ENXIO, NoAnswerError, "no answer at 0x62"),
        (errno.ETIMEDOUT, BusStuckError, "is stuck"),
        (errno.EIO, TransferError, "broke off"),
        (errno.EAGAIN, TransferError, "taken from under"),
        (errno.ENODEV, DeviceMissingError, "has vanished"),
        (errno.EOPNOTSUPP, TransferError, "Operation not supported"),
    ],
)
def test_each_errno_of_a_transfer_has_its_name(
    number: int, kind: type[BusError], word: str
) -> None:
    """The numbers of sensor notes 14 become named errors that keep the number."""
    smbus = ScriptedSMBus()

    def fail() -> None:
        raise OSError(number, os.strerror(number))

    smbus.fail = fail
    with pytest.raises(kind, match=word) as caught:
        run_virtual(inline(smbus).transfer(0x62, Transfer(b"\x01")))
    assert caught.value.errno == number
    assert "/dev/i2c-1" in str(caught.value)


@pytest.mark.parametrize(
    ("number", "kind", "word"),
    [
        (errno.ENOENT, DeviceMissingError, "raspi-config"),
        (errno.EACCES, NoPermissionError, "group i2c"),
        (errno.EPERM, NoPermissionError, "DeviceAllow"),
        (errno.ENODEV, DeviceMissingError, "plug the adapter in again"),
        (errno.EISDIR, DeviceMissingError, "does not open as an I2C bus"),
    ],
)
def test_each_errno_of_an_opening_has_its_remedy(
    number: int, kind: type[BusError], word: str
) -> None:
    """Missing, forbidden by group and forbidden by the unit are told apart.

    Platform notes: a unit without the group gives 13, a closed device list 1.
    """

    def refuse(path: str) -> ScriptedSMBus:
        raise OSError(number, os.strerror(number), path)

    bus = I2cBus("main", "/dev/i2c-1", open_smbus=refuse, blocking=False)
    with pytest.raises(kind, match=word) as caught:
        run_virtual(bus.transfer(0x62, Transfer(b"\x01")))
    assert caught.value.whole_bus


def test_an_adapter_that_comes_back_is_opened_again() -> None:
    """After 'no such device' the file is closed, and opened anew at the next call."""
    opened: list[ScriptedSMBus] = []

    def open_one(_: str) -> ScriptedSMBus:
        opened.append(ScriptedSMBus())
        return opened[-1]

    def vanish() -> None:
        raise OSError(errno.ENODEV, "No such device")

    bus = I2cBus("main", "/dev/i2c-1", open_smbus=open_one, blocking=False)
    run_virtual(bus.transfer(0x62, Transfer(b"\x01")))
    opened[0].fail = vanish
    with pytest.raises(DeviceMissingError):
        run_virtual(bus.transfer(0x62, Transfer(b"\x01")))
    run_virtual(bus.transfer(0x62, Transfer(b"\x01")))
    bus.close()
    assert [smbus.closed for smbus in opened] == [1, 1]


def test_all_failing_alike_is_seen() -> None:
    """Two addresses that fail as on a held line make the bus suspect, one does not."""
    smbus = ScriptedSMBus()
    bus = inline(smbus)

    def fail() -> None:
        raise OSError(errno.EIO, "Input/output error")

    def try_(address: int) -> None:
        with contextlib.suppress(BusError):
            run_virtual(bus.transfer(address, Transfer(b"\x01")))

    smbus.fail = fail
    try_(0x44)
    assert not bus.all_fail_alike
    try_(0x62)
    assert bus.all_fail_alike
    smbus.fail = lambda: None
    try_(0x44)
    assert not bus.all_fail_alike


async def test_real_calls_run_off_the_loop() -> None:
    """On hardware each call runs on the bus's own thread, one at a time."""
    smbus = ScriptedSMBus()
    bus = I2cBus("main", "/dev/i2c-1", open_smbus=lambda _: smbus)
    await asyncio.gather(
        *(bus.transfer(address, Transfer(b"\x01", 2)) for address in range(0x40, 0x50))
    )
    assert len(smbus.calls) == 16
    assert len(smbus.threads) == 1
    assert threading.get_ident() not in smbus.threads
    bus.close()
    assert smbus.closed == 1
    assert not [t for t in threading.enumerate() if t.name == "bus-main"]


async def test_a_bus_that_hangs_does_not_delay_another() -> None:
    """While one bus hangs for ever, a second one's transfers take their usual time."""
    release = threading.Event()
    hung, well = ScriptedSMBus(), ScriptedSMBus()
    hung.fail = lambda: release.wait(20.0) and None
    first = I2cBus("hung", "/dev/i2c-1", open_smbus=lambda _: hung, deadline_s=1.0)
    second = I2cBus("well", "/dev/i2c-3", open_smbus=lambda _: well)
    longest_s = 0.0

    async def hang() -> None:
        with pytest.raises(BusStuckError, match="is stuck"):
            await first.transfer(0x62, Transfer(b"\x01"))

    async with asyncio.TaskGroup() as group:
        group.create_task(hang())
        for _ in range(40):
            start = perf_counter()
            await second.transfer(0x44, Transfer(b"\x01", 6))
            longest_s = max(longest_s, perf_counter() - start)
            await asyncio.sleep(0.005)
    assert len(well.calls) == 40
    assert longest_s < 0.8  # less than the other's deadline; usual is under 1 ms
    start = perf_counter()
    with pytest.raises(BusStuckError):  # told at once while the thread is away
        await first.transfer(0x44, Transfer(b"\x01"))
    assert perf_counter() - start < 0.9
    release.set()
    first.close()
    second.close()


# --- serial ------------------------------------------------------------------------


class Pty:
    """A real pseudo-terminal: the part's end, and the name of ours."""

    def __init__(self) -> None:
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)
        self._is_up = True

    def hang_up(self) -> None:
        if self._is_up:
            self._is_up = False
            os.close(self.master)
            os.close(self._slave)


@pytest.fixture
def line() -> Iterator[Pty]:
    """A line that is hung up after the test."""
    line = Pty()
    yield line
    line.hang_up()


def port_on(path: str) -> tuple[SerialPort, list[bytes], list[BusError]]:
    heard: list[bytes] = []
    gone: list[BusError] = []
    return SerialPort(path, 9600, heard.append, gone.append), heard, gone


async def until(condition: Callable[[], object]) -> None:
    for _ in range(2000):
        if condition():
            return
        await asyncio.sleep(0.001)
    raise AssertionError("it never came true")


async def test_bytes_come_and_go_on_a_real_port(line: Pty) -> None:
    """What the part sends is heard, what we send arrives, closing frees the port."""
    master, path = line.master, line.path
    port, heard, gone = port_on(path)
    port.open()
    os.write(master, b"O 0212.3 T ")
    await until(lambda: heard)
    os.write(master, b"+22.5\r\n")
    await until(lambda: b"".join(heard).endswith(b"\r\n"))
    port.write(b"M 0\r\n")
    assert os.read(master, 20) == b"M 0\r\n"
    port.close()
    assert not port.is_open
    port.close()  # twice does no harm
    port.write(b"lost")
    with serial.Serial(path, exclusive=True):  # free for others
        pass
    assert gone == []


async def test_the_port_is_ours_alone(line: Pty) -> None:
    """A second program that opens it is refused, and the sentence says what to do."""
    path = line.path
    first, _, _ = port_on(path)
    second, _, _ = port_on(path)
    first.open()
    with pytest.raises(PortBusyError, match="login console") as caught:
        second.open()
    assert caught.value.kind == "port-busy"
    first.close()
    second.open()
    second.close()


def test_a_missing_port_names_itself_and_the_remedy(tmp_path: Path) -> None:
    """No such port: the path, and by which name to give it."""
    port, _, _ = port_on(str(tmp_path / "ttyUSB9"))
    with pytest.raises(DeviceMissingError, match="by-id") as caught:
        port.open()
    assert caught.value.errno == errno.ENOENT
    assert str(tmp_path / "ttyUSB9") in str(caught.value)


def test_something_that_is_no_port_is_refused(tmp_path: Path) -> None:
    """A plain file in the port's place gives a named error, not a traceback."""
    (tmp_path / "file").touch()
    port, _, _ = port_on(str(tmp_path / "file"))
    with pytest.raises(BusError, match="does not open"):
        port.open()


def test_a_forbidden_port_says_which_group() -> None:
    """Errno 13 names the group dialout, 1 the unit's device list."""
    for number, word in ((errno.EACCES, "dialout"), (errno.EPERM, "DeviceAllow")):
        error = bus_errors.serial_open_error(
            "/dev/ttyUSB0", serial.SerialException(number, "x")
        )
        assert isinstance(error, NoPermissionError)
        assert word in str(error)


async def test_a_port_that_vanishes_is_told_once(line: Pty) -> None:
    """When the other end goes, the port closes itself and says so once."""
    path = line.path
    port, _, gone = port_on(path)
    port.open()
    line.hang_up()
    await until(lambda: gone)
    assert not port.is_open
    assert [error.kind for error in gone] == ["port-missing"]
    assert path in str(gone[0])
    await asyncio.sleep(0.01)
    assert len(gone) == 1


async def test_termios_errors_are_no_surprise(
    line: Pty, monkeypatch: pytest.MonkeyPatch
) -> None:
    """termios.error is not an OSError; reading or flushing may raise it all the same.

    Sensor notes 14, row 18: run on a pty.
    """
    assert not issubclass(termios.error, OSError)
    master, path = line.master, line.path
    port, _, gone = port_on(path)
    port.open()

    def fail(*_: object) -> None:
        raise termios.error(5, "Input/output error")

    monkeypatch.setattr(serial.Serial, "read", fail)
    monkeypatch.setattr(serial.Serial, "reset_output_buffer", fail)
    os.write(master, b"x")
    await until(lambda: gone)
    assert not port.is_open


async def test_a_line_that_takes_no_bytes_does_not_stop_the_loop(
    line: Pty,
) -> None:
    """A full output buffer ends in a port that is gone, not in a loop that waits.

    pyserial's own write, with a zero time-out, spins for ever here.
    """
    path = line.path
    port, _, gone = port_on(path)
    port.open()
    start = perf_counter()
    for _ in range(200):
        port.write(b"x" * 1000)
    assert perf_counter() - start < 2.0
    assert len(gone) == 1


async def test_a_babbling_line_leaves_the_loop_to_others(
    line: Pty,
) -> None:
    """While one line sends all it can, another task keeps its time."""
    master, path = line.master, line.path
    port, heard, _ = port_on(path)
    port.open()
    stop = threading.Event()

    def babble() -> None:
        os.set_blocking(master, False)
        while not stop.is_set():
            try:
                os.write(master, b"\x00" * 500)
            except BlockingIOError:
                stop.wait(0.0005)

    thread = threading.Thread(target=babble)
    thread.start()
    late_s = 0.0
    for _ in range(40):
        start = perf_counter()
        await asyncio.sleep(0.005)
        late_s = max(late_s, perf_counter() - start - 0.005)
    stop.set()
    thread.join()
    port.close()
    assert sum(map(len, heard)) > 5_000  # five seconds of 9600 baud in a fifth of one
    assert late_s < 0.2


async def test_ports_leave_no_descriptor_behind(line: Pty) -> None:
    """Opening, failing and closing many times leaks nothing."""
    path = line.path
    port, _, _ = port_on(path)
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(20):
        port.open()
        port.close()
    assert len(os.listdir("/proc/self/fd")) == before


# --- files of the kernel -----------------------------------------------------------


async def test_a_kernel_file_is_read_off_the_loop(tmp_path: Path) -> None:
    """Its bytes come whole; a missing one names itself."""
    path = tmp_path / "w1_slave"
    path.write_bytes(b"t=25062\n")
    file = KernelFile(str(path))
    assert await file.read() == b"t=25062\n"
    path.unlink()
    with pytest.raises(DeviceMissingError, match="the part has left the wire"):
        await file.read()
    file.close()


async def test_a_kernel_file_that_hangs_meets_its_deadline(tmp_path: Path) -> None:
    """A read that does not come back fails at its deadline and later at once."""
    path = tmp_path / "w1_slave"
    os.mkfifo(path)  # opening it waits for a writer that never comes
    assert stat.S_ISFIFO(path.stat().st_mode)
    file = KernelFile(str(path), deadline_s=0.05)
    with pytest.raises(BlockedError, match="does not come back"):
        await file.read()
    start = perf_counter()
    with pytest.raises(BlockedError):
        await file.read()
    assert perf_counter() - start < 4.0
    with path.open("wb"):  # let the thread go
        pass
    file.close()


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path) -> None:
    """A directory in its place is refused with the kernel's own word."""
    file = KernelFile(str(tmp_path), blocking=False)
    with pytest.raises(BusError, match="Is a directory"):
        run_virtual(file.read())
    file.close()
