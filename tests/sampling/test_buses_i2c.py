"""I2C buses: real smbus2 messages, named failures, and what blocks whom."""

import asyncio
import contextlib
import errno
import os
import threading
from collections.abc import Callable
from time import perf_counter
from typing import Any

import pytest
from smbus2 import SMBus

from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.bus_errors import (
    BusError,
    BusStuckError,
    DeviceMissingError,
    NoAnswerError,
    NoPermissionError,
    TransferError,
)
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.threads import worker
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


def test_the_default_opener_is_smbus2() -> None:
    """Without hardware the real smbus2 says which file is missing, and how to mend."""
    bus = I2cBus("main", "/dev/i2c-none", blocking=False)
    with pytest.raises(DeviceMissingError) as caught:
        run_virtual(bus.transfer(0x44, Transfer(b"\xfd")))
    assert isinstance(caught.value, OSError)
    assert caught.value.errno == errno.ENOENT
    assert str(caught.value) == (
        "there is no /dev/i2c-none: `cabinvigil parts --scan` lists the buses that "
        "there are, and hardware.md how to get another"
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
        (errno.EREMOTEIO, NoAnswerError, "no reply at 0x62"),
        (errno.ENXIO, NoAnswerError, "no reply at 0x62"),
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
    assert await bus.closed(10.0)
    assert smbus.closed == 1
    for thread in threading.enumerate():
        if thread.name == "bus-/dev/i2c-1":  # its work is done: it may be just leaving
            await asyncio.to_thread(thread.join, 10.0)
            assert not thread.is_alive()


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


async def test_a_call_that_comes_back_late_closes_its_own_file(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The thread that took its place has opened the bus anew, and keeps that one."""
    monkeypatch.setattr(worker, "REPLACE_S", 0.0)
    release = threading.Event()
    hung, well = ScriptedSMBus(), ScriptedSMBus()
    hung.fail = lambda: release.wait(20.0) and None
    files = iter([hung, well])
    bus = I2cBus("main", "/dev/i2c-7", open_smbus=lambda _: next(files), deadline_s=0.2)
    with pytest.raises(BusStuckError):
        await bus.transfer(0x62, Transfer(b"\x01"))
    await bus.transfer(0x62, Transfer(b"\x01"))
    release.set()
    for _ in range(2000):
        if hung.closed:
            break
        await asyncio.sleep(0.001)
    assert (hung.closed, well.closed) == (1, 0)
    await bus.transfer(0x62, Transfer(b"\x01"))
    bus.close()
    assert await bus.closed(10.0)
    assert (hung.closed, well.closed, len(well.calls)) == (1, 1, 2)


async def test_closing_a_bus_at_work_waits_for_nothing() -> None:
    """A reload in the middle of a transfer: the file is closed behind it."""
    release, smbus = threading.Event(), ScriptedSMBus()
    smbus.fail = lambda: release.wait(20.0) and None
    bus = I2cBus("main", "/dev/i2c-8", open_smbus=lambda _: smbus, deadline_s=10.0)
    async with asyncio.TaskGroup() as group:
        task = group.create_task(bus.transfer(0x62, Transfer(b"\x01")))
        await asyncio.sleep(0.05)
        task.cancel()
    start = perf_counter()
    bus.close()
    assert perf_counter() - start < 0.15
    assert smbus.closed == 0
    release.set()
    for _ in range(2000):
        if smbus.closed:
            break
        await asyncio.sleep(0.001)
    assert smbus.closed == 1
