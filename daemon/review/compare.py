"""Nights, or stretches of them, side by side: which was safest, driest, cheapest.

Three ranks, never one made-up score; and of each two neighbours in a rank, whether they
differ by more than what the figures may be off.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from cabinvigil.daemon.log.night import STEP_S, NightSeries
from cabinvigil.daemon.review.airflow.balance import Z90, Triple
from cabinvigil.daemon.review.airflow.nodes import mean
from cabinvigil.daemon.review.alarm_episodes import RANKS
from cabinvigil.daemon.review.inside import hours
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.other_air import NOTHING_MEASURED, OtherAir, other_air
from cabinvigil.daemon.review.proof import NOT_ALL_SEEN, past, unproved, woken
from cabinvigil.daemon.review.stretches import stretch
from cabinvigil.daemon.review.trial_figures import (
    O2_LIMIT_PCT,
    TrialFigures,
    trial_figures,
)
from cabinvigil.daemon.review.verdict import (
    FRESH,
    SHORTEST_H,
)
from cabinvigil.daemon.text.durations import minutes as spelled
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.drivers.kit.quantity import VITAL

SENSOR_SD: Mapping[str, tuple[float, float]] = {
    # quantity: sd as a share of the value, and in its unit
    "o2_pct": (0.005, 0.05),
    "co2_ppm": (0.02, 15.0),
    "co_ppm": (0.05, 2.0),
    "gas_lel_pct": (0.1, 1.0),
}
"""What a part may be off (sensors.md, 1, 10 to 12: classes read as two to three sd)."""
WET_SD_H = 0.25
"""Of the hours of wet glass: half a degree either way (own judgement)."""
BEYOND_SD_MIN = 2.0
"""Of the minutes beyond a limit: what a part is off moves both crossings (own
judgement)."""
LIKE_LONG = 0.1
"""Where lengths differ by more, water and gas are told for an hour (our choice)."""
LEAST_K_H = 5.0
"""Fewer degree-hours kept tell nothing of a heater."""

SETTLED_O2_PCT = 0.3
"""So much oxygen may still be lost, at worst, where the air counts as settled: half as
much again as a part may be off (own choice)."""
SETTLED_CHANGES = 2.0
"""Where nothing was projected: air changes after which seven eighths of the way are
gone (1 - exp(-2))."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """What one night or stretch came to."""

    name: str
    hours: float
    margin: float | None
    """Least share of the way from fresh air to a waking limit that was left; negative
    beyond it."""
    margin_sd: float
    nearest: str
    """The quantity that it was least of."""
    beyond_min: float
    """At a waking limit or beyond."""
    wet_h: float | None
    water_left_kg: Triple | None
    gas_kwh: Triple | None
    gas_kg: Triple | None
    kept_k: float | None
    """Warmer inside than outside, on average."""
    w_per_k: Triple | None
    """Gas for each degree kept, W/K; None where no gas was burnt."""
    air_changes_per_h: Triple | None
    unseen_min: float
    """Without oxygen or CO readings."""
    past: str
    """What was past a waking limit, in words; '' where nothing was."""
    verdict: str | None = None
    """The night's; None for a stretch of one."""
    least_o2_pct: float | None = None
    most_co_ppm: float | None = None
    most_co2_ppm: float | None = None
    lit_h: float | None = None
    """For how long the heater burnt."""
    is_trial: bool = False
    """Nobody was inside."""
    figures: TrialFigures | None = None
    units: Units = SI
    """In which people are told of it."""
    other: OtherAir = NOTHING_MEASURED
    """Dust and vapours; ranked by nothing."""
    unproved: str = ""
    """What keeps it from being called safe air, or safer: a certified alarm, a sensor
    not to be believed, an end that was not monitored; '' where nothing does."""
    is_blind: bool = False
    """A part of it was not monitored: what was not seen is no better than what was."""
    woken: str = ""
    """Which alarm about what is breathed woke people, in words; '' where none did."""
    is_woken_by_forecast: bool = False
    """Whether only a forecast woke them, of what may then not have come."""


@dataclass(frozen=True, slots=True)
class Rank:
    """One order of the sheets."""

    word: str
    """`safest`, `driest` or `most economical`."""
    order: tuple[int, ...]
    """Indices of the sheets, the best first; those that cannot be told are left out."""
    is_sure: tuple[bool, ...]
    """Of each but the last: whether it is better than the next by more than doubt."""


def sheet(
    found: Morning, name: str, from_s: float, to_s: float, *, is_trial: bool = False
) -> Sheet:
    """Sum a night, or a stretch of it, up."""
    tape, part = found.tape, found.tape.between(from_s, to_s)
    totals = stretch(from_s, to_s, "", found.facts, found.air, found.balance).totals
    margin, sd, nearest, beyond = _margin(found, part)
    wet = found.air.wet[part]
    inside, outside = mean(found.air.temp_c[part]), mean(found.air.outside_c[part])
    kept = None if inside is None or outside is None else inside - outside
    burnt = totals is not None and totals.lit_h > 0.0
    span_h = (part.stop - part.start) * STEP_S / 3600.0
    per_k = None
    if totals is not None and burnt and kept is not None and kept * span_h > LEAST_K_H:
        low, middle, high = (1000.0 * one / (kept * span_h) for one in totals.gas_kwh)
        per_k = (low, middle, high)
    return Sheet(
        name,
        span_h,
        margin,
        sd,
        nearest,
        beyond,
        hours(wet) if any(one is not None for one in wet) else None,
        None if totals is None else totals.water_left_kg,
        None if totals is None else totals.gas_kwh,
        None if totals is None else totals.gas_kg,
        kept,
        per_k,
        None if totals is None else totals.air_changes_per_h,
        max(
            sum(1 for value in tape.worst(name, "above")[part] if value is None)
            for name in VITAL
        )
        * STEP_S
        / 60.0,
        past(found, from_s, to_s, beyond),
        found.verdict.word if (from_s, to_s) == (0.0, tape.length_s) else None,
        min(_known(tape, "o2_pct", "below", part), default=None),
        max(_known(tape, "co_ppm", "above", part), default=None),
        max(_known(tape, "co2_ppm", "above", part), default=None),
        None if totals is None else totals.lit_h,
        is_trial,
        trial_figures(
            found,
            from_s,
            to_s,
            totals,
            Z90 * sd_of("o2_pct", O2_LIMIT_PCT),
            is_trial=is_trial,
        ),
        found.units,
        other_air(tape, from_s, to_s),
        unproved(found, from_s, to_s, part, is_trial=is_trial),
        not is_trial
        and found.verdict.is_blind
        and (from_s, to_s) == (0.0, tape.length_s),
        *woken(found, from_s, to_s),
    )


def never_safer(one: Sheet) -> str:
    """Return why it is never called safer than another; '' where it may be.

    Air that was past a limit speaks for itself; an alarm beside calm air does not.
    """
    is_past_by_air = one.margin is not None and one.margin <= 0.0
    blind = NOT_ALL_SEEN if one.is_blind else ""
    return one.unproved or blind or ("" if is_past_by_air else one.past)


def _known(tape: NightSeries, quantity: str, side: str, part: slice) -> list[float]:
    """Return the worst values of a stretch, of those that were told."""
    values = tape.worst(quantity, side)[part]
    return [value for value in values if value is not None]


def sd_of(quantity: str, value: float) -> float:
    """Return what a part may be off at a value, as an sd in its unit."""
    share, own = SENSOR_SD.get(quantity, (0.05, 0.0))
    return math.hypot(share * value, own)


def _margin(found: Morning, part: slice) -> tuple[float | None, float, str, float]:
    """Find the least margin to a waking limit, its sd, of what, and minutes beyond."""
    least: tuple[float, float, str] | None = None
    beyond: set[int] = set()
    for approach in found.near:
        limit = approach.limit
        fresh = FRESH.get(limit.quantity)
        grave = RANKS.get(limit.priority, 0) >= RANKS["medium"]
        if fresh is None or limit.over_s or not grave or limit.alarm == "o2-high":
            continue
        way = limit.at - fresh
        values = found.tape.worst(limit.quantity, limit.side)
        for step in range(part.start, part.stop):
            value = values[step]
            if value is None:
                continue
            left = (limit.at - value) / way
            if left <= 0.0:
                beyond.add(step)
            if least is None or left < least[0]:
                sd = sd_of(limit.quantity, value) / abs(way)
                least = (left, sd, limit.quantity)
    minutes = len(beyond) * STEP_S / 60.0
    return (None, 0.0, "", minutes) if least is None else (*least, minutes)


Measure = tuple[float, float] | None
"""A value, the smaller the better, and its sd."""


def ranks(sheets: Sequence[Sheet]) -> list[Rank]:
    """Order the sheets three times.

    Those past a waking limit stand apart: dry and cheap is no praise for such a night.
    So do those that were too short to judge; and what is not proved is not ranked as
    safe.
    """
    by_the_hour = not are_alike([one for one in sheets if not _is_apart(one)])
    return [
        _rank("safest", [_safe(one) for one in sheets]),
        _rank("driest", [_dry(one, by_the_hour) for one in sheets]),
        _rank("most economical", [_cheap(one) for one in sheets]),
    ]


UNTOUCHED_O2_PCT = 20.6
"""Where nobody breathes and nothing burns oxygen stays above: wet air outdoors has 20.7
(20.95 % of dry air), less a tenth for the part (own choice)."""
NO_FLAME = "no flame was seen to burn"
"""Such a trial shows nothing of what its vents are worth beside one."""


def too_short(one: Sheet) -> str:
    """Say what is missing for it to be compared; '' where nothing is.

    What was past a waking limit is worse than it looks, and needs no more time.
    """
    if one.past or (one.margin is not None and one.margin <= 0.0):
        return ""
    if one.hours < SHORTEST_H:
        least, was = spelled(60.0 * SHORTEST_H), spelled(60.0 * one.hours)
        return f"it lasted {was}, and {least} are the least"
    found = one.figures
    if not one.is_trial or found is None or found.least_o2_pct is None:
        return ""
    if found.power_kw is None and found.least_o2_pct >= UNTOUCHED_O2_PCT:
        return NO_FLAME
    if found.settles_pct is not None:
        worst_pct = found.settles_pct[0]
        if found.least_o2_pct - worst_pct <= SETTLED_O2_PCT:
            return ""
        fell = f"oxygen was at {found.least_o2_pct:.1f} %, and might have fallen to "
        return f"{fell}{worst_pct:.1f}{_more(one)}"
    changes = one.air_changes_per_h
    if changes is not None and changes[0] * one.hours >= SETTLED_CHANGES:
        return ""
    return f"nothing shows that its air had settled{_more(one)}"


def _more(one: Sheet) -> str:
    """Say how much longer it would have had to go on; '' where nobody knows."""
    changes = one.air_changes_per_h
    if changes is None or changes[1] <= 0.0:
        return ""
    more_h = SETTLED_CHANGES / changes[1] - one.hours
    return f": {spelled(60.0 * more_h)} more would do" if more_h > 0.1 else ""


def _is_apart(one: Sheet) -> bool:
    return bool(one.past or too_short(one))


def _safe(one: Sheet) -> tuple[Measure, ...] | None:
    if one.margin is None or _is_apart(one) or one.unproved:
        return None
    return (one.beyond_min, BEYOND_SD_MIN), (-one.margin, one.margin_sd)


def _dry(one: Sheet, by_the_hour: bool) -> tuple[Measure, ...] | None:
    return None if _is_apart(one) else dryness(one, by_the_hour)


def _cheap(one: Sheet) -> tuple[Measure, ...] | None:
    return None if _is_apart(one) else thrift(one)


def safety(one: Sheet, _by_the_hour: bool = False) -> tuple[Measure, ...] | None:
    """Measure how safe the air was, by how near it came to a limit or how far past."""
    if one.margin is None:
        return None
    return (-one.margin, one.margin_sd), (one.beyond_min, BEYOND_SD_MIN)


def dryness(one: Sheet, by_the_hour: bool) -> tuple[Measure, ...] | None:
    """Measure how dry it was; None where nobody tells.

    Args:
        one: of the night.
        by_the_hour: it is compared with some that are not as long: half a night is
            wet for half as long.
    """
    if one.wet_h is None:
        return None
    left = one.water_left_kg
    hours = max(one.hours, 1e-6) if by_the_hour else 1.0
    wet = one.wet_h / hours, WET_SD_H / hours
    return wet, None if left is None else (left[1] / hours, _sd(left) / hours)


def are_alike(sheets: Sequence[Sheet]) -> bool:
    """Return whether all last as long, near enough."""
    hours = [one.hours for one in sheets]
    most = max(hours, default=0.0)
    return most - min(hours, default=0.0) <= LIKE_LONG * most


def thrift(one: Sheet, _by_the_hour: bool = False) -> tuple[Measure, ...] | None:
    """Measure the gas for each degree kept; None where nobody tells."""
    return None if one.w_per_k is None else ((one.w_per_k[1], _sd(one.w_per_k)),)


def _sd(triple: Triple) -> float:
    return max((triple[2] - triple[0]) / 2.0 / Z90, 1e-9)


def _rank(word: str, told: Sequence[tuple[Measure, ...] | None]) -> Rank:
    """Order by the first measure, then by the next."""
    known = [(one, n) for n, one in enumerate(told) if one is not None]
    known.sort(key=lambda pair: [0.0 if m is None else m[0] for m in pair[0]])
    sure = [is_sure(better, worse) for (better, _), (worse, _) in pairwise(known)]
    return Rank(word, tuple(n for _, n in known), tuple(sure))


def is_sure(better: Sequence[Measure], worse: Sequence[Measure]) -> bool:
    """Report whether the first measure that tells them apart is for the better one."""
    for good, bad in zip(better, worse, strict=True):
        if good is None or bad is None:
            continue
        doubt = Z90 * math.hypot(good[1], bad[1])
        if abs(bad[0] - good[0]) > doubt:
            return bad[0] > good[0]
    return False
