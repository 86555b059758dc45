"""The tables of the morning page: closest, rang, air, gas and water, the watch."""

from collections.abc import Iterator, Sequence
from datetime import tzinfo
from html import escape

from cabinvigil.daemon.log.moments import moment
from cabinvigil.daemon.report.text import shown
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.verdict import WORDS
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.numbers import fixed, spread, valued
from cabinvigil.drivers.kit.quantity import VITAL

MOST_RANG = 12
MOST_STRETCHES = 8
LONGEST_WHY = 40
Row = Sequence[str]


def first_tables(found: Morning, zone: tzinfo | None) -> Iterator[str]:
    """Write what is asked first: how close, and what rang."""
    yield from _told("Closest to the limits", "", _NEAR, _near(found, zone))
    yield from _told("What rang", "", _RANG, _rang(found, zone), LONG)


def further_tables(found: Morning, zone: tzinfo | None) -> Iterator[str]:
    """Write the rest: why, and what it cost."""
    yield from _told("Fresh air", _air_caption(found), _AIR, _air(found, zone), PARTS)
    yield from _told("Gas, water, warmth", "", _REST, _rest(found))
    yield from _told("The watch itself", "", _REST, _watch(found, zone), LONG)


_NEAR = ("gas", "value", "when", "limit")
_RANG = ("when", "what it said")
_AIR = ("stretch", "changes an hour", "m³/h", "like two vents of, cm²")
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


def _near(found: Morning, zone: tzinfo | None) -> Iterator[Row]:
    for one in shown(found.near):
        limit = valued(one.limit.quantity, one.limit.at)
        if one.beyond_min > 0.0:
            limit += f", passed for {minutes(one.beyond_min)}"
        more = "at least " if one.is_at_least else ""
        yield (
            WORDS.get(one.limit.quantity, one.limit.quantity),
            more + valued(one.limit.quantity, one.value),
            moment(found.tape, one.at_s, zone),
            limit,
        )
    if found.warned_min is not None:
        yield "first woken", f"{found.warned_min:.0f} min", "before", "oxygen's limit"
    elif found.spare is not None:
        at = moment(found.tape, found.spare.at_s, zone)
        low, middle, high = found.spare.minutes
        late = "never" if high is None else f"{high:.0f}"
        left = f"{middle:.0f} min ({low:.0f} to {late})"
        yield "least to spare", left, at, "as projected then"


def _rang(found: Morning, zone: tzinfo | None) -> Iterator[Row]:
    told = sorted(found.rang, key=lambda one: (-one.rank, one.from_s))
    for one in told[:MOST_RANG]:
        end = "to the end"
        if one.to_s is not None:
            end = f"until {moment(found.tape, one.to_s, zone)}"
        answer = "no answer"
        if one.acknowledged_s is not None:
            answer = f"answered after {minutes(one.acknowledged_s / 60.0)}"
        times = f", {one.rings} times" if one.rings > 1 else ""
        yield (
            moment(found.tape, one.from_s, zone),
            f"{one.text}\n{one.priority}{times}, {end}, {answer}; {one.alarm}",
        )
    if len(told) > MOST_RANG:
        yield "", f"and {len(told) - MOST_RANG} more"


def _air_caption(found: Morning) -> str:
    vent = found.whole.vent
    if vent is None:
        return ""
    low, _, high = vent.expected_m3_h
    if vent.fitted_cm2 is None:
        return "Compared with openings low and high, in still air and a little wind."
    return (
        f"The vents fitted, {vent.fitted_cm2:.0f} cm² low and high, would pass "
        f"{low:.0f} to {high:.0f} m³/h, all open."
    )


def _air(found: Morning, zone: tzinfo | None) -> Iterator[Row]:
    told = [one for one in found.stretches if one.totals is not None]
    longest = sorted(told, key=lambda one: one.from_s - one.to_s)[:MOST_STRETCHES]
    for one in sorted(longest, key=lambda one: one.from_s):
        totals, vent = one.totals, one.vent
        if totals is None:
            continue
        span = f"{moment(found.tape, one.from_s, zone)} to "
        span += moment(found.tape, one.to_s, zone)
        why = f", {one.begins_with[:LONGEST_WHY]}" if one.begins_with else ""
        yield (
            span + why,
            spread(totals.air_changes_per_h),
            spread(totals.air_m3_h),
            "" if vent is None else fixed(vent.each_cm2, 0),
        )


def _rest(found: Morning) -> Iterator[Row]:
    totals, comfort, breathed = found.whole.totals, found.comfort, found.breathed
    if totals is not None:
        yield "gas", f"{spread(totals.gas_kg)} kg, {fixed(totals.gas_kwh, 1)} kWh"
        if totals.lit_h > 0.0:
            yield "burner", f"{spread(totals.burn_kw)} kW for {totals.lit_h:.1f} h"
        if found.cylinder_h is not None and found.cylinder_left_h is not None:
            after = f"{fixed(found.cylinder_left_h, 0)} h after this night"
            lasts = f"lasts {fixed(found.cylinder_h, 0)} h at that, {after}"
            yield "a full cylinder", lasts
        yield "water made", f"{fixed(totals.water_made_kg, 1)} kg"
        yield "carried off", f"{fixed(totals.water_carried_kg, 1)} kg"
        yield "left behind", f"{fixed(totals.water_left_kg, 1)} kg"
    if comfort.glass_margin_c is not None:
        margin = comfort.glass_margin_c
        side = "above" if margin >= 0.0 else "below"
        worst = f"at worst {abs(margin):.1f} °C {side} the dew point"
        yield "glass", f"wet for {comfort.wet_h:.1f} h; {worst}"
    if comfort.temp_c is not None:
        low, middle, high = comfort.temp_c
        yield "inside", f"{low:z.0f} to {high:z.0f} °C, mean {middle:z.0f} °C"
    if breathed.cohb_peak_pct is not None:
        yield "CO in the blood", f"at most {breathed.cohb_peak_pct:.1f} %"
    if breathed.co2_mean_ppm is not None:
        yield "CO2 on average", f"{breathed.co2_mean_ppm:.0f} ppm"


def _watch(found: Morning, zone: tzinfo | None) -> Iterator[Row]:
    for one in found.seen:
        text = f"{100.0 * one.share:.0f} % of the night"
        if one.longest_min >= 2.0 and one.unseen_from_s is not None:
            at = moment(found.tape, one.unseen_from_s, zone)
            text += f"; longest without it {minutes(one.longest_min)}, from {at}"
        yield one.words, text
    measured = {one.quantity for one in found.seen}
    for name in VITAL:
        if name not in measured:
            yield WORDS[name], "was never measured"
    for gap in found.tape.gaps:
        span = f"{moment(found.tape, gap.from_s, zone)} to "
        span += moment(found.tape, gap.to_s, zone)
        yield "nothing recorded", f"{span}, {minutes(gap.length_s / 60.0)}"
    if found.tape.starts > 1:
        yield "starts", f"{found.tape.starts}"
    for step in found.tape.clock_steps[:3]:
        moved = minutes(abs(float(step.fields["moved_s"])) / 60.0)
        at = moment(found.tape, step.at_s, zone)
        yield "clock", f"set by {moved} at {at}; times before it are mended"
    for trouble in found.troubles[:6]:
        times = f"{trouble.count} times: {trouble.text}"
        yield trouble.source, f"at fault for {minutes(trouble.minutes)}, {times}"
    marks = [one for one in found.tape.events if one.kind == "mark"]
    for n, mark in enumerate(marks[:20], 1):
        text = str(mark.fields.get("text", ""))
        yield f"mark {n}", f"{moment(found.tape, mark.at_s, zone)}: {text}"
