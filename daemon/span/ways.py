"""How each kind of part is spanned; one way a kind.

A kind that is not here cannot be spanned.  Nothing here touches a wire: what has to be
done on the part itself is named, and done by the command.
"""

from collections.abc import Generator, Mapping, Sequence
from typing import Any

from cabinvigil.daemon.span.found import (
    Deaf,
    Found,
    Options,
    SpanMethod,
    enough,
    without,
)
from cabinvigil.daemon.span.fresh_air import AirFound
from cabinvigil.daemon.span.oxygen import (
    RawCell,
    compare_optical,
    raw_module,
    take_cell,
    take_module,
)
from cabinvigil.drivers import co_cell_ads1115 as co_cell
from cabinvigil.drivers import frame9_co, frame9_co2, scd4x
from cabinvigil.drivers.kit.co_cold import relative_sensitivity
from cabinvigil.drivers.kit.steps import CalibrationError, PartInfo, Transfer

CO_STEADY_PPM = 3.0
"""Most difference of its readings: ten times the noise of its kinds (own choice)."""
CO2_STEADY_PPM = 150.0
"""The same of CO2: some noise, and a breath of wind (own choice)."""
FRAME9_ZERO_PPM = 400.0
FRAME9_RUN_S = 1200.0
"""A nine-byte CO2 module's zero: 400 ppm, after 20 minutes outdoors (sensors sheet,
12)."""
SECOND_YES_PPM = float(scd4x.CONFIRM_PPM)
"""A larger correction asks for a second yes."""


# --- carbon monoxide ---------------------------------------------------------


def _raw_co_module(info: PartInfo, options: Options) -> Any:
    # Told no warmth, it shows what the module itself says.
    return Deaf(info.make(without(options, "zero_ppm")))


def _take_co_module(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first: float | None,
) -> Found:
    del first
    ppm = enough(readings, CO_STEADY_PPM, "ppm")
    most = frame9_co.MOST_ZERO_PPM
    if abs(ppm) > most:
        raise CalibrationError(
            f"it shows {ppm:.1f} ppm, more than {most:g}: that is gas or a worn cell, "
            "not a zero"
        )
    zero_ppm = round(ppm, 2)
    warm = options.get("compensated", False) or air.temp_c is None
    here = 1.0 if warm else relative_sensitivity(air.temp_c)
    before = (ppm - float(options.get("zero_ppm", 0.0))) / here
    return Found(ppm, "ppm", before, (ppm - zero_ppm) / here, {"zero_ppm": zero_ppm})


def _raw_co_cell(info: PartInfo, options: Options) -> Any:
    return Deaf(info.make(without(options, "zero_na")))


def _take_co_cell(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first: float | None,
) -> Found:
    del first
    # The raw codec knows no temperature and no zero: this is its cell's current.
    sensitivity = float(
        options.get("sensitivity_na_per_ppm", co_cell.SENSITIVITY_NA_PER_PPM)
    )
    raw_ppm = enough(readings, CO_STEADY_PPM, "ppm")
    current_na = raw_ppm * sensitivity * relative_sensitivity(None)
    here = sensitivity * relative_sensitivity(air.temp_c)
    most = frame9_co.MOST_ZERO_PPM
    if abs(current_na) > most * sensitivity:
        raise CalibrationError(
            f"it gives {current_na:.0f} nA, as for {current_na / sensitivity:.1f} "
            f"ppm: more than {most:g} ppm are gas or a worn cell, not a zero"
        )
    zero_na = round(current_na, 2)
    before = (current_na - float(options.get("zero_na", 0.0))) / here
    after = (current_na - zero_na) / here
    return Found(current_na, "nA", before, after, {"zero_na": zero_na})


# --- carbon dioxide: on the part itself --------------------------------------


def _as_it_is(info: PartInfo, options: Options) -> Any:
    return info.make(options)


def _take_co2(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first: float | None,
) -> Found:
    del air, first
    ppm = enough(readings, CO2_STEADY_PPM, "ppm")
    target = float(options["target_ppm"])
    return Found(ppm, "ppm", ppm, target, correction_ppm=target - ppm)


WAYS: Mapping[str, SpanMethod] = {
    "o2_cell_ads1115": SpanMethod(
        "mv",
        "oxygen",
        "%",
        lambda info, options: RawCell(info.make(options)),
        take_cell,
    ),
    "o2_key_register": SpanMethod("o2_pct", "oxygen", "%", raw_module, take_module),
    "frame9_o2": SpanMethod("o2_pct", "oxygen", "%", raw_module, take_module),
    "o2_optical_line": SpanMethod(
        "o2_pct", "oxygen", "%", _as_it_is, compare_optical, kept=False
    ),
    "frame9_co": SpanMethod(
        "co_ppm", "carbon monoxide", "ppm", _raw_co_module, _take_co_module
    ),
    "co_cell_ads1115": SpanMethod(
        "co_ppm", "carbon monoxide", "ppm", _raw_co_cell, _take_co_cell
    ),
    "scd4x": SpanMethod(
        "co2_ppm",
        "carbon dioxide",
        "ppm",
        _as_it_is,
        _take_co2,
        "steps",
        scd4x.RUN_BEFORE_RECALIBRATION_S,
    ),
    "frame9_co2": SpanMethod(
        "co2_ppm",
        "carbon dioxide",
        "ppm",
        _as_it_is,
        _take_co2,
        "bytes",
        FRAME9_RUN_S,
    ),
}
"""By kind."""


def target_ppm(kind: str, outdoor_ppm: float, at_hpa: float | None = None) -> float:
    """Return what a part gives in fresh air once it is recalibrated, in ppm.

    The nine-byte module knows one word only, that the air has 400 ppm, and no pressure:
    what it then shows in thin air is more of it, as its driver has it.

    Args:
        kind: the part's.
        outdoor_ppm: of fresh air.
        at_hpa: air pressure as the part is told it; None where it is not.
    """
    if kind == "frame9_co2":
        return frame9_co2.corrected(FRAME9_ZERO_PPM, at_hpa)
    low, high = scd4x.TARGET_PPM
    return float(round(min(max(outdoor_ppm, low), high)))


def transfers(target_ppm: float) -> Generator[Transfer, bytes, int]:
    """Recalibrate an SCD4x; returns its own correction in ppm."""
    return scd4x.recalibrate(round(target_ppm))


def line_bytes() -> bytes:
    """Spell what recalibrates a nine-byte CO2 module, for good."""
    return frame9_co2.zero_command()
