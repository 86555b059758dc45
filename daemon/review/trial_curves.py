"""Courses of a night or trial from its begin, thinned to what a picture shows."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cabinvigil.daemon.log.night import STEP_S, Told
from cabinvigil.daemon.review.morning import Morning

QUANTITIES = ("o2_pct", "co2_ppm", "co_ppm", "rh_pct", "dew_c", "temp_c", "pm2_5_ugm3")
"""In the report's order."""


@dataclass(frozen=True, slots=True)
class TrialCurves:
    """What was measured, in even steps since the begin."""

    step_h: float
    values: Mapping[str, Sequence[Told]]
    """By quantity; None where nothing was told."""
    at_range_end: Mapping[str, Sequence[bool]]
    """Whether the part was at full scale: the air was this or more."""


def trial_curves(
    found: Morning, from_s: float, to_s: float, most_points: int
) -> TrialCurves:
    """Take the courses of a night, a stretch or a trial.

    Args:
        found: the night, or the trial alone.
        from_s: where its stretch begins.
        to_s: where it ends.
        most_points: of each course.
    """
    tape = found.tape
    part = tape.between(from_s, to_s)
    each = max(1, math.ceil((part.stop - part.start) / max(2, most_points)))
    whole: dict[str, Sequence[Told]] = {
        "o2_pct": tape.worst("o2_pct", "below"),
        "co2_ppm": tape.worst("co2_ppm", "above"),
        "co_ppm": tape.worst("co_ppm", "above"),
        "rh_pct": tape.worst("rh_pct", "above", ""),
        "dew_c": found.air.dew_point_c(),
        "temp_c": found.air.temp_c,
        "pm2_5_ugm3": tape.worst("pm2_5_ugm3", "above"),
    }
    return TrialCurves(
        each * STEP_S / 3600.0,
        {name: thinned(values[part], each) for name, values in whole.items()},
        {name: _full(found, name, part, each) for name in whole},
    )


def thinned(values: Sequence[Told], each: int) -> list[Told]:
    """Average over so many steps; a hole stays a hole."""
    out: list[Told] = []
    for n in range(0, len(values), each):
        known = [one for one in values[n : n + each] if one is not None]
        out.append(math.fsum(known) / len(known) if known else None)
    return out


def _full(found: Morning, name: str, part: slice, each: int) -> list[bool]:
    tape = found.tape
    steps: set[int] = set()
    for key in tape.keys(name):
        steps |= tape.at_least.get(key, frozenset())
    return [
        any(step in steps for step in range(n, min(n + each, part.stop)))
        for n in range(part.start, part.stop, each)
    ]
