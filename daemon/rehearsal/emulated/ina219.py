"""An emulated INA219: battery voltage and current on I2C at 0x40.

From the data sheet (unverified), registers as two public drivers have them.
"""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.registers16 import Registers16
from cabinvigil.daemon.rehearsal.emulated.ways import Now, See, clip

CONFIG, SHUNT, BUS, POWER, CURRENT, CALIBRATION = range(6)
SHUNT_LSB_V, BUS_LSB_V = 10e-6, 4e-3
SHUNT_OFFSET_V, GAIN_SPREAD = 20e-6, 0.005 / 3
"""Offset 50 uV and gain 0.5 % at most (unverified), read as two and three
deviations."""
SHUNT_NOISE_V, BUS_NOISE_V = 10e-6, 4e-3
"""One step; our choice."""
SHUNT_OHM = 0.1
"""What the usual board carries (common practice, no source)."""
READY, OVERFLOW = 0x02, 0x01


class EmulatedIna219(Registers16):
    """One part across one shunt; it names itself nowhere."""

    RESET = {CONFIG: 0x399F, SHUNT: 0, BUS: 0, POWER: 0, CURRENT: 0, CALIBRATION: 0}  # noqa: RUF012

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
        elif register in (CONFIG, CALIBRATION):
            # The calibration's last bit is always 0.
            self._words[register] = word & (0xFFFE if register == CALIBRATION else word)

    def _get(self, register: int) -> int:
        # Mode bits 000 and 100 are power-down and ADC off: the last results stand.
        if register in (SHUNT, BUS, POWER, CURRENT) and self._words[CONFIG] & 0b11:
            self._measure()
        return super()._get(register)

    def _measure(self) -> None:
        air, words, noise = self._air(), self._words, self._random.gauss
        most = 4000 << (words[CONFIG] >> 11 & 3)  # 40 to 320 mV
        shunt_v = air.supply_a * self._shunt_ohm * self._gain + self._offset_v
        shunt = clip((shunt_v + noise(0, SHUNT_NOISE_V)) / SHUNT_LSB_V, -most, most)
        bus = clip((air.supply_v + noise(0, BUS_NOISE_V)) / BUS_LSB_V, 0, 8191)
        current = shunt * words[CALIBRATION] // 4096
        flags = READY if abs(current) <= 0x7FFF else READY | OVERFLOW
        words[SHUNT], words[BUS] = shunt, bus << 3 | flags
        words[CURRENT] = clip(current, -0x8000, 0x7FFF)
        words[POWER] = clip(abs(current) * bus / 5000, 0, 0xFFFF)
