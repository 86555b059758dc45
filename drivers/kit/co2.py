"""What parts that measure CO2 share: pressure told, ends, calibration kept off."""

from collections.abc import Generator

from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    NotMeasuredError,
    Quality,
    Sample,
    Transfer,
)
from cabinvigil.drivers.kit.words import ask, command

PRESSURE_SHARE_PER_KPA = 0.016
"""An infrared module that knows no pressure counts molecules, not shares: about 1.6 %
more for each kPa (three makers' sheets, as public pages quote them)."""
STANDARD_HPA = 1013.25
LEAST_HPA = 700.0
"""The straight line is drawn no further down, about 3000 m (our choice): at 388 hPa it
would divide by nothing."""
FAILED = 0xFFFF
"""Answer to a forced recalibration that failed (SCD4x v1.3 p. 13, table 18)."""
ZERO_CORRECTION = 0x8000
"""Answer that stands for a correction of 0 ppm (the same)."""


def corrected(raw_ppm: float, hpa: float | None) -> float:
    """Return the share of the air, in ppm, of what a module shows.

    Args:
        raw_ppm: as it shows it.
        hpa: air pressure; None is not known, and taken for the sea's.
    """
    hpa = STANDARD_HPA if hpa is None else max(hpa, LEAST_HPA)
    return raw_ppm / (1 + PRESSURE_SHARE_PER_KPA * (hpa - STANDARD_HPA) / 10)


def co2_sample(
    shown_ppm: float,
    full_scale_ppm: float,
    quality: tuple[Quality, str],
    air_ppm: float | None = None,
) -> Sample:
    """Judge what a part shows.

    Args:
        shown_ppm: as it shows it.
        full_scale_ppm: where it ends.
        quality: what its conditions leave, and why it is not good.
        air_ppm: the air's share, where that differs from what it shows.

    Raises:
        NotMeasuredError: 0 ppm, which is never air.
    """
    if shown_ppm == 0:
        raise NotMeasuredError("it reports 0 ppm of CO2, which no air has")
    if shown_ppm >= full_scale_ppm:
        quality = "at-least", "the sensor is at full scale"
    return Sample("co2_ppm", shown_ppm if air_ppm is None else air_ppm, *quality)


def with_own_air(
    co2_ppm: float,
    temp_c: float,
    rh_pct: float,
    full_scale_ppm: float,
    air: Conditions,
    doubt: str = "",
) -> list[Sample]:
    """Judge a reading of a part with a thermometer and a hygrometer of its own.

    Args:
        co2_ppm: as it shows it.
        temp_c: in °C.
        rh_pct: in %.
        full_scale_ppm: where its CO2 ends.
        air: what it is made for.
        doubt: why the reading is doubtful, whatever its air.

    Raises:
        NotMeasuredError: 0 ppm, which is never air.
    """
    air.inform("temp_c", temp_c)
    air.inform("rh_pct", rh_pct)
    quality = air.quality()
    if doubt and quality[0] == "good":
        quality = "outside-range", doubt
    return [
        co2_sample(co2_ppm, full_scale_ppm, quality),
        Sample("temp_c", temp_c, *quality),
        Sample("rh_pct", rh_pct, *quality),
    ]


class PressureToTell:
    """The air pressure that a part is to be told, and the one that it was told last.

    What is not known any more stays as it was: yesterday's pressure is nearer to the
    truth than the sea's, for which a part would take it that is told none.
    """

    def __init__(self, range_hpa: tuple[float, float], step_hpa: int = 1) -> None:
        """Take what the part accepts, and from which difference on it is told again."""
        self._range_hpa, self._step_hpa = range_hpa, step_hpa
        self._hpa: int | None = None
        self._sent_hpa: int | None = None

    @property
    def hpa(self) -> int | None:
        """The pressure now; None where it was never known."""
        return self._hpa

    def inform(self, quantity: str, value: float) -> None:
        """Take another part's value; what is no pressure for it is passed over."""
        low, high = self._range_hpa
        if quantity == "pressure_hpa" and low <= value <= high:
            self._hpa = round(value)

    def due(self) -> int | None:
        """Return the pressure to be told now; None where the part knows it."""
        if self._hpa is None or self._sent_hpa is None:
            return self._hpa
        apart_hpa = abs(self._hpa - self._sent_hpa)
        return self._hpa if apart_hpa >= self._step_hpa else None

    def sent(self, hpa: int | None) -> None:
        """Take note of what the part was told; None where it has forgotten it."""
        self._sent_hpa = hpa


def self_calibration_off(
    read: int, write: int, delay_s: float
) -> Generator[Transfer, bytes, bool]:
    """Switch self-calibration off and see that it is; return whether it was on.

    It takes the lowest value of some days for fresh air; where people sleep every night
    there is none, and readings drift low.  It is written only where it is on: the
    memory of such parts does not take writing without end.

    Args:
        read: the command that asks whether it is on.
        write: the command that sets it.
        delay_s: what both take.

    Raises:
        CalibrationError: it stays on.
        ShortError, LengthError, CrcError: an answer cannot be read.
    """
    (on,) = yield from ask(read, 1, delay_s)
    if not on:
        return False
    yield Transfer(command(write, 0), 0, delay_s)
    (on,) = yield from ask(read, 1, delay_s)
    if on:
        raise CalibrationError(
            "self-calibration stays on though switched off: values will drift low"
        )
    return True


def checked_target(target_ppm: int, low_ppm: int, high_ppm: int) -> int:
    """Return what a forced recalibration is to take the air for.

    Raises:
        CalibrationError: no air to recalibrate in has that.
    """
    if not low_ppm <= target_ppm <= high_ppm:
        raise CalibrationError(
            f"a target of {target_ppm} ppm is outside {low_ppm} to "
            f"{high_ppm} ppm: fresh outdoor air is about 425 ppm"
        )
    return target_ppm


def correction_ppm(word: int) -> int:
    """Read the answer to a forced recalibration, in ppm.

    Raises:
        CalibrationError: the part says that it failed.
    """
    if word == FAILED:
        raise CalibrationError(
            "the forced recalibration failed: let the sensor run three minutes "
            "in constant air, then try again"
        )
    return word - ZERO_CORRECTION
