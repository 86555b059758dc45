"""An emulated SHT3x: temperature and humidity on I2C at 0x44.

From the data sheet (unverified), commands as two public drivers have them.
"""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import EARLY_S, Lag, Nack, Now, See, clip
from cabinvigil.daemon.rehearsal.emulated.words import with_checks

RH_LAG_S, TEMP_LAG_S = 8.0, 2.0
"""t63 (unverified)."""
RH_SPREAD_PCT, TEMP_SPREAD_C = 2.0 / 3, 0.2 / 3
"""Typical grade +-2 %RH, +-0.2 C (unverified), read as three deviations."""
RH_NOISE_PCT, TEMP_NOISE_C = 0.08, 0.04
"""High repeatability (unverified)."""
HEATED_C = 4.0
"""What the heater adds; our choice within the sheet's few degrees."""
AFTER_POWER, HEATS = 0x8010, 0x2000
"""Status: an alert waits and a reset was seen (unverified); the heater is on."""

# command -> seconds busy (unverified)
_MEASURE = {0x2400: 0.0155, 0x240B: 0.0065, 0x2416: 0.0045}
_SHORT = {0x3093: 0.001, 0x30A2: 0.0015, 0x3041: 0.0, 0x306D: 0.0, 0x3066: 0.0}
_STATUS = 0xF32D


class EmulatedSht3x:
    """One part: no clock stretching, so it refuses its address while it measures."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self._rh_offset_pct = random.gauss(0.0, RH_SPREAD_PCT)
        self._temp_offset_c = random.gauss(0.0, TEMP_SPREAD_C)
        self.power_up()

    def power_up(self) -> None:
        """Start in idle, with the reset told in the status."""
        self._status = AFTER_POWER
        self._answer: bytes | None = None
        self._busy_until_s = self._now() + 0.001 - EARLY_S
        self._rh_lag, self._temp_lag = Lag(RH_LAG_S), Lag(TEMP_LAG_S)

    def write(self, data: bytes) -> None:
        """Take a command of two bytes."""
        now_s = self._now()
        if now_s < self._busy_until_s:
            raise Nack
        if not data:
            return  # its address alone is acknowledged
        command = int.from_bytes(data, "big")
        busy_s = 0.0
        self._answer = None
        if command in _MEASURE:
            busy_s, self._answer = _MEASURE[command], self._measure()
        elif command == _STATUS:
            self._answer = with_checks([self._status])
        elif command in _SHORT:
            busy_s = _SHORT[command]
            self._obey(command)
        else:
            raise Nack
        self._busy_until_s = now_s + busy_s - EARLY_S

    def read(self, length: int) -> bytes:
        """Return the answer, once."""
        if self._now() < self._busy_until_s or self._answer is None:
            raise Nack
        answer, self._answer = self._answer, None
        return answer[:length].ljust(length, b"\xff")

    def _obey(self, command: int) -> None:
        match command:
            case 0x30A2:
                self._status = AFTER_POWER
            case 0x3041:
                self._status &= HEATS
            case 0x306D:
                self._status |= HEATS
            case 0x3066:
                self._status &= ~HEATS

    def _measure(self) -> bytes:
        air, now_s, noise = self._air(), self._now(), self._random.gauss
        warm_c = HEATED_C if self._status & HEATS else 0.0
        temp_c = self._temp_lag.follow(air.temp_c, now_s) + warm_c
        rh_pct = self._rh_lag.follow(min(air.rh_pct, 100.0), now_s)
        # The same vapour in warmer air, 6 % of the reading a kelvin.
        rh_pct = rh_pct * 0.94**warm_c + self._rh_offset_pct + noise(0.0, RH_NOISE_PCT)
        temp_c += self._temp_offset_c + noise(0.0, TEMP_NOISE_C)
        words = (
            clip((temp_c + 45.0) * 65535 / 175, 0, 65535),
            clip(rh_pct * 65535 / 100, 0, 65535),
        )
        return with_checks(words)
