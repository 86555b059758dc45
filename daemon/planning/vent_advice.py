"""Where more vent is called for, and how much: true when it is obeyed.

One rule decides and solves: the middle scenario's settled air, in still air and in the
wind given, whichever is worse, with the vents as they would then be.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from cabinvigil.daemon.planning.openings import is_good
from cabinvigil.daemon.planning.scenario import Scenario
from cabinvigil.daemon.planning.settle import settled

MOST_CM2 = 1000.0
"""More vent than this to each side is a door that stands open (own choice)."""
STEP_CM2 = 5.0
"""Nobody cuts a vent more finely: what is asked for is rounded up to this."""


@dataclass(frozen=True, slots=True)
class VentAdvice:
    """What to do with the vents."""

    is_good: bool
    """The air stays inside the limits as they are."""
    is_enough: bool
    """It does at the worst of every uncertain figure."""
    move_cm2: float = 0.0
    """To be moved from low to high; negative: from high to low.  0: that is no help."""
    add_low_cm2: float = 0.0
    add_high_cm2: float = 0.0
    is_hopeless: bool = False
    """No vent keeps this air inside the limits."""


def vent_advice(ways: tuple[Scenario, ...]) -> VentAdvice:
    """Say what to do with the vents.

    Args:
        ways: the scenarios, the middle one first.
    """
    plan = ways[0].plan
    low, high = plan.vent_low_cm2, plan.vent_high_cm2
    if _keeps_limits(ways[0], low, high):
        return VentAdvice(True, all(_keeps_limits(way, low, high) for way in ways))
    middle = ways[0]
    half = (low - high) / 2.0
    if _keeps_limits(middle, low - half, high + half):
        sign = math.copysign(1.0, half)
        move = _least(
            lambda cm2: _keeps_limits(middle, low - sign * cm2, high + sign * cm2),
            abs(half),
        )
        return VentAdvice(False, False, move_cm2=sign * move)

    def adds(total_cm2: float) -> tuple[float, float]:
        """Share an addition so that low and high come as near as they can."""
        to_low = min(total_cm2, max(0.0, (total_cm2 - low + high) / 2.0))
        return _rounded_up(to_low), _rounded_up(total_cm2 - to_low)

    def holds(total_cm2: float) -> bool:
        to_low, to_high = adds(total_cm2)
        return _keeps_limits(middle, low + to_low, high + to_high)

    if not holds(2.0 * MOST_CM2):
        return VentAdvice(False, False, is_hopeless=True)
    return VentAdvice(False, False, 0.0, *adds(_least(holds, 2.0 * MOST_CM2)))


def _keeps_limits(way: Scenario, low_cm2: float, high_cm2: float) -> bool:
    """Return whether the air settles inside the limits with these vents."""
    for wind_mps in {0.0, way.plan.wind_mps}:
        plan = replace(
            way.plan, vent_low_cm2=low_cm2, vent_high_cm2=high_cm2, wind_mps=wind_mps
        )
        found = settled(replace(way, plan=plan))
        if found.stops or not is_good(found.state):
            return False
    return True


def _rounded_up(cm2: float) -> float:
    return STEP_CM2 * math.ceil(cm2 / STEP_CM2 - 1e-9)


def _least(holds: Callable[[float], bool], most: float) -> float:
    """Return the least that holds, in whole steps; the most does."""
    low, high = 0, math.ceil(most / STEP_CM2)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(STEP_CM2 * middle) else (middle, high)
    return min(most, STEP_CM2 * high)
