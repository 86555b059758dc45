"""The flame that the cylinder's cold lets burn: the least and the most of the night.

A cylinder outdoors, filled, feeds no more than the cold lets it boil off; one that
stands in the cabin's warmth, or came in warm from a car, feeds the burner for hours:
5 kg of butane at 20 °C hold the heat to boil off some 6 kWh with no help from the air
(tests/planning/test_flame.py).  Where it stands nobody asks here.  So the larger flame
counts for the air, the vents and the water, and the smaller one for the warmth.
"""

from typing import NamedTuple

from cabinvigil.daemon.air.atmosphere import pressure_hpa
from cabinvigil.daemon.air.cylinder import Cylinder, fed_kw, hours_in_cold
from cabinvigil.daemon.planning.figures import BurnWindow, CabinPlan


class Flame(NamedTuple):
    """What burns while the burner is on, kW on the higher heating value."""

    least_kw: float
    """With the cylinder outdoors, in the night's cold."""
    most_kw: float
    """With it in the warmth: the burner's own."""

    @property
    def is_limited(self) -> bool:
        """The cold may hold the flame down."""
        return self.least_kw < self.most_kw

    @property
    def least_share(self) -> float:
        """The smaller flame as a share of the larger."""
        return self.least_kw / self.most_kw if self.most_kw > 0.0 else 1.0


def burn_hours(burns: tuple[BurnWindow, ...]) -> float:
    """Return the hours in which the burner is lit; overlaps count once."""
    lit, until = 0.0, 0.0
    for window in sorted(burns, key=lambda window: window.from_h):
        lit += max(0.0, window.to_h - max(window.from_h, until))
        until = max(until, window.to_h)
    return lit


def full_cylinder(plan: CabinPlan) -> Cylinder:
    """Return the cylinder, filled."""
    return Cylinder(plan.cylinder_kg, plan.cylinder_kg, plan.liquid)


def fed_outdoors_kw(plan: CabinPlan) -> float:
    """Return the power that the cold lets the full cylinder feed for ever."""
    air_hpa = pressure_hpa(plan.altitude_m)
    return fed_kw(full_cylinder(plan), plan.outside_c, air_hpa)


def flame(plan: CabinPlan) -> Flame:
    """Find the least and the most that burns.

    A cylinder that is not cooled down within the night's burning limits nothing.  One
    that feeds enough while it is full, and stops later, is told by its hours.
    """
    burner, fed = plan.burner_kw, fed_outdoors_kw(plan)
    if fed >= burner:
        return Flame(burner, burner)
    air_hpa = pressure_hpa(plan.altitude_m)
    lasts_h = hours_in_cold(full_cylinder(plan), burner, plan.outside_c, air_hpa)
    lit_h = burn_hours(plan.burns) if plan.burns else plan.hours
    return Flame(burner if lasts_h >= lit_h else fed, burner)
