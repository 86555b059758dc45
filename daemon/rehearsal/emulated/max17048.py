"""An emulated MAX17048: a lithium cell's voltage and charge on I2C at 0x36.

From the data sheet (unverified), registers as two public drivers have them.
"""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import Nack, Now, See, clip

CELL, CHARGE, MODE, VERSION, HIBERNATION, CONFIG = 0x02, 0x04, 0x06, 0x08, 0x0A, 0x0C
VALERT, RATE, RESET_ID, STATUS, COMMAND = 0x14, 0x16, 0x18, 0x1A, 0xFE
CELL_LSB_V, CHARGE_LSB_PCT = 78.125e-6, 1 / 256
CELL_SPREAD_V, CELL_NOISE_V = 7.5e-3 / 3, 0.3e-3
"""+-7.5 mV (unverified) read as three deviations; the noise is our choice."""
CHARGE_SPREAD_PCT = 1.0
"""What a model that was not made for this cell is off; our choice."""
AFTER_POWER = 0x54
"""Written to the command register, it starts again (unverified)."""
WAS_RESET = 0x0100


def cell_v(charge_pct: float) -> float:
    """Return a lithium cell's voltage at rest: our own line through its flat middle."""
    share = min(max(charge_pct / 100.0, 0.0), 1.0)
    return 3.30 + 0.85 * share + (0.25 * (share - 0.1) * 4.0 if share < 0.1 else 0.0)


class EmulatedMax17048:
    """One gauge on its cell; an empty cell feeds it no more."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Put the gauge at its cell."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self._cell_offset_v = random.gauss(0.0, CELL_SPREAD_V)
        self._charge_offset_pct = random.gauss(0.0, CHARGE_SPREAD_PCT)
        self.power_up()

    def power_up(self) -> None:
        """Take the reset values."""
        self._words = {
            MODE: 0,
            VERSION: 0x0012,
            HIBERNATION: 0x8030,
            CONFIG: 0x971C,
            VALERT: 0x00FF,
            RATE: 0,
            RESET_ID: 0x960C,
            STATUS: WAS_RESET,
        }
        self._pointer = 0

    def write(self, data: bytes) -> None:
        """Set the pointer, and the word where one follows."""
        if not data:
            return
        self._pointer = data[0]
        if len(data) < 3:
            return
        word = int.from_bytes(data[1:3], "big")
        if data[0] == COMMAND and word == AFTER_POWER << 8:
            self.power_up()
            raise Nack  # it starts again before it could acknowledge
        if data[0] in self._words and data[0] not in (VERSION, RATE):
            self._words[data[0]] = word

    def read(self, length: int) -> bytes:
        """Read on from the pointer, word by word."""
        out = b""
        for register in range(self._pointer, self._pointer + length + 1, 2):
            out += self._get(register).to_bytes(2, "big")
        return out[:length]

    def _get(self, register: int) -> int:
        charge_pct = self._air().charge_pct
        if register == CELL:
            noise_v = self._random.gauss(0.0, CELL_NOISE_V)
            volts = cell_v(charge_pct) + self._cell_offset_v + noise_v
            return clip(volts / CELL_LSB_V, 0, 0xFFFF)
        if register == CHARGE:
            # At its ends the gauge has learnt better.
            off_pct = self._charge_offset_pct * min(charge_pct, 100.0 - charge_pct, 10)
            return clip((charge_pct + off_pct / 10.0) / CHARGE_LSB_PCT, 0, 0xFFFF)
        return self._words.get(register, 0)
