"""An emulated TMP117, glued to the glass, on I2C at 0x49 (sensors.md 9)."""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.registers16 import Registers16
from cabinvigil.daemon.rehearsal.emulated.ways import EARLY_S, Lag, Now, See, clip

RESULT, CONFIG, ID = 0x00, 0x01, 0x0F
NOT_YET = 0x8000
LSB_C = 0.0078125
CYCLE_S = 1.0
"""With 8 averages, the default (unverified)."""
FIRST_S = 0.125
"""8 x 15.5 ms (unverified)."""
LAG_S = 20.0
"""Of a small board glued to a pane; our choice."""
SPREAD_C, NOISE_C = 0.1 / 3, 0.0078
"""+-0.1 C (data sheet cover) read as three deviations; one step of noise (from
memory)."""
SOFT_RESET = 0x0002
DATA_READY = 0x2000


class EmulatedTmp117(Registers16):
    """One part; it reads the glass."""

    RESET = {RESULT: NOT_YET, CONFIG: 0x0220, 0x02: 0x6000, 0x03: 0x8000, ID: 0x0117}  # noqa: RUF012

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Glue the part to the pane and give it power."""
        self._air = air
        self._random = random = Random(seed)
        self._offset_c = random.gauss(0.0, SPREAD_C)
        super().__init__(now)

    def power_up(self) -> None:
        """Take the reset values; the first result comes after one conversion."""
        super().power_up()
        self._lag = Lag(LAG_S)
        self._due_s = self._on_s + FIRST_S - EARLY_S

    def _set(self, register: int, word: int) -> None:
        if register == CONFIG and word & SOFT_RESET:
            self.power_up()
        elif register in (CONFIG, 0x02, 0x03):
            self._words[register] = word

    def _get(self, register: int) -> int:
        now_s = self._now()
        if now_s >= self._due_s:
            self._due_s += CYCLE_S * (1 + (now_s - self._due_s) // CYCLE_S)
            temp_c = self._lag.follow(self._air().glass_c, now_s) + self._offset_c
            temp_c += self._random.gauss(0.0, NOISE_C)
            self._words[RESULT] = clip(temp_c / LSB_C, -32767, 32767)
            self._words[CONFIG] |= DATA_READY
        word = super()._get(register)
        if register in (RESULT, CONFIG):
            self._words[CONFIG] &= ~DATA_READY
        return word
