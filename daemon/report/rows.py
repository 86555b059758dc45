"""What the account's tables hold, chosen and written once; text and page lay it out."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from cabinvigil.daemon.log.moments import moment
from cabinvigil.daemon.report.own_alarms import stands
from cabinvigil.daemon.review.airflow.balance import Triple
from cabinvigil.daemon.review.alarm_episodes import RANKS, AlarmEpisode, Ring
from cabinvigil.daemon.review.closest_approach import Approach
from cabinvigil.daemon.review.middle import estimate
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.openings import Vent
from cabinvigil.daemon.review.stretches import Totals
from cabinvigil.daemon.review.verdict import WORDS
from cabinvigil.daemon.text.alarm_names import name_of_alarm, urgency
from cabinvigil.daemon.text.durations import minutes, whole_minutes
from cabinvigil.daemon.text.numbers import brief, or_never, valued
from cabinvigil.daemon.text.units_retold import APART, retold
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.drivers.kit.quantity import VITAL

SHOWN = ("o2_pct", "co_ppm", "co2_ppm", "gas_lel_pct", "cohb_pct")
"""What is shown of the approaches, in this order."""
NEARLY_ALL = 0.95
"""Of the night; what was measured for less says so (our choice)."""

Clock = Callable[[float], str]
"""Writes a moment of the night, given in seconds since its origin."""


def clock_of(found: Morning, zone: tzinfo | None) -> Clock:
    """Return what writes the moments of a night."""
    return lambda at_s: moment(found.tape, at_s, zone)


@dataclass(frozen=True, slots=True)
class NearRow:
    """How close the night came to one limit."""

    quantity: str
    words: str
    side: str
    """`below` or `above`: where the limit is passed."""
    value: str
    at_least: str
    """`at least ` where the part was at full scale, else ''."""
    when: str
    limit: str
    margin: str
    passed: str
    """How long it was at the limit or beyond; '' where it never was."""
    measured: str
    """For how much of the night; '' where for nearly all of it."""

    @property
    def beyond(self) -> str:
        """How long at which limit; '' where it never was."""
        return f"{self.passed} at or {self.side} {self.limit}" if self.passed else ""


def shown(near: Sequence[Approach]) -> list[Approach]:
    """Choose for each gas the first limit on the way, and what came nearest."""
    chosen: dict[str, Approach] = {}
    for approach in near:
        limit = approach.limit
        if limit.quantity not in SHOWN or limit.over_s or limit.alarm == "o2-high":
            continue
        before = chosen.get(limit.quantity)
        if before is None or approach.margin < before.margin:
            chosen[limit.quantity] = approach
    return [chosen[name] for name in SHOWN if name in chosen]


def near_rows(found: Morning, clock: Clock) -> list[NearRow]:
    """Return the closest approach of each gas."""
    return [near_row(approach, clock, found.units) for approach in shown(found.near)]


def near_row(approach: Approach, clock: Clock, units: Units = SI) -> NearRow:
    """Write one approach; what was seen for a part of the night is said to be that."""
    limit, apart = approach.limit, units.separator
    share = approach.known_share
    return NearRow(
        limit.quantity,
        WORDS.get(limit.quantity, limit.quantity),
        "below" if limit.side == "below" else "above",
        valued(limit.quantity, approach.value, apart),
        "at least " if approach.is_at_least else "",
        clock(approach.at_s),
        valued(limit.quantity, limit.at, apart),
        valued(limit.quantity, approach.margin, apart),
        minutes(approach.beyond_min) if approach.beyond_min > 0.0 else "",
        ""
        if share >= NEARLY_ALL
        else f"measured for {100.0 * share:.0f} % of the night",
    )


@dataclass(frozen=True, slots=True)
class SpareRow:
    """The least time to oxygen's limit, as projected then."""

    when: str
    least: str
    middle: str
    """With its unit."""
    most: str


def warned(found: Morning) -> str:
    """Say how early people were woken; '' where oxygen's limit was not passed."""
    early_min = found.warned_min
    if early_min is None:
        return ""
    if early_min <= 0.0:
        return "nobody was woken before oxygen was at its limit"
    early = minutes(early_min) if early_min >= 1.0 else "less than a minute"
    return f"first woken {early} before oxygen was at its limit"


def spare_row(found: Morning, clock: Clock) -> SpareRow | None:
    """Return the least time to spare; None where it was none, or not projected."""
    if found.warned_min is not None or found.spare is None:
        return None
    low, middle, high = found.spare.minutes
    return SpareRow(
        clock(found.spare.at_s),
        f"{whole_minutes(low)}",
        f"{whole_minutes(middle)} min",
        or_never(None if high is None else whole_minutes(high), separator=""),
    )


@dataclass(frozen=True, slots=True)
class RangRow:
    """One ring of one alarm: the first of a stand, or one at which it was graver."""

    alarm: str
    """Its id."""
    name: str
    """As people call it."""
    urgency: str
    """`danger`, `wake`, `note` or `fault`."""
    text: str
    begins: str
    ends: str
    """When it was over or became graver; '' where it still stood at the end."""
    times: str
    """`, 3 times`, or '' for once."""
    answered: str
    """After how long; '' where nobody answered."""


def ring_text(episode: AlarmEpisode, ring: Ring, units: Units) -> str:
    """Return what an alarm said, in a reader's units."""
    is_apart = episode.alarm.partition("/")[0] in APART
    return retold(ring.text, units, ring.exact, is_apart=is_apart)


def rang_rows(found: Morning, clock: Clock) -> list[RangRow]:
    """Return what sounded, the gravest first; each ring with its own time and words."""
    rang = sorted(stands(found), key=lambda one: (-one.rank, one.from_s))
    return [
        RangRow(
            episode.alarm,
            name_of_alarm(episode.alarm),
            urgency(ring.priority),
            ring_text(episode, ring, found.units),
            clock(ring.at_s),
            "" if to_s is None else clock(to_s),
            f", {episode.rings} times"
            if episode.rings > len(episode.rises) and ring is episode.rises[-1]
            else "",
            ""
            if episode.acknowledged_s is None
            else minutes(episode.acknowledged_s / 60.0),
        )
        for episode, ring, _, to_s in rang
    ]


def first_woken(found: Morning, clock: Clock) -> str:
    """Say which alarm woke people first, and when; '' where none did."""
    waking = [one for one in stands(found) if one.rank >= RANKS["medium"]]
    if not waking:
        return ""
    first = min(waking, key=lambda one: (one.ring.at_s, -one.rank))
    name = name_of_alarm(first.episode.alarm)
    kind = urgency(first.ring.priority)
    return f"first woken at {clock(first.ring.at_s)}: {name} ({kind})"


@dataclass(frozen=True, slots=True)
class VentRow:
    """Openings that would let as much air pass, and those that are fitted."""

    each: str
    each_brief: str
    fitted: str
    """'' where it is not known, or nothing is."""
    is_one: bool
    """It is one opening alone."""
    expected: str
    """What the fitted would pass."""


@dataclass(frozen=True, slots=True)
class AirRow:
    """The air of one stretch of the night."""

    begins: str
    ends: str
    why: str
    """Why it begins; '' for the night's start."""
    changes: str
    """An hour."""
    air: str
    """The flow."""
    air_brief: str
    vent: VentRow | None


def _or_under_one(number: str) -> str:
    return "under 1" if number == "0" else number


def vent_row(vent: Vent | None, units: Units) -> VentRow | None:
    """Write the openings of a stretch; None where they cannot be told."""
    if vent is None:
        return None
    low, _, high = vent.expected_m3_h
    each = estimate(vent.each_cm2)
    return VentRow(
        units.fixed("cm2", each, 0),
        brief(each, lambda cm2: _or_under_one(units.number("cm2", cm2))),
        units.number("cm2", vent.fitted_cm2) if vent.fitted_cm2 else "",
        vent.is_one,
        f"{units.number('m3_h', low)} to {units.number('m3_h', high)}",
    )


def _bounded(totals: Totals, triple: Triple, unit: str = "", units: Units = SI) -> str:
    """Write a rate; of hours that CO2 does not tell, only what it is below."""
    if totals.bounded_h:
        return f"at most {units.figure(unit, triple[2])}"
    return units.spread(unit, estimate(triple))


def _brief(totals: Totals, triple: Triple, unit: str, units: Units) -> str:
    if totals.bounded_h:
        return _bounded(totals, triple, unit, units)
    return units.brief(unit, estimate(triple))


def air_rows(found: Morning, clock: Clock, most: int) -> list[AirRow]:
    """Return the longest stretches whose air can be told, in their order."""
    parts = [stretch for stretch in found.stretches if stretch.totals is not None]
    longest = sorted(parts, key=lambda one: one.from_s - one.to_s)[:most]
    return [
        AirRow(
            clock(stretch.from_s),
            clock(stretch.to_s),
            stretch.begins_with,
            _bounded(stretch.totals, stretch.totals.air_changes_per_h),
            _bounded(stretch.totals, stretch.totals.air_m3_h, "m3_h", found.units),
            _brief(stretch.totals, stretch.totals.air_m3_h, "m3_h", found.units),
            vent_row(stretch.vent, found.units),
        )
        for stretch in sorted(longest, key=lambda one: one.from_s)
        if stretch.totals is not None
    ]


@dataclass(frozen=True, slots=True)
class SeenRow:
    """How well one quantity was watched."""

    quantity: str
    words: str
    share: str
    longest: str
    """The longest stretch without it, and from when; '' where it is none."""


def seen_rows(found: Morning, clock: Clock) -> list[SeenRow]:
    """Return how well each quantity was watched."""
    rows = []
    for watched in found.seen:
        longest = ""
        if watched.longest_min >= 2.0 and watched.unseen_from_s is not None:
            since = clock(watched.unseen_from_s)
            longest = f"{minutes(watched.longest_min)}, from {since}"
        share = f"{100.0 * watched.share:.0f} %"
        rows.append(SeenRow(watched.quantity, watched.words, share, longest))
    return rows


def never_measured(found: Morning) -> list[str]:
    """Return the quantities that protect life and that no part gave."""
    measured = {watched.quantity for watched in found.seen}
    return [WORDS[name] for name in VITAL if name not in measured]


def clock_rows(found: Morning, clock: Clock) -> list[tuple[str, str]]:
    """Return by how much the clock was set, and when."""
    return [
        (minutes(abs(float(step.fields.get("moved_s", 0.0))) / 60.0), clock(step.at_s))
        for step in found.tape.clock_steps
    ]
