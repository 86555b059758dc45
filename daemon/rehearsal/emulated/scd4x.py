"""An emulated SCD4x: CO2, temperature and humidity on I2C at 0x62 (sensors.md 1)."""

from random import Random

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

START_UP_S = 1.0
"""After power-up (data sheet v1.3 p.7)."""
INTERVAL_S = 5.0
LOW_POWER_S = 30.0
LAG_S = 60.0
"""tau63 (unverified)."""
NOISE_PPM = 3.0
"""Standard deviation at 420 ppm; the sheet's repeatability of 10 ppm (unverified) is
read as about three of them.  Grows with the reading by `NOISE_SHARE`."""
NOISE_SHARE = 0.001
OFFSET_SPREAD_PPM = 40.0 / 3
"""The class +-(40 ppm + 5 %) (v1.3 p.1) read as three standard deviations."""
GAIN_SPREAD = 0.05 / 3
DRIFT_PPM, DRIFT_TAU_S = 5.0, 4 * 3600.0
"""A slow walk within the class; our choice."""
FULL_SCALE_PPM = 40000
SELF_HEATING_C = 4.0
"""The default offset is 4 C (v1.3 p.10): the part is that much warmer than the air."""
RUN_BEFORE_S = 180.0
"""A forced recalibration fails unless the part has measured for this long (v1.1 p.12,
v1.3 p.13)."""
FAILED = 0xFFFF
EEPROM = {"self_calibration": 1, "offset_word": round(4.0 * 65535 / 175), "altitude": 0}

# command -> (what, seconds busy, allowed while measuring), v1.3 p.8 table 9
_COMMANDS: dict[int, tuple[str, float, bool]] = {
    0x21B1: ("start", 0.0, False),
    0x21AC: ("start_low_power", 0.0, False),
    0xEC05: ("read", 0.001, True),
    0x3F86: ("stop", 0.5, True),
    0x241D: ("set_offset", 0.001, False),
    0x2318: ("get_offset", 0.001, False),
    0x2427: ("set_altitude", 0.001, False),
    0x2322: ("get_altitude", 0.001, False),
    0xE000: ("set_pressure", 0.001, True),
    0x362F: ("recalibrate", 0.4, False),
    0x2416: ("set_self_calibration", 0.001, False),
    0x2313: ("get_self_calibration", 0.001, False),
    0xE4B8: ("data_ready", 0.001, True),
    0x3615: ("persist", 0.8, False),
    0x3682: ("serial_number", 0.001, False),
    0x3639: ("self_test", 10.0, False),
    0x3632: ("factory_reset", 1.2, False),
    0x3646: ("reinit", 0.03, False),
    0x219D: ("single_shot", 5.0, False),
    0x36E0: ("power_down", 0.001, False),
    0x36F6: ("wake_up", 0.02, False),
}


class EmulatedScd4x:
    """One part: its own errors from the seed, its settings in RAM and EEPROM."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self._offset_ppm = random.gauss(0.0, OFFSET_SPREAD_PPM)
        self._gain = random.gauss(1.0, GAIN_SPREAD)
        self._drift = Drift(random, DRIFT_PPM, DRIFT_TAU_S)
        self._serial = [random.randrange(1, 0x10000) for _ in range(3)]
        self._eeprom = dict(EEPROM)
        self.power_up()

    def power_up(self) -> None:
        """Start in idle with the settings of the EEPROM."""
        self._settings = dict(self._eeprom)
        self._pressure_hpa: float | None = None
        self._lag = Lag(LAG_S)
        self._mode = "idle"
        self._answer: bytes | None = None
        self._buffer: list[int] | None = None
        self._busy_until_s = self._now() + START_UP_S
        self._due_s = self._started_s = 0.0
        self._ran_s = 0.0
        self._every_s = INTERVAL_S

    @property
    def self_calibration(self) -> bool:
        """Whether the part would move its own baseline."""
        return self._settings["self_calibration"] == 1

    def write(self, data: bytes) -> None:
        """Take a command, with its parameter where it has one."""
        if self._now() < self._busy_until_s:
            raise Nack
        if not data:
            return  # its address alone is acknowledged
        command = int.from_bytes(data[:2], "big")
        if len(data) < 2 or command not in _COMMANDS:
            raise Nack
        what, busy_s, while_measuring = _COMMANDS[command]
        if self._mode == "measuring" and not while_measuring:
            raise Nack
        if self._mode == "asleep" and what != "wake_up":
            raise Nack
        words = checked_words(data[2:])
        if words is None:  # a parameter with a wrong check is not taken
            return
        self._answer = None
        self._busy_until_s = self._now() + busy_s - EARLY_S
        getattr(self, f"_{what}")(*words[:1])

    def read(self, length: int) -> bytes:
        """Return the answer to the last command, once."""
        if self._now() < self._busy_until_s or self._answer is None:
            raise Nack
        answer, self._answer = self._answer, None
        return answer[:length].ljust(length, b"\xff")

    # --- commands ------------------------------------------------------------

    def _start(self) -> None:
        self._measure_every(INTERVAL_S)

    def _start_low_power(self) -> None:
        self._measure_every(LOW_POWER_S)

    def _measure_every(self, every_s: float) -> None:
        self._mode, self._every_s, self._buffer = "measuring", every_s, None
        self._started_s = self._now()
        self._due_s = self._started_s + every_s - EARLY_S

    def _stop(self) -> None:
        if self._mode == "measuring":
            self._ran_s = self._now() - self._started_s
        self._mode, self._buffer = "idle", None

    def _data_ready(self) -> None:
        self._measure_if_due()
        self._answer = with_checks([0x8006 if self._buffer else 0x8000])

    def _read(self) -> None:
        self._measure_if_due()
        if self._buffer is not None:
            self._answer = with_checks(self._buffer)
            self._buffer = None  # emptied by a read; a second one is refused

    def _set_offset(self, word: int = 0) -> None:
        self._settings["offset_word"] = word

    def _get_offset(self) -> None:
        self._answer = with_checks([self._settings["offset_word"]])

    def _set_altitude(self, word: int = 0) -> None:
        self._settings["altitude"] = word

    def _get_altitude(self) -> None:
        self._answer = with_checks([self._settings["altitude"]])

    def _set_pressure(self, word: int = 0) -> None:
        self._pressure_hpa = float(word)  # the word is Pa / 100

    def _set_self_calibration(self, word: int = 0) -> None:
        self._settings["self_calibration"] = word

    def _get_self_calibration(self) -> None:
        self._answer = with_checks([self._settings["self_calibration"]])

    def _recalibrate(self, word: int = 0) -> None:
        if self._ran_s < RUN_BEFORE_S:
            self._answer = with_checks([FAILED])
            return
        correction = clip(word - self._reading_ppm(), -32768, 32766)
        self._offset_ppm += correction
        self._answer = with_checks([correction + 0x8000])

    def _persist(self) -> None:
        self._eeprom = dict(self._settings)

    def _serial_number(self) -> None:
        self._answer = with_checks(self._serial)

    def _self_test(self) -> None:
        self._answer = with_checks([0])

    def _factory_reset(self) -> None:
        self._eeprom = dict(EEPROM)
        self._settings = dict(EEPROM)

    def _reinit(self) -> None:
        self._settings = dict(self._eeprom)

    def _single_shot(self) -> None:
        self._buffer = self._measure()

    def _power_down(self) -> None:
        self._mode = "asleep"

    def _wake_up(self) -> None:
        self._mode = "idle"

    # --- physics -------------------------------------------------------------

    def _measure_if_due(self) -> None:
        now_s = self._now()
        if self._mode == "measuring" and now_s >= self._due_s:
            self._due_s += self._every_s * (1 + (now_s - self._due_s) // self._every_s)
            self._buffer = self._measure()

    def _measure(self) -> list[int]:
        air = self._air()
        offset_c = self._settings["offset_word"] * 175 / 65535
        temp_c = air.temp_c + SELF_HEATING_C - offset_c + self._random.gauss(0.0, 0.05)
        # Warmer air of the same vapour is drier: about 6 % of the reading a kelvin.
        rh_pct = min(air.rh_pct, 100.0) * (1 - 0.06 * (temp_c - air.temp_c))
        return [
            clip(self._reading_ppm(), 0, FULL_SCALE_PPM),
            clip((temp_c + 45.0) * 65535 / 175, 0, 65535),
            clip((rh_pct + self._random.gauss(0.0, 0.4)) * 65535 / 100, 0, 65535),
        ]

    def _reading_ppm(self) -> float:
        air, now_s = self._air(), self._now()
        lagged = self._lag.follow(air.co2_ppm, now_s)
        # Light is taken up by molecules, not by shares: without the true pressure the
        # part reads low in thin air (the reason for e000 and 2427; v1.1 p.12).
        thin = air.pressure_hpa / self._believed_hpa()
        noise_ppm = self._random.gauss(0.0, NOISE_PPM + NOISE_SHARE * lagged)
        true_ppm = lagged * self._gain * thin
        return true_ppm + self._offset_ppm + self._drift.at(now_s) + noise_ppm

    def _believed_hpa(self) -> float:
        if self._pressure_hpa is not None:
            return self._pressure_hpa
        # ISO 2533, the standard atmosphere below 11 km.
        share = 1.0 - 0.0065 * self._settings["altitude"] / 288.15
        return float(1013.25 * share**5.2559)
