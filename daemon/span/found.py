"""What a span of one part is made of: the way it is done, and what comes of it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean
from typing import Any, Literal

from cabinvigil.daemon.core.model import EMPTY
from cabinvigil.daemon.span.fresh_air import AirFound
from cabinvigil.drivers.kit.steps import CalibrationError, PartInfo

Options = Mapping[str, Any]

FEWEST = 5
"""Readings that any span needs (as the oxygen cell's own)."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a span makes of one part."""

    signal: float
    unit: str
    before: float | None
    """What it showed with the old options, None where it showed nothing."""
    after: float
    """What it shows with the new ones, or once the part itself has done its own."""
    options: Mapping[str, float | str] = field(default_factory=lambda: EMPTY)
    warnings: tuple[str, ...] = ()
    correction_ppm: float | None = None
    """How far a recalibration on the part itself moves it."""


Take = Callable[[Options, Sequence[float], AirFound, float | None], Found]
"""From options, raw readings, the air and the first signal ever kept.

Raises:
    CalibrationError: the readings allow no span.
"""


@dataclass(frozen=True, slots=True)
class SpanMethod:
    """How one kind is spanned."""

    quantity: str
    """The quantity of the raw codec's samples."""
    words: str
    unit: str
    raw: Callable[[PartInfo, Options], Any]
    """Makes a codec that gives the signal before any calibration."""
    take: Take
    on_part: Literal["", "steps", "bytes"] = ""
    """The part itself is recalibrated: by transfers, or by bytes on its line."""
    run_s: float = 180.0
    """It must have measured in this air for so long."""
    kept: bool = True
    """False: nothing can be set, so it is only compared."""


def without(options: Options, *names: str) -> dict[str, Any]:
    """Return the options without some."""
    return {key: value for key, value in options.items() if key not in names}


def enough(readings: Sequence[float], most: float, unit: str) -> float:
    """Return the mean of steady readings.

    Raises:
        CalibrationError: they are too few, or not steady.
    """
    if len(readings) < FEWEST:
        raise CalibrationError(
            f"{len(readings)} readings are too few: a calibration needs {FEWEST}"
        )
    if max(readings) - min(readings) > most:
        raise CalibrationError(
            f"the readings run from {min(readings):.2f} to {max(readings):.2f} {unit}: "
            "wait for steady air"
        )
    return fmean(readings)


def air_options(air: AirFound) -> dict[str, float]:
    """Return the driver's options that tell of the air of a span."""
    options = {"air_o2_pct": round(air.o2_pct, 3)}
    if air.measured_hpa is not None:
        options["air_hpa"] = round(air.measured_hpa, 2)
    return options


class Deaf:
    """A codec that is told nothing of others: it gives what it measures."""

    def __init__(self, codec: Any) -> None:
        self._codec = codec

    def __getattr__(self, name: str) -> Any:
        return getattr(self._codec, name)

    def inform(self, quantity: str, value: float) -> None:
        """Take no note."""


def raw_without(*names: str) -> Callable[[PartInfo, Options], Any]:
    """Return what makes a codec that shows what the part itself gives.

    Args:
        names: the options that correct it; told no warmth, it does not by that either.
    """
    return lambda info, options: Deaf(info.make(without(options, *names)))
