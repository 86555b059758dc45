"""A night's gas, water, warmth and dose as they are written, once for text and page."""

from dataclasses import dataclass

from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.text.numbers import fixed

UNSURE = "it may have been lit: the log begins in air that had settled before"


@dataclass(frozen=True, slots=True)
class GasAndWater:
    """What was burnt, and where its water went."""

    gas_kg: str
    gas_kwh: str
    gas_kwh_middle: str
    burner: str
    """Its power and hours, or what is not known of them; '' where it was never lit."""
    cylinder_h: str
    """Hours that a full cylinder lasts; '' where it is not known."""
    cylinder_left_h: str
    """The same, after this night."""
    water_made_kg: str
    water_carried_kg: str
    water_left_kg: str


def gas_and_water(found: Morning) -> GasAndWater | None:
    """Write the night's totals; None where they cannot be told."""
    totals, lasts, left = found.whole.totals, found.cylinder_h, found.cylinder_left_h
    if totals is None:
        return None
    units = found.units
    power = f"{units.spread('kw', totals.burn_kw)} {units.sign('kw')}"
    burner = f"{power} for {totals.lit_h:.1f} h"
    if totals.unsure_h > 0.0:
        sure = f"lit for {totals.lit_h:.1f} h; " if totals.lit_h > 0.0 else ""
        burner = f"{sure}for {totals.unsure_h:.1f} h {UNSURE}"
    return GasAndWater(
        units.spread("kg", totals.gas_kg),
        units.fixed("kwh", totals.gas_kwh, 1),
        units.figure("kwh", totals.gas_kwh[1]),
        burner if totals.lit_h + totals.unsure_h > 0.0 else "",
        "" if lasts is None else fixed(lasts, 0),
        "" if left is None else fixed(left, 0),
        units.fixed("kg", totals.water_made_kg, 1),
        units.fixed("kg", totals.water_carried_kg, 1),
        units.fixed("kg", totals.water_left_kg, 1),
    )


def glass(found: Morning) -> str:
    """Write how wet the glass was; '' where it is not known."""
    comfort = found.comfort
    margin_c = comfort.glass_margin_c
    if margin_c is None:
        return ""
    side = "above" if margin_c >= 0.0 else "below"
    unit = "k" if found.units.is_us else "c"  # a difference, whatever its sign
    worst = f"at worst {found.units.said(unit, abs(margin_c), 1)} {side} the dew point"
    return f"wet for {comfort.wet_h:.1f} h; {worst}"


def inside(found: Morning) -> str:
    """Write how warm it was, without the last unit; '' where it is not known."""
    if found.comfort.temp_c is None:
        return ""
    low, middle, high = found.comfort.temp_c
    number = found.units.number
    span = f"{number('c', low)} to {found.units.said('c', high)}"
    return f"{span}, mean {number('c', middle)}"


def blood(found: Morning) -> str:
    """Write the most carbon monoxide in the blood; '' where it is not known."""
    peak_pct = found.breathed.cohb_peak_pct
    return "" if peak_pct is None else f"at most {peak_pct:.1f} %"


def mean_co2(found: Morning) -> str:
    """Write the mean carbon dioxide; '' where it is not known."""
    mean_ppm = found.breathed.co2_mean_ppm
    return "" if mean_ppm is None else f"{mean_ppm:.0f} ppm"
