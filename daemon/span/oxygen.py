"""How oxygen parts are spanned: a cell by its millivolts, a module by what it shows."""

from collections.abc import Generator, Sequence

from cabinvigil.daemon.span.found import (
    Deaf,
    Found,
    Options,
    air_options,
    enough,
    raw_without,
)
from cabinvigil.daemon.span.fresh_air import AirFound
from cabinvigil.drivers import o2_amplified_ads1115, o2_cell_ads1115
from cabinvigil.drivers.kit.air_span import (
    AIR_READING_PCT,
    MODULE_OPTIONS,
    SEA_LEVEL_HPA,
    gives_share,
    module_span,
)
from cabinvigil.drivers.kit.galvanic import WORN_SHARE, CellSignal, cell_of
from cabinvigil.drivers.kit.steps import CalibrationError, Sample, Transfer

MODULE_STEADY_PCT = 0.3
"""Most difference of an oxygen module's readings: three of its steps of 0.1 %, or some
noise of the finer one (our choice)."""
NEW_CELL_MV = 9.0
"""A new galvanic cell gives at least this in 210 mbar of oxygen (sensors sheet, 7a)."""
STANDARD_O2_HPA = 210.0
OPTICAL_CLASS_PCT = 0.6
"""2 % of full scale, at sea level (sensors sheet, 11)."""
NEAR_THE_END = WORN_SHARE + 0.15
"""Share of the first signal from which on a span warns (our choice)."""


class RawCell(Deaf):
    """The oxygen cell's codec, giving millivolts."""

    def poll(self) -> Generator[Transfer, bytes, list[Sample]]:
        """Read the millivolts alone."""
        mv = yield from self._codec.read_mv()
        return [Sample("mv", mv)]


def _cell_shows(
    signal: CellSignal, options: Options, mv: float, air: AirFound
) -> float | None:
    """Return what the driver makes of this signal in this air."""
    cell = cell_of(signal, options)
    if cell.span is None:
        return None
    return cell.span.percent(cell.signal(mv, air.temp_c), air.pressure_hpa)[0]


def take_cell(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first_mv: float | None,
) -> Found:
    """Span a bare cell; see `Take`."""
    signal = o2_cell_ads1115.SIGNAL
    mv = signal.span(readings, first_mv)
    weak = [*_weak(mv, air), *_worn(mv, first_mv)]
    return _take(signal, options, mv, air, weak)


def take_amplified(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first_mv: float | None,
) -> Found:
    """Span a cell behind an amplifier, of which nobody knows the gain; see `Take`."""
    signal = o2_amplified_ads1115.SIGNAL
    mv = signal.span(readings, first_mv)
    return _take(signal, options, mv, air, _worn(mv, first_mv))


def _take(
    signal: CellSignal,
    options: Options,
    mv: float,
    air: AirFound,
    warnings: Sequence[str],
) -> Found:
    """Keep a cell's signal, and the air that it was in."""
    new = {"air_mv": round(mv, 4)} | air_options(air) | _barrier(options)
    if air.temp_c is not None:
        new["air_temp_c"] = round(air.temp_c, 2)
    after = _cell_shows(signal, {**options, **new}, mv, air)
    return Found(
        mv,
        "mV",
        _cell_shows(signal, options, mv, air),
        air.o2_pct if after is None else after,
        new,
        (*warnings, *_unknown(air)),
    )


def _weak(mv: float, air: AirFound) -> list[str]:
    """Warn of a bare cell that is still taken, and gives less than any new one."""
    o2_hpa = air.o2_pct / 100.0 * (air.pressure_hpa or 1013.25)
    at_210 = mv * STANDARD_O2_HPA / o2_hpa
    if at_210 >= NEW_CELL_MV:
        return []
    text = (
        f"a weak cell: {at_210:.1f} mV in {STANDARD_O2_HPA:g} hPa of oxygen, a new "
        f"one gives {NEW_CELL_MV:g} to 13; have another ready"
    )
    return [text]


def _worn(mv: float, first_mv: float | None) -> list[str]:
    """Warn of a cell that is near its end, by its own first span."""
    if first_mv is None or mv >= NEAR_THE_END * first_mv:
        return []
    share = f"{mv / first_mv:.0%} of its first calibration"
    return [f"it gives {share}; at {WORN_SHARE:.0%} it is worn out"]


raw_module = raw_without(*MODULE_OPTIONS)


def _module_shows(options: Options, reading: float, air: AirFound) -> float:
    return module_span(options).percent(reading, air.pressure_hpa)[0]


def take_module(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first: float | None,
) -> Found:
    """Span a module that shows percent; see `Take`."""
    reading = enough(readings, MODULE_STEADY_PCT, "%")
    low, high = AIR_READING_PCT
    if air.pressure_hpa is not None and not gives_share(options):
        low *= min(1.0, air.pressure_hpa / SEA_LEVEL_HPA)
    if not low <= reading <= high:
        raise CalibrationError(
            f"it shows {reading:.1f} % in fresh air, outside {low:.3g} to {high:g} %: "
            "its cell is worn out, or it is not a module of this kind"
        )
    new = {"air_reading_pct": round(reading, 3)} | air_options(air) | _barrier(options)
    warnings = []
    if first is not None and reading < NEAR_THE_END * first:
        warnings.append(
            f"its signal is {reading / first:.0%} of that at its first calibration"
        )
    return Found(
        reading,
        "%",
        _module_shows(options, reading, air),
        _module_shows({**options, **new}, reading, air),
        new,
        (*warnings, *_unknown(air)),
    )


def _barrier(options: Options) -> dict[str, str]:
    """Return what a span keeps of what its cell senses; nothing of a membrane."""
    return {"barrier": "capillary"} if gives_share(options) else {}


def _unknown(air: AirFound) -> list[str]:
    """Report that the vapour of the air was not known, and what that may make."""
    if air.rh_pct is not None and air.temp_c is not None:
        return []
    # Saturated air of 25 °C at the sea: 20.3 % (design, 5).
    taken = f"the humidity was not known: {air.o2_pct:g} % was assumed for fresh air"
    return [f"{taken}, and warm, damp air holds up to 0.6 % less"]


def compare_optical(
    options: Options,
    readings: Sequence[float],
    air: AirFound,
    first: float | None,
) -> Found:
    """Compare an optical part, which has nothing to set; see `Take`."""
    del options, first
    reading = enough(readings, MODULE_STEADY_PCT, "%")
    warnings = []
    if abs(reading - air.o2_pct) > OPTICAL_CLASS_PCT:
        warnings.append(
            f"it is off by {reading - air.o2_pct:+.2f} %, beyond its class of "
            f"{OPTICAL_CLASS_PCT:g} %, and cannot be adjusted: return it to its maker"
        )
    return Found(reading, "%", reading, reading, warnings=tuple(warnings))
