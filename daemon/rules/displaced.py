"""O2 falls, and neither CO2 nor vapour nor pressure explains it.

Unburnt gas pushes the air out, or a sensor lies: either rings, for either may kill.
Burning and breathing both give CO2 for the O2 they take, so a fall that CO2 does not
go along with has another cause, seen long before O2 itself is low.
"""

import attrs

from cabinvigil.daemon.core.history import History, o2_facts
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.trend.model import TrendEstimate

PER = "once"
BY_TREND = True
SHOWN_WITH = "o2_pct"

LEARN_S = 240.0
"""The shortest window compares three minutes, twice: before that nothing is told."""
HELD = 0.5
"""Stands on while half of what raised it is left (our choice)."""


@attrs.frozen
class Params:
    """How much O2 must be missing, and how sure that must be."""

    least_pct: float = attrs.field(
        default=0.15, validator=Between(0.02, 5.0, laxer="higher")
    )
    """Missing O2 beyond every explanation: 0.7 % of the air is another gas then."""
    z: float = attrs.field(default=4.0, validator=Between(2.0, 10.0, laxer="higher"))
    """Standard deviations: by chance alone once in thirty thousand looks."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the O2 that went without a reason.

    Returns:
        None where O2 or CO2 is not measured, or too little has been seen.
    """
    del now  # the estimate is of now, or there is none
    trend: TrendEstimate | None = history.trend
    if trend is None or trend.watched_s < LEARN_S:
        return None
    if not {"o2_pct", "co2_ppm"} <= set(trend.sensors):
        return None
    missing, z = trend.unexplained_o2_pct, trend.unexplained_z
    raised = missing >= params.least_pct and z >= params.z
    held = missing >= HELD * params.least_pct and z >= HELD * params.z
    facts = o2_facts(history)
    facts["value"] = missing
    return Verdict(
        Priority.HIGH if raised else None,
        Priority.HIGH if held else None,
        facts,
        evidence={
            "unexplained_o2_pct": missing,
            "z": z,
            "o2_rate_pct_per_h": trend.o2_rate_pct_per_h,
            "co2_rate_ppm_per_h": trend.co2_rate_ppm_per_h,
            "sensors": list(trend.sensors),
        },
        severity=missing,
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.HIGH
