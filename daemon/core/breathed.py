"""The air as bodies meet it: its pressure, and the oxygen that they get of it."""

from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.air.atmosphere import O2_DRY_PCT, SEA_LEVEL_HPA, pressure_hpa
from cabinvigil.daemon.air.blood import REST, Body, at_air
from cabinvigil.daemon.core.history import History, take


def air_hpa(history: History) -> float | None:
    """Return the air's pressure: measured, else the standard one of the height.

    Returns:
        None where neither a part nor the config tells it.
    """
    for key in history.layout.index("pressure_hpa"):
        series = history.fresh(key)
        if series is not None and not series.doubtful:
            return series.value
    altitude_m = history.layout.surroundings.altitude_m
    return None if altitude_m is None else pressure_hpa(altitude_m)


def _least_o2_pct(history: History) -> float | None:
    """Return the least oxygen that a part gives and may be believed."""
    values = [
        series.value
        for key in history.layout.index("o2_pct")
        if (series := history.fresh(key)) is not None and not series.doubtful
    ]
    return min(values, default=None)


def bodies(history: History) -> tuple[Body, Mapping[str, Body]]:
    """Return an adult at rest, and the others who sleep here, in the present air.

    Thin air, and air poor in oxygen, let carbon monoxide bind harder.
    """
    others = history.layout.surroundings.others
    measured_hpa, o2_pct = air_hpa(history), _least_o2_pct(history)
    if measured_hpa is None and o2_pct is None:
        return REST, others
    at_hpa = SEA_LEVEL_HPA if measured_hpa is None else measured_hpa
    share_pct = O2_DRY_PCT if o2_pct is None else o2_pct
    return (
        at_air(REST, at_hpa, share_pct),
        {name: at_air(body, at_hpa, share_pct) for name, body in others.items()},
    )


def with_partial_pressure(history: History) -> History:
    """Return the history with the oxygen partial pressure that no part gives.

    It is worked out as the oxygen comes in, of that and the air's pressure.
    """
    at_hpa = air_hpa(history) if history.layout.made else None
    if at_hpa is None:
        return history
    series = dict(history.series)
    for key in history.layout.made:
        spec = history.layout.series[key]
        oxygen = history.series[spec.made_of]
        if oxygen.at_s == history.now:
            value = oxygen.value / 100.0 * at_hpa
            series[key] = take(
                spec, series[key], value, history.now, doubtful=oxygen.doubtful
            )
    return replace(history, series=series)
