"""Serial ports: real pyserial on pseudo-terminals, and named failures."""

import asyncio
import errno
import os
import termios
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from time import perf_counter

import pytest
import serial

from cabinvigil.daemon.sampling import bus_errors
from cabinvigil.daemon.sampling.bus_errors import (
    BusError,
    DeviceMissingError,
    NoPermissionError,
    PortBusyError,
)
from cabinvigil.daemon.sampling.serial_port import SerialPort


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
    await port.open()
    os.write(master, b"O 0212.3 T ")
    await until(lambda: heard)
    os.write(master, b"+22.5\r\n")
    await until(lambda: b"".join(heard).endswith(b"\r\n"))
    port.write(b"M 0\r\n")
    assert os.read(master, 20) == b"M 0\r\n"
    await port.close()
    assert not port.is_open
    await port.close()  # twice does no harm
    port.write(b"lost")
    with serial.Serial(path, exclusive=True):  # free for others
        pass
    assert gone == []


async def test_the_port_is_ours_alone(line: Pty) -> None:
    """A second program that opens it is refused, and the sentence says what to do."""
    path = line.path
    first, _, _ = port_on(path)
    second, _, _ = port_on(path)
    await first.open()
    with pytest.raises(PortBusyError, match="login console") as caught:
        await second.open()
    assert caught.value.kind == "port-busy"
    await first.close()
    await second.open()
    await second.close()


async def test_a_missing_port_names_itself_and_the_remedy(tmp_path: Path) -> None:
    """No such port: the path, and by which name to give it."""
    port, _, _ = port_on(str(tmp_path / "ttyUSB9"))
    with pytest.raises(DeviceMissingError, match="by-path") as caught:
        await port.open()
    assert caught.value.errno == errno.ENOENT
    assert str(tmp_path / "ttyUSB9") in str(caught.value)


async def test_something_that_is_no_port_is_refused(tmp_path: Path) -> None:
    """A plain file in the port's place gives a named error, not a traceback."""
    (tmp_path / "file").touch()
    port, _, _ = port_on(str(tmp_path / "file"))
    with pytest.raises(BusError, match="does not open"):
        await port.open()


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
    await port.open()
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
    await port.open()

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
    await port.open()
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
    await port.open()
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
    await port.close()
    assert sum(map(len, heard)) > 5_000  # five seconds of 9600 baud in a fifth of one
    assert late_s < 0.2


async def test_ports_leave_no_descriptor_behind(line: Pty) -> None:
    """Opening, failing and closing many times leaks nothing."""
    path = line.path
    port, _, _ = port_on(path)
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(20):
        await port.open()
        await port.close()
    assert len(os.listdir("/proc/self/fd")) == before
