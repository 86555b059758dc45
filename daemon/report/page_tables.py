"""The tables of the morning page: closest, rang, air, gas and water, the watch."""

from collections.abc import Iterator, Sequence
from datetime import tzinfo
from html import escape

from cabinvigil.daemon.report import night_totals
from cabinvigil.daemon.report.rows import (
    Clock,
    air_rows,
    clock_of,
    clock_rows,
    near_rows,
    never_measured,
    rang_rows,
    seen_rows,
    spare_row,
    vent_row,
    warned,
)
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.numbers import bracketed
from cabinvigil.daemon.text.units import with_powers
from cabinvigil.daemon.text.units_said import Units

MOST_RANG = 12
MOST_STRETCHES = 8
LONGEST_WHY = 40
Row = Sequence[str]


def first_tables(found: Morning, zone: tzinfo | None) -> Iterator[str]:
    """Write what is asked first: how close, and what rang."""
    clock = clock_of(found, zone)
    yield from _told("Closest to the limits", "", _NEAR, _near(found, clock))
    yield from _told("What rang", "", _RANG, _rang(found, clock), LONG)


def further_tables(found: Morning, zone: tzinfo | None) -> Iterator[str]:
    """Write the rest: why, and what it cost."""
    clock = clock_of(found, zone)
    heads, air = _air_heads(found.units), _air(found, clock)
    yield from _told("Fresh air", _air_caption(found), heads, air, PARTS)
    yield from _told("Gas, water, warmth", "", _REST, _rest(found))
    yield from _told("The watch itself", "", _REST, _watch(found, clock), LONG)


_NEAR = ("gas", "value", "when", "limit")
_RANG = ("when", "what it said")
_REST = ("", "")


LONG, PARTS = "long", "parts"
ON_PAPER = {LONG: 6, PARTS: 3}
"""Rows of such tables that paper has (page_style.py), so that one sheet holds all."""


def _told(
    title: str, caption: str, heads: Row, rows: Iterator[Row], kind: str = ""
) -> Iterator[str]:
    listed = list(rows)
    if listed:
        yield _table(title, caption, heads, listed, kind)


def _table(title: str, caption: str, heads: Row, rows: Sequence[Row], kind: str) -> str:
    head = ""
    if any(heads):
        cells = "".join(f'<th scope="col">{escape(one)}</th>' for one in heads)
        head = f"<thead><tr>{cells}</tr></thead>"
    told = f"<caption>{escape(caption)}</caption>" if caption else ""
    body = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>'
        + "".join(f"<td>{_cell(one)}</td>" for one in row[1:])
        + "</tr>"
        for row in rows
    )
    table = f"<table>{told}{head}<tbody>{body}</tbody></table>"
    more = " more" if len(rows) > ON_PAPER.get(kind, len(rows)) else ""
    named = f' class="{kind}{more}"' if kind else ""
    return f"<section{named}><h2>{escape(title)}</h2>{table}</section>"


def _cell(text: str) -> str:
    """Write a cell; what stands below its first line is written small."""
    first, _, below = text.partition("\n")
    return escape(first) + (f"<br><small>{escape(below)}</small>" if below else "")


def _near(found: Morning, clock: Clock) -> Iterator[Row]:
    for row in near_rows(found, clock):
        passed = f", passed for {row.passed}" if row.passed else ""
        yield row.words, row.at_least + row.value, row.when, row.limit + passed
    if early := warned(found):
        yield "first woken", early, "before", "oxygen's limit"
    if spare := spare_row(found, clock):
        left = bracketed(spare.middle, spare.least, spare.most)
        yield "least to spare", left, spare.when, "as projected then"


def _rang(found: Morning, clock: Clock) -> Iterator[Row]:
    rows = rang_rows(found, clock)
    for row in rows[:MOST_RANG]:
        end = f"until {row.ends}" if row.ends else "to the end"
        answer = f"answered after {row.answered}" if row.answered else "no answer"
        more = f"{row.priority}{row.times}, {end}, {answer}; {row.alarm}"
        yield row.begins, f"{row.text}\n{more}"
    if len(rows) > MOST_RANG:
        yield "", f"and {len(rows) - MOST_RANG} more"


def _air_heads(units: Units) -> Row:
    flow, area = with_powers(units.sign("m3_h")), with_powers(units.sign("cm2"))
    return "stretch", "changes an hour", flow, f"like two vents of, {area}"


def _air_caption(found: Morning) -> str:
    vent, units = vent_row(found.whole.vent, found.units), found.units
    if vent is None:
        return ""
    if not vent.fitted:
        return "Compared with openings low and high, in still air and a little wind."
    return (
        f"The vents fitted, {vent.fitted} {with_powers(units.sign('cm2'))} low and "
        f"high, would pass {vent.expected} {with_powers(units.sign('m3_h'))}, all open."
    )


def _air(found: Morning, clock: Clock) -> Iterator[Row]:
    for row in air_rows(found, clock, MOST_STRETCHES):
        why = f", {row.why[:LONGEST_WHY]}" if row.why else ""
        vents = "" if row.vent is None else row.vent.each
        yield f"{row.begins} to {row.ends}{why}", row.changes, row.air, vents


def _rest(found: Morning) -> Iterator[Row]:
    night = night_totals.gas_and_water(found)
    kg, kwh = found.units.sign("kg"), found.units.sign("kwh")
    if night is not None:
        yield "gas", f"{night.gas_kg} {kg}, {night.gas_kwh} {kwh}"
        if night.burner:
            yield "burner", night.burner
        if night.cylinder_h:
            after = f"{night.cylinder_left_h} h after this night"
            yield "a full cylinder", f"lasts {night.cylinder_h} h at that, {after}"
        yield "water made", f"{night.water_made_kg} {kg}"
        yield "carried off", f"{night.water_carried_kg} {kg}"
        yield "left behind", night.water_left
    if found.whole.withheld:
        yield "air, gas, water", f"not to be told: {found.whole.withheld}"
    if glass := night_totals.glass(found):
        yield "glass", glass
    if inside := night_totals.inside(found):
        yield "inside", f"{inside} {found.units.sign('c')}"
    if blood := night_totals.blood(found):
        yield "CO in the blood", blood
    if mean_co2 := night_totals.mean_co2(found):
        yield "CO2 on average", mean_co2


def _watch(found: Morning, clock: Clock) -> Iterator[Row]:
    for row in seen_rows(found, clock):
        longest = f"; longest without it {row.longest}" if row.longest else ""
        yield row.words, f"{row.share} of the night{longest}"
    for words in never_measured(found):
        yield words, "was never measured"
    for gap in found.tape.gaps:
        span = f"{clock(gap.from_s)} to {clock(gap.to_s)}"
        yield "nothing recorded", f"{span}, {minutes(gap.length_s / 60.0)}"
    if found.tape.starts > 1:
        yield "starts", f"{found.tape.starts}"
    for moved, when in clock_rows(found, clock)[:3]:
        yield "clock", f"set by {moved} at {when}; times before it are mended"
    for trouble in found.troubles[:6]:
        times = f"{trouble.count} times: {trouble.text}"
        yield trouble.source, f"at fault for {minutes(trouble.minutes)}, {times}"
    marks = [one for one in found.tape.events if one.kind == "mark"]
    for n, mark in enumerate(marks[:20], 1):
        text = str(mark.fields.get("text", ""))
        yield f"mark {n}", f"{clock(mark.at_s)}: {text}"
