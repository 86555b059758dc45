"""Where more vent is called for, and how much: true when it is obeyed.

One rule decides and solves: the middle scenario's settled air, in still air and in the
wind given, whichever is worse, with the vents as they would then be.  For a dry pane
the flame that the cold may hold down counts as well.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from cabinvigil.daemon.planning.night import glass_is_wet
from cabinvigil.daemon.planning.openings import air_heat_w, is_good
from cabinvigil.daemon.planning.scenario import Scenario, held_down
from cabinvigil.daemon.planning.settle import Settled, settled

MOST_CM2 = 1000.0
"""More vent than this to each side is a door that stands open (our choice)."""
MOST_DRYING_CM2 = 400.0
"""More vent than this is a window, and takes the warmth along (our choice; the morning
says the same)."""
STEP_CM2 = 5.0
"""Nobody cuts a vent more finely: what is asked for is rounded up to this."""

Pair = tuple[float, float]
"""Free area low and high, cm2."""


@dataclass(frozen=True, slots=True)
class Drying:
    """What keeps the pane dry once settled, with the vents as advised for the air."""

    is_dry: bool
    """It is, without more."""
    add_low_cm2: float = 0.0
    add_high_cm2: float = 0.0
    heat_w: float = 0.0
    """Heat that this takes."""

    @property
    def is_hopeless(self) -> bool:
        """No vent dries it."""
        return not self.is_dry and not self.add_low_cm2 and not self.add_high_cm2


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

    def obeyed(self, low_cm2: float, high_cm2: float) -> Pair:
        """Return the vents as they are once this is done."""
        return (
            low_cm2 - self.move_cm2 + self.add_low_cm2,
            high_cm2 + self.move_cm2 + self.add_high_cm2,
        )


def vent_advice(ways: tuple[Scenario, ...]) -> VentAdvice:
    """Return what to do with the vents.

    Args:
        ways: the scenarios, the middle one first.
    """
    middle = ways[0]
    have = middle.plan.vent_low_cm2, middle.plan.vent_high_cm2
    if _keeps_limits(middle, have):
        return VentAdvice(True, all(_keeps_limits(way, have) for way in ways))
    move = _move(have, lambda pair: _keeps_limits(middle, pair))
    if move:
        return VentAdvice(False, False, move_cm2=move)
    more = _more(have, 2.0 * MOST_CM2, lambda pair: _keeps_limits(middle, pair))
    if more is None:
        return VentAdvice(False, False, is_hopeless=True)
    return VentAdvice(False, False, 0.0, *more)


def drying(middle: Scenario, advice: VentAdvice) -> Drying:
    """Return what keeps the pane dry, on top of what is asked for the air."""
    plan = middle.plan
    base = advice.obeyed(plan.vent_low_cm2, plan.vent_high_cm2)
    cold = held_down(middle)
    ways = (middle,) if cold is middle else (middle, cold)

    def stays_dry(pair: Pair) -> bool:
        return all(
            not found.stops and not glass_is_wet(way, found.state)
            for way in ways
            for found in _in_each_wind(way, pair)
        )

    if stays_dry(base):
        return Drying(is_dry=True)
    more = _more(base, MOST_DRYING_CM2, stays_dry)
    if more is None:
        return Drying(is_dry=False)
    before = _with(middle, base, plan.wind_mps)
    after = _with(middle, (base[0] + more[0], base[1] + more[1]), plan.wind_mps)
    air_m3_h = max(0.0, after.air_m3_h - before.air_m3_h)
    return Drying(False, *more, air_heat_w(plan, air_m3_h, after.state.temp_c))


def _keeps_limits(way: Scenario, pair: Pair) -> bool:
    """Return whether the air settles inside the limits with these vents."""
    return all(
        not found.stops and is_good(found.state) for found in _in_each_wind(way, pair)
    )


def _in_each_wind(way: Scenario, pair: Pair) -> Iterator[Settled]:
    for wind_mps in {0.0, way.plan.wind_mps}:
        yield _with(way, pair, wind_mps)


def _with(way: Scenario, pair: Pair, wind_mps: float) -> Settled:
    plan = replace(
        way.plan, vent_low_cm2=pair[0], vent_high_cm2=pair[1], wind_mps=wind_mps
    )
    return settled(replace(way, plan=plan))


def _move(have: Pair, holds: Callable[[Pair], bool]) -> float:
    """Return what to move from low to high, or back where negative; 0: no help.

    In whole steps, the last of which may pass the middle, but takes no more than is
    there.
    """
    low, high = have
    sign = 1.0 if low >= high else -1.0
    half = abs(low - high) / 2.0
    most = min(STEP_CM2 * math.ceil(half / STEP_CM2), math.floor(max(have)))

    def moved(cm2: float) -> Pair:
        return low - sign * cm2, high + sign * cm2

    if most <= 0.0 or not holds(moved(most)):
        return 0.0
    return sign * _least(lambda cm2: holds(moved(cm2)), most)


def _more(
    have: Pair, most_cm2: float, holds: Callable[[Pair], bool]
) -> tuple[float, float] | None:
    """Return what to add low and high, so that they come as near as they can.

    Returns:
        None where the most is not enough.
    """
    low, high = have

    def adds(total_cm2: float) -> tuple[float, float]:
        to_low = min(total_cm2, max(0.0, (total_cm2 - low + high) / 2.0))
        return _rounded_up(to_low), _rounded_up(total_cm2 - to_low)

    def enough(total_cm2: float) -> bool:
        to_low, to_high = adds(total_cm2)
        return holds((low + to_low, high + to_high))

    return adds(_least(enough, most_cm2)) if enough(most_cm2) else None


def _rounded_up(cm2: float) -> float:
    return STEP_CM2 * math.ceil(cm2 / STEP_CM2 - 1e-9)


def _least(holds: Callable[[float], bool], most: float) -> float:
    """Return the least that holds, in whole steps; the most does."""
    low, high = 0, math.ceil(most / STEP_CM2)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(STEP_CM2 * middle) else (middle, high)
    return min(most, STEP_CM2 * high)
