"""The buses that other people's drivers want, on the emulated bus.

The libraries are general-purpose drivers of the parts, which know nothing of us.
"""

import time
from typing import Any

from sensirion_driver_adapters.i2c_adapter.i2c_channel import I2cChannel
from sensirion_i2c_driver import CrcCalculator, I2cConnection
from smbus2 import i2c_msg

from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus


class ByWords:
    """The calls of smbus that RPi.bme280 uses, on the emulated bus."""

    def __init__(self, bus: EmulatedSMBus) -> None:
        self.bus = bus

    def read_i2c_block_data(self, address: int, register: int, length: int) -> Any:
        read = i2c_msg.read(address, length)
        self.bus.i2c_rdwr(i2c_msg.write(address, [register]), read)
        return list(bytes(read))

    def read_byte_data(self, address: int, register: int) -> int:
        return int(self.read_i2c_block_data(address, register, 1)[0])

    def read_word_data(self, address: int, register: int) -> int:
        low, high = self.read_i2c_block_data(address, register, 2)
        return int(high << 8 | low)

    def write_byte_data(self, address: int, register: int, value: int) -> None:
        self.bus.i2c_rdwr(i2c_msg.write(address, [register, value]))


class ByBuffers:
    """The calls of a CircuitPython bus, on the emulated bus."""

    def __init__(self, bus: EmulatedSMBus) -> None:
        self.bus = bus

    def try_lock(self) -> bool:
        return True

    def unlock(self) -> None:
        pass

    def writeto(
        self, address: int, buffer: Any, *, start: int = 0, end: int | None = None
    ) -> None:
        self.bus.i2c_rdwr(i2c_msg.write(address, bytes(buffer)[start:end]))

    def readfrom_into(
        self, address: int, buffer: Any, *, start: int = 0, end: int | None = None
    ) -> None:
        end = len(buffer) if end is None else end
        read = i2c_msg.read(address, end - start)
        self.bus.i2c_rdwr(read)
        buffer[start:end] = bytes(read)


class ByWritesAndReads(ByBuffers):
    """The same, for libraries that write and read in one call."""

    def writeto_then_readfrom(
        self, address: int, out: Any, into: Any, **ends: int | None
    ) -> None:
        self.writeto(
            address, out, start=ends.get("out_start") or 0, end=ends.get("out_end")
        )
        self.readfrom_into(
            address, into, start=ends.get("in_start") or 0, end=ends.get("in_end")
        )


class Transceiver:
    """The maker's own way to a bus, on the emulated bus."""

    API_VERSION = 1
    channel_count = None

    def __init__(self, bus: EmulatedSMBus) -> None:
        self.bus = bus

    def transceive(
        self,
        slave_address: int,
        tx_data: Any,
        rx_length: Any,
        read_delay: float,
        timeout: float,
    ) -> tuple[int, Any, bytes]:
        if tx_data:
            self.bus.i2c_rdwr(i2c_msg.write(slave_address, tx_data))
        time.sleep(read_delay)
        if not rx_length:
            return 0, None, b""
        read = i2c_msg.read(slave_address, rx_length)
        self.bus.i2c_rdwr(read)
        return 0, None, bytes(read)


def attached(address: int, part: Any) -> EmulatedSMBus:
    bus = EmulatedSMBus()
    bus.attach(address, part)
    return bus


def channel(bus: EmulatedSMBus, address: int) -> I2cChannel:
    return I2cChannel(
        I2cConnection(Transceiver(bus)),
        slave_address=address,
        crc=CrcCalculator(8, 0x31, 0xFF, 0x0),
    )
