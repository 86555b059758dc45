"""The vents that a night's air amounts to, beside those that are fitted."""

from dataclasses import dataclass

from cabinvigil.daemon.air.atmosphere import ZERO_C_K
from cabinvigil.daemon.air.figures import leak_per_h
from cabinvigil.daemon.air.vents import Vents, vent_m3_s, vent_range
from cabinvigil.daemon.review.airflow.balance import Triple
from cabinvigil.daemon.review.airflow.nodes import Told
from cabinvigil.daemon.review.cabin_facts import CabinFacts

REFERENCE_CM2 = 100.0
"""Openings to compare with, where the cabin's own are not known, or only one is."""


@dataclass(frozen=True, slots=True)
class Vent:
    """Openings, low and high, that would let as much air pass."""

    each_cm2: Triple
    fitted_cm2: float | None
    """What is fitted, low and high averaged, or the one that is; 0: none is.  None: not
    known."""
    expected_m3_h: Triple
    """What openings as fitted would pass, all open: leak and vents."""
    pair: tuple[float, Triple]
    """Two openings of so many cm2 each, and what they would pass with the leak."""
    is_two: bool = True
    """Both are fitted, low and high."""

    @property
    def is_one(self) -> bool:
        """Whether there is one opening alone."""
        return bool(self.fitted_cm2) and not self.is_two


def outdoor_volume(warmth: tuple[Told, Told]) -> float:
    """Return the outdoor volume of a cubic metre of the cabin's air."""
    inside, outside = warmth
    if inside is None or outside is None:
        return 1.0
    return (outside + ZERO_C_K) / (inside + ZERO_C_K)


def vent_of(
    air_m3_h: Triple, facts: CabinFacts, warmth: tuple[Told, Told]
) -> Vent | None:
    """Find the openings that the air amounts to, and what those fitted would pass.

    Args:
        air_m3_h: what came in, but for a door.
        facts: of the cabin.
        warmth: inside and outside, C.

    Returns:
        None where too little is known, or nothing would drive any air.
    """
    inside, outside = warmth
    if inside is None or outside is None or facts.volume_m3 is None:
        return None
    low, high = facts.vent_low_cm2, facts.vent_high_cm2
    apart_m = facts.vent_height_m
    fitted = None if low is None or high is None else Vents(low, high, apart_m)
    is_two = fitted is not None and min(fitted.low_cm2, fitted.high_cm2) > 0.0
    each = (fitted.low_cm2 + fitted.high_cm2) / 2.0 if fitted and is_two else 0.0
    to_m3_h = facts.volume_m3 * outdoor_volume(warmth)
    leaks = [one * to_m3_h for one in leak_per_h(facts.leak_per_h)]

    def passed(vents: Vents) -> Triple:
        span = vent_range(vents, inside, outside, facts.wind_mps)
        flows = span.low_m3_h, span.middle_m3_h, span.high_m3_h
        low, middle, high = (
            flow + leak for flow, leak in zip(flows, leaks, strict=True)
        )
        return low, middle, high

    two = Vents(REFERENCE_CM2, REFERENCE_CM2, apart_m)
    two = fitted if fitted and is_two else two
    flow = 3600.0 * vent_m3_s(two, inside, outside, facts.wind_mps)
    if flow <= 0.0:
        return None
    pair_cm2 = each or REFERENCE_CM2
    per_flow = pair_cm2 / flow
    least, middle, most = (
        max(0.0, air - leak) * per_flow
        for air, leak in zip(air_m3_h, reversed(leaks), strict=True)
    )
    pair = pair_cm2, passed(two)
    area = None if fitted is None else each or fitted.low_cm2 + fitted.high_cm2
    expected = pair[1]
    if fitted is not None and not is_two:
        expected = passed(fitted)
    return Vent((least, middle, most), area, expected, pair, is_two)
