"""An emulated INA226: battery voltage and current on I2C at 0x40 (sensors.md 8)."""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.registers16 import Registers16
from cabinvigil.daemon.rehearsal.emulated.ways import Now, See, clip

CONFIG, SHUNT, BUS, POWER, CURRENT, CALIBRATION, MASK = range(7)
MAKER, DIE = 0xFE, 0xFF
SHUNT_LSB_V, BUS_LSB_V = 2.5e-6, 1.25e-3
SHUNT_OFFSET_V, GAIN_SPREAD = 5e-6, 0.001 / 3
"""Offset 10 uV and gain 0.1 % at most (unverified), read as two and three
deviations."""
SHUNT_NOISE_V, BUS_NOISE_V = 2.5e-6, 1.25e-3
"""One step; our choice."""
SHUNT_OHM = 0.002
"""The shunt of the data sheet's example (June 2011, p.16)."""


class EmulatedIna226(Registers16):
    """One part across one shunt."""

    RESET = {  # noqa: RUF012
        CONFIG: 0x4127,
        SHUNT: 0,
        BUS: 0,
        POWER: 0,
        CURRENT: 0,
        CALIBRATION: 0,
        MASK: 0,
        MAKER: 0x5449,
        DIE: 0x2260,
    }

    def __init__(
        self, air: See, seed: int, now: Now, *, shunt_ohm: float = SHUNT_OHM
    ) -> None:
        """Put the part at the battery and give it power."""
        self._air, self._shunt_ohm = air, shunt_ohm
        self._random = random = Random(seed)
        self._offset_v = random.gauss(0.0, SHUNT_OFFSET_V)
        self._gain = random.gauss(1.0, GAIN_SPREAD)
        super().__init__(now)

    def _set(self, register: int, word: int) -> None:
        if register == CONFIG and word & 0x8000:
            self.power_up()
        elif register in (CONFIG, CALIBRATION, MASK):
            self._words[register] = word

    def _get(self, register: int) -> int:
        # Mode bits 000 and 100 are power-down: the last results stand still.
        if register in (SHUNT, BUS, POWER, CURRENT) and self._words[CONFIG] & 0b11:
            self._measure()
        return super()._get(register)

    def _measure(self) -> None:
        air, words, noise = self._air(), self._words, self._random.gauss
        shunt_v = air.supply_a * self._shunt_ohm * self._gain + self._offset_v
        shunt = clip((shunt_v + noise(0, SHUNT_NOISE_V)) / SHUNT_LSB_V, -32768, 32767)
        bus = clip((air.supply_v + noise(0, BUS_NOISE_V)) / BUS_LSB_V, 0, 32767)
        current = clip(shunt * words[CALIBRATION] / 2048, -32768, 32767)
        words[SHUNT], words[BUS], words[CURRENT] = shunt, bus, current
        words[POWER] = clip(abs(current) * bus / 20000, 0, 0xFFFF)
