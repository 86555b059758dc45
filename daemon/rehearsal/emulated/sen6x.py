"""An emulated SEN6x: dust, humidity, CO2 and gas indices on I2C at 0x6b.

From the maker's data sheet, as its own drivers' comments quote it.
"""

import math
from random import Random

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.dust import GAIN_SPREAD, dust_ugm3
from cabinvigil.daemon.rehearsal.emulated.sps30 import SHARES
from cabinvigil.daemon.rehearsal.emulated.ways import (
    EARLY_S,
    Lag,
    Nack,
    Now,
    See,
    clip,
)
from cabinvigil.daemon.rehearsal.emulated.words import checked_words, with_checks

START_UP_S = 1.0
FIRST_S = 1.1
CO2_LAG_S = 60.0
"""As of the SCD4x, which is inside the SEN66 (unverified)."""
OFFSET_SPREAD_PPM, GAIN_SPREAD_CO2 = 50.0 / 3, 0.05 / 3
RUN_BEFORE_S = 180.0
"""As the SCD4x's sheet has it, to which the maker's driver points."""
FAILED = 0xFFFF
TYPES = {
    "SEN63C": "00085700",
    "SEN65": "00085200",
    "SEN66": "00085300",
    "SEN68": "00085400",
}
READS = {"SEN63C": 0x0471, "SEN65": 0x0446, "SEN66": 0x0300, "SEN68": 0x0467}
CO2_AFTER_S = {"SEN63C": 24.0, "SEN66": 6.0}
NOX_AFTER_S = 11.0
FAN_S = 10.0
"""The dust is whole after this (unverified: up to 30 s)."""

# command -> (what, seconds busy, allowed while idle, allowed while measuring)
_COMMANDS: dict[int, tuple[str, float, bool, bool]] = {
    0x0021: ("start", 0.05, True, True),
    0x0104: ("stop", 1.4, True, True),
    0x0202: ("data_ready", 0.02, True, True),
    0x5607: ("clean", 0.02, True, False),
    0x6707: ("recalibrate", 0.5, True, False),
    0x6711: ("self_calibration", 0.02, True, False),
    0x6720: ("pressure", 0.02, True, True),
    0x6736: ("altitude", 0.02, True, False),
    0xD002: ("product_type", 0.02, True, True),
    0xD014: ("product_name", 0.02, True, True),
    0xD033: ("serial_number", 0.02, True, True),
    0xD100: ("version", 0.02, True, True),
    0xD206: ("status", 0.02, True, True),
    0xD210: ("read_and_clear", 0.02, True, True),
    0xD304: ("reset", 1.2, True, True),
}


class EmulatedSen6x:
    """One member of the family."""

    def __init__(self, air: See, seed: int, now: Now, *, model: str = "SEN66") -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now, self._model = air, now, model
        self._random = random = Random(seed)
        self._dust_gain = random.gauss(1.0, GAIN_SPREAD)
        self._offset_ppm = random.gauss(0.0, OFFSET_SPREAD_PPM)
        self._gain = random.gauss(1.0, GAIN_SPREAD_CO2)
        self.calibrates_itself = True
        """Kept through a loss of power; on as delivered."""
        self.fails = 0
        """Bits of the status that stand for what is broken."""
        self.power_up()

    def power_up(self) -> None:
        """Start in idle, with neither pressure nor altitude."""
        self.pressure_hpa, self.altitude_m = 1013, 0
        self._measures = False
        self._lag = Lag(CO2_LAG_S)
        self._answer: bytes | None = None
        self._busy_until_s = self._now() + START_UP_S - EARLY_S
        self._power_s = self._now()
        self._started_s = self._due_s = self._ran_s = 0.0
        self._flags = 0
        self._words: list[int] = []
        self._is_new = False

    def write(self, data: bytes) -> None:
        """Take a command."""
        now_s = self._now()
        if now_s < self._busy_until_s:
            raise Nack
        if not data:
            return  # its address alone is acknowledged
        code, words = int.from_bytes(data[:2], "big"), checked_words(data[2:])
        self._answer = None
        if code == READS[self._model]:
            self._busy_until_s = now_s + 0.02 - EARLY_S
            self._read()
            return
        if len(data) < 2 or code not in _COMMANDS:
            raise Nack
        what, busy_s, idle, measuring = _COMMANDS[code]
        if words is None or not (measuring if self._measures else idle):
            return
        self._busy_until_s = now_s + busy_s - EARLY_S
        getattr(self, f"_{what}")(*words)

    def read(self, length: int) -> bytes:
        """Return the answer, once."""
        if self._now() < self._busy_until_s or self._answer is None:
            raise Nack
        answer, self._answer = self._answer, None
        return answer[:length].ljust(length, b"\xff")

    # --- commands ------------------------------------------------------------

    def _start(self) -> None:
        if not self._measures:
            self._measures, self._words = True, []
            self._started_s = self._now()
            self._due_s = self._started_s + FIRST_S - EARLY_S

    def _stop(self) -> None:
        if self._measures:
            self._ran_s = self._now() - self._started_s
        self._measures = self._is_new = False

    def _data_ready(self) -> None:
        self._measure_if_due()
        self._answer = with_checks([int(self._is_new)])

    def _read(self) -> None:
        self._measure_if_due()
        self._is_new = False
        more = {"SEN63C": [0x7FFF], "SEN65": [0x7FFF] * 2}
        none = [0xFFFF] * 4 + [0x7FFF] * 2
        none += more.get(self._model, [0x7FFF, 0x7FFF, 0xFFFF])
        self._answer = with_checks(self._words or none)

    def _clean(self) -> None:
        """Blow; nothing of it is seen from outside here."""

    def _recalibrate(self, word: int = 0) -> None:
        if self._model not in CO2_AFTER_S or self._ran_s < RUN_BEFORE_S:
            self._answer = with_checks([FAILED])
            return
        correction = clip(word - self._co2_ppm(), -32768, 32766)
        self._offset_ppm += correction
        self._answer = with_checks([correction + 0x8000])

    def _self_calibration(self, *words: int) -> None:
        if words:
            self.calibrates_itself = words[0] == 1
        else:
            self._answer = with_checks([int(self.calibrates_itself)])

    def _pressure(self, *words: int) -> None:
        if words:
            self.pressure_hpa = words[0]
        else:
            self._answer = with_checks([self.pressure_hpa])

    def _altitude(self, *words: int) -> None:
        if words:
            # The standard atmosphere (ISO 2533): the one is kept as the other.
            share = 1.0 - 0.0065 * words[0] / 288.15
            self.altitude_m = words[0]
            self.pressure_hpa = round(1013.25 * share**5.2559)
        else:
            self._answer = with_checks([self.altitude_m])

    def _text(self, text: str) -> None:
        letters = text.encode().ljust(32, b"\0")
        self._answer = with_checks(
            int.from_bytes(letters[at : at + 2], "big") for at in range(0, 32, 2)
        )

    def _product_type(self) -> None:
        self._text(TYPES[self._model])

    def _product_name(self) -> None:
        self._text(self._model)

    def _serial_number(self) -> None:
        self._text("EMULATED0000006B")

    def _version(self) -> None:
        self._answer = with_checks([0x0400])

    def _status(self) -> None:
        self._flags |= self.fails
        self._answer = with_checks(divmod(self._flags, 65536))

    def _read_and_clear(self) -> None:
        self._status()
        self._flags = 0

    def _reset(self) -> None:
        self.power_up()

    # --- physics -------------------------------------------------------------

    def _measure_if_due(self) -> None:
        now_s = self._now()
        if not self._measures or now_s < self._due_s:
            return
        self._due_s += 1.0 + (now_s - self._due_s) // 1.0
        self._is_new = True
        air, random = self._air(), self._random
        spun = min((now_s - self._started_s) / FAN_S, 1.0)
        dust = dust_ugm3(air, random, self._dust_gain) * spun
        masses = [clip(10 * dust * share, 0, 0xFFFE) for share in SHARES]
        rh_pct = min(air.rh_pct, 100.0) + random.gauss(0.0, 0.2)
        temp_c = air.temp_c + random.gauss(0.0, 0.03)
        humidity = clip(100 * rh_pct, 0, 0x7FFE)
        warmth = clip(200 * temp_c, -0x8000, 0x7FFE) & 0xFFFF
        self._words = [*masses, humidity, warmth, *self._gases(air, now_s)]

    def _gases(self, air: AirNow, now_s: float) -> list[int]:
        """Return what this member measures beside dust and damp."""
        found = []
        if self._model != "SEN63C":
            found.append(self._index(100.0, air.voc_ppb / 150.0))
            is_late = now_s - self._power_s >= NOX_AFTER_S
            found.append(self._index(1.0, air.nox_ppb / 20.0) if is_late else 0x7FFF)
        if self._model == "SEN68":
            found.append(150)  # 15 ppb of formaldehyde
        if self._model in CO2_AFTER_S:
            ppm = clip(self._co2_ppm(), 0, 40000 if self._model == "SEN66" else 32000)
            unknown = 0xFFFF if self._model == "SEN66" else 0x7FFF
            is_late = now_s - self._started_s >= CO2_AFTER_S[self._model]
            found.append(ppm if is_late else unknown)
        return found

    def _index(self, usual: float, times: float) -> int:
        """Return ten times an index; its size is our choice."""
        index = usual * (1.0 + math.log(max(times, 0.1))) + self._random.gauss(0.0, 0.5)
        return 10 * clip(index, 1, 500)

    def _co2_ppm(self) -> float:
        air, now_s = self._air(), self._now()
        lagged = self._lag.follow(air.co2_ppm, now_s)
        thin = air.pressure_hpa / self.pressure_hpa
        noise_ppm = self._random.gauss(0.0, 3.0 + 0.001 * lagged)
        return lagged * self._gain * thin + self._offset_ppm + noise_ppm
