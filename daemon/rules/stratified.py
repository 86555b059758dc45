"""One gas at two places where people breathe, and not the same: the air is unmixed.

Every estimate here assumes mixed air; the worse place rules the alarms, and the person
should know that the rest is less sure.  In measured rooms high and low samples differ
by up to several points (check cases S24 and S26).
"""

import attrs

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.drivers.kit.quantity import QUANTITIES, split_channel

PER = "quantity"

TELLING = {"o2_pct": (1.0, 0.0), "co2_ppm": (1000.0, 0.3), "temp_c": (8.0, 0.0)}
"""Beyond what two parts may differ by at one place (rule `disagree`); our choice."""


@attrs.frozen
class Params:
    """Which quantity is judged over all its places."""

    subject: str = ""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the spread of one quantity between the places where people breathe.

    Returns:
        None where fewer than two places are known, or nothing is told by the quantity.
    """
    del now
    if params.subject not in TELLING:
        return None
    by_place: dict[str, float] = {}
    for key in history.layout.index(params.subject):
        series = history.fresh(key)
        parts = split_channel(key)
        if series is None or parts is None or series.doubtful or series.at_least:
            continue
        by_place.setdefault(parts[1] or "bunk", series.value)
    if len(by_place) < 2:
        return None
    low = min(by_place, key=lambda place: by_place[place])
    high = max(by_place, key=lambda place: by_place[place])
    fixed, share = TELLING[params.subject]
    allowed = fixed + share * abs(by_place[low])
    spread = by_place[high] - by_place[low]
    return Verdict(
        Priority.LOW if spread > allowed else None,
        Priority.LOW if spread > 0.7 * allowed else None,
        facts={
            "place": low,
            "other": high,
            "apart": spread,
            "unit": QUANTITIES[params.subject].unit,
            "text": QUANTITIES[params.subject].words,
        },
        evidence={"by_place": by_place, "allowed": allowed},
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.LOW
