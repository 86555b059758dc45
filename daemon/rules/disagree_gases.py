"""O2 and CO2 do not keep the ratio that burning and breathing set: a sensor is wrong.

It says so and no more: neither gas's own alarms wait for it.
"""

import attrs

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.trend.model import TrendEstimate

PER = "once"
BY_TREND = True
SHOWN_WITH = ""

HELD = 0.75
"""Stands on while three quarters of the deviation are left (our choice)."""


@attrs.frozen
class Params:
    """How far outside the possible the fitted ratio must lie."""

    z: float = attrs.field(default=4.0, validator=Between(2.0, 10.0, laxer="higher"))
    """Standard deviations beyond the nearest possible ratio."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the fitted moles of O2 for each mole of CO2.

    Returns:
        None where the two are not both measured.
    """
    del now  # the estimate is of now, or there is none
    trend: TrendEstimate | None = history.trend
    if trend is None or not {"o2_pct", "co2_ppm"} <= set(trend.sensors):
        return None
    z = trend.gases_disagree_z
    return Verdict(
        Priority.FAULT if z >= params.z else None,
        Priority.FAULT if z >= HELD * params.z else None,
        {"value": trend.o2_per_co2},
        evidence={
            "o2_per_co2": trend.o2_per_co2,
            "z": z,
            "sensors": list(trend.sensors),
        },
        severity=z,
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.FAULT
