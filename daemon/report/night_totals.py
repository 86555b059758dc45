"""A night's gas, water, warmth and dose as they are written, once for text and page."""

from dataclasses import dataclass

from cabinvigil.daemon.review.airflow.balance import Triple
from cabinvigil.daemon.review.middle import Estimate, estimate, without_middle
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.stretches import Totals
from cabinvigil.daemon.review.verdict import UNSEEN_SHARE
from cabinvigil.daemon.text.numbers import fixed
from cabinvigil.daemon.text.units_said import SI, Units

NEARLY_ALL = 1.0 - UNSEEN_SHARE
"""Share of the night that must be known for a sum of it to be the night's."""
DRY_KG = 0.05
"""Less is a wiped pane (our choice)."""
BOUNDED = "CO2 was not measured, or its sensor at the end of its range,"
UNSURE = "it may have been lit: the log begins in air that had settled before"


@dataclass(frozen=True, slots=True)
class GasAndWater:
    """What was burnt, and where its water went."""

    gas_kg: str
    gas_kwh: str
    gas_kwh_brief: str
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
    told = estimates(totals)
    power = f"{units.spread('kw', told['burn_kw'])} {units.sign('kw')}"
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
        else f", {units.brief('kwh', told['gas_kwh'])} {units.sign('kwh')}",
        "" if is_never_lit(totals) else burner,
        "" if lasts is None else fixed(estimate(lasts), 0),
        "" if left is None else fixed(estimate(left), 0),
        _at_least(totals, "kg", totals.water_made_kg, units),
        units.fixed("kg", told["water_carried_kg"], 1),
        water_left(totals.water_left_kg, units),
    )


def is_never_lit(totals: Totals) -> bool:
    """Return whether no gas was burnt, as far as the air shows."""
    return totals.lit_h + totals.unsure_h + totals.bounded_h <= 0.0


def _at_least(totals: Totals, unit: str, triple: Triple, units: Units) -> str:
    """Write a sum, or its bound where a part of the night cannot be told."""
    if totals.bounded_h:
        return f"at least {units.figure(unit, triple[0])}"
    return units.spread(unit, estimate(triple))


FIGURES = (
    "air_changes_per_h",
    "air_m3_h",
    "burn_kw",
    "gas_kwh",
    "gas_kg",
    "water_made_kg",
    "water_carried_kg",
    "water_left_kg",
)


def estimates(totals: Totals) -> dict[str, Estimate]:
    """Return each figure, without its middle where none can be relied on."""
    told = {name: estimate(getattr(totals, name)) for name in FIGURES}
    told["water_left_kg"] = left_of(totals.water_left_kg)
    if not totals.bounded_h:
        return told
    return {name: without_middle(getattr(totals, name)) for name in FIGURES}


def left_of(left_kg: Triple) -> Estimate:
    """Return the water left: of nearly none, or of what may be none, only the ends."""
    return estimate(left_kg) if left_kg[0] >= DRY_KG else without_middle(left_kg)


def water_left(left_kg: Triple, units: Units = SI) -> str:
    """Return what water stayed: dry, a bound, or a figure; never less than nothing."""
    if left_kg[2] < DRY_KG:
        return "dry: nothing stayed on walls and in bedding"
    told = f"{units.fixed('kg', left_of(left_kg), 1)} {units.sign('kg')}"
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
    """Write the most carbon monoxide in the blood; '' where it is not known.

    Of hours in which nobody measured, the blood may have taken in any amount.
    """
    peak_pct, known = found.breathed.cohb_peak_pct, found.breathed.co_known
    if peak_pct is None:
        return ""
    if known < NEARLY_ALL:
        return f"at least {peak_pct:.1f} %; CO {_measured(known)}"
    return f"at most {peak_pct:.1f} %"


def mean_co2(found: Morning) -> str:
    """Write the mean carbon dioxide; '' where it is not known."""
    breathed = found.breathed
    if breathed.co2_mean_ppm is None:
        return ""
    least = "at least " if breathed.co2_is_at_least else ""
    mean_ppm = found.units.said("ppm", breathed.co2_mean_ppm, 0, " ")
    told = f"{least}{mean_ppm} on average"
    known = breathed.co2_known
    return told if known >= NEARLY_ALL else f"{told}; it {_measured(known)}"


def _measured(known: float) -> str:
    return f"was measured for {100.0 * known:.0f} % of the night"
