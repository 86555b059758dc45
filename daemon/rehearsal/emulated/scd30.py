"""An emulated SCD30: infrared CO2, temperature and humidity on I2C at 0x61.

From the maker's interface description, as its own driver's comments quote it.
"""

import struct
from collections.abc import Callable
from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import (
    EARLY_S,
    Drift,
    Lag,
    Nack,
    Now,
    See,
)
from cabinvigil.daemon.rehearsal.emulated.words import checked_words, with_checks

START_UP_S = 2.0
READ_WAIT_S = 0.003
"""A read header needs more than this behind its write."""
LAG_S = 20.0
NOISE_PPM = 3.0
"""As of the SCD4x: its repeatability of 10 ppm (unverified) read as three of them."""
OFFSET_SPREAD_PPM, GAIN_SPREAD = 10.0, 0.01
"""The class +-(30 ppm + 3 %), read as three standard deviations."""
DRIFT_PPM, DRIFT_TAU_S = 5.0, 4 * 3600.0
SELF_HEATING_C = 2.0
"""Own choice; no offset is set as delivered."""
EMPTY_VALUES = 1
"""After a start so many measurements are 0 (public reports, unverified)."""


class EmulatedScd30:
    """One part: settings in a memory that outlives a loss of power, pressure in RAM."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self._offset_ppm = random.gauss(0.0, OFFSET_SPREAD_PPM)
        self._gain = random.gauss(1.0, GAIN_SPREAD)
        self._drift = Drift(random, DRIFT_PPM, DRIFT_TAU_S)
        self.kept = {0x4600: 2, 0x5306: 0, 0x5403: 0, 0x5102: 0}
        """Interval in s, self-calibration, offset in 0.01 C, altitude in m."""
        self.measures = False
        self.power_up()

    def power_up(self) -> None:
        """Start again: measuring goes on if it was on, without a pressure."""
        self.pressure_hpa = 0
        self._reference_ppm = 400
        self._lag = Lag(LAG_S)
        self._answer: bytes | None = None
        self._ready_s = self._now() + START_UP_S
        self._answers_s = 0.0
        self._begin(self._ready_s)

    def _begin(self, at_s: float) -> None:
        self._buffer: tuple[float, float, float] | None = None
        self._empty = EMPTY_VALUES
        self._due_s = at_s + self.kept[0x4600] - EARLY_S

    @property
    def self_calibration(self) -> bool:
        """Whether the part would move its own baseline."""
        return self.kept[0x5306] == 1

    def write(self, data: bytes) -> None:
        """Take a command, with its word where it has one."""
        now_s = self._now()
        if now_s < self._ready_s - EARLY_S:
            raise Nack
        if not data:
            return  # its address alone is acknowledged
        code, words = int.from_bytes(data[:2], "big"), checked_words(data[2:])
        if len(data) < 2 or words is None:
            return
        self._answer, self._answers_s = None, now_s + READ_WAIT_S - EARLY_S
        if words:
            self._set(code, words[0])
        else:
            self._ask(code)

    def read(self, length: int) -> bytes:
        """Return the answer to the last command, once."""
        if self._now() < self._answers_s or self._answer is None:
            raise Nack
        answer, self._answer = self._answer, None
        return answer[:length].ljust(length, b"\xff")

    def _set(self, code: int, word: int) -> None:
        if code == 0x0010:
            self.pressure_hpa = word
            if not self.measures:
                self.measures = True
                self._begin(self._now())
        elif code == 0x5204 and self.measures:
            self._offset_ppm += word - self._reading_ppm()
            self._reference_ppm = word
        elif code in self.kept:
            self.kept[code] = word

    def _ask(self, code: int) -> None:
        if code == 0x0104:
            self.measures = False
        elif code == 0xD304:
            self.power_up()
        elif code in self.kept:
            self._answer = with_checks([self.kept[code]])
        elif code in self._ANSWERS:
            self._answer = self._ANSWERS[code](self)

    def _is_ready(self) -> bytes:
        self._measure_if_due()
        return with_checks([int(self._buffer is not None)])

    def _measured(self) -> bytes | None:
        self._measure_if_due()
        if self._buffer is None:
            return None
        packed, self._buffer = struct.pack(">3f", *self._buffer), None
        return with_checks(struct.unpack(">6H", packed))

    def _reference(self) -> bytes:
        return with_checks([self._reference_ppm])

    def _firmware(self) -> bytes:
        return with_checks([0x0342])

    _ANSWERS: dict[int, Callable[["EmulatedScd30"], bytes | None]] = {  # noqa: RUF012
        0x0202: _is_ready,
        0x0300: _measured,
        0x5204: _reference,
        0xD100: _firmware,
    }

    def _measure_if_due(self) -> None:
        now_s, every_s = self._now(), self.kept[0x4600]
        if not self.measures or now_s < self._due_s:
            return
        self._due_s += every_s * (1 + (now_s - self._due_s) // every_s)
        air, offset_c = self._air(), self.kept[0x5403] / 100
        temp_c = air.temp_c + SELF_HEATING_C - offset_c + self._random.gauss(0.0, 0.05)
        # Warmer air of the same vapour is drier: about 6 % of the reading a kelvin.
        rh_pct = min(air.rh_pct, 100.0) * (1 - 0.06 * (temp_c - air.temp_c))
        rh_pct += self._random.gauss(0.0, 0.1)
        ppm = min(max(self._reading_ppm(), 1.0), 40000.0)
        self._buffer = (0.0 if self._empty else ppm, temp_c, rh_pct)
        self._empty = max(self._empty - 1, 0)

    def _reading_ppm(self) -> float:
        air, now_s = self._air(), self._now()
        lagged = self._lag.follow(air.co2_ppm, now_s)
        # Light is taken up by molecules, not by shares.
        thin = air.pressure_hpa / (self.pressure_hpa or self._altitude_hpa())
        noise_ppm = self._random.gauss(0.0, NOISE_PPM + 0.001 * lagged)
        true_ppm = lagged * self._gain * thin
        return true_ppm + self._offset_ppm + self._drift.at(now_s) + noise_ppm

    def _altitude_hpa(self) -> float:
        # ISO 2533, the standard atmosphere below 11 km.
        share = 1.0 - 0.0065 * self.kept[0x5102] / 288.15
        return float(1013.25 * share**5.2559)
