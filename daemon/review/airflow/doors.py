"""A door that stood open for a minute, told by how CO2 falls and climbs again.

It empties a good part of the cabin at once, and is no setting of the vents: the air
before and after is the same.  A burner that goes out cannot look like it: CO2 falls no
faster then than the air that the later climb tells of carries it off.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from cabinvigil.daemon.review.airflow.nodes import Told

LONGEST_NODES = 4
"""Longer than this many steps of two minutes, and it is a vent (our choice); a part's
lag is in it."""
CLIMB_NODES = 3
"""The climb after it, and the course before, are looked at over this many steps."""
LEAST_FALL = 0.12
"""Of the excess: less is not told from a gust (own judgement)."""
LEAST_EXCESS_PPM = 300.0
"""Of what is left of a smaller excess a part tells too little (own judgement)."""
LEAST_SD = 8.0
"""Times a reading's noise that the fall is deep at the least (own judgement)."""
FASTER, FASTER_PER_H = 2.0, 5.0
"""CO2 falls by these beyond what the air of before and after carries off (own
judgement)."""
MOST_BACK = 0.95
"""Share of the fall that is climbed back: of more, the air cannot be told (own
judgement)."""
MOST_FALLS = 9
"""More falls and climbs in a night, and it is a burner that cycles (own judgement)."""
DOOR_SPREAD = 0.4
"""Of the air that a door lets in: the fall is seen late and mixed (own judgement)."""


class Door(NamedTuple):
    """The steps over which the fall is seen, and the air beyond what the vents give."""

    begin: int
    end: int
    """The first node after it."""
    changes: float
    """Air changes that came in by it."""


def doors(
    level_ppm: Sequence[Told],
    level_sd_ppm: Sequence[float],
    outdoor_ppm: float,
    step_h: float,
) -> list[Door]:
    """Find the moments at which a door stood open.

    Args:
        level_ppm: CO2 at each node.
        level_sd_ppm: its noise.
        outdoor_ppm: outdoors.
        step_h: between two nodes.
    """
    excess = [None if one is None else one - outdoor_ppm for one in level_ppm]
    known = [0.0 if one is None else one for one in excess]
    is_told = [one is not None for one in excess]
    found: list[Door] = []
    top = CLIMB_NODES
    while top < len(excess) - CLIMB_NODES - 1:
        last = min(top + LONGEST_NODES, len(excess) - CLIMB_NODES - 1)
        if all(is_told[top - CLIMB_NODES : last + CLIMB_NODES + 1]):
            one = _fall_at(known, level_sd_ppm, top, last, step_h)
        else:
            one = None
        if one is not None:
            found.append(one)
        top = top + 1 if one is None else one.end
    if len(found) > MOST_FALLS:
        return []
    return [one for one in found if one.changes > 0.0]


def _fall_at(
    known: Sequence[float], sds: Sequence[float], top: int, last: int, step_h: float
) -> Door | None:
    """Look for a fall with a climb after it, from this node to that at the latest.

    Returns:
        None where there is none; no air changes where it needs no door.
    """
    bottom = min(range(top + 1, last + 1), key=lambda n: known[n])
    high, low = known[top], known[bottom]
    fall, span_h = high - low, (bottom - top) * step_h
    if known[top + 1] >= high - LEAST_FALL / 4.0 * high or low >= high:
        return None
    if high < LEAST_EXCESS_PPM or fall < max(LEAST_FALL * high, LEAST_SD * sds[top]):
        return None
    if known[bottom + CLIMB_NODES] - low < 3.0 * sds[bottom]:
        return None
    # in one step it tells a quick cabin's air, in all of them a slow one's
    per_h = max(
        _air_per_h(known, top, bottom, steps, step_h) for steps in (1, CLIMB_NODES)
    )
    low = max(low, sds[bottom], 1.0)
    if math.log(high / low) < (FASTER * per_h + FASTER_PER_H) * span_h:
        return Door(top, bottom, 0.0)
    # what people and burner gave meanwhile went out as well
    after = (known[bottom + CLIMB_NODES] - low) / (CLIMB_NODES * step_h)
    came = (after + per_h * low) * span_h
    mean = (high - low) / math.log(high / low)
    changes = math.log(high / low) + came / mean - per_h * span_h
    return Door(top, bottom, max(0.0, changes))


def _air_per_h(
    excess: Sequence[float], top: int, bottom: int, steps: int, step_h: float
) -> float:
    """Return the air changes that the climb after a fall tells of.

    The same source in the same air comes nearer to where it settles by this share in
    that time, and settles where it would have without the fall.
    """
    before = excess[top] - excess[top - steps]
    after = excess[bottom + steps] - excess[bottom]
    share = (after - before) / (excess[top] - excess[bottom])
    return -math.log(1.0 - min(max(0.0, share), MOST_BACK)) / (steps * step_h)
