"""STCC4: carbon dioxide by thermal conductivity, on I2C.

It takes any change of the air's make-up for CO2, and so needs to know how much vapour
the air holds: from an SHT4x wired to it, or told.  Sources: Sensirion STCC4 data sheet
(sections beside each constant), as a public copy of its text and the maker's driver
(sensirion-i2c-stcc4 1.1.0) have it.
"""

from collections.abc import Generator, Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import co2
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.steps import (
    DriverError,
    Gives,
    NotMeasuredError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
    WrongPartError,
)
from cabinvigil.drivers.kit.words import ask, command, words

# Commands and their execution times: table 10 and sections 3.4.1 to 3.4.16.
START = 0x218B
STOP = 0x3F86
READ = 0xEC05
SET_AIR = 0xE000
SET_PRESSURE = 0xE016
RECALIBRATION = 0x362F
TESTING_MODE = 0x3FBC
PRODUCT_ID = 0x365B
SHORT_S = 0.001
STOP_S = 1.2
FIRST_S = 1.2
"""It measures each 1.00 +- 0.15 s (footnote 13), and refuses to be read before."""
RECALIBRATION_S = 0.09
IS_STCC4 = (0x0901, 0x018A)

TESTING_BITS = 0x4040
"""Says that self-calibration is paused: "the second most significant bit of byte 10"
(3.4.13), which one public driver reads as 4000 and another as 0040."""
NO_OWN_AIR = 0x0010
"""Says that no SHT4x is wired to it (3.4.12; a public driver reads it here as well)."""
FULL_SCALE_PPM = 32000.0
"""End of the output range (table 1; 400 to 5000 ppm are specified)."""
FIRST_PPM = 390
"""What it shows for the first 20 s of its life, and after a factory reset (1.1.4)."""
PRESSURE_HPA = (400.0, 1100.0)
"""What it takes, in steps of 2 Pa (3.4.5)."""
TARGET_PPM = (400, 2000)
"""Own limits, as of its sisters; it takes 0 to 32 000 (3.4.15)."""
RUN_BEFORE_RECALIBRATION_S = 180.0
"""30 s by the sheet (3.4.15), three minutes by the maker's driver: the longer."""
RANGE_C = (10.0, 40.0)
RANGE_RH_PCT = (20.0, 80.0)
"""Recommended (table 2)."""
THERMOMETERS = ("told", "own")
NO_AIR = "it has not been given the temperature and the humidity, which it needs"


@dataclass(frozen=True, slots=True)
class Stcc4Reading:
    """What one answer says."""

    co2_ppm: int
    temp_c: float
    rh_pct: float
    is_paused: bool
    """Self-calibration is paused."""
    has_own_air: bool
    """Temperature and humidity are those of an SHT4x wired to it."""


def decode(reply: bytes) -> Stcc4Reading:
    """Decode the twelve bytes of a measurement (3.4.3, table 11).

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    ppm, temp, humidity, status = words(reply, 4)
    return Stcc4Reading(
        co2_ppm=ppm - 0x10000 if ppm & 0x8000 else ppm,
        temp_c=-45.0 + 175.0 * temp / 65535,
        rh_pct=-6.0 + 125.0 * humidity / 65535,
        is_paused=bool(status & TESTING_BITS),
        has_own_air=not status & NO_OWN_AIR,
    )


def air_words(temp_c: float, rh_pct: float) -> tuple[int, int]:
    """Format a temperature and a humidity, as an SHT4x does (table 11)."""
    temp_c, rh_pct = min(max(temp_c, -45.0), 130.0), min(max(rh_pct, -6.0), 119.0)
    return (
        round((temp_c + 45.0) * 65535 / 175),
        round((rh_pct + 6.0) * 65535 / 125),
    )


def pressure_word(hpa: float) -> int:
    """Format a pressure, in steps of 2 Pa (table 11)."""
    return round(50.0 * hpa)


class Stcc4:
    """Codec of one STCC4; see `PolledPart`."""

    def __init__(self, *, has_own_air: bool = False) -> None:
        self._has_own_air = has_own_air
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._pressure = co2.PressureToTell(PRESSURE_HPA)
        self._air_sent: tuple[int, int] | None = None

    def inform(self, quantity: str, value: float) -> None:
        """Take pressure, and temperature and humidity where none is wired to it."""
        self._pressure.inform(quantity, value)
        if not self._has_own_air:
            self._air.inform(quantity, value)

    def setup(self) -> Setup:
        """Stop, see that it is the part, pause self-calibration, start measuring.

        It cannot be switched off for good: it is paused by the testing mode, which a
        loss of power ends, and which each answer tells of.

        Raises:
            WrongPartError: another part answers.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        yield Transfer(command(STOP), 0, STOP_S)
        found = yield from ask(PRODUCT_ID, 6, SHORT_S)
        if found[:2] != IS_STCC4:
            raise WrongPartError(f"its product number is {found[0]:04x}{found[1]:04x}")
        yield Transfer(command(TESTING_MODE), 0, SHORT_S)
        yield Transfer(command(START), 0, FIRST_S)
        self._pressure.sent(None)
        self._air_sent = None

    def poll(self) -> Steps:
        """Tell pressure and air where they changed, then read; it measures each second.

        Raises:
            NotMeasuredError: self-calibration is not paused; or no SHT4x is wired to it
                though the config says so; or 0 ppm.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        hpa = self._pressure.due()
        if hpa is not None:
            yield Transfer(command(SET_PRESSURE, pressure_word(hpa)), 0, SHORT_S)
            self._pressure.sent(hpa)
        was_told = self._air_sent is not None
        if not self._has_own_air:
            yield from self._tell_air()
        reading = decode((yield Transfer(command(READ), 12, SHORT_S)))
        if not reading.is_paused:
            raise NotMeasuredError("its self-calibration is on: it was without power")
        if self._has_own_air:
            return own_samples(reading)
        return [told_sample(reading, self._air, is_known=was_told)]

    def _tell_air(self) -> Setup:
        """Report the vapour's two figures; what is measured next takes them in."""
        temp_c, rh_pct = self._air.get("temp_c"), self._air.get("rh_pct")
        if temp_c is None or rh_pct is None:
            self._air_sent = None
            return
        pair = air_words(temp_c, rh_pct)
        if pair != self._air_sent:
            yield Transfer(command(SET_AIR, *pair), 0, SHORT_S)
            self._air_sent = pair


def own_samples(reading: Stcc4Reading) -> list[Sample]:
    """Judge a reading of a part with an SHT4x wired to it.

    Raises:
        NotMeasuredError: there is none, or 0 ppm, which is never air.
    """
    if not reading.has_own_air:
        raise NotMeasuredError("no SHT4x is wired to it, and the config says 'own'")
    return co2.with_own_air(
        reading.co2_ppm,
        reading.temp_c,
        reading.rh_pct,
        FULL_SCALE_PPM,
        Conditions(RANGE_C, RANGE_RH_PCT),
        _first(reading),
    )


def told_sample(reading: Stcc4Reading, air: Conditions, *, is_known: bool) -> Sample:
    """Judge a reading of a part that is told the air; only CO2 is its own.

    Raises:
        NotMeasuredError: 0 ppm, which is never air.
    """
    quality = air.quality()
    doubt = _first(reading) if is_known else NO_AIR
    if doubt and quality[0] == "good":
        quality = "outside-range", doubt
    return co2.co2_sample(reading.co2_ppm, FULL_SCALE_PPM, quality)


def _first(reading: Stcc4Reading) -> str:
    is_made_up = reading.co2_ppm == FIRST_PPM
    return "it shows what it shows before it has measured" if is_made_up else ""


def recalibrate(target_ppm: int) -> Generator[Transfer, bytes, int]:
    """Recalibrate to the air that is there now; return the correction in ppm.

    The part must have measured in this air for `RUN_BEFORE_RECALIBRATION_S`.  It is
    started again whatever came of it.

    Raises:
        CalibrationError: the target is out of bounds, or the part says it failed.
        ShortError, LengthError, CrcError: the answer cannot be read.
    """
    want = co2.checked_target(target_ppm, *TARGET_PPM)
    yield Transfer(command(STOP), 0, STOP_S)
    reply = yield Transfer(command(RECALIBRATION, want), 3, RECALIBRATION_S)
    yield Transfer(command(START), 0, SHORT_S)
    return co2.correction_ppm(words(reply, 1)[0])


def identify() -> Identify:
    """Return whether an STCC4 responds: its number, or a reading while it measures.

    Then it tells no number (table 10).  The reading is taken from whoever reads it
    else, who has the next within a second.
    """
    for code, count in ((PRODUCT_ID, 6), (READ, 4)):
        try:
            found = yield from ask(code, count, SHORT_S)
        except DriverError:
            continue
        return code == READ or found[:2] == IS_STCC4
    return False


def leaves_out(options: Mapping[str, Any]) -> frozenset[str]:
    """Return what it does not give: the air that it is only told."""
    is_own = options.get("air", THERMOMETERS[0]) == "own"
    return frozenset() if is_own else frozenset({"temp_c", "rh_pct"})


def make(options: Mapping[str, Any]) -> Stcc4:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or is none of its words.
    """
    opt.known(options, PART.options)
    word = opt.choice(options, "air", THERMOMETERS[0], THERMOMETERS)
    return Stcc4(has_own_air=word == "own")


IDENTIFY = identify
PART = PartInfo(
    name="stcc4",
    title="CO2 sensor (STCC4)",
    bus="i2c",
    gives={
        # Resolution 1 ppm and lag 20 s (table 1).  Noise: own figure, a tenth of its
        # class.  Stuck: as of its sisters.  Jump: breath on the sensor (common
        # practice, no source).
        "co2_ppm": Gives(1.0, 10.0, 20.0, 300.0, 1000.0, FULL_SCALE_PPM),
        # As of the SHT4x.
        "temp_c": Gives(175 / 65535, 0.04, 20.0, 600.0, 2.0),
        "rh_pct": Gives(125 / 65535, 0.1, 20.0, 600.0, 20.0, 100.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # After three hours without power its class is met within an hour (1.1.3).
    warm_up_s=3600.0,
    address=0x64,
    addresses=(0x64, 0x65),
    needs=("pressure_hpa", "temp_c", "rh_pct"),
    options={
        "air": "'told' (another sensor gives temperature and humidity, the default) or "
        "'own' (an SHT4x is wired to it, and it gives what that one measures)",
    },
    # Life of ten years (table 4).
    service_years=10.0,
    range_c=RANGE_C,
    leaves_out=leaves_out,
)
