"""Where the projection saw oxygen go, as the fans of the night's first picture."""

import math

from cabinvigil.daemon.log.night import STEP_S, Event
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.text.charts import Fan

FAN_H = 0.75
MOST_FANS = 3


def fans_of(found: Morning) -> list[Fan]:
    """Show what the projection expected at the moments that mattered."""
    moments = [one.from_s for one in found.rang if one.alarm == "o2-projected"]
    if found.spare is not None:
        moments.append(found.spare.at_s - 600.0)
    oxygen = found.tape.worst("o2_pct", "below")
    fans = []
    for at_s in sorted(moments)[:MOST_FANS]:
        told = [one for one in found.tape.estimates if one.at_s <= at_s + 60.0]
        step = round(at_s / STEP_S)
        known = [one for one in oxygen[max(0, step - 4) : step + 1] if one is not None]
        fan = _fan(told[-1], math.fsum(known) / len(known)) if told and known else None
        if fan is not None:
            fans.append(fan)
    return fans


def _fan(estimate: Event, start: float) -> Fan | None:
    rate = estimate.fields.get("o2_rate_pct_per_h")
    changes = estimate.fields.get("air_changes_per_h")
    if not _is_triple(rate) or not _is_triple(changes):
        return None
    k = max(float(changes[1]), 1e-3)  # type: ignore[index]
    steps = [FAN_H * n / 12.0 for n in range(13)]
    reach = [(1.0 - math.exp(-k * hour)) / k for hour in steps]
    low, high = float(rate[0]), float(rate[2])  # type: ignore[index]
    begin = estimate.at_s / 3600.0
    return Fan(
        [begin + hour for hour in steps],
        [start + low * one for one in reach],
        [start + high * one for one in reach],
    )


def _is_triple(value: object) -> bool:
    return (
        isinstance(value, list)
        and len(value) == 3
        and all(
            isinstance(one, int | float) and math.isfinite(one) and abs(one) < 1e6
            for one in value
        )
    )
