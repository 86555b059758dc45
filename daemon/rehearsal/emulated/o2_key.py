"""An emulated O2 module with a key register, on I2C at 0x73 (sensors.md 10).

Its map is known only from public drivers; no data sheet was found.
"""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import (
    EARLY_S,
    Drift,
    Lag,
    Now,
    See,
    clip,
)

DATA, SET_BY_HAND, SET_IN_AIR, KEY = 0x03, 0x08, 0x09, 0x0A
KEY_WAIT_S = 0.05
"""Between the pointer's write and a read of the key; earlier it reads zero."""
NO_KEY_FACTOR = 20.9 / 120.0
"""What a key of 0 stands for."""
T90_S = 15.0
"""As other galvanic cells."""
NOISE_PCT, GAIN_SPREAD = 0.02, 0.005
"""Own choice."""


class EmulatedO2Key:
    """One module: a galvanic cell and a microcontroller."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        key: int = 208,
        is_share: bool = False,
    ) -> None:
        """Hang the module in the air and give it power."""
        self._air, self._now, self._is_share = air, now, is_share
        self._random = random = Random(seed)
        self._gain = random.gauss(1.0, GAIN_SPREAD)
        self._drift = Drift(random, 0.03, 8 * 3600.0)
        self._key = key
        # What the cell shows for 1 % follows from the cell, not from the key.
        self._factor = key / 1000 if key else NO_KEY_FACTOR
        self.power_up()

    def power_up(self) -> None:
        """Start; the key is kept for good."""
        self._pointer = 0
        self._pointed_s = self._now()
        self._lag = Lag(T90_S / 2.303)

    def write(self, data: bytes) -> None:
        """Set the pointer, or one of the two settings that last."""
        if not data:
            return
        self._pointer, self._pointed_s = data[0], self._now()
        if len(data) < 2:
            return
        if self._pointer == SET_BY_HAND:
            self._key = data[1]
        elif self._pointer == SET_IN_AIR:
            raw = self._pct() / self._factor
            self._key = clip(data[1] / 10 / raw * 1000, 0, 255)

    def read(self, length: int) -> bytes:
        """Read on from the pointer."""
        waited = self._now() - self._pointed_s >= KEY_WAIT_S - EARLY_S
        memory = bytearray(16 + length)
        memory[DATA : DATA + 3] = self._digits()
        memory[KEY] = self._key if waited else 0
        return bytes(memory[self._pointer : self._pointer + length]).ljust(
            length, b"\0"
        )

    def _pct(self) -> float:
        """Return what the cell feels: partial pressure, set at 1013 hPa."""
        air, now_s = self._air(), self._now()
        share = 1.0 if self._is_share else air.pressure_hpa / 1013.25
        felt = self._lag.follow(air.o2_pct * share, now_s)
        noise = self._random.gauss(0.0, NOISE_PCT) + self._drift.at(now_s)
        return felt * self._gain + noise

    def _digits(self) -> bytes:
        hundredths = clip(self._pct() / self._factor * 100, 0, 25599)
        return bytes([hundredths // 100, hundredths // 10 % 10, hundredths % 10])
