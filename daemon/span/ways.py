"""How each kind of part is spanned; one way a kind.

A kind that is not here cannot be spanned.  Nothing here touches a wire: what has to be
done on the part itself is named, and done by the command.
"""

from collections.abc import Callable, Generator, Mapping, Sequence
from typing import Any

from cabinvigil.daemon.span.found import (
    Found,
    Options,
    SpanMethod,
    enough,
    raw_without,
)
from cabinvigil.daemon.span.fresh_air import AirFound
from cabinvigil.daemon.span.oxygen import (
    RawCell,
    compare_optical,
    raw_module,
    take_amplified,
    take_cell,
    take_module,
)
from cabinvigil.drivers import co_cell_ads1115 as co_cell
from cabinvigil.drivers import (
    frame9_co,
    frame9_co2,
    frame9_gas,
    gas_bead_ads1115,
    modbus_co2,
    scd4x,
    scd30,
    sen6x,
    stcc4,
)
from cabinvigil.drivers.kit import co2
from cabinvigil.drivers.kit.co_cold import relative_sensitivity
from cabinvigil.drivers.kit.steps import CalibrationError, PartInfo, Transfer

CO_STEADY_PPM = 3.0
"""Most difference of its readings: ten times the noise of its kinds (our choice)."""
GAS_STEADY_LEL_PCT, GAS_STEADY_MV = 1.5, 0.5
"""The same of gas: a module's one count and a half, a bridge's noise (our choice)."""
CO2_STEADY_PPM = 150.0
"""The same of CO2: some noise, and a breath of wind (our choice)."""
ZERO_PPM = 400.0
FRAME9_RUN_S = 1200.0
"""What a CO2 module on a line takes fresh air for, after 20 minutes outdoors (sensors
sheet, 12; a public driver of the Modbus ones)."""
SECOND_YES_PPM = float(scd4x.CONFIRM_PPM)
"""A larger correction asks for a second yes."""


# --- carbon monoxide ---------------------------------------------------------


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


# --- unburnt gas -------------------------------------------------------------


def _take_gas_module(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first: float | None,
) -> Found:
    del air, first
    pct = enough(readings, GAS_STEADY_LEL_PCT, "% LEL")
    most = frame9_gas.MOST_ZERO_LEL_PCT
    if pct > most:
        raise CalibrationError(
            f"it shows {pct:.1f} % LEL, more than {most:g}: that is gas, or a module "
            "for its maker, and no zero"
        )
    zero_pct = round(pct, 2)
    before = pct - float(options.get("zero_lel_pct", 0.0))
    return Found(pct, "% LEL", before, pct - zero_pct, {"zero_lel_pct": zero_pct})


def _take_gas_beads(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first: float | None,
) -> Found:
    del air, first
    mv = enough(readings, GAS_STEADY_MV, "mV")
    most = gas_bead_ads1115.MOST_ZERO_MV
    if abs(mv) > most:
        raise CalibrationError(
            f"it gives {mv:.1f} mV, more than {most:g}: that is gas or a worn bridge, "
            "and no zero"
        )
    new = {"zero_mv": round(mv, 3)}
    before = gas_bead_ads1115.bead_of(options).lel_pct(mv)
    after = gas_bead_ads1115.bead_of({**options, **new}).lel_pct(mv)
    return Found(mv, "mV", before, after, new)


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
    "o2_amplified_ads1115": SpanMethod(
        "mv",
        "oxygen",
        "%",
        lambda info, options: RawCell(info.make(options)),
        take_amplified,
    ),
    "o2_key_register": SpanMethod("o2_pct", "oxygen", "%", raw_module, take_module),
    "frame9_o2": SpanMethod("o2_pct", "oxygen", "%", raw_module, take_module),
    "o2_optical_line": SpanMethod(
        "o2_pct", "oxygen", "%", _as_it_is, compare_optical, kept=False
    ),
    "frame9_co": SpanMethod(
        "co_ppm", "carbon monoxide", "ppm", raw_without("zero_ppm"), _take_co_module
    ),
    "co_named_i2c": SpanMethod(
        "co_ppm", "carbon monoxide", "ppm", raw_without("zero_ppm"), _take_co_module
    ),
    "co_named_line": SpanMethod(
        "co_ppm", "carbon monoxide", "ppm", raw_without("zero_ppm"), _take_co_module
    ),
    "frame9_gas": SpanMethod(
        "gas_lel_pct",
        "unburnt gas",
        "% LEL",
        raw_without("zero_lel_pct"),
        _take_gas_module,
    ),
    "gas_bead_ads1115": SpanMethod(
        "mv",
        "unburnt gas",
        "% LEL",
        lambda info, options: RawCell(info.make(options)),
        _take_gas_beads,
    ),
    "co_cell_ads1115": SpanMethod(
        "co_ppm", "carbon monoxide", "ppm", raw_without("zero_na"), _take_co_cell
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
    "scd30": SpanMethod(
        "co2_ppm",
        "carbon dioxide",
        "ppm",
        _as_it_is,
        _take_co2,
        "steps",
        scd30.RUN_BEFORE_RECALIBRATION_S,
    ),
    "sen6x": SpanMethod(
        "co2_ppm",
        "carbon dioxide",
        "ppm",
        _as_it_is,
        _take_co2,
        "steps",
        sen6x.RUN_BEFORE_RECALIBRATION_S,
    ),
    "stcc4": SpanMethod(
        "co2_ppm",
        "carbon dioxide",
        "ppm",
        _as_it_is,
        _take_co2,
        "steps",
        stcc4.RUN_BEFORE_RECALIBRATION_S,
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
    "modbus_co2": SpanMethod(
        "co2_ppm",
        "carbon dioxide",
        "ppm",
        _as_it_is,
        _take_co2,
        "bytes",
        modbus_co2.BACKGROUND_RUN_S,
    ),
}
"""By kind."""


Recalibrate = Callable[[int], Generator[Transfer, bytes, object]]
BY_STEPS: Mapping[str, tuple[Recalibrate, tuple[int, int]]] = {
    "scd30": (scd30.recalibrate, scd30.TARGET_PPM),
    "scd4x": (scd4x.recalibrate, scd4x.TARGET_PPM),
    "sen6x": (sen6x.recalibrate, sen6x.TARGET_PPM),
    "stcc4": (stcc4.recalibrate, stcc4.TARGET_PPM),
}
"""By kind, how it is recalibrated to what it is told, and between which ends."""
BY_BYTES: Mapping[str, Callable[[], bytes]] = {
    "frame9_co2": frame9_co2.zero_command,
    "modbus_co2": modbus_co2.zero_command,
}
"""By kind, what is sent to it; such a module takes the air for `ZERO_PPM`."""


def target_ppm(kind: str, outdoor_ppm: float, at_hpa: float | None = None) -> float:
    """Return what a part gives in fresh air once it is recalibrated, in ppm.

    A module on a line knows one word only, that the air has 400 ppm, and no pressure:
    what it then shows in thin air is more of it, as its driver has it.

    Args:
        kind: the part's.
        outdoor_ppm: of fresh air.
        at_hpa: air pressure as the part is told it; None where it is not.
    """
    if kind in BY_BYTES:
        return co2.corrected(ZERO_PPM, at_hpa)
    low, high = BY_STEPS[kind][1]
    return float(round(min(max(outdoor_ppm, low), high)))


def transfers(kind: str, target_ppm: float) -> Generator[Transfer, bytes, object]:
    """Recalibrate a part on I2C, by its kind."""
    return BY_STEPS[kind][0](round(target_ppm))


def line_bytes(kind: str) -> bytes:
    """Format what recalibrates a module on a line, for good, by its kind."""
    return BY_BYTES[kind]()
