"""An emulated SGP41: raw VOC and NOx signals on I2C at 0x59 (sensors.md 4)."""

import math
from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import (
    EARLY_S,
    Drift,
    Nack,
    Now,
    See,
    clip,
)
from cabinvigil.daemon.rehearsal.emulated.words import checked_words, with_checks

# command -> (what, seconds busy, words of its parameter)
_COMMANDS: dict[int, tuple[str, float, int]] = {
    0x2612: ("condition", 0.05, 2),
    0x2619: ("measure", 0.05, 2),
    0x280E: ("self_test", 0.32, 0),
    0x3615: ("heater_off", 0.001, 0),
    0x3682: ("serial_number", 0.001, 0),
}
BASE_VOC, BASE_NOX = 30000, 15000
"""Ticks in clean air, as in the vectors; parts differ."""
VOC_TICKS, NOX_TICKS = -2000.0, 1500.0
"""For each e-fold of the gas: ticks go with the logarithm of the resistance, and fewer
ticks are more VOC; the sizes are our choice."""
NOISE_TICKS = 12.0
COOL_SHARE = 0.6
"""The signal of a cold plate against a warm one; our choice."""
WARM_TAU_S = 8.0


class EmulatedSgp41:
    """One part with two heated pixels."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self._voc = BASE_VOC + random.gauss(0.0, 1000.0)
        self._nox = BASE_NOX + random.gauss(0.0, 500.0)
        self._drift = Drift(random, 60.0, 3600.0)
        self._serial = [random.randrange(1, 0x10000) for _ in range(3)]
        self.power_up()

    def power_up(self) -> None:
        """Start in idle with a cold plate; idle after 0.6 ms (SGP40)."""
        self._answer: bytes | None = None
        self._busy_until_s = self._now() + 0.0006 - EARLY_S
        self._heated_s: float | None = None

    def write(self, data: bytes) -> None:
        """Take a command with its parameters."""
        now_s = self._now()
        command = int.from_bytes(data[:2], "big")
        if not data and now_s >= self._busy_until_s:
            return  # its address alone is acknowledged
        if now_s < self._busy_until_s or len(data) < 2 or command not in _COMMANDS:
            raise Nack
        what, busy_s, parameters = _COMMANDS[command]
        words = checked_words(data[2:])
        self._answer = None
        if words is None or len(words) != parameters:
            return
        self._busy_until_s = now_s + busy_s - EARLY_S
        getattr(self, f"_{what}")()

    def read(self, length: int) -> bytes:
        """Return the answer, once."""
        if self._now() < self._busy_until_s or self._answer is None:
            raise Nack
        answer, self._answer = self._answer, None
        return answer[:length].ljust(length, b"\xff")

    def _condition(self) -> None:
        self._heat()
        self._answer = with_checks([self._signal(voc=True)])

    def _measure(self) -> None:
        self._heat()
        self._answer = with_checks([self._signal(voc=True), self._signal(voc=False)])

    def _self_test(self) -> None:
        self._answer = with_checks([0xD400])

    def _heater_off(self) -> None:
        self._heated_s = None

    def _serial_number(self) -> None:
        self._answer = with_checks(self._serial)

    def _heat(self) -> None:
        if self._heated_s is None:
            self._heated_s = self._now()

    def _signal(self, *, voc: bool) -> int:
        air, now_s = self._air(), self._now()
        heated_s = now_s if self._heated_s is None else self._heated_s
        cold = (1 - COOL_SHARE) * math.exp(-(now_s - heated_s) / WARM_TAU_S)
        if voc:
            ticks = self._voc + VOC_TICKS * math.log1p(max(air.voc_ppb, 0.0) / 150.0)
        else:
            ticks = self._nox + NOX_TICKS * math.log1p(max(air.nox_ppb, 0.0) / 20.0)
        ticks = ticks * (1 - cold) + self._drift.at(now_s)
        return clip(ticks + self._random.gauss(0.0, NOISE_TICKS), 1, 65534)
