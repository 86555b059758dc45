"""Which pictures a night's page shows, and what each of them says in words."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta, tzinfo

from cabinvigil.daemon.log.night import STEP_S
from cabinvigil.daemon.report.fans import fans_of
from cabinvigil.daemon.report.other_air_words import INDEX_WORDS, RELATIVE
from cabinvigil.daemon.report.own_alarms import (
    Stand,
    bars_in_words,
    own_bands,
    own_stands,
)
from cabinvigil.daemon.report.rows import clock_of
from cabinvigil.daemon.review.airflow.balance import Z90
from cabinvigil.daemon.review.closest_approach import Approach
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.trial_curves import thinned
from cabinvigil.daemon.text.alarm_names import name_of_alarm, urgency
from cabinvigil.daemon.text.charts import STYLES, Band, Curve, Fan, Panel, Told
from cabinvigil.daemon.text.numbers import figure, valued
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import SI, Units

MOST_POINTS = 540
"""A point a minute of a night of nine hours: no phone shows more."""
O2_RANGE_PCT = (17.0, 21.0)
"""From air that sounds the gravest alarm to fresh air: half a tenth is noise."""
LEAST_TOP = {"co_ppm": 100.0, "co2_ppm": 5000.0, "pm2_5_ugm3": 50.0}
"""Of an axis: CO of 100 ppm harms within an hour or two, CO2 of 5000 ppm is a working
day's limit; a part's noise beneath (a few ppm) must not fill a picture."""
LEAST_SPAN_K = 10.0
"""Of an axis of warmth: two degrees to and fro is a heater's own step."""
MOST_INDEX = 500.0
"""The end of an index's scale (drivers/kit/gas_index.py)."""
LEAST_CHANGES = 5.0
"""Of an axis of air changes an hour: what a trailer with its vents open has."""
QUANTITIES_OF = {
    # picture: what its alarms judge, where that has another name
    "o2": "o2_pct",
    "co2": "co2_ppm",
    "co": "co_ppm",
    "rh": "rh_pct",
    "temp": "temp_c",
    "supply": "supply_v",
    "charge": "supply_v",
    "dust": "pm2_5_ugm3",
}


@dataclass(frozen=True, slots=True)
class Picture:
    """A panel with its words."""

    panel: Panel
    title: str
    unit: str
    words: str
    """What it shows, for whoever cannot see it."""
    key: tuple[str, ...] = ()
    """What each sign in it is; nothing that is not in it."""


def pictures(found: Morning, zone: tzinfo | None = None) -> list[Picture]:
    """Choose the pictures of a night."""
    view = _View(found, zone)
    return [one for make in _ALL for one in make(view)]


class _View:
    """The night as pictures need it: thinned, with its ticks and bands."""

    def __init__(self, found: Morning, zone: tzinfo | None) -> None:
        self.found = found
        self.clock = clock_of(found, zone)
        tape = found.tape
        self.each = max(1, math.ceil(tape.count / MOST_POINTS))
        self.hours = [n * STEP_S / 3600.0 for n in range(0, tape.count, self.each)]
        self.ticks = ticks_of(found, zone)
        self.holes = [
            Band(one.from_s / 3600.0, one.to_s / 3600.0, "gap") for one in tape.gaps
        ]
        self.holes += [
            Band(one.from_s / 3600.0, one.to_s / 3600.0, "trial") for one in tape.trials
        ]
        self.marks = [(at_s / 3600.0, text) for at_s, text in marks_of(found)]

    def thin(self, values: Sequence[Told]) -> list[Told]:
        """Average over the points shown; a hole stays a hole."""
        return thinned(values, self.each)

    @property
    def span_k(self) -> float:
        """The least that an axis of temperatures holds, in the night's own units."""
        return self.found.units.value("k", LEAST_SPAN_K)

    def warm(self, values: Sequence[Told]) -> list[Told]:
        """Put temperatures in the night's own units, so that axes are round in them."""
        units = self.found.units
        return [None if one is None else units.value("c", one) for one in values]

    def picture(self, panel: Panel, title: str, unit: str, words: str) -> Picture:
        """Draw the bars of a panel, and its words."""
        own = own_stands(self.found, QUANTITIES_OF.get(panel.key, panel.key))
        bars = list(own_bands(self.found, own))
        key = bars_in_words(own)
        if panel.fans:
            key.append("Shaded: what the projection expected then")
        if any(line.low is not None for line in panel.lines):
            key.append("Shaded: where it is nine times in ten")
        if any(one.kind == "gap" for one in self.holes):
            key.append("Grey: nothing was recorded")
        if any(one.kind == "trial" for one in self.holes):
            key.append("Pale ground: a trial, left out here")
        if self.marks:
            names = "marks" if not self.found.tape.trials else "marks and trials"
            key.append(f"Dotted lines: {names}")
        stands = [self._stand(one) for one in own]
        told = "; ".join([words, *stands])
        panel = replace(panel, bands=[*self.holes, *bars])
        return Picture(panel, title, unit, told, tuple(key))

    def _stand(self, one: Stand) -> str:
        to_s = self.found.tape.length_s if one.to_s is None else one.to_s
        alarm, priority = one.episode.alarm, one.ring.priority
        name = f"{name_of_alarm(alarm)} ({urgency(priority)})"
        return f"{name} was active from {self.clock(one.from_s)} to {self.clock(to_s)}"

    def panel(
        self,
        key: str,
        lines: Sequence[Curve],
        limits: Sequence[tuple[float, str]] = (),
        fans: Sequence[Fan] = (),
        floor: float | None = None,
    ) -> Panel:
        """Make a panel with what all of them share."""
        return Panel(
            key, self.hours, lines, self.ticks, limits, (), self.marks, fans, floor
        )

    def course(self, words: str, unit: str, values: Sequence[Told]) -> str:
        """Return how a course went: begin, lowest, highest, end."""
        known = [(n, one) for n, one in enumerate(values) if one is not None]
        if not known:
            return f"{words}: nothing was measured"
        low = min(known, key=lambda pair: pair[1])
        high = max(known, key=lambda pair: pair[1])
        begin, end = known[0], known[-1]

        def told(pair: tuple[int, float]) -> str:
            at = self.clock(pair[0] * self.each * STEP_S)
            return f"{figure(pair[1], 3)}{unit} at {at}"

        return (
            f"{words}: {told(begin)}, lowest {told(low)}, highest {told(high)}, "
            f"{told(end)} at the end"
        )


def marks_of(found: Morning) -> list[tuple[float, str]]:
    """Return the marks and the trials' begins by time, each with its words."""
    marks = [
        (one.at_s, str(one.fields.get("text", "")) or "mark")
        for one in found.tape.events
        if one.kind == "mark"
    ]
    trials = [(one.from_s, one.text or "trial") for one in found.tape.trials]
    return sorted([*marks, *trials])


def ticks_of(found: Morning, zone: tzinfo | None) -> list[tuple[float, str]]:
    """Put ticks at full local hours, at most five: so many fit a phone."""
    tape, last_h, clock = found.tape, found.hours, clock_of(found, zone)
    each = next(n for n in (1, 2, 3, 4, 6, 12, 24, 48, 96) if last_h / n <= 4.6)
    first_h = 0.0
    if tape.origin is not None:
        local = tape.origin.astimezone(zone)
        full = local.replace(minute=0, second=0, microsecond=0)
        while full < local or full.hour % min(each, 24):
            full += timedelta(hours=1)
        first_h = (full - local).total_seconds() / 3600.0
    count = int((last_h - first_h) / each + 1e-6) + 1
    hours = [first_h + each * n for n in range(max(0, count))]
    return [(one, clock(one * 3600.0)) for one in hours]


def _limits(
    near: Sequence[Approach], quantity: str, side: str, units: Units = SI
) -> list[tuple[float, str]]:
    """Return the limits on one side; the first on the way is always in the picture."""
    found = {}
    for one in near:
        limit = one.limit
        if limit.quantity == quantity and limit.side == side and not limit.over_s:
            found[limit.at] = f"limit {retold(valued(quantity, limit.at), units)}"
    return list(found.items())


def _gas(
    view: _View, key: str, quantity: str, title: str, unit: str, side: str
) -> Iterator[Picture]:
    values = view.thin(view.found.tape.worst(quantity, side))
    if not any(one is not None for one in values):
        return
    limits = _limits(view.found.near, quantity, side)
    fans = fans_of(view.found) if quantity == "o2_pct" else []
    panel = view.panel(key, [Curve(title, values)], limits, fans)
    first = [at for at, _ in limits]
    if side == "above":
        tops = [
            LEAST_TOP.get(quantity, 0.0),
            *(1.05 * one for one in sorted(first)[:1]),
        ]
        panel = replace(panel, floor=0.0, top=max(tops) or None)
    else:
        fresh = O2_RANGE_PCT[1]
        panel = replace(panel, floor=O2_RANGE_PCT[0], top=fresh, ceiling=fresh)
    words = view.course(title, unit, values)
    if limits:
        words += "; " + ", ".join(word for _, word in limits)
    if fans:
        moments = "1 moment" if len(fans) == 1 else f"{len(fans)} moments"
        words += f"; shaded: what the projection expected, at {moments}"
    yield view.picture(panel, title, unit.strip(), words)


def _oxygen(view: _View) -> Iterator[Picture]:
    yield from _gas(view, "o2", "o2_pct", "Oxygen", " %", "below")


def _carbon_dioxide(view: _View) -> Iterator[Picture]:
    yield from _gas(view, "co2", "co2_ppm", "Carbon dioxide (CO2)", " ppm", "above")


def _carbon_monoxide(view: _View) -> Iterator[Picture]:
    yield from _gas(view, "co", "co_ppm", "Carbon monoxide (CO)", " ppm", "above")


def _air(view: _View) -> Iterator[Picture]:
    found = view.found.balance
    if found is None:
        return
    at = {round(one.at_s / STEP_S): one for one in found.nodes if one.is_known}
    width = round(found.step_s / STEP_S)
    middle: list[Told] = []
    low: list[Told] = []
    high: list[Told] = []
    for n in range(0, view.found.tape.count, view.each):
        node = at.get(n // width * width)
        middle.append(None if node is None else max(0.0, node.changes_per_h))
        for out, sign in ((low, -1.0), (high, 1.0)):
            off = (
                None
                if node is None
                else node.changes_per_h + sign * Z90 * node.changes_sd
            )
            out.append(None if off is None else max(0.0, off))
    title = "Air changes an hour"
    panel = view.panel("air", [Curve(title, middle, low=low, high=high)], floor=0.0)
    panel = replace(panel, top=LEAST_CHANGES)
    words = view.course(title, "", middle) + "; shaded: where it is nine times in ten"
    yield view.picture(panel, title, "1/h", words)


def _dew(view: _View) -> Iterator[Picture]:
    air = view.found.air
    dew = view.warm(air.dew_point_c(view.each)[: len(view.hours)])
    glass = view.warm(view.thin(air.glass_c))
    sign = f" {view.found.units.sign('c')}"
    if not any(one is not None for one in dew):
        return
    worked = "" if air.glass_is_measured else ", worked out"
    lines = [Curve("dew point", dew), Curve(f"glass{worked}", glass, "dashed")]
    words = (
        view.course("Dew point", sign, dew)
        + ". "
        + view.course("Coldest window", sign, glass)
        + f". The window was wet for {view.found.comfort.wet_h:.1f} h"
    )
    title = "Dew point against window"
    panel = replace(view.panel("dew", lines), least_span=view.span_k)
    yield view.picture(panel, title, sign.strip(), words)


def _warmth(view: _View) -> Iterator[Picture]:
    air = view.found.air
    inside, outside = (view.warm(view.thin(one)) for one in (air.temp_c, air.outside_c))
    sign = f" {view.found.units.sign('c')}"
    if not any(one is not None for one in inside):
        return
    lines = [Curve("inside", inside)]
    words = view.course("Temperature", sign, inside)
    if air.outside_is_measured:
        lines.append(Curve("outside", outside, "dotted"))
        words += ". " + view.course("Outside", sign, outside)
    near = view.found.near
    units = view.found.units
    limits = [
        (units.value("c", at), label)
        for side in ("below", "above")
        for at, label in _limits(near, "temp_c", side, units)
    ]
    panel = replace(view.panel("temp", lines, limits), least_span=view.span_k)
    yield view.picture(panel, "Temperature", sign.strip(), words)


def _humidity(view: _View) -> Iterator[Picture]:
    values = view.thin(view.found.tape.worst("rh_pct", "above", ""))
    if any(one is not None for one in values):
        words = view.course("Relative humidity", " %", values)
        panel = view.panel("rh", [Curve("humidity", values)], floor=0.0)
        panel = replace(panel, top=100.0, ceiling=100.0)
        yield view.picture(panel, "Relative humidity", "%", words)


def _supply(view: _View) -> Iterator[Picture]:
    values = view.thin(view.found.tape.worst("supply_v", "below"))
    if any(one is not None for one in values):
        words = view.course("Battery", " V", values)
        panel = view.panel("supply", [Curve("battery", values)])
        panel = replace(panel, least_span=1.0)
        yield view.picture(panel, "Battery", "V", words)


def _charge(view: _View) -> Iterator[Picture]:
    values = view.thin(view.found.tape.worst("charge_pct", "below"))
    if any(one is not None for one in values):
        words = view.course("Charge of the battery", " %", values)
        panel = view.panel("charge", [Curve("charge", values)], floor=0.0)
        panel = replace(panel, top=100.0, ceiling=100.0)
        yield view.picture(panel, "Charge of the battery", "%", words)


def _dust(view: _View) -> Iterator[Picture]:
    yield from _gas(view, "dust", "pm2_5_ugm3", "Fine dust", " µg/m³", "above")


def _indices(view: _View) -> Iterator[Picture]:
    """Draw the indices of a night in which one of them rose: no flat line else."""
    air = view.found.other
    if not any(one.is_raised for one in air.indices):
        return
    lines, words = [], []
    for one, style in zip(air.indices, STYLES, strict=False):
        values = view.thin(view.found.tape.worst(one.quantity, "above"))
        name = INDEX_WORDS[one.quantity]
        lines.append(Curve(f"{name}, usual {one.usual:.0f}", values, style))
        words.append(view.course(name, "", values))
    panel = replace(view.panel("index", lines, floor=0.0), top=MOST_INDEX)
    told = ". ".join([*words, RELATIVE])
    yield view.picture(panel, "Vapours, as an index", "", told)


_ALL: tuple[Callable[[_View], Iterator[Picture]], ...] = (
    _oxygen,
    _carbon_dioxide,
    _carbon_monoxide,
    _air,
    _dew,
    _humidity,
    _warmth,
    _supply,
    _charge,
    _dust,
    _indices,
)
