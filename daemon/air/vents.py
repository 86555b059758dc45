"""Air through a low and a high opening: warm air rises out, wind helps or hinders.

Both openings are orifices in series.  The pressure that drives them is the weight of
the cold column outside over the warm one inside, and the wind's.  Nobody knows the
last two factors of a real vent (mesh, louvre, hedge, the next trailer), so the answer
for people is a range, and says what it depends on most.
"""

import math
from dataclasses import dataclass, replace

from cabinvigil.daemon.air.atmosphere import ZERO_C_K
from cabinvigil.daemon.air.figures import VENT_HEIGHT_M

GRAVITY_M_S2 = 9.80665

DISCHARGE = 0.61
"""Share of the ideal flow that a sharp-edged opening passes (BS 5925:1991)."""
DISCHARGE_LOW = 0.41
"""Behind a louvre: 0.41 with its slats at 30 degrees, 0.62 at 15 (Iqbal et al. 2023, by
tracer gas, abstract).  An insect mesh may pass less: no measurement was found."""
DISCHARGE_HIGH = 0.70
"""With rounded edges (common practice, no source)."""

WIND_COEFFICIENT = 0.2
"""Difference of wind pressure between floor and roof, in units of rho U^2 / 2: a
sheltered low building, between 0.1 and 0.5 (common practice, no source)."""
WIND_COEFFICIENT_HIGH = 0.5
WIND_COEFFICIENT_AGAINST = -0.1
"""The lee side of a hedge or another vehicle, which works against the stack."""
AGAINST_FLOOR = 0.5
"""Wind against the stack halves it at most, since gusts pump (own judgement)."""
ONE_SIDED_WIND = 0.025
"""Flow of wind through one opening alone, per area and speed (BS 5925:1991; Warren and
Parkins 1984, as a public library codes it).  Others give 0.016 to 0.05."""


@dataclass(frozen=True, slots=True)
class Vents:
    """A low and a high opening, and how far each is open now."""

    low_cm2: float
    """Free area, without mesh and frame."""
    high_cm2: float
    apart_m: float = VENT_HEIGHT_M
    """Height between their middles."""
    low_open: float = 1.0
    """Share that is open: 0 a closed lid or a plug of snow, 1 free."""
    high_open: float = 1.0

    def iced(self, low_open: float, high_open: float) -> "Vents":
        """Return the same vents with these shares open."""
        return replace(self, low_open=low_open, high_open=high_open)


def rimed_share(area_cm2: float, rime_mm: float) -> float:
    """Give the open share of a round opening with a ring of rime of this thickness."""
    if area_cm2 <= 0.0:
        return 0.0
    radius_mm = 10.0 * math.sqrt(area_cm2 / math.pi)
    return max(0.0, 1.0 - rime_mm / radius_mm) ** 2


def _areas_m2(vents: Vents) -> tuple[float, float]:
    """Return both free areas; below a square millimetre is shut."""
    low_m2 = vents.low_cm2 * vents.low_open * 1e-4
    high_m2 = vents.high_cm2 * vents.high_open * 1e-4
    return low_m2 if low_m2 > 1e-6 else 0.0, high_m2 if high_m2 > 1e-6 else 0.0


def stack_m3_s(
    vents: Vents, inside_c: float, outside_c: float, discharge: float = DISCHARGE
) -> float:
    """Return the outdoor air that enters in still air, by its volume outdoors.

    One opening alone breathes both ways through its own height (BS 5925, single-sided:
    a third of the area); a small second one takes nothing from that.
    """
    inside_k, outside_k = inside_c + ZERO_C_K, outside_c + ZERO_C_K
    low_m2, high_m2 = _areas_m2(vents)
    one_m2 = max(low_m2, high_m2)
    if one_m2 == 0.0:
        return 0.0
    warm = max(inside_k, outside_k)
    lift = GRAVITY_M_S2 * abs(inside_k - outside_k) / warm
    alone = discharge * one_m2 / 3.0 * math.sqrt(lift * math.sqrt(one_m2))
    if min(low_m2, high_m2) == 0.0:
        return alone
    # the same mass passes both; warm air needs more room, so its opening drags more
    ratio = inside_k / outside_k
    drag = 1.0 / low_m2**2 + ratio / high_m2**2
    return max(alone, discharge * math.sqrt(2.0 * lift * vents.apart_m / drag))


def wind_m3_s(
    vents: Vents,
    wind_mps: float,
    discharge: float = DISCHARGE,
    coefficient: float = WIND_COEFFICIENT,
) -> float:
    """Give the air that wind alone drives through; negative where it works against."""
    low_m2, high_m2 = _areas_m2(vents)
    one_m2 = max(low_m2, high_m2)
    sign = math.copysign(1.0, coefficient)
    if one_m2 == 0.0:
        return 0.0
    alone = ONE_SIDED_WIND * one_m2 * wind_mps
    if min(low_m2, high_m2) == 0.0:
        return sign * alone
    drag = 1.0 / low_m2**2 + 1.0 / high_m2**2
    through = discharge * wind_mps * math.sqrt(abs(coefficient) / drag)
    # Against the stack the more is the worse; what blows into one opening alone helps.
    return sign * through if sign < 0.0 else max(alone, through)


def vent_m3_s(
    vents: Vents,
    inside_c: float,
    outside_c: float,
    wind_mps: float = 0.0,
    discharge: float = DISCHARGE,
    coefficient: float = WIND_COEFFICIENT,
) -> float:
    """Return the outdoor air that enters through the vents, by its volume outdoors.

    The two pressures add, so the flows add as squares (Hunt and Linden 1999, in a water
    tank); wind against the stack takes away as much, to half at most.
    """
    stack = stack_m3_s(vents, inside_c, outside_c, discharge)
    wind = wind_m3_s(vents, wind_mps, discharge, coefficient)
    square = stack * stack + wind * abs(wind)
    return math.sqrt(max(square, (AGAINST_FLOOR * stack) ** 2))


@dataclass(frozen=True, slots=True)
class FlowRange:
    """Air through the vents, as far as it can be known."""

    low_m3_h: float
    middle_m3_h: float
    high_m3_h: float
    depends_on: str
    """What the range depends on most."""


def vent_range(
    vents: Vents,
    inside_c: float,
    outside_c: float,
    wind_mps: float = 0.0,
    inside_spread_k: float = 5.0,
) -> FlowRange:
    """Return the range of the air through the vents, and what it depends on most.

    It runs from wind against the stack to wind with it, and to `inside_spread_k` off
    the inside temperature either way.
    """

    def flow(discharge: float, coefficient: float, shift_k: float) -> float:
        inside = max(inside_c + shift_k, outside_c)
        return 3600.0 * vent_m3_s(
            vents, inside, outside_c, wind_mps, discharge, coefficient
        )

    against, with_wind = WIND_COEFFICIENT_AGAINST, WIND_COEFFICIENT_HIGH
    spreads = {
        "how clear the vents are (mesh, louvres, frost)": flow(
            DISCHARGE_HIGH, WIND_COEFFICIENT, 0.0
        )
        - flow(DISCHARGE_LOW, WIND_COEFFICIENT, 0.0),
        "the wind": flow(DISCHARGE, with_wind, 0.0) - flow(DISCHARGE, against, 0.0),
        "how much warmer it is inside": flow(
            DISCHARGE, WIND_COEFFICIENT, inside_spread_k
        )
        - flow(DISCHARGE, WIND_COEFFICIENT, -inside_spread_k),
    }
    return FlowRange(
        flow(DISCHARGE_LOW, against, -inside_spread_k),
        flow(DISCHARGE, WIND_COEFFICIENT, 0.0),
        flow(DISCHARGE_HIGH, with_wind, inside_spread_k),
        max(spreads, key=lambda cause: spreads[cause]),
    )
