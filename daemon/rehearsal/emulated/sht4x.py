"""An emulated SHT4x: temperature and humidity on I2C at 0x44 (sensors.md 2)."""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import EARLY_S, Lag, Nack, Now, See, clip
from cabinvigil.daemon.rehearsal.emulated.words import with_checks

RH_LAG_S = 6.0
"""t63 (sensors.md 2)."""
TEMP_LAG_S = 2.0
"""t63 (unverified)."""
RH_SPREAD_PCT, TEMP_SPREAD_C = 1.8 / 3, 0.2 / 3
"""Typical grade +-1.8 %RH, +-0.2 C (unverified), read as three deviations."""

# command -> (seconds busy, noise of RH in %, of T in C); times sensors.md 2 and, for
# medium and low, unverified; repeatabilities unverified.
_MEASURE = {
    0xFD: (0.0083, 0.08, 0.04),
    0xF6: (0.0045, 0.15, 0.07),
    0xE0: (0.0016, 0.25, 0.10),
}
# command -> (seconds busy, degrees above the air at its end); the measurement at the
# heater's end is taken hot (unverified); the temperatures are our choice.
_HEAT = {
    0x39: (1.1, 60.0),
    0x32: (0.11, 25.0),
    0x2F: (1.1, 35.0),
    0x24: (0.11, 15.0),
    0x1E: (1.1, 8.0),
    0x15: (0.11, 3.0),
}
_COOL_S = 15.0
"""The die cools to 37 % of its excess within this; our choice."""
_FILM_GROWS_PCT = 99.5
_FILM_S = 600.0
"""A film of water holds 100 %RH after the air has dried (sensors.md 2): for as long
as the air was wet, at most this; our choice."""


class EmulatedSht4x:
    """One part: no clock stretching, so it refuses its address while it measures."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self._rh_offset_pct = random.gauss(0.0, RH_SPREAD_PCT)
        self._temp_offset_c = random.gauss(0.0, TEMP_SPREAD_C)
        self._serial = [random.randrange(1, 0x10000) for _ in range(2)]
        self._wet_s = 0.0
        self._film_at_s = now()
        self.power_up()

    def power_up(self) -> None:
        """Start in idle; there is nothing else to forget."""
        self._answer: bytes | None = None
        self._busy_until_s = self._now() + 0.001 - EARLY_S
        self._excess_c = 0.0
        self._heated_s = self._now()
        self._rh_lag, self._temp_lag = Lag(RH_LAG_S), Lag(TEMP_LAG_S)

    def write(self, data: bytes) -> None:
        """Take a command of one byte."""
        now_s = self._now()
        if now_s < self._busy_until_s or len(data) > 1:
            raise Nack
        if not data:
            return  # its address alone is acknowledged
        command = data[0]
        self._answer = None
        if command in _MEASURE:
            busy_s, rh_noise_pct, temp_noise_c = _MEASURE[command]
            self._answer = self._measure(rh_noise_pct, temp_noise_c)
        elif command in _HEAT:
            busy_s, self._excess_c = _HEAT[command]
            self._heated_s, self._wet_s = now_s, 0.0
            self._answer = self._measure(0.08, 0.04)
        elif command == 0x89:
            busy_s, self._answer = 0.001, with_checks(self._serial)
        elif command == 0x94:
            self.power_up()
            return
        else:
            raise Nack
        self._busy_until_s = now_s + busy_s - EARLY_S

    def read(self, length: int) -> bytes:
        """Return the measurement, once."""
        if self._now() < self._busy_until_s or self._answer is None:
            raise Nack
        answer, self._answer = self._answer, None
        return answer[:length].ljust(length, b"\xff")

    def _measure(self, rh_noise_pct: float, temp_noise_c: float) -> bytes:
        air, now_s = self._air(), self._now()
        cool = 2.718281828 ** (-(now_s - self._heated_s) / _COOL_S)
        warm_c = self._excess_c * cool
        temp_c = self._temp_lag.follow(air.temp_c, now_s) + warm_c
        rh_pct = self._rh_lag.follow(air.rh_pct, now_s)
        if self._is_wet(air.rh_pct, now_s):
            rh_pct = max(rh_pct, 101.0)
        # As in the SCD4x: the same vapour in warmer air, 6 % of the reading a kelvin.
        rh_pct *= 0.94**warm_c
        temp_c += self._temp_offset_c + self._random.gauss(0.0, temp_noise_c)
        rh_pct += self._rh_offset_pct + self._random.gauss(0.0, rh_noise_pct)
        words = (
            clip((temp_c + 45.0) * 65535 / 175, 0, 65535),
            clip((rh_pct + 6.0) * 65535 / 125, 0, 65535),
        )
        return with_checks(words)

    def _is_wet(self, rh_pct: float, now_s: float) -> bool:
        """Let the film of water grow in saturated air, and dry in drier air."""
        passed_s, self._film_at_s = now_s - self._film_at_s, now_s
        if rh_pct >= _FILM_GROWS_PCT:
            self._wet_s = min(self._wet_s + passed_s, _FILM_S)
        else:
            self._wet_s = max(self._wet_s - passed_s, 0.0)
        return self._wet_s > 0.0
