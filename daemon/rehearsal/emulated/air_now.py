"""What there is to be sensed at one moment, where the parts hang."""

from dataclasses import dataclass

from cabinvigil.daemon.air.figures import FRESH_CO2_PPM


@dataclass(frozen=True, slots=True)
class AirNow:
    """The true state of the air and of what else the parts watch."""

    o2_pct: float = 20.67
    """Wet, as breathed: 20.95 % of dry air with 1.3 % vapour (15 °C, 75 %RH)."""
    co2_ppm: float = FRESH_CO2_PPM
    co_ppm: float = 0.0
    temp_c: float = 15.0
    rh_pct: float = 75.0
    """Above 100: fog, and wet surfaces."""
    pressure_hpa: float = 939.0
    """640 m above the sea in the standard atmosphere (ISO 2533: 938.8)."""
    glass_c: float = 2.0
    """The inner surface of the window."""
    outside_c: float | None = None
    """Outdoors, for parts that hang there; None: as inside, the doors are open."""
    outside_rh_pct: float = 75.0
    pm2_5_ugm3: float = 8.0
    gas_lel_pct: float = 0.0
    voc_ppb: float = 150.0
    nox_ppb: float = 20.0
    supply_v: float = 12.6
    supply_a: float = -0.4
    """Into the battery; negative while it is drawn from."""
    charge_pct: float = 80.0
    """Of the lithium cell behind a gauge."""
    cell_c: float | None = None
    """Where the gas cells hang, if that is not at `temp_c`."""
    membrane_behind_k: float = 0.0
    """How much colder the membrane of a galvanic cell is than its own thermistor."""
    contacts: frozenset[str] = frozenset()
    """What contacts tell of: `smoke` while the smoke alarm rings, and the like."""
