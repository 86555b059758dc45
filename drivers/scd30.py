"""SCD30: carbon dioxide by infrared, with temperature and humidity, on I2C.

Sources: Sensirion's SCD30 interface description, as its maker's driver
(sensirion-i2c-scd30 1.1.1) and a public one (adafruit-circuitpython-scd30 2.3.0) quote
it; "unverified" where not re-read.  It holds the clock for up to 30 ms in any frame,
and once a day for 150 ms: the kernel must let it (hardware.md).
"""

import math
import struct
from collections.abc import Generator, Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import co2
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    DriverError,
    Gives,
    NotReadyError,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from cabinvigil.drivers.kit.words import ask, command, words

# One code reads a setting, and sets it where a word follows.
START = 0x0010
"""With the pressure in hPa, or 0 where none is known: then the altitude counts."""
INTERVAL = 0x4600
DATA_READY = 0x0202
READ = 0x0300
SELF_CALIBRATION = 0x5306
RECALIBRATION = 0x5204
TEMP_OFFSET = 0x5403
ALTITUDE = 0x5102
DELAY_S = 0.010
"""Between a command and its answer (the maker's driver; its sheet asks for 3 ms)."""
EVERY_S = 2
"""Its own interval: the shortest, by which it also has to run to be recalibrated."""
PRESSURE_HPA = (700.0, 1400.0)
PRESSURE_STEP_HPA = 4
"""Told again from this difference on, 0.4 % of the reading: to tell it the part is
started again, which it may keep in a memory that wears (our choice)."""
LOOK_AGAIN_POLLS = 720
"""An hour.  After a loss of power it goes on by itself, from its own memory and unseen,
but without the pressure; self-calibration takes a week to do harm."""
EMPTY_READS = 2
"""Its first values after a start may be 0 (public reports, unverified)."""
FULL_SCALE_PPM = 40000.0
"""End of the output range (unverified; 400 to 10 000 ppm are specified)."""
TARGET_PPM = (400, 2000)
RUN_BEFORE_RECALIBRATION_S = 120.0
"""In constant, known air, at an interval of 2 s."""
RANGE_C = (0.0, 50.0)
RANGE_RH_PCT = (0.0, 95.0)
"""Both unverified."""


@dataclass(frozen=True, slots=True)
class Scd30Reading:
    """What one answer says."""

    co2_ppm: float
    temp_c: float
    rh_pct: float


def decode(reply: bytes) -> Scd30Reading:
    """Decode the eighteen bytes of a measurement: three numbers of 32 bits.

    Raises:
        ShortError, LengthError, CrcError: see `words`.
        OutOfRangeError: not numbers.
    """
    raw = b"".join(word.to_bytes(2, "big") for word in words(reply, 6))
    values = struct.unpack(">3f", raw)
    if not all(math.isfinite(value) for value in values):
        raise OutOfRangeError("the reply holds values that are not numbers")
    return Scd30Reading(*values)


class Scd30:
    """Codec of one SCD30; see `PolledPart`."""

    def __init__(
        self, altitude_m: float | None = None, temp_offset_c: float | None = None
    ) -> None:
        self._kept = {INTERVAL: EVERY_S}
        if temp_offset_c is not None:
            self._kept[TEMP_OFFSET] = round(100 * temp_offset_c)
        if altitude_m is not None:
            self._kept[ALTITUDE] = round(altitude_m)
        self._pressure = co2.PressureToTell(PRESSURE_HPA, PRESSURE_STEP_HPA)
        self._polls = self._reads = 0

    def inform(self, quantity: str, value: float) -> None:
        """Take the air pressure; it overrides the altitude."""
        self._pressure.inform(quantity, value)

    def setup(self) -> Setup:
        """Switch self-calibration off, see to the kept settings, start measuring.

        A setting is written only where it is another: the part keeps it for good.

        Raises:
            CalibrationError: self-calibration stays on.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        yield from _self_calibration_off()
        for code, want in self._kept.items():
            (has,) = yield from ask(code, 1, DELAY_S)
            if has != want:
                yield Transfer(command(code, want), 0, DELAY_S)
        yield Transfer(command(START, self._pressure.hpa or 0), 0, DELAY_S)
        self._pressure.sent(self._pressure.hpa)
        self._polls = self._reads = 0

    def poll(self) -> Steps:
        """Report the pressure where it changed, then read if a measurement waits.

        Raises:
            CalibrationError: self-calibration is on again, and stays on.
            NotReadyError: none waits, or it is one of the first and empty.
            NotMeasuredError: 0 ppm, which is never air.
            OutOfRangeError: no numbers.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        self._polls += 1
        if self._polls % LOOK_AGAIN_POLLS == 0:
            yield from _self_calibration_off()
            self._pressure.sent(None)
        hpa = self._pressure.due()
        if hpa is not None:
            yield Transfer(command(START, hpa), 0, DELAY_S)
            self._pressure.sent(hpa)
        (ready,) = yield from ask(DATA_READY, 1, DELAY_S)
        if not ready:
            raise NotReadyError("no measurement is ready; the sensor makes one in 2 s")
        reading = decode((yield Transfer(command(READ), 18, DELAY_S)))
        self._reads += 1
        if not reading.co2_ppm and self._reads <= EMPTY_READS:
            raise NotReadyError("its first values after a start are empty")
        return samples(reading)


def samples(reading: Scd30Reading) -> list[Sample]:
    """Judge a reading.

    Raises:
        NotMeasuredError: 0 ppm, which is never air.
    """
    return co2.with_own_air(
        reading.co2_ppm,
        reading.temp_c,
        reading.rh_pct,
        FULL_SCALE_PPM,
        Conditions(RANGE_C, RANGE_RH_PCT),
    )


def _self_calibration_off() -> Generator[Transfer, bytes, bool]:
    return co2.self_calibration_off(SELF_CALIBRATION, SELF_CALIBRATION, DELAY_S)


def recalibrate(target_ppm: int) -> Generator[Transfer, bytes, None]:
    """Recalibrate to the air that is there now, and see that the part has taken it.

    The part must have measured in this air for `RUN_BEFORE_RECALIBRATION_S`; it tells
    no correction, only the target.

    Raises:
        CalibrationError: the target is out of bounds, or the part has not taken it.
        ShortError, LengthError, CrcError: the answer cannot be read.
    """
    want = co2.checked_target(target_ppm, *TARGET_PPM)
    yield Transfer(command(RECALIBRATION, want), 0, DELAY_S)
    (has,) = yield from ask(RECALIBRATION, 1, DELAY_S)
    if has != want:
        raise CalibrationError(
            f"the forced recalibration was not taken: it says {has} ppm, not {want}"
        )


def identify() -> Identify:
    """Return whether an SCD30 answers: whether it calibrates itself, yes or no."""
    try:
        (on,) = yield from ask(SELF_CALIBRATION, 1, DELAY_S)
    except DriverError:
        return False
    return on in (0, 1)


def make(options: Mapping[str, Any]) -> Scd30:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return Scd30(
        altitude_m=opt.optional_number(options, "altitude_m", 0.0, 3000.0),
        temp_offset_c=opt.optional_number(options, "temp_offset_c", 0.0, 20.0),
    )


IDENTIFY = identify
PART = PartInfo(
    name="scd30",
    title="CO2 sensor (SCD30)",
    bus="i2c",
    gives={
        # Numbers of 32 bits; what is shown is coarser.  Noise: repeatability +-10 ppm,
        # +-0.1 °C, +-0.1 % (unverified).  Lag 20 s (a public driver quotes the sheet).
        # Stuck: numbers so fine differ at each reading; five minutes is room (own
        # figure).  Jump: breath on the sensor (common practice, no source).
        "co2_ppm": Gives(0.01, 10.0, 20.0, 300.0, 1000.0, FULL_SCALE_PPM),
        "temp_c": Gives(0.01, 0.1, 90.0, 600.0, 1.0),
        # Accuracy: 3 % (unverified).
        "rh_pct": Gives(0.01, 0.4, 90.0, 600.0, 10.0, 100.0, accuracy=3.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # 2 s to be ready (the maker's driver), then some values at 2 s each.
    warm_up_s=15.0,
    start_up_s=2.2,
    address=0x61,
    addresses=(0x61,),
    needs=("pressure_hpa",),
    options={
        "altitude_m": "height in m, 0 to 3000, for as long as no pressure is known",
        "temp_offset_c": "self-heating taken off, in °C, 0 to 20 (sensor: 0)",
    },
    # Life of fifteen years (unverified).
    service_years=15.0,
    range_c=RANGE_C,
)
