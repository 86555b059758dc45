"""SCD4x: carbon dioxide by photoacoustics, with temperature and humidity, on I2C.

Sources: Sensirion SCD4x data sheet v1.3 (tables and pages beside each constant), as
gathered in the project's sensor notes, section 1; "unverified" where not re-read.
"""

from collections.abc import Generator, Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import co2
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.probe import Identify, answers
from cabinvigil.drivers.kit.steps import (
    Gives,
    NotReadyError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from cabinvigil.drivers.kit.words import ask, command, words

# Commands and their execution times: v1.3 p. 8, table 9.
START_PERIODIC = 0x21B1
READ_MEASUREMENT = 0xEC05
STOP_PERIODIC = 0x3F86
DATA_READY = 0xE4B8
SET_TEMP_OFFSET = 0x241D
SET_ALTITUDE = 0x2427
SET_PRESSURE = 0xE000
FORCED_RECALIBRATION = 0x362F
SET_SELF_CALIBRATION = 0x2416
GET_SELF_CALIBRATION = 0x2313
PERSIST_SETTINGS = 0x3615
SERIAL_NUMBER = 0x3682
SHORT_S = 0.001
STOP_S = 0.5
PERSIST_S = 0.8
RECALIBRATION_S = 0.4

READY_BITS = 0x07FF
"""Any of the low 11 bits set: a measurement waits (two public drivers agree)."""
FULL_SCALE_PPM = 40000
"""End of the output range (v1.3 p. 1)."""
RANGE_C = (-10.0, 60.0)
"""Operating temperature (component notes, sensor notes source 54)."""
PRESSURE_HPA = (700.0, 1200.0)
"""Pressures that the part takes (two public drivers; section 3.6.5 unverified)."""
TARGET_PPM = (350, 2000)
"""Targets that a forced recalibration takes here: outdoor air has never been lower, and
no bottle of test gas for rooms is higher (own limits)."""
CONFIRM_PPM = 300
"""A correction beyond this asks for a second yes (own figure for the maker's 'some
hundred ppm')."""
RUN_BEFORE_RECALIBRATION_S = 180.0
"""Time in constant, known air, in the final mode, before it (v1.1 p. 12)."""


@dataclass(frozen=True, slots=True)
class Scd4xReading:
    """What one answer says."""

    co2_ppm: int
    temp_c: float
    rh_pct: float


def decode(reply: bytes) -> Scd4xReading:
    """Decode the nine bytes of a measurement (python-i2c-scd4x documentation).

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    ppm, temp, humidity = words(reply, 3)
    return Scd4xReading(
        co2_ppm=ppm,
        temp_c=-45.0 + 175.0 * temp / 65535,
        rh_pct=100.0 * humidity / 65535,
    )


def decode_ready(reply: bytes) -> bool:
    """Return whether a measurement waits.

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    return bool(words(reply, 1)[0] & READY_BITS)


def decode_correction(reply: bytes) -> int:
    """Decode the answer to a forced recalibration, in ppm.

    Raises:
        CalibrationError: the part says that it failed.
        ShortError, LengthError, CrcError: see `words`.
    """
    return co2.correction_ppm(words(reply, 1)[0])


def temp_offset_word(offset_c: float) -> int:
    """Format a temperature offset (v1.3 p. 10): 175 °C over the 16-bit range."""
    return round(offset_c * 65535 / 175)


class Scd4x:
    """Codec of one SCD4x; see `PolledPart`."""

    def __init__(
        self, altitude_m: float | None = None, temp_offset_c: float | None = None
    ) -> None:
        self._altitude_m = altitude_m
        self._temp_offset_c = temp_offset_c
        self._pressure = co2.PressureToTell(PRESSURE_HPA)
        self._first = True

    def inform(self, quantity: str, value: float) -> None:
        """Take the air pressure; it overrides the altitude (v1.1 p. 12)."""
        self._pressure.inform(quantity, value)

    def setup(self) -> Setup:
        """Stop, switch self-calibration off, tell the site, start measuring.

        It takes the lowest value of a week for outdoor air (v1.1 p. 12), and stays off
        through a loss of power where that is kept in the part's memory.

        Raises:
            CalibrationError: self-calibration stays on.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        yield Transfer(command(STOP_PERIODIC), 0, STOP_S)
        yield from ask(SERIAL_NUMBER, 3, SHORT_S)
        was_on = yield from co2.self_calibration_off(
            GET_SELF_CALIBRATION, SET_SELF_CALIBRATION, SHORT_S
        )
        if was_on:  # that memory takes 2 000 writes
            yield Transfer(command(PERSIST_SETTINGS), 0, PERSIST_S)
        if self._temp_offset_c is not None:
            word = temp_offset_word(self._temp_offset_c)
            yield Transfer(command(SET_TEMP_OFFSET, word), 0, SHORT_S)
        if self._altitude_m is not None:
            word = round(self._altitude_m)
            yield Transfer(command(SET_ALTITUDE, word), 0, SHORT_S)
        yield Transfer(command(START_PERIODIC))
        self._pressure.sent(None)
        self._first = True

    def poll(self) -> Steps:
        """Report the pressure where it changed, then read if a measurement waits.

        Raises:
            NotReadyError: none waits; the part makes one every 5 s.
            NotMeasuredError: 0 ppm, which is never air.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        hpa = self._pressure.due()
        if hpa is not None:
            yield Transfer(command(SET_PRESSURE, hpa), 0, SHORT_S)
            self._pressure.sent(hpa)
        ready = yield Transfer(command(DATA_READY), 3, SHORT_S)
        if not decode_ready(ready):
            raise NotReadyError(
                "no measurement is ready yet; the sensor makes one in 5 s"
            )
        reply = yield Transfer(command(READ_MEASUREMENT), 9, SHORT_S)
        found = samples(decode(reply), first=self._first)
        self._first = False
        return found


def samples(reading: Scd4xReading, *, first: bool = False) -> list[Sample]:
    """Judge a reading; the first after a start may raise an alarm, not clear one.

    Raises:
        NotMeasuredError: 0 ppm: only temperature and humidity were measured.
    """
    return co2.with_own_air(
        reading.co2_ppm,
        reading.temp_c,
        reading.rh_pct,
        FULL_SCALE_PPM,
        Conditions(RANGE_C),
        "it is the first value after a start" if first else "",
    )


def recalibrate(target_ppm: int) -> Generator[Transfer, bytes, int]:
    """Recalibrate to the air that is there now; return the correction in ppm.

    The part must have measured in this air for `RUN_BEFORE_RECALIBRATION_S`.  It is
    started again whatever came of it.  A caller asks for a second yes where the mean
    reading and the target differ by more than `CONFIRM_PPM`.

    Raises:
        CalibrationError: the target is out of bounds, or the part says it failed.
        ShortError, LengthError, CrcError: the answer cannot be read.
    """
    target_ppm = co2.checked_target(target_ppm, *TARGET_PPM)
    yield Transfer(command(STOP_PERIODIC), 0, STOP_S)
    reply = yield Transfer(
        command(FORCED_RECALIBRATION, target_ppm), 3, RECALIBRATION_S
    )
    yield Transfer(command(START_PERIODIC))
    return decode_correction(reply)


def identify() -> Identify:
    """Return whether an SCD4x answers: its 'data ready' works while it measures."""
    return answers(ask(DATA_READY, 1, SHORT_S))


def make(options: Mapping[str, Any]) -> Scd4x:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return Scd4x(
        altitude_m=opt.optional_number(options, "altitude_m", 0.0, 3000.0),
        temp_offset_c=opt.optional_number(options, "temp_offset_c", 0.0, 20.0),
    )


IDENTIFY = identify
PART = PartInfo(
    name="scd4x",
    title="CO2 sensor (SCD4x)",
    bus="i2c",
    gives={
        # Resolution: one word.  Noise: repeatability +-10 ppm, +-0.1 °C, +-0.4 % (from
        # memory).  Lag: 60 s (unverified).  Stuck: 300 s of equal words at 5 s each
        # (sensor notes 14, row 13).  Jump: breath on the sensor lifts it by some
        # thousand ppm within one 5 s interval (common practice, no source).
        "co2_ppm": Gives(1.0, 10.0, 60.0, 300.0, 1000.0, FULL_SCALE_PPM),
        "temp_c": Gives(175 / 65535, 0.1, 90.0, 600.0, 1.0),
        # Accuracy: 6 % (unverified).
        "rh_pct": Gives(100 / 65535, 0.4, 90.0, 600.0, 10.0, 100.0, accuracy=6.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # 1 s to be ready (v1.3 p. 7), then the first value after 5 s and one more.
    warm_up_s=15.0,
    address=0x62,
    addresses=(0x62,),
    needs=("pressure_hpa",),
    options={
        "altitude_m": "height in m, 0 to 3000, for as long as no pressure is known",
        "temp_offset_c": (
            "self-heating taken off temperature, 0 to 20 °C (sensor: 4 °C)"
        ),
    },
    # The maker names no wear-out; ten years is the design life (unverified).
    service_years=10.0,
    range_c=RANGE_C,
)
