"""What a sensor in the cabin would read, of the cabin's state."""

from cabinvigil.daemon.air.moisture import dew_point_of_hpa
from cabinvigil.daemon.air.moisture import rh_pct as humidity_pct
from cabinvigil.daemon.air.zone import Zone, ZoneState


def o2_pct(state: ZoneState) -> float:
    """Return oxygen as breathed, and as a cell in the room reads it: wet."""
    return 100.0 * state.o2


def o2_dry_pct(state: ZoneState) -> float:
    """Return oxygen of the dried gas, as laboratories publish it."""
    return 100.0 * state.o2 / (1.0 - state.h2o)


def o2_hpa(zone: Zone, state: ZoneState) -> float:
    """Return oxygen's partial pressure, which altitude and weather move too."""
    return state.o2 * zone.pressure_hpa


def co2_ppm(state: ZoneState) -> float:
    """Return carbon dioxide as breathed."""
    return 1e6 * state.co2


def co_ppm(state: ZoneState) -> float:
    """Return carbon monoxide as breathed."""
    return 1e6 * state.co


def vapour_pressure_hpa(zone: Zone, state: ZoneState) -> float:
    """Return the vapour's partial pressure."""
    return state.h2o * zone.pressure_hpa


def rh_pct(zone: Zone, state: ZoneState) -> float:
    """Return the relative humidity, over water."""
    return humidity_pct(state.temp_c, vapour_pressure_hpa(zone, state))


def dew_point_c(zone: Zone, state: ZoneState) -> float:
    """Return the dew point, below 0 °C the frost point."""
    return dew_point_of_hpa(vapour_pressure_hpa(zone, state))
