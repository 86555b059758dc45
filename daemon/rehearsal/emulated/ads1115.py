"""An emulated ADS1115, a converter for bare cells, on I2C at 0x48 (sensors.md 7)."""

from collections.abc import Callable, Mapping, Sequence
from random import Random

from cabinvigil.daemon.rehearsal.emulated.registers16 import Registers16
from cabinvigil.daemon.rehearsal.emulated.ways import EARLY_S, Now, clip

RESULT, CONFIG, LOW, HIGH = range(4)
START, SINGLE_SHOT = 0x8000, 0x0100
# Full scale in V by the gain bits, samples a second by the rate bits (sensors.md 7).
FULL_SCALE_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256)
RATES = (8, 16, 32, 64, 128, 250, 475, 860)
PAIRS = ((0, 1), (0, 3), (1, 3), (2, 3), (0, None), (1, None), (2, None), (3, None))
RATE_TOLERANCE = 1.1
"""The internal clock is good to 10 % (sensors.md 7)."""
NOISE_LSB = 0.5
"""At 8 samples a second less than one step (unverified)."""

Volts = Callable[[], float]
Pair = tuple[Volts, Volts]
"""What goes to the first input of a pair, and what to its second."""


def _nothing() -> float:
    return 0.0


class EmulatedAds1115(Registers16):
    """One converter; its inputs are functions that give volts."""

    RESET = {RESULT: 0, CONFIG: 0x8583, LOW: 0x8000, HIGH: 0x7FFF}  # noqa: RUF012

    def __init__(self, inputs: Sequence[Volts], seed: int, now: Now) -> None:
        """Connect up to four inputs, from AIN0 on, and give the part power."""
        self._inputs = inputs
        self._random = Random(seed)
        super().__init__(now)

    def power_up(self) -> None:
        """Take the reset values; nothing is converted yet."""
        super().power_up()
        self._done_s: float | None = None

    def _set(self, register: int, word: int) -> None:
        if register == CONFIG:
            self._words[CONFIG] = word & ~START
            if word & START or not word & SINGLE_SHOT:
                rate = RATES[word >> 5 & 7]
                self._done_s = self._now() + RATE_TOLERANCE / rate - EARLY_S
        elif register in (LOW, HIGH):
            self._words[register] = word

    def _get(self, register: int) -> int:
        if self._done_s is not None and self._now() >= self._done_s:
            self._words[RESULT] = self._convert()
            if self._words[CONFIG] & SINGLE_SHOT:
                self._done_s = None
        if register == CONFIG:  # OS reads 1 while nothing is converted
            return self._words[CONFIG] | (START if self._done_s is None else 0)
        return super()._get(register & 3)

    def _convert(self) -> int:
        config = self._words[CONFIG]
        plus, minus = PAIRS[config >> 12 & 7]
        volts = self._volts(plus) - (0.0 if minus is None else self._volts(minus))
        lsb_v = FULL_SCALE_V[config >> 9 & 7] / 32768
        counts = volts / lsb_v + self._random.gauss(0.0, NOISE_LSB)
        return clip(counts, -32768, 32767)

    def _volts(self, pin: int) -> float:
        return self._inputs[pin]() if pin < len(self._inputs) else 0.0


def converter(
    cells: Mapping[str, Volts | Pair], seed: int, now: Now
) -> EmulatedAds1115:
    """Return a converter with each cell at its pins, as the config spells them.

    Args:
        cells: by pins, `0-1` or `2`; the cell's plus goes to the first pin, and its
            minus to the second or to ground: at 0 V, unless it gives a pair.
        seed: of the converter's own noise.
        now: the present in seconds.
    """
    inputs: list[Volts] = [_nothing] * 4
    for pins, cell in cells.items():
        volts = cell if isinstance(cell, tuple) else (cell, _nothing)
        for pin, one in zip(pins.split("-"), volts, strict=False):
            inputs[int(pin)] = one
    return EmulatedAds1115(inputs, seed, now)
