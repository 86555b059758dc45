"""Unburnt gas in % of the lower explosive limit: what its parts share.

Nothing is hidden at the ends.  At its full scale a part says `at-least`, and what is
more than the whole of the limit is told as that: beyond it no number is worth more.
"""

from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.steps import OutOfRangeError, Sample

WHOLE_PCT = 100.0
"""From here on the air itself can burn; `QUANTITIES` ends there."""
LEAST_PCT = -2.0
"""Below this a zero has moved, or a wire is crossed (as `QUANTITIES` has it)."""
STANDARD_HPA = 1013.25
LEAST_HPA = 700.0
"""The correction goes no further down, about 3000 m (our choice, as for CO2)."""
BEYOND = "it is at the explosive limit, or beyond"


def thin_air(hpa: float | None) -> float:
    """Return how dense the air is, of that at the sea.

    Args:
        hpa: air pressure; None is not known, and taken for the sea's.
    """
    return 1.0 if hpa is None else max(hpa, LEAST_HPA) / STANDARD_HPA


def gas_sample(pct: float, air: Conditions, at_end: str = "") -> Sample:
    """Return the sample of a reading.

    Args:
        pct: unburnt gas in % LEL.
        air: where the part hangs.
        at_end: why the part can show no more; '': it can.

    Raises:
        OutOfRangeError: less than nothing by more than a zero wanders.
    """
    if pct < LEAST_PCT:
        raise OutOfRangeError(
            f"it reads {pct:.1f} % LEL, less than nothing: its zero has moved, so run "
            "`cabinvigil span` in fresh air, or its wires are crossed"
        )
    if at_end or pct >= WHOLE_PCT:
        value = min(pct, WHOLE_PCT)
        return Sample("gas_lel_pct", value, "at-least", at_end or BEYOND)
    return Sample("gas_lel_pct", pct, *air.quality())
