"""The guest's parts: the rehearsal's emulated ones, behind real device files.

Those on I2C answer through /dev/i2c-wire (kernel/i2c_wire.c), so that the watch reads a
real /dev/i2c-1; serial ones at the far end of a real port.  Runs in the guest, with the
Python that the watch was installed into.  The air is a JSON object in a file, with
`over_s` as the time that a change takes.
"""

import errno
import json
import os
import select
import struct
import sys
import time
from dataclasses import fields
from pathlib import Path
from threading import Thread

from cabinvigil.daemon.rehearsal.emulated import known
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.o2_line import EmulatedO2Line
from cabinvigil.daemon.rehearsal.emulated.ways import I2cPart, Nack, SerialPart

AIR = Path("/run/air.json")
WIRE = "/dev/i2c-wire"
PORTS = Path("/dev/virtio-ports")
REQUEST = struct.Struct("=HHI")
READ = 1
NAMES = tuple(each.name for each in fields(AirNow) if each.name != "cell_c")


class Air:
    """The air as the file says, changing evenly over its `over_s`."""

    def __init__(self) -> None:
        self._stamp = 0
        self._from = self._to = AirNow()
        self._since_s, self._over_s = 0.0, 0.0

    def __call__(self) -> AirNow:
        now_s = time.perf_counter()
        share = 1.0
        if self._over_s:
            share = min((now_s - self._since_s) / self._over_s, 1.0)
        a, b = self._from, self._to
        now = AirNow(
            **{
                name: getattr(a, name) + (getattr(b, name) - getattr(a, name)) * share
                for name in NAMES
            }
        )
        stamp = AIR.stat().st_mtime_ns if AIR.exists() else 0
        if stamp != self._stamp:
            self._stamp = stamp
            wanted = json.loads(AIR.read_text())
            self._over_s = wanted.pop("over_s", 0.0)
            self._from, self._to, self._since_s = now, AirNow(**wanted), now_s
        return now


def answer(parts: dict[int, I2cPart], request: bytes) -> bytes:
    """Let the part at the address take or give its bytes."""
    address, flags, length = REQUEST.unpack_from(request)
    data = b""
    try:
        if address not in parts:
            raise Nack
        if flags & READ:
            data = parts[address].read(length)[:length].ljust(length, b"\0")
        else:
            parts[address].write(request[REQUEST.size :])
    except Nack:
        return struct.pack("=i", -errno.EREMOTEIO)
    return struct.pack("=i", 0) + data


def play_bus(parts: dict[int, I2cPart]) -> None:
    """Answer on the bus, for ever."""
    wire = os.open(WIRE, os.O_RDWR)
    while True:
        os.write(wire, answer(parts, os.read(wire, 1024)))


def play_line(name: str, part: SerialPart) -> None:
    """Talk at the far end of a serial port, for ever."""
    port = os.open(PORTS / name, os.O_RDWR | os.O_NONBLOCK)
    while True:
        due_s = part.due_s()
        wait_s = 1.0 if due_s is None else max(due_s - time.perf_counter(), 0.0)
        if select.select([port], [], [], wait_s)[0]:
            try:
                said = os.read(port, 256)
            except BlockingIOError:
                said = b""
            if not said:
                time.sleep(0.2)  # nobody has the near end open
            os.write(port, part.receive(said))
        elif due_s is not None:
            try:
                os.write(port, part.send())
            except BlockingIOError:
                continue  # nobody reads: the line is full, and a UART would lose it


def main() -> None:
    """Hang up the parts of the example config, and play them."""
    air, now = Air(), time.perf_counter
    bus: dict[int, I2cPart] = {
        address: known.ON_I2C[kind](air, 1, now)
        for address, kind in (
            (0x40, "ina226"),
            (0x44, "sht4x"),
            (0x62, "scd4x"),
            (0x76, "bme280"),
        )
    }
    oxygen = EmulatedO2Line(air, 1, now)
    oxygen.span()
    monoxide = known.ON_SERIAL["frame9_co"](air, 1, now)
    threads = [
        Thread(target=play_bus, args=(bus,), daemon=True),
        Thread(target=play_line, args=("board", oxygen), daemon=True),
        Thread(target=play_line, args=("usb", monoxide), daemon=True),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


if __name__ == "__main__":
    sys.exit(main())
