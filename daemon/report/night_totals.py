"""A night's gas, water, warmth and dose as they are written, once for text and page."""

from dataclasses import dataclass

from cabinvigil.daemon.review.airflow.balance import Triple
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.stretches import Totals
from cabinvigil.daemon.text.numbers import fixed
from cabinvigil.daemon.text.units_said import SI, Units

DRY_KG = 0.05
"""Less is a wiped pane (our choice)."""
LEAST_SHARE = 0.5
"""A low end below this share of the middle makes the middle no figure (our choice)."""
BOUNDED = "CO2 was not measured, or its sensor at the end of its range,"
UNSURE = "it may have been lit: the log begins in air that had settled before"


@dataclass(frozen=True, slots=True)
class GasAndWater:
    """What was burnt, and where its water went."""

    gas_kg: str
    gas_kwh: str
    gas_kwh_middle: str
    """With its comma and unit; '' where it is only bounded."""
    burner: str
    """Its power and hours, or what is not known of them; '' where it was never lit."""
    cylinder_h: str
    """Hours that a full cylinder lasts; '' where it is not known."""
    cylinder_left_h: str
    """The same, after this night."""
    water_made_kg: str
    water_carried_kg: str
    water_left: str
    """In words: dry, at most so much, or a figure."""


def gas_and_water(found: Morning) -> GasAndWater | None:
    """Write the night's totals; None where they cannot be told."""
    totals, lasts, left = found.whole.totals, found.cylinder_h, found.cylinder_left_h
    if totals is None:
        return None
    units = found.units
    power = f"{units.spread('kw', totals.burn_kw)} {units.sign('kw')}"
    burner = f"{power} for {totals.lit_h:.1f} h"
    sure = f"lit for {totals.lit_h:.1f} h; " if totals.lit_h > 0.0 else ""
    if totals.unsure_h > 0.0:
        burner = f"{sure}for {totals.unsure_h:.1f} h {UNSURE}"
    elif totals.bounded_h > 0.0:
        burner = sure.removesuffix("; ")
    if totals.bounded_h > 0.0:
        after = "; " if burner else ""
        burner = f"{burner}{after}{BOUNDED} for {totals.bounded_h:.1f} h"
    return GasAndWater(
        _at_least(totals, "kg", totals.gas_kg, units),
        _at_least(totals, "kwh", totals.gas_kwh, units),
        ""
        if totals.bounded_h
        else f", {units.figure('kwh', totals.gas_kwh[1])} {units.sign('kwh')}",
        "" if is_never_lit(totals) else burner,
        "" if lasts is None else fixed(lasts, 0),
        "" if left is None else fixed(left, 0),
        _at_least(totals, "kg", totals.water_made_kg, units),
        units.fixed("kg", totals.water_carried_kg, 1),
        water_left(totals.water_left_kg, units),
    )


def is_never_lit(totals: Totals) -> bool:
    """Return whether no gas was burnt, as far as the air shows."""
    return totals.lit_h + totals.unsure_h + totals.bounded_h <= 0.0


def _at_least(totals: Totals, unit: str, triple: Triple, units: Units) -> str:
    """Write a sum, or its bound where a part of the night cannot be told."""
    if totals.bounded_h:
        return f"at least {units.figure(unit, triple[0])}"
    return units.spread(unit, triple)


def is_left_known(left_kg: Triple) -> bool:
    """Return whether the middle is a figure of use, and not only a bound."""
    low, middle, _ = left_kg
    return low >= max(LEAST_SHARE * middle, DRY_KG)


def water_left(left_kg: Triple, units: Units = SI) -> str:
    """Return what water stayed: dry, a bound, or a figure; never less than nothing."""
    high = left_kg[2]
    if high < DRY_KG:
        return "dry: nothing stayed on walls and in bedding"
    if not is_left_known(left_kg):
        return f"at most {units.said('kg', high, 1)} left on walls and in bedding"
    told = f"{units.fixed('kg', left_kg, 1)} {units.sign('kg')}"
    return f"{told} left on walls and in bedding"


def rests_on(found: Morning) -> str:
    """Return what the figures of air, gas and water were worked out from."""
    totals, air = found.whole.totals, found.air
    if totals is None:
        return ""
    measured = ["CO2"]
    measured += ["warmth"] * any(one is not None for one in air.temp_c)
    measured += ["oxygen"] * bool(found.tape.keys("o2_pct", ""))
    measured += ["humidity"] * any(one is not None for one in air.vapour_hpa)
    outside = "" if air.outside_is_measured else ", weather"
    return (
        f"{', '.join(measured)}; the config's volume, burner, wind{outside} and "
        "people, who breathe as sleepers were measured to, and more while awake"
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


def battery(found: Morning) -> str:
    """Write how the battery was at the begin and at the lowest; '' where unknown."""
    told = []
    if found.comfort.supply_v is not None:
        first_v, least_v = found.comfort.supply_v
        told.append(f"battery {first_v:.1f}, at lowest {least_v:.1f} V")
    if found.comfort.charge_pct is not None:
        first_pct, least_pct = found.comfort.charge_pct
        told.append(f"charge {first_pct:.0f}, at lowest {least_pct:.0f} %")
    return "; ".join(told)


def blood(found: Morning) -> str:
    """Write the most carbon monoxide in the blood; '' where it is not known."""
    peak_pct = found.breathed.cohb_peak_pct
    return "" if peak_pct is None else f"at most {peak_pct:.1f} %"


def mean_co2(found: Morning) -> str:
    """Write the mean carbon dioxide; '' where it is not known."""
    mean_ppm = found.breathed.co2_mean_ppm
    return "" if mean_ppm is None else found.units.said("ppm", mean_ppm, 0, " ")
