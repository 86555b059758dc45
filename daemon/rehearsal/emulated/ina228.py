"""An emulated INA228: battery voltage and current on I2C at 0x40.

From the data sheet (unverified), registers as two public drivers have them.
"""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import Now, See, clip

CONFIG, ADC_CONFIG, CALIBRATION, TEMPCO, SHUNT, BUS, HEAT = range(7)
FLAGS, MAKER, DIE = 0x0B, 0x3E, 0x3F
SHUNT_LSB_V, BUS_LSB_V, HEAT_LSB_C = 312.5e-9, 195.3125e-6, 7.8125e-3
SHUNT_OFFSET_V, GAIN_SPREAD = 0.5e-6, 0.0005 / 3
"""Offset 1 uV and gain 0.05 % at most (unverified), read as two and three
deviations."""
SHUNT_NOISE_V, BUS_NOISE_V = 1e-6, 0.4e-3
"""Some steps; our choice."""
SHUNT_OHM = 0.015
"""What the usual board carries."""
LONG = (SHUNT, BUS)
"""Registers of three bytes: twenty bits, and four that are 0."""
WHOLE, READY = 0x0001, 0x0002
_WRITABLE = (CONFIG, ADC_CONFIG, CALIBRATION, TEMPCO)


class EmulatedIna228:
    """One part across one shunt."""

    def __init__(
        self, air: See, seed: int, now: Now, *, shunt_ohm: float = SHUNT_OHM
    ) -> None:
        """Put the part at the battery and give it power."""
        self._air, self._now, self._shunt_ohm = air, now, shunt_ohm
        self._random = random = Random(seed)
        self._offset_v = random.gauss(0.0, SHUNT_OFFSET_V)
        self._gain = random.gauss(1.0, GAIN_SPREAD)
        self.is_damaged = False
        """Its own memory does not fit its checksum."""
        self.power_up()

    def power_up(self) -> None:
        """Take the reset values."""
        self._words = {CONFIG: 0, ADC_CONFIG: 0xFB68, CALIBRATION: 0x1000, TEMPCO: 0}
        self._words |= {MAKER: 0x5449, DIE: 0x2281}
        self._pointer = 0
        self._ready_s = self._now() + self._cycle_s()

    def write(self, data: bytes) -> None:
        """Set the pointer, and the word where one follows."""
        if not data:
            return
        self._pointer = data[0]
        if len(data) >= 3 and data[0] in _WRITABLE:
            word = int.from_bytes(data[1:3], "big")
            if data[0] == CONFIG and word & 0x8000:
                self.power_up()
                return
            self._words[data[0]] = word
            self._ready_s = self._now() + self._cycle_s()

    def read(self, length: int) -> bytes:
        """Return what is at the pointer; nobody drives the line after it."""
        if self._pointer in LONG:
            return self._measure(self._pointer)[:length].ljust(length, b"\xff")
        word = self._words.get(self._pointer, 0)
        if self._pointer == FLAGS:
            word = self._flags()
        elif self._pointer == HEAT:
            word = clip(self._air().temp_c / HEAT_LSB_C, -32768, 32767) & 0xFFFF
        return word.to_bytes(2, "big")[:length].ljust(length, b"\xff")

    def _cycle_s(self) -> float:
        times = (50, 84, 150, 280, 540, 1052, 2074, 4120)
        counts = (1, 4, 16, 64, 128, 256, 512, 1024)
        word = self._words[ADC_CONFIG]
        each_us = sum(times[word >> at & 7] for at in (3, 6, 9))
        return counts[word & 7] * each_us / 1e6

    def _flags(self) -> int:
        """Return the flags; a conversion that was told is not told again."""
        flags = 0 if self.is_damaged else WHOLE
        if self._now() >= self._ready_s:
            flags |= READY
            self._ready_s = self._now() + self._cycle_s()
        return flags

    def _measure(self, register: int) -> bytes:
        air, noise = self._air(), self._random.gauss
        if register == BUS:
            counts = (air.supply_v + noise(0, BUS_NOISE_V)) / BUS_LSB_V
            return (clip(counts, 0, (1 << 19) - 1) << 4).to_bytes(3, "big")
        # The narrow range has a quarter of the step.
        lsb_v = SHUNT_LSB_V / (4.0 if self._words[CONFIG] & 0x10 else 1.0)
        shunt_v = air.supply_a * self._shunt_ohm * self._gain + self._offset_v
        counts = (shunt_v + noise(0, SHUNT_NOISE_V)) / lsb_v
        raw = clip(counts, -(1 << 19), (1 << 19) - 1)
        return (raw << 4 & 0xFFFFFF).to_bytes(3, "big")
