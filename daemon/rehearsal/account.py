"""The account of a rehearsed night: who was woken, and what was really so."""

from collections.abc import Callable, Collection, Iterable, Iterator
from datetime import datetime, timedelta, tzinfo
from itertools import pairwise

from cabinvigil.daemon.air.figures import CUT_OFF_O2_PCT
from cabinvigil.daemon.core.model import ActKind, Priority, Transition
from cabinvigil.daemon.log.moments import TRAILERS_ZONE
from cabinvigil.daemon.rehearsal.cabin import Truth
from cabinvigil.daemon.rehearsal.nights import NightAct
from cabinvigil.daemon.rehearsal.play import START_WALL
from cabinvigil.daemon.text.alarm_names import name_of_alarm, urgency
from cabinvigil.daemon.text.moments import time_of_day
from cabinvigil.daemon.text.units_said import SI, Units

O2_LIMIT_PCT = 19.5
"""29 CFR 1910.146(b), as `o2-low`."""


RISEN_PCT = 0.2
"""What oxygen may have risen by in the minute since a cut-off acted, until the truth
is told again: an air change an hour, up from 18 %, brings 0.05 (our choice)."""
Clock = Callable[[float], str]
"""Writes a moment of the night as the narrator did."""


def clock_from(begins: datetime, zone: tzinfo, pace: float = 1.0) -> Clock:
    """Return what writes a moment, in seconds since the beginning, as a time of day.

    Args:
        begins: of the night.
        zone: in which it is told.
        pace: so many of the night's seconds pass in one of the clock's.
    """

    def clock(at_s: float) -> str:
        return time_of_day((begins + timedelta(seconds=at_s / pace)).astimezone(zone))

    return clock


TRAILERS_CLOCK = clock_from(START_WALL, TRAILERS_ZONE)


def account(
    night: str,
    truths: list[Truth],
    units: Units = SI,
    clock: Clock = TRAILERS_CLOCK,
) -> Iterator[str]:
    """Report what was really so.

    Args:
        night: its name; '' for recorded air, of which nothing more is known.
        truths: what was so, in order.
        units: in which numbers are shown.
        clock: writes a moment as it was shown while it was played.
    """
    yield ""
    if truths:
        yield (
            f"The night '{night}', as it really was (sensors differ by their accuracy):"
        )
        most_co2 = max(t.co2_ppm for t in truths)
        lowest = min(truths, key=lambda t: t.o2_pct)
        yield (
            f"  oxygen down to {lowest.o2_pct:.2f} % at "
            f"{clock(lowest.time_s)}, carbon dioxide up to "
            f"{units.number('ppm', most_co2, 0, ' ')} ppm, carbon monoxide up to "
            f"{max(t.co_ppm for t in truths):.0f} ppm"
        )
        yield (
            f"  {units.said('kg', truths[-1].water_on_walls_kg, 1)} of water on "
            f"windows and walls, {units.number('c', min(t.temp_c for t in truths))} "
            f"to {units.said('c', max(t.temp_c for t in truths))} inside"
        )
        if (out := _cut_off(truths)) is not None:
            yield (
                f"  the heater's own cut-off put the flame out at {clock(out.time_s)}, "
                f"with {out.o2_pct:.1f} % oxygen left;"
            )
            yield "  a heater without one, or whose cut-off fails, burns on"


def _cut_off(truths: list[Truth]) -> Truth | None:
    """Find where the emulated heater's cut-off had put out its flame."""
    for before, now in pairwise(truths):
        was_lit = before.burn_kw > 0.0 and now.burn_kw <= 0.0
        if was_lit and now.o2_pct < CUT_OFF_O2_PCT + RISEN_PCT:
            return now
    return None


def not_begun(acts: Iterable[NightAct], begun: Collection[str], until_s: float) -> str:
    """Name the trials that did not begin, since the air was not good; '' for none.

    Args:
        acts: of the night.
        begun: the texts of those that did.
        until_s: when the rehearsal ended.
    """
    asked = [
        one.act.text
        for one in acts
        if one.act.kind is ActKind.TRIAL and one.at_s < until_s
    ]
    missing = [f"'{text}'" for text in asked if text not in begun]
    if not missing:
        return ""
    trials = "trial" if len(missing) == 1 else "trials"
    return (
        f"The {trials} {' and '.join(missing)} did not begin: the air was not good "
        "again by then, so alarms were real. Air the cabin longer, or burn less."
    )


def verdict(
    truths: list[Truth],
    rings: list[tuple[float, Transition]],
    clock: Clock = TRAILERS_CLOCK,
) -> Iterator[str]:
    """Report who was woken, when, and how long before the limit.

    Args:
        truths: what was so, in order.
        rings: what sounded, and when.
        clock: writes a moment as it was shown while it was played.
    """
    grave = [(at, ring) for at, ring in rings if ring.priority >= Priority.MEDIUM]
    if not grave:
        yield "Nothing woke the sleepers."
        return
    at_s, first = grave[0]
    alarms = "alarm" if len(grave) == 1 else "alarms"
    yield (
        f"First woken at {clock(at_s)}: {name_of_alarm(first.alarm)} "
        f"({urgency(first.priority.word)}); {len(grave)} waking {alarms} in all."
    )
    crossed = next((t.time_s for t in truths if t.o2_pct <= O2_LIMIT_PCT), None)
    o2_rings = [at for at, ring in grave if ring.alarm.startswith("o2-")]
    if crossed is not None and o2_rings:
        early_min = (crossed - o2_rings[0]) / 60.0
        yield (
            f"The oxygen alarm sounded {early_min:.0f} min before oxygen really was "
            f"at {O2_LIMIT_PCT:g} %."
        )
