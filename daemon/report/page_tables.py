"""The tables of the morning page: closest, sounded, air, gas and water, the monitor."""

from collections.abc import Iterator, Sequence
from datetime import tzinfo
from html import escape

from cabinvigil.daemon.report import night_totals
from cabinvigil.daemon.report.other_air_words import (
    RELATIVE,
    dust_meaning,
    dust_words,
    index_words,
)
from cabinvigil.daemon.report.pictures import marks_of
from cabinvigil.daemon.report.rows import (
    Clock,
    air_rows,
    clock_of,
    clock_rows,
    never_measured,
    seen_rows,
    vent_row,
)
from cabinvigil.daemon.review.airflow.balance import Triple
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.units import with_powers
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import SI, Units

MOST_STRETCHES = 8
NONE_KG = 0.05
"""Less water or gas is told as none."""
LONGEST_WHY = 40
Row = Sequence[str]


def further_tables(found: Morning, zone: tzinfo | None) -> Iterator[str]:
    """Write why, what it cost, and what did not watch."""
    clock = clock_of(found, zone)
    heads = _air_heads(found.units)
    yield from _told("Fresh air", _air_caption(found), heads, _air(found, clock))
    yield from _told("Gas, water, warmth", "", _REST, _rest(found, clock))
    yield from _told("The monitor itself", "", _REST, _watch(found, clock), LONG)


_REST = ("", "")


LONG = "long"
ON_PAPER = {LONG: 8}
"""Rows of such tables that paper has (page_style.py), so that two sheets hold all."""


def _told(
    title: str, caption: str, heads: Row, rows: Iterator[Row], kind: str = ""
) -> Iterator[str]:
    listed = list(rows)
    if listed:
        yield table_of(title, caption, heads, listed, kind)


def table_of(
    title: str, caption: str, heads: Row, rows: Sequence[Row], kind: str = ""
) -> str:
    """Write a table beneath its title."""
    head = ""
    if any(heads):
        cells = "".join(f'<th scope="col">{escape(one)}</th>' for one in heads)
        head = f"<thead><tr>{cells}</tr></thead>"
    told = f"<caption>{escape(caption)}</caption>" if caption else ""
    body = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>'
        + "".join(map(_named_cell, heads[1:], row[1:]))
        + "</tr>"
        for row in rows
    )
    table = f"<table>{told}{head}<tbody>{body}</tbody></table>"
    more = " more" if len(rows) > ON_PAPER.get(kind, len(rows)) else ""
    named = f' class="{kind}{more}"' if kind else ""
    return f"<section{named}><h2>{escape(title)}</h2>{table}</section>"


def _named_cell(head: str, text: str) -> str:
    """Write a cell, named for where a narrow phone stacks them."""
    named = f' data-head="{escape(head)}: "' if head else ""
    return f"<td{named}>{_cell(text)}</td>"


def _cell(text: str) -> str:
    """Write a cell; what stands below its first line is written small."""
    first, _, below = text.partition("\n")
    return escape(first) + (f"<br><small>{escape(below)}</small>" if below else "")


def _air_heads(units: Units) -> Row:
    flow, area = with_powers(units.sign("m3_h")), with_powers(units.sign("cm2"))
    return "stretch", "changes an hour", flow, f"like two vents of, {area}"


def _air_caption(found: Morning) -> str:
    vent, units = vent_row(found.whole.vent, found.units), found.units
    if vent is None:
        return ""
    if not vent.fitted:
        return "Compared with vents low and high, in still air and a little wind."
    area, flow = (with_powers(units.sign(one)) for one in ("cm2", "m3_h"))
    those = f"The vents fitted, {vent.fitted} {area} low and high,"
    if vent.is_one:
        those = f"The one vent fitted, {vent.fitted} {area},"
    return f"{those} would pass {vent.expected} {flow}, all open."


def _air(found: Morning, clock: Clock) -> Iterator[Row]:
    for row in air_rows(found, clock, MOST_STRETCHES):
        why = f", {row.why[:LONGEST_WHY]}" if row.why else ""
        vents = "" if row.vent is None else row.vent.each
        yield f"{row.begins} to {row.ends}{why}", row.changes, row.air, vents


def _rest(found: Morning, clock: Clock) -> Iterator[Row]:
    night, totals = night_totals.gas_and_water(found), found.whole.totals
    units = found.units
    kwh = units.sign("kwh")
    if night is not None and totals is not None:
        gas = at_most_kg(totals.gas_kg, night.gas_kg, units)
        yield "gas", gas if gas == "none" else f"{gas}, {night.gas_kwh} {kwh}"
        if night.burner:
            yield "burner", night.burner
        if night.cylinder_h:
            after = f"{night.cylinder_left_h} h after this night"
            yield "a full cylinder", f"lasts {night.cylinder_h} h at that, {after}"
        made, carried = totals.water_made_kg, totals.water_carried_kg
        yield "water made", at_most_kg(made, night.water_made_kg, units)
        yield "carried off", at_most_kg(carried, night.water_carried_kg, units)
        yield "left behind", night.water_left
    if found.whole.withheld:
        yield "air, gas, water", f"not known: {found.whole.withheld}"
    if glass := night_totals.glass(found):
        yield "window", glass
    if inside := night_totals.inside(found):
        yield "inside", f"{inside} {found.units.sign('c')}"
    if blood := night_totals.blood(found):
        yield "CO in the blood", blood
    if mean_co2 := night_totals.mean_co2(found):
        yield "CO2", mean_co2
    if dust := dust_words(found.other, clock):
        yield "fine dust", f"{dust}\n{dust_meaning(found.other, clock)}"
    if indices := index_words(found.other, clock):
        yield "vapours", f"{indices}\n{RELATIVE}"


def at_most_kg(triple: Triple, told: str, units: Units = SI) -> str:
    """Write a mass; what may be none is told by its bound alone."""
    low, _, high = triple
    if low > 0.0:
        return f"{told} {units.sign('kg')}"
    return "none" if high < NONE_KG else f"at most {units.said('kg', high, 1)}"


def _watch(found: Morning, clock: Clock) -> Iterator[Row]:
    """Write what failed first: paper may drop what comes last."""
    for trouble in found.troubles[:6]:
        times = f"{trouble.count} times: {retold(trouble.text, found.units)}"
        yield trouble.source, f"faulty for {minutes(trouble.minutes)}, {times}"
    for words in never_measured(found):
        yield words, "was never measured"
    for gap in found.tape.gaps:
        span = f"{clock(gap.from_s)} to {clock(gap.to_s)}"
        yield "nothing recorded", f"{span}, {minutes(gap.length_s / 60.0)}"
    rows = seen_rows(found, clock)
    for row in rows:
        if row.longest or row.share != ALL_NIGHT:
            longest = f"; longest without it {row.longest}" if row.longest else ""
            yield row.words, f"{row.share} of the night{longest}"
    whole = [one.words for one in rows if not one.longest and one.share == ALL_NIGHT]
    if whole:
        yield "monitored all night", ", ".join(whole)
    if found.tape.starts > 1:
        yield "starts", f"{found.tape.starts}"
    for moved, when in clock_rows(found, clock)[:3]:
        yield "clock", f"set by {moved} at {when}; times before it are corrected"
    for n, (at_s, text) in enumerate(marks_of(found)[:MOST_MARKS], 1):
        yield f"mark {n}", f"{clock(at_s)}: {text}"


MOST_MARKS = 20
ALL_NIGHT = "100 %"
