"""How close the night came to each limit, and what the projection said then."""

from collections.abc import Sequence
from dataclasses import dataclass

from cabinvigil.daemon.log.night import STEP_S, NightSeries, Told
from cabinvigil.daemon.review.cabin_facts import Limit
from cabinvigil.daemon.review.configs import Ruling

COHB = "cohb_pct"


@dataclass(frozen=True, slots=True)
class Approach:
    """The closest approach to one limit."""

    limit: Limit
    value: float
    at_s: float
    margin: float
    """What was left; negative where the limit was passed."""
    beyond_min: float
    """How long it was at the limit or beyond."""
    is_at_least: bool
    """The part was at full scale: it was this or more."""
    known_share: float
    """Of the night, for how much its quantity was told."""


@dataclass(frozen=True, slots=True)
class Spare:
    """The least time to the oxygen limit that the projection saw."""

    at_s: float
    minutes: tuple[float, float, float | None]
    """5, 50 and 95 % points; None: that share levels off first."""


def approaches(
    tape: NightSeries, limits: Ruling, dose: Sequence[float]
) -> list[Approach]:
    """Find the closest approach to every limit whose quantity was told.

    Args:
        tape: the night.
        limits: each with the stretches in which it was in force.
        dose: carbon monoxide in the blood, a value a step.
    """
    found = []
    courses: dict[tuple[str, str], Sequence[Told]] = {(COHB, "above"): dose}
    for limit, stretches in limits.items():
        which = (limit.quantity, limit.side)
        if which not in courses:
            courses[which] = tape.worst(*which)
        values = courses[which]
        if limit.over_s > 0.0:
            values = means(values, round(limit.over_s / STEP_S))
        # the blood is worked out: of hours without carbon monoxide nothing is known
        seen = tape.worst("co_ppm", "above") if which[0] == COHB else courses[which]
        told = sum(one is not None for one in seen)
        if not told:
            continue
        one = _closest(tape, limit, _within(tape, values, stretches), told)
        if one is not None:
            found.append(one)
    return found


def _within(
    tape: NightSeries,
    values: Sequence[Told],
    stretches: Sequence[tuple[float, float]],
) -> Sequence[Told]:
    """Leave out what lies outside of some stretches."""
    if len(stretches) == 1 and stretches[0] == (0.0, tape.length_s):
        return values
    kept: list[Told] = [None] * len(values)
    for from_s, to_s in stretches:
        steps = tape.between(from_s, to_s)
        kept[steps] = values[steps]
    return kept


def _closest(
    tape: NightSeries, limit: Limit, values: Sequence[Told], told: int
) -> Approach | None:
    known = [(one, n) for n, one in enumerate(values) if one is not None]
    if not known:
        return None
    is_below = limit.side == "below"
    value, step = min(known) if is_below else max(known, key=lambda pair: pair[0])
    beyond = [
        one for one, _ in known if (one <= limit.at if is_below else one >= limit.at)
    ]
    full = any(step in tape.at_least.get(key, ()) for key in tape.keys(limit.quantity))
    margin = value - limit.at if is_below else limit.at - value
    beyond_min, share = len(beyond) * STEP_S / 60.0, told / len(values)
    return Approach(limit, value, step * STEP_S, margin, beyond_min, full, share)


def means(values: Sequence[Told], width: int) -> list[Told]:
    """Return running means over the last `width` values, of what is known.

    None until the width has passed: a mean of a shift needs the shift.
    """
    width = max(1, width)
    total, count = 0.0, 0
    found: list[Told] = []
    for n, one in enumerate(values):
        if one is not None:
            total, count = total + one, count + 1
        gone = values[n - width] if n >= width else None
        if gone is not None:
            total, count = total - gone, count - 1
        found.append(total / count if n >= width - 1 and count else None)
    return found


def spare(tape: NightSeries) -> Spare | None:
    """Find the moment at which the projection left least time.

    Returns:
        None where it never saw the limit ahead.
    """
    least: Spare | None = None
    for one in tape.estimates:
        minutes = one.fields.get("o2_minutes_to_19_5")
        if not isinstance(minutes, list) or len(minutes) != 3:
            continue
        low, middle, high = minutes
        if not isinstance(low, int | float) or not isinstance(middle, int | float):
            continue
        if least is None or middle < least.minutes[1]:
            last = float(high) if isinstance(high, int | float) else None
            least = Spare(one.at_s, (float(low), float(middle), last))
    return least
