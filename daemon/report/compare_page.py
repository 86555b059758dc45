"""The report of trials and nights: verdict, courses over each other, figures, doubt."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from html import escape

from cabinvigil.daemon.report.compare_rows import figure_rows, same_rows
from cabinvigil.daemon.report.compare_verdict import NO, YES, enough, sentence
from cabinvigil.daemon.report.page import (
    ESTIMATES,
    NOTE,
    head_of,
    keep_units,
    picture_figure,
    side_by_side,
)
from cabinvigil.daemon.report.page_tables import table_of
from cabinvigil.daemon.report.pictures import (
    LEAST_SPAN_K,
    LEAST_TOP,
    O2_RANGE_PCT,
    Picture,
)
from cabinvigil.daemon.review.airflow.balance import Z90
from cabinvigil.daemon.review.compare import SENSOR_SD, Sheet, sd_of
from cabinvigil.daemon.review.other_air import DUST
from cabinvigil.daemon.review.trial_curves import QUANTITIES, TrialCurves, thinned
from cabinvigil.daemon.review.trial_figures import O2_LIMIT_PCT
from cabinvigil.daemon.text.charts import STYLES, Band, Curve, Panel, Told
from cabinvigil.daemon.text.numbers import valued
from cabinvigil.daemon.text.units_said import Units

LETTERS = "ABCDEFGHIJ"
MOST = len(LETTERS)
"""More courses in one picture cannot be told apart."""
MOST_SHADED = 4
"""More shades would hide the courses."""
POINTS, LEAST_POINTS = 660, 66
"""Of all courses in one picture, and of each."""
SIGNS = {YES: "✓", NO: "✕"}
CLASSES = {YES: "well", NO: "bad"}
TITLES = {
    "o2_pct": ("Oxygen", "%"),
    "co2_ppm": ("Carbon dioxide (CO2)", "ppm"),
    "co_ppm": ("Carbon monoxide (CO)", "ppm"),
    "rh_pct": ("Relative humidity", "%"),
    "dew_c": ("Dew point", "°C"),
    "temp_c": ("Temperature", "°C"),
    "pm2_5_ugm3": ("Fine dust", "µg/m³"),
}
IN_DEGREES = ("dew_c", "temp_c")
LIMITS = {"o2_pct": O2_LIMIT_PCT}
"""Drawn where all that is compared is judged by it; other limits are each cabin's."""


DATE = re.compile(r"\d{4}-\d\d-\d\d")


def compare_page(sheets: Sequence[Sheet], curves: Sequence[TrialCurves]) -> str:
    """Write the report as one page.

    Args:
        sheets: of two to ten nights or trials.
        curves: of each, in the same order.

    Raises:
        DrawingError: matplotlib is not installed.
    """
    text = sentence(sheets)
    return "\n".join(
        [
            *head_of(text),
            f"<header><h1>{_what(sheets)} side by side</h1>",
            keep_units(_verdict(sheets, text)),
            "</header><main>",
            keep_units(_names(sheets)),
            '<section><h2>From the start of each</h2><div class="pictures">',
            *(picture_figure(one) for one in drawn_pictures(sheets, curves)),
            "</div></section>",
            keep_units(side_by_side(_tables(sheets))),
            f"</main><footer><p>{ESTIMATES} {escape(NOTE)}</p></footer>",
            "</body></html>",
            "",
        ]
    )


def _what(sheets: Sequence[Sheet]) -> str:
    trials = sum(1 for one in sheets if one.is_trial)
    if trials == len(sheets):
        return f"{trials} trials"
    return f"{len(sheets)} nights" if not trials else f"{len(sheets)} nights and trials"


def _verdict(sheets: Sequence[Sheet], text: str) -> str:
    words = {enough(one).word for one in sheets}
    word = words.pop() if len(words) == 1 else ""
    kind, sign = CLASSES.get(word, "near"), SIGNS.get(word, "!")
    return (
        f'<div class="verdict {kind}" role="status"><p>{sign} {_dated(text)}</p></div>'
    )


def _dated(text: str) -> str:
    """Escape a text, and let no line end within a date."""
    return DATE.sub(r'<span class="whole">\g<0></span>', escape(text))


def _names(sheets: Sequence[Sheet]) -> str:
    """Write which letter is which; a picture has no room for their words."""
    rows = "".join(
        f"<li><b>{letter}</b> {_dated(one.name)} <small>{one.hours:.1f} h</small></li>"
        for letter, one in zip(LETTERS, sheets, strict=False)
    )
    return f'<section class="near"><h2>What is compared</h2><ul>{rows}</ul></section>'


def _tables(sheets: Sequence[Sheet]) -> Iterator[str]:
    heads = ("figure", *LETTERS[: len(sheets)])
    figures = [(row.words, *row.cells) for row in figure_rows(sheets)]
    yield table_of("What was measured", "", heads, figures)
    same = [(row.words, *row.cells, row.told) for row in same_rows(sheets)]
    told = ("of the day", *LETTERS[: len(sheets)], "the same?")
    caption = "What was not the same may be why the figures are not."
    yield table_of("What was the same, and what was not", caption, told, same)


def drawn_pictures(
    sheets: Sequence[Sheet], curves: Sequence[TrialCurves]
) -> Iterator[Picture]:
    """Lay the courses of each quantity over each other; none where none was told."""
    curves = [_thin(one, max(LEAST_POINTS, POINTS // len(curves))) for one in curves]
    longest_h = max(one.step_h * len(one.values["temp_c"]) for one in curves)
    step_h = max(one.step_h for one in curves)
    count = max(2, math.ceil(longest_h / step_h))
    hours = [n * step_h for n in range(count)]
    for name in QUANTITIES:
        if name == DUST and not any(_has_rises(one) for one in sheets):
            continue  # a flat line is no news
        made = _picture(name, hours, step_h, sheets, curves)
        if made is not None:
            yield made


def _has_rises(one: Sheet) -> bool:
    return one.other.dust is not None and bool(one.other.dust.rises)


def _thin(one: TrialCurves, most: int) -> TrialCurves:
    """Keep so many points of a course: of ten, each has fewer, or the page is heavy."""
    each = max(1, math.ceil(len(one.values["temp_c"]) / most))
    return TrialCurves(
        one.step_h * each,
        {name: thinned(values, each) for name, values in one.values.items()},
        {
            name: [any(flags[n : n + each]) for n in range(0, len(flags), each)]
            for name, flags in one.at_range_end.items()
        },
    )


def _picture(
    name: str,
    hours: Sequence[float],
    step_h: float,
    sheets: Sequence[Sheet],
    curves: Sequence[TrialCurves],
) -> Picture | None:
    lines, words, bands, full = [], [], list[Band](), False
    units = sheets[0].units
    for index, (letter, one) in enumerate(zip(LETTERS, curves, strict=False)):
        values = _on_axis(one.values[name], one.step_h, hours)
        words_of = values
        if name in IN_DEGREES:
            values = [None if v is None else units.value("c", v) for v in values]
        if not any(value is not None for value in values):
            words.append(f"{letter}: nothing was measured")
            continue
        flags = one.at_range_end[name]
        full = full or any(flags)
        has_room = len(curves) <= MOST_SHADED
        low, high = _about(name, values) if has_room else (None, None)
        style = STYLES[index % len(STYLES)]
        lines.append(Curve(letter, values, style, low, high))
        words.append(
            f"{letter}, {sheets[index].name}: {_course(name, words_of, hours, units)}"
        )
        bands += _holes(values, one, hours, step_h)
        bands += _full_scale(flags, one.step_h)
    if not lines:
        return None
    title, unit = TITLES[name]
    if name in IN_DEGREES:
        unit = units.sign("c")
    limit = LIMITS.get(name)
    limits = [] if limit is None else [(limit, f"limit {valued(name, limit)}")]
    key = _key(lines, bands, is_full=full)
    panel = Panel(
        name.replace("_", ""),
        hours,
        lines,
        _ticks(hours[-1] + step_h),
        limits,
        bands,
        is_named_beside=True,
    )
    panel = _ranged(panel, name, units.value("k", LEAST_SPAN_K))
    return Picture(panel, title, unit, "; ".join(words), tuple(key))


def _ranged(panel: Panel, name: str, least_span: float) -> Panel:
    """Keep an axis from zooming into noise, as the morning's page does."""
    if name == "o2_pct":
        low, high = O2_RANGE_PCT
        return replace(panel, floor=low, top=high, ceiling=high)
    if name == "rh_pct":
        return replace(panel, floor=0.0, top=100.0, ceiling=100.0)
    if name in LEAST_TOP:
        return replace(panel, floor=0.0, top=LEAST_TOP[name])
    return replace(panel, least_span=least_span)


def _on_axis(
    values: Sequence[Told], step_h: float, hours: Sequence[float]
) -> list[Told]:
    """Put a course on the axis of the longest; behind its end nothing is told."""
    at = [int(hour / step_h + 1e-6) for hour in hours]
    return [values[n] if n < len(values) else None for n in at]


def _about(
    name: str, values: Sequence[Told]
) -> tuple[list[Told] | None, list[Told] | None]:
    """Return what the part may be off, nine times in ten; None where nobody knows."""
    if name not in SENSOR_SD:
        return None, None
    low: list[Told] = []
    high: list[Told] = []
    for one in values:
        off = None if one is None else Z90 * sd_of(name, one)
        low.append(None if one is None or off is None else max(0.0, one - off))
        high.append(None if one is None or off is None else one + off)
    return low, high


def _holes(
    values: Sequence[Told],
    one: TrialCurves,
    hours: Sequence[float],
    step_h: float,
) -> Iterator[Band]:
    """Draw a band where nothing was told, up to the course's own end."""
    end_h = one.step_h * len(one.values["temp_c"])
    begin: float | None = None
    for hour, value in zip(hours, values, strict=True):
        if value is None and hour < end_h - step_h:
            begin = hour if begin is None else begin
        elif begin is not None:
            yield Band(begin, hour, "gap")
            begin = None
    if begin is not None:
        yield Band(begin, end_h, "gap")


def _full_scale(flags: Sequence[bool], step_h: float) -> Iterator[Band]:
    begin: int | None = None
    for n, flag in enumerate([*flags, False]):
        if flag and begin is None:
            begin = n
        elif not flag and begin is not None:
            yield Band(begin * step_h, n * step_h, "trial")
            begin = None


def _key(lines: Sequence[Curve], bands: Sequence[Band], *, is_full: bool) -> list[str]:
    key = []
    if any(line.low is not None for line in lines):
        key.append("Shaded: what the sensor may be off")
    if any(one.kind == "gap" for one in bands):
        key.append("Grey: not known for one of them")
    if is_full:
        key.append("Pale ground: a sensor at its range's end, so this or more")
    return key


def _course(
    name: str, values: Sequence[Told], hours: Sequence[float], units: Units
) -> str:
    known = [
        (value, hour)
        for value, hour in zip(values, hours, strict=True)
        if value is not None
    ]
    low, high = min(known), max(known)
    told = (
        f"{_written(name, one, units)} at {hour:.1f} h"
        for one, hour in (known[0], low, high)
    )
    begin, least, most = told
    return f"{begin}, lowest {least}, highest {most}"


def _written(name: str, value: float, units: Units) -> str:
    if name in IN_DEGREES:
        return units.said("c", value)
    return valued("temp_c" if name == "dew_c" else name, value)


TICKS_H = (0.25, 0.5, 1, 2, 3, 4, 6, 12, 24, 48, 96, 480, 10_000)


def _ticks(longest_h: float) -> list[tuple[float, str]]:
    each = next(n for n in TICKS_H if longest_h / n <= 4.6)
    return [(n * each, f"{n * each:g} h") for n in range(int(longest_h / each) + 1)]
