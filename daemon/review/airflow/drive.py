"""How the flow of air follows the warmth inside, and the wind where it is known.

Warm air rises out of a cabin by the square root of the difference of temperature
(`vents`), and wind adds to its pressure.  Within one setting of the vents a night's air
then falls and rises with the warmth, before anything else is asked of its CO2.
"""

import math
from collections.abc import Sequence

from cabinvigil.daemon.air.atmosphere import ZERO_C_K
from cabinvigil.daemon.air.vents import GRAVITY_M_S2, WIND_COEFFICIENT
from cabinvigil.daemon.review.airflow.nodes import Told

STEADY_SHARE = 0.35
"""Of the usual flow, what does not follow the warmth: doors, people who move, air that
leaks by gusts (own judgement)."""
LEAST, MOST = 0.2, 5.0
"""Beyond these times the usual flow the law is not trusted (own judgement)."""


def driven(
    temp_c: Sequence[Told],
    outside_c: Sequence[Told],
    wind_mps: float,
    height_m: float,
) -> list[float]:
    """Return the flow that warmth and wind drive, node by node, in the night's median.

    Args:
        temp_c: inside, holes filled.
        outside_c: outdoors, the same.
        wind_mps: as stated for the night.
        height_m: between the openings.

    Returns:
        Ones where a temperature is not known.
    """
    flows: list[float] = []
    for inside, outside in zip(temp_c, outside_c, strict=True):
        if inside is None or outside is None:
            return [1.0] * len(temp_c)
        kelvin = ZERO_C_K + inside
        # Both in pressures that would move the same air: as kelvins across the height.
        blown = WIND_COEFFICIENT * wind_mps**2 * kelvin
        blown /= 2.0 * GRAVITY_M_S2 * max(height_m, 0.1)
        flows.append(math.sqrt((abs(inside - outside) + blown) * kelvin))
    usual = sorted(flows)[len(flows) // 2] if flows else 0.0
    if usual <= 0.0:
        return [1.0] * len(temp_c)
    return [
        STEADY_SHARE + (1.0 - STEADY_SHARE) * min(max(flow / usual, LEAST), MOST)
        for flow in flows
    ]
