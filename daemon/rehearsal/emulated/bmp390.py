"""An emulated BMP390: pressure and temperature on I2C at 0x77.

From the data sheet (unverified) and its register map as public drivers have it.
"""

import struct
from random import Random

from cabinvigil.daemon.rehearsal.emulated.bme280 import inverse
from cabinvigil.daemon.rehearsal.emulated.ways import EARLY_S, Lag, Nack, Now, See

CHIP_ID = 0x60
START_UP_S = 0.002
TEMP_LAG_S = 10.0
"""Of the part on its board; our choice."""
TEMP_SPREAD_C, PRESSURE_SPREAD_HPA = 0.25, 0.17
"""+-0.5 C and +-0.5 hPa (unverified), read as two and three deviations."""
TEMP_NOISE_C, PRESSURE_NOISE_HPA = 0.005, 0.012
"""At four times without the filter (unverified)."""
SELF_HEATING_C = 0.3
"""In forced mode every ten seconds on a small board; our choice."""

_STATUS, _DATA, _CONTROL, _SAMPLING, _COMMAND = 0x03, 0x04, 0x1B, 0x1C, 0x7E
_WRITABLE = range(0x1A, 0x20)
_SKIPPED = bytes.fromhex("00 00 80 00 00 80")
_READY = 0x10


class LaterTrimming:
    """A part's own constants, as they stand at 31..45, and its compensation."""

    def __init__(self, random: Random) -> None:
        """Vary them as parts do."""
        vary = random.randrange
        self.t = (27500 + vary(300), 19000 + vary(200), -7)
        self.p = (500 + vary(40), -800, 35, 0, 25000 + vary(300), 30000)
        self.more = (3, -6, 12000, 8, -60)

    def registers(self) -> bytes:
        """Return the constants as they stand in the part."""
        return struct.pack("<HHbhhbbHHbbhbb", *self.t, *self.p, *self.more)

    def temp_c(self, raw: int) -> float:
        """Return the temperature of a raw value."""
        t1, t2, t3 = self.t
        first = raw - t1 * 256.0
        return first * t2 / 2**30 + first * first * t3 / 2**48

    def pressure_hpa(self, raw: int, temp_c: float) -> float:
        """Return the pressure of a raw value."""
        p1, p2, p3, p4, p5, p6 = self.p
        p7, p8, p9, p10, p11 = self.more
        base = p5 * 8.0 + p6 / 64 * temp_c
        base += p7 / 256 * temp_c**2 + p8 / 32768 * temp_c**3
        line = (p1 - 16384) / 2**20 + (p2 - 16384) / 2**29 * temp_c
        line += p3 / 2**32 * temp_c**2 + p4 / 2**37 * temp_c**3
        curve = (p9 / 2**48 + p10 / 2**48 * temp_c) * raw**2 + p11 / 2**65 * raw**3
        return (base + line * raw + curve) / 100


class EmulatedBmp390:
    """One part, with registers, a sleep mode, and a measurement that takes its time."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self.trimming = LaterTrimming(random)
        self._temp_offset_c = random.gauss(0.0, TEMP_SPREAD_C)
        self._pressure_offset_hpa = random.gauss(0.0, PRESSURE_SPREAD_HPA)
        self.power_up()

    def power_up(self) -> None:
        """Start asleep, with nothing measured and the settings of the sheet."""
        self._memory = memory = bytearray(256)
        memory[0x00], memory[0x01] = CHIP_ID, 0x01
        memory[_STATUS] = _READY
        memory[_DATA : _DATA + 6] = _SKIPPED
        memory[_SAMPLING] = 0x02
        memory[0x31:0x46] = self.trimming.registers()
        self._pointer = 0
        self._measured_s: float | None = None
        self._ready_s = self._now() + START_UP_S - EARLY_S
        self._temp_lag = Lag(TEMP_LAG_S)

    def write(self, data: bytes) -> None:
        """Set the pointer, or write pairs of register and value."""
        if self._now() < self._ready_s:
            raise Nack
        self._finish()
        if len(data) == 1:
            self._pointer = data[0]
        for at in range(0, len(data) - 1, 2):
            self._set(data[at], data[at + 1])

    def read(self, length: int) -> bytes:
        """Read on from the pointer; data that was read is not new any more."""
        if self._now() < self._ready_s:
            raise Nack
        self._finish()
        end = self._pointer + length
        answer = bytes(self._memory[self._pointer : end]).ljust(length, b"\xff")
        if self._pointer <= _DATA + 5 < end:
            self._memory[_STATUS] = _READY
        self._pointer = end & 0xFF
        return answer

    def _set(self, register: int, value: int) -> None:
        if (register, value) == (_COMMAND, 0xB6):
            self.power_up()
        elif register in _WRITABLE:
            self._memory[register] = value
            if register == _CONTROL and value & 0x30:
                self._measured_s = self._now() + self._duration_s()

    def _duration_s(self) -> float:
        sampling = self._memory[_SAMPLING]
        times = (1 << (sampling & 7)) + (1 << (sampling >> 3 & 7))
        return (0.234 + 0.392 + 0.163 + 2.02 * times) / 1000 - EARLY_S

    def _finish(self) -> None:
        """Put a measurement that has ended into the data registers."""
        if self._measured_s is None or self._now() < self._measured_s:
            return
        control = self._memory[_CONTROL]
        self._memory[_DATA : _DATA + 6] = self._measure(control)
        self._memory[_STATUS] = _READY | (control & 3) << 5
        if control & 0x30 == 0x30:  # normal mode goes on by itself
            self._measured_s = self._now() + self._duration_s()
        else:
            self._measured_s = None
            self._memory[_CONTROL] = control & 0x03

    def _measure(self, control: int) -> bytes:
        air, noise, trimming = self._air(), self._random.gauss, self.trimming
        temp_c = self._temp_lag.follow(air.temp_c, self._now()) + SELF_HEATING_C
        temp_c += self._temp_offset_c + noise(0, TEMP_NOISE_C)
        raw_t = inverse(trimming.temp_c, temp_c, 24)
        felt_c = trimming.temp_c(raw_t)
        hpa = air.pressure_hpa + self._pressure_offset_hpa
        raw_p = inverse(
            lambda raw: trimming.pressure_hpa(raw, felt_c),
            hpa + noise(0, PRESSURE_NOISE_HPA),
            24,
        )
        pressure = raw_p.to_bytes(3, "little") if control & 1 else _SKIPPED[:3]
        return pressure + (raw_t.to_bytes(3, "little") if control & 2 else _SKIPPED[3:])
