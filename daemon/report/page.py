"""The morning page: one file, nothing from elsewhere, made for a phone in a bunk."""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import tzinfo
from html import escape

from cabinvigil.daemon.log.moments import day, zone_name, zone_of
from cabinvigil.daemon.report import night_totals
from cabinvigil.daemon.report.headline import act, headline
from cabinvigil.daemon.report.page_bars import listed, timeline, to_limits
from cabinvigil.daemon.report.page_style import CSS
from cabinvigil.daemon.report.page_tables import further_tables
from cabinvigil.daemon.report.pictures import Picture, pictures
from cabinvigil.daemon.report.played import played
from cabinvigil.daemon.report.rows import Clock, clock_of, near_rows
from cabinvigil.daemon.review.middle import has_middle
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.verdict import CLOSE, DANGEROUS, UNKNOWN, UNSEEN, WELL
from cabinvigil.daemon.text.charts import draw
from cabinvigil.daemon.text.languages import partly_spoken
from cabinvigil.daemon.text.numbers import span
from cabinvigil.daemon.text.units import with_powers
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.wrapping import joined
from cabinvigil.drivers.kit.quantity import VITAL

NOTE = (
    "An added layer only: never in place of certified CO, gas and smoke alarms, nor "
    "of the appliance's instructions, local codes and licensed practice. Nitrogen "
    "dioxide, of which a flame makes some, is not measured."
)
ESTIMATES = (
    "Figures with two more in brackets are estimates: they lie between those nine "
    "times in ten."
)
CLASSES = {
    DANGEROUS: "bad",
    UNSEEN: "blind",
    UNKNOWN: "blind",
    CLOSE: "near",
    WELL: "well",
}
PAST = "✕"
SIGNS = {DANGEROUS: "✕", UNSEEN: "?", UNKNOWN: "?", CLOSE: "!", WELL: "✓"}
"""The verdict's sign: no colour tells it alone."""


POLICY = (
    '<meta http-equiv="Content-Security-Policy" '
    "content=\"default-src 'none'; style-src 'unsafe-inline'\">"
)
"""Nothing runs and nothing is fetched, whatever a log's words were to become."""


def page(found: Morning) -> str:
    """Write the page.

    Raises:
        DrawingError: matplotlib is not installed.
    """
    zone = zone_of(found.tape.head)
    title = f"{found.facts.name}, {_when(found, zone)}: {headline(found)}"
    return "\n".join(
        [
            *head_of(title),
            *map(keep_units, _head(found, zone)),
            *map(keep_units, _tonight(found)),
            keep_units(timeline(found, zone)),
            keep_units(to_limits(found, zone)),
            *_pictures(pictures(found, zone)),
            keep_units(side_by_side(further_tables(found, zone))),
            "</main>",
            *_foot(found),
            "</body></html>",
            "",
        ]
    )


def head_of(title: str) -> list[str]:
    """Write what stands before a page's words."""
    return [
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8">',
        POLICY,
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(title)}</title>",
        f"<style>{CSS}</style></head><body>",
    ]


_UNIT = re.compile(
    r"(\d\)?) (%|°C|K|h|kg|kW|kWh|m[3³]/h|min|ppm|V|cm[2²]"
    r"|°F|lb|BTU/h|BTU|cfm|in[2²]|ft)(?![\w²³/])"
)


def keep_units(text: str) -> str:
    """Keep a number and its unit on one line, and write powers as they are printed."""
    return _UNIT.sub(lambda found: f"{found[1]}\u00a0{with_powers(found[2])}", text)


def _when(found: Morning, zone: tzinfo | None) -> str:
    if found.tape.origin is None:
        return "a night without a clock"
    return f"night of {day(found.tape, zone)}"


def _head(found: Morning, zone: tzinfo | None) -> Iterator[str]:
    tape, word = found.tape, found.verdict.word
    yield f"<header><h1>{escape(found.facts.name)}, {escape(_when(found, zone))}</h1>"
    first, _, reasons = headline(found).partition(": ")
    text = f"<b>{SIGNS[word]} {escape(first.rstrip('.'))}</b>{escape(joined(reasons))}"
    yield f'<div class="verdict {CLASSES[word]}" role="status">{text}</div>'
    yield f'<p class="act">{escape(act(found))}</p>'
    clock = clock_of(found, zone)
    span = f"{clock(0.0)} to {clock(tape.length_s)}"
    if tape.origin is not None:
        span += f" {zone_name(found.begins, zone)}"
    told = f"{span}, {found.hours:.1f} h{played(tape.head, zone)}"
    yield f"<p><small>{escape(told)}</small></p>"
    yield '<div class="tiles">'
    for label, value, more, is_past in _tiles(found, clock):
        kind = "tile past" if is_past else "tile"
        value = f"{PAST} {value}" if is_past else value
        yield (
            f'<div class="{kind}"><span>{escape(label)}</span><b>{escape(value)}</b>'
            f"<span>{escape(more)}</span></div>"
        )
    yield "</div></header><main>"


def _tiles(found: Morning, clock: Clock) -> Iterator[tuple[str, str, str, bool]]:
    """Yield what is to be known in ten seconds: safe, how close, dry, what it cost."""
    for row in near_rows(found, clock):
        if row.quantity in VITAL:
            side = "lowest" if row.side == "below" else "highest"
            more = f"at {row.when}; limit {row.limit}"
            if row.passed:
                more = f"past its limit: {row.beyond}"
            more += f"; {row.measured}" if row.measured else ""
            yield f"{row.words}, {side}", row.value, more, bool(row.passed)
    totals = found.whole.totals
    if totals is not None:
        left = night_totals.water_left(totals.water_left_kg, found.units)
        if found.comfort.glass_margin_c is None:
            yield "window wet", "not measured", left, False
        else:
            worked = "" if found.air.glass_is_measured else "worked out, not measured; "
            wet = f"{found.comfort.wet_h:.1f} h"
            yield "window wet", wet, f"{worked}{left}", False
        low, middle, high = totals.gas_kg
        said, number = found.units.said, found.units.number
        if night_totals.is_never_lit(totals):
            yield "gas burnt", "none", "as far as the air shows", False
        elif totals.bounded_h:
            least = f"at least {said('kg', low, 2)}"
            yield "gas burnt", least, night_totals.BOUNDED[:-1], False
        else:
            ends = span(number("kg", low, 2), said("kg", high, 2))
            if has_middle(totals.gas_kg):
                yield "gas burnt", said("kg", middle, 2), ends, False
            else:
                yield "gas burnt", ends, "the air shows it no closer", False


def _tonight(found: Morning) -> Iterator[str]:
    yield "<section><h2>Tonight</h2>"
    if not found.advice:
        yield "<p>Nothing to change.</p></section>"
        return
    yield "<ol>"
    for one in found.advice:
        expect = f"<br><small>Expected: {escape(one.expect)}.</small>"
        yield f"<li>{escape(one.do)}.{expect if one.expect else ''}</li>"
    yield "</ol></section>"


def side_by_side(tables: Iterator[str]) -> str:
    """Put tables beside each other where there is room."""
    return f'<div class="tables">{"".join(tables)}</div>'


def _pictures(made: Sequence[Picture]) -> Iterator[str]:
    yield '<section><h2>The night</h2><div class="pictures">'
    for one in made:
        yield picture_figure(one)
    yield "</div></section>"


def picture_figure(one: Picture) -> str:
    """Write a picture with its title, its words and the key to what is in it."""
    key = one.panel.key
    svg = draw(one.panel).replace(
        "<svg ", f'<svg role="img" aria-labelledby="t-{key} d-{key}" ', 1
    )
    at = svg.index(">") + 1
    named = (
        f'<title id="t-{key}">{escape(one.title)}</title>'
        f'<desc id="d-{key}">{escape(one.words)}.</desc>'
    )
    below = f'<p class="key">{listed(one.key)}</p>' if one.key else ""
    return (
        f"<figure><figcaption>{escape(one.title)} <i>{escape(one.unit)}</i>"
        f"</figcaption>{svg[:at]}{named}{svg[at:]}{below}</figure>"
    )


def _foot(found: Morning) -> Iterator[str]:
    version = str(found.tape.head.get("version", "unknown"))[:40]
    yield "<footer>"
    notes = [*found.tape.notes, *found.tape.flaws.told[:3]]
    watch = found.tape.config.get("watch")
    language = watch.get("language") if isinstance(watch, Mapping) else None
    if found.rang and (partial := partly_spoken(language)):
        notes.append(partial)
    for note in notes:
        yield f"<p>{escape(note)}</p>"
    if found.laxer:
        laxer = retold(", ".join(found.laxer), found.units)
        yield f"<p>Less strict than published, as accepted: {escape(laxer)}</p>"
    yield (f"<p>{ESTIMATES} cabinvigil {escape(version)}. {escape(NOTE)}</p></footer>")
