"""An emulated STCC4: CO2 by thermal conductivity on I2C at 0x64 (its data sheet)."""

from random import Random

from cabinvigil.daemon.air.moisture import vapour_hpa
from cabinvigil.daemon.rehearsal.emulated.ways import (
    EARLY_S,
    Drift,
    Lag,
    Nack,
    Now,
    See,
    clip,
)
from cabinvigil.daemon.rehearsal.emulated.words import checked_words, with_checks

POWER_UP_S = 0.010
EVERY_S = 1.0
LAG_S = 20.0
"""Table 1."""
NOISE_PPM = 5.0
OFFSET_SPREAD_PPM, GAIN_SPREAD = 100.0 / 6, 0.1 / 6
"""The class +-(100 ppm + 10 %) (table 1), read as six deviations: of a part set not
long ago; our choice."""
DRIFT_PPM, DRIFT_TAU_S = 10.0, 4 * 3600.0
PPM_PER_VAPOUR_HPA = 100.0
"""What a hPa of vapour too many or too few is taken for; our choice of size."""
BYPASS_S, BYPASS_PPM = 20.0, 390
"""Of its very first operation (1.1.4)."""
RUN_BEFORE_S = 30.0
FAILED = 0xFFFF
TESTING, NO_SHT4X = 0x4000, 0x0010
PRODUCT = (0x0901, 0x018A)
DEFAULT_AIR = (0x6666, 0x72B0)
"""25 °C and 50 % (3.4.4)."""

# command -> (what, seconds busy, words of its parameter, allowed while measuring)
_COMMANDS: dict[int, tuple[str, float, int, bool]] = {
    0x218B: ("start", 0.0, 0, False),
    0x3F86: ("stop", 1.2, 0, True),
    0xEC05: ("measured", 0.001, 0, True),
    0xE000: ("set_air", 0.001, 2, True),
    0xE016: ("set_pressure", 0.001, 1, True),
    0x3FBC: ("begin_testing", 0.0, 0, True),
    0x3F3D: ("end_testing", 0.0, 0, True),
    0x362F: ("recalibrate", 0.09, 1, False),
    0x365B: ("product", 0.001, 0, False),
    0x278C: ("self_test", 0.36, 0, False),
}


class EmulatedStcc4:
    """One part, with or without an SHT4x wired to it."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        is_new: bool = False,
        sht4x: bool = False,
    ) -> None:
        """Hang the part in the air and give it power.

        Args:
            air: what it hangs in.
            seed: of its own errors.
            now: the present in seconds.
            is_new: it has never measured.
            sht4x: an SHT4x is wired to it.
        """
        self._air, self._now, self._has_sht4x = air, now, sht4x
        self._random = random = Random(seed)
        self._offset_ppm = random.gauss(0.0, OFFSET_SPREAD_PPM)
        self._gain = random.gauss(1.0, GAIN_SPREAD)
        self._drift = Drift(random, DRIFT_PPM, DRIFT_TAU_S)
        self._serial = [random.randrange(1, 0x10000) for _ in range(4)]
        self._is_new = is_new
        self.power_up()

    def power_up(self) -> None:
        """Start in idle, with self-calibration and the default air."""
        self.is_testing = False
        self.pressure_word, self.air_words = 50650, DEFAULT_AIR
        self._measures = False
        self._lag = Lag(LAG_S)
        self._answer: bytes | None = None
        self._busy_until_s = self._now() + POWER_UP_S - EARLY_S
        self._started_s = self._due_s = self._ran_s = 0.0
        self._buffer: list[int] | None = None

    def write(self, data: bytes) -> None:
        """Take a command with its parameters."""
        now_s = self._now()
        if now_s < self._busy_until_s:
            raise Nack
        if not data:
            return  # its address alone is acknowledged
        code, words = int.from_bytes(data[:2], "big"), checked_words(data[2:])
        if len(data) < 2 or code not in _COMMANDS:
            raise Nack
        what, busy_s, parameters, measuring = _COMMANDS[code]
        if self._measures and not measuring:
            raise Nack
        self._answer = None
        if words is None or len(words) != parameters:
            return
        self._busy_until_s = now_s + busy_s - EARLY_S
        getattr(self, f"_{what}")(*words)

    def read(self, length: int) -> bytes:
        """Return the answer, once; the next measurement needs no command."""
        if self._now() < self._busy_until_s or self._answer is None:
            raise Nack
        answer, self._answer = self._answer, None
        return answer[:length].ljust(length, b"\xff")

    def _start(self) -> None:
        self._measures, self._buffer = True, None
        self._started_s = self._now()
        self._due_s = self._started_s + EVERY_S - EARLY_S

    def _stop(self) -> None:
        self._measure_if_due()
        if self._measures:
            self._ran_s = self._now() - self._started_s
        self._measures, self._buffer = False, None

    def _measured(self) -> None:
        self._measure_if_due()
        if self._buffer is not None:
            self._answer, self._buffer = with_checks(self._buffer), None

    def _set_air(self, temp: int, humidity: int) -> None:
        self.air_words = (temp, humidity)

    def _set_pressure(self, word: int) -> None:
        self.pressure_word = word

    def _begin_testing(self) -> None:
        self.is_testing = True

    def _end_testing(self) -> None:
        self.is_testing = False

    def _product(self) -> None:
        self._answer = with_checks([*PRODUCT, *self._serial])

    def _self_test(self) -> None:
        self._answer = with_checks([0 if self._has_sht4x else NO_SHT4X])

    def _recalibrate(self, word: int) -> None:
        if self._ran_s < RUN_BEFORE_S:
            self._answer = with_checks([FAILED])
            return
        correction = clip(word - self._reading_ppm(), -32768, 32766)
        self._offset_ppm += correction
        self._answer = with_checks([correction + 0x8000])

    def _measure_if_due(self) -> None:
        now_s = self._now()
        if not self._measures or now_s < self._due_s:
            return
        self._due_s += EVERY_S * (1 + (now_s - self._due_s) // EVERY_S)
        if self._has_sht4x:
            air, random = self._air(), self._random
            temp_c = air.temp_c + random.gauss(0.0, 0.04)
            rh_pct = min(air.rh_pct, 100.0) + random.gauss(0.0, 0.1)
            self.air_words = (
                clip((temp_c + 45.0) * 65535 / 175, 0, 65535),
                clip((rh_pct + 6.0) * 65535 / 125, 0, 65535),
            )
        ppm = clip(self._reading_ppm(), 380, 32000)
        if self._is_new and now_s - self._started_s < BYPASS_S:
            ppm = BYPASS_PPM
        status = TESTING * self.is_testing | NO_SHT4X * (not self._has_sht4x)
        self._buffer = [ppm, *self.air_words, status]

    def _reading_ppm(self) -> float:
        air, now_s = self._air(), self._now()
        lagged = self._lag.follow(air.co2_ppm, now_s)
        temp, humidity = self.air_words
        believed_hpa = vapour_hpa(
            temp * 175 / 65535 - 45.0, max(humidity * 125 / 65535 - 6.0, 0.0)
        )
        wet_hpa = vapour_hpa(air.temp_c, min(air.rh_pct, 100.0)) - believed_hpa
        thin = air.pressure_hpa / (self.pressure_word / 50.0)
        noise_ppm = self._random.gauss(0.0, NOISE_PPM + 0.001 * lagged)
        true_ppm = lagged * self._gain * thin + PPM_PER_VAPOUR_HPA * wet_hpa
        return true_ppm + self._offset_ppm + self._drift.at(now_s) + noise_ppm
