"""Which part leads, where several measure one quantity: the trend follows one.

Two oxygen parts may rightly lie 0.4 % apart.  Were the trend handed the worse of the
two at each moment, one that falls silent would look like a jump of the air.  So one
part leads until it can no longer be trusted, or until another has read worse by more
than parts may differ for a whole minute; then the trend is told, and begins again from
the new one's readings.
"""

from collections.abc import Mapping

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.settling import is_made_up, settles_by
from cabinvigil.daemon.core.warmth import moved_by

WORSE_O2_PCT = 0.2
WORSE_SHARE = 0.05
"""Another part must read worse by this much, in a minute's mean, to lead: 0.2 % of
oxygen, 5 % of any other quantity (our choice: half of what makers allow)."""


def _is_alive(history: History, key: str) -> bool:
    """Return whether a series is fresh and moves as a living part's does."""
    return history.fresh(key) is not None and not history.stands_still(key)


def _is_worse(history: History, quantity: str, key: str, than: str) -> bool:
    """Return whether a series has clearly read worse than another for a minute."""
    ours, theirs = history.series[key].minutes, history.series[than].minutes
    if not ours or not theirs or ours[-1][0] != theirs[-1][0]:
        return False
    (_, value), (_, other) = ours[-1], theirs[-1]
    if quantity == "o2_pct":
        return value <= other - WORSE_O2_PCT
    return value >= other * (1.0 + WORSE_SHARE)


def lead(history: History, quantity: str, leader: str | None) -> str | None:
    """Return the series that leads a quantity at the bunk now; None where none can.

    Args:
        history: with this tick's values.
        quantity: a key of `QUANTITIES`.
        leader: the series that led so far.
    """
    here = history.layout.index(quantity, "")
    keys = [key for key in here if _is_alive(history, key)]
    trusted = [key for key in keys if history.is_trusted(key)] or keys
    if not trusted:
        return None
    sign = 1.0 if quantity == "o2_pct" else -1.0  # the least of oxygen is the worst
    worst = min(trusted, key=lambda key: sign * history.series[key].value)
    if leader not in trusted:
        return worst
    return worst if _is_worse(history, quantity, worst, leader) else leader


def led(
    history: History, leaders: Mapping[str, str]
) -> tuple[dict[str, float], dict[str, str], frozenset[str]]:
    """Return the new values of each quantity at the bunk, by the series that leads.

    Returns:
        Values by quantity, where they are new and the air's, and with oxygen how far
        it may have moved by its cell alone, as that grows warm or settles
        (`o2_off_pct`); who leads; the quantities whose leader is another one than
        before.
    """
    values: dict[str, float] = {}
    now_lead = dict(leaders)
    changed = set()
    for quantity, place in history.layout.places:
        if place != "":
            continue
        key = lead(history, quantity, leaders.get(quantity))
        if key is None:
            continue
        if quantity in leaders and key != leaders[quantity]:
            changed.add(quantity)
        now_lead[quantity] = key
        series = history.series[key]
        is_bound = series.at_least or is_made_up(history, key)
        if series.at_s == history.now and not is_bound:
            values[quantity] = series.value
            if quantity != "o2_pct":
                continue
            off_pct = moved_by(history, key) + settles_by(history, key)
            if off_pct > 0.0:
                values["o2_off_pct"] = off_pct
    return values, now_lead, frozenset(changed)
