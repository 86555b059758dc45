"""Whether a night or a trial lasted long enough to be laid beside another.

Shut up for ten minutes, any cabin has good air: what is compared must have been let run
until its air had settled, or the shorter one looks the better.
"""

from typing import TYPE_CHECKING

from cabinvigil.daemon.review.verdict import SHORTEST_H
from cabinvigil.daemon.text.durations import minutes

if TYPE_CHECKING:
    from cabinvigil.daemon.review.compare import Sheet

SETTLED_O2_PCT = 0.3
"""So much oxygen may still be lost, at worst, where the air counts as settled: half as
much again as a part may be off (own choice)."""
SETTLED_CHANGES = 2.0
"""Where nothing was projected: air changes after which seven eighths of the way are
gone (1 - exp(-2))."""


def too_short(one: "Sheet") -> str:
    """Say what is missing for it to be compared; '' where nothing is.

    What was past a waking limit is worse than it looks, and needs no more time.
    """
    if one.past or (one.margin is not None and one.margin <= 0.0):
        return ""
    if one.hours < SHORTEST_H:
        least, was = minutes(60.0 * SHORTEST_H), minutes(60.0 * one.hours)
        return f"it lasted {was}, and {least} are the least"
    found = one.figures
    if not one.is_trial or found is None or found.least_o2_pct is None:
        return ""
    if found.settles_pct is not None:
        worst_pct = found.settles_pct[0]
        if found.least_o2_pct - worst_pct <= SETTLED_O2_PCT:
            return ""
        fell = f"oxygen was at {found.least_o2_pct:.1f} %, and might have gone to "
        return f"{fell}{worst_pct:.1f}{_more(one)}"
    changes = one.air_changes_per_h
    if changes is not None and changes[0] * one.hours >= SETTLED_CHANGES:
        return ""
    return f"nothing tells that its air had settled{_more(one)}"


def _more(one: "Sheet") -> str:
    """Say how much longer it would have had to go on; '' where nobody knows."""
    changes = one.air_changes_per_h
    if changes is None or changes[1] <= 0.0:
        return ""
    more_h = SETTLED_CHANGES / changes[1] - one.hours
    return f": {minutes(60.0 * more_h)} more would do" if more_h > 0.1 else ""
