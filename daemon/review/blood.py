"""What carbon monoxide did to the sleepers' blood in a night."""

from collections.abc import Sequence

from cabinvigil.daemon.air.atmosphere import O2_DRY_PCT
from cabinvigil.daemon.air.blood import REST, at_air, breathe, other_bodies
from cabinvigil.daemon.log.night import STEP_S, NightSeries, Told
from cabinvigil.daemon.review.cabin_facts import CabinFacts

LONGEST_HELD_S = 300.0
"""CO is taken to go on over a hole of this length; beyond it nobody knows, and the
dose stands still."""


def dose(tape: NightSeries, facts: CabinFacts) -> list[float]:
    """Return the COHb of whoever had most, in %, step by step.

    A smoker's own is left out: it tells nothing of the cabin.
    """
    others = other_bodies(
        children=round(facts.children or 0),
        smokers=0,
        pregnant=round(facts.pregnant or 0),
    )
    bodies = [REST, *others.values()]
    cohb = [body.start_pct for body in bodies]
    held, silent_s = 0.0, 0.0
    most: list[float] = []
    for co_ppm, pressure_hpa, o2_pct in zip(
        tape.worst("co_ppm", "above"), *_air(tape, facts), strict=True
    ):
        if co_ppm is None:
            silent_s += STEP_S
        else:
            held, silent_s = max(co_ppm, 0.0), 0.0
        if silent_s <= LONGEST_HELD_S:
            cohb = [
                breathe(pct, held, STEP_S, at_air(body, pressure_hpa, o2_pct))
                for pct, body in zip(cohb, bodies, strict=True)
            ]
        most.append(max(cohb))
    return most


def _air(tape: NightSeries, facts: CabinFacts) -> tuple[list[float], list[float]]:
    """Return the air's pressure and its oxygen, as told or else as usual."""
    pressure = _known(tape.worst("pressure_hpa", "below", ""), facts.pressure_hpa)
    return pressure, _known(tape.worst("o2_pct", "below"), O2_DRY_PCT)


def _known(values: Sequence[Told], usual: float) -> list[float]:
    """Return the values, the last one where none was told."""
    known, last = [], usual
    for value in values:
        last = last if value is None else value
        known.append(last)
    return known
