"""The one place that draws: panels in, SVG out, colours left to the page.

Colours are drawn as marker values and replaced by the page's own variables, so that one
picture serves the light and the dark page and the printer.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from cabinvigil.daemon.text.svg import FONT_PT, as_svg, blank, save

Style = Literal["solid", "dashed", "dotted"]
Told = float | None

INCHES = (5.2, 2.7)
"""At 390 px a picture is 358 px wide: a point of it is about a pixel."""
MOST_LABELS = 18
"""Numbers of marks that stand beside each other without touching."""
COLOURS = {
    # what: (marker in the drawing, variable of the page)
    "ink": ("#010203", "--ink"),
    "faint": ("#020304", "--faint"),
    "one": ("#030405", "--one"),
    "two": ("#040506", "--two"),
    "three": ("#050607", "--three"),
    "alarm": ("#060708", "--alarm"),
    "warn": ("#070809", "--warn"),
    "fault": ("#08090a", "--fault"),
    "gap": ("#090a0b", "--gap"),
}
ORDER = ("one", "two", "three")
_DASHES: dict[str, Any] = {"solid": "-", "dashed": (0, (4, 2)), "dotted": (0, (1, 1.6))}


@dataclass(frozen=True, slots=True)
class Curve:
    """One course; a hole is left where nothing was told."""

    label: str
    values: Sequence[Told]
    style: Style = "solid"
    low: Sequence[Told] | None = None
    """With `high`: the interval about it."""
    high: Sequence[Told] | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch along the top of a picture, or a hole through all of it."""

    from_h: float
    to_h: float
    kind: Literal["alarm", "warn", "fault", "gap"]


@dataclass(frozen=True, slots=True)
class Fan:
    """What a projection expected from a moment on."""

    hours: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]


@dataclass(frozen=True, slots=True)
class Panel:
    """One picture."""

    key: str
    """Makes its parts' names unlike those of other pictures in the page."""
    hours: Sequence[float]
    lines: Sequence[Curve]
    ticks: Sequence[tuple[float, str]]
    limits: Sequence[tuple[float, str]] = ()
    bands: Sequence[Band] = ()
    marks: Sequence[tuple[float, str]] = ()
    fans: Sequence[Fan] = ()
    floor: float | None = None
    """The axis begins no higher than here."""
    top: float | None = None
    """The axis ends no lower than here."""
    ceiling: float | None = None
    """No value can lie above, so no tick stands there."""
    least_span: float = 0.0
    """The axis holds at least so much: noise must not look like news."""


@dataclass(frozen=True, slots=True)
class Interval:
    """One row of a comparison."""

    label: str
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Rows:
    """One picture of a comparison: intervals side by side."""

    key: str
    title: str
    unit: str
    rows: Sequence[Interval] = field(default_factory=tuple)


def draw(panel: Panel) -> str:
    """Draw a panel as an `svg` element without names, colours or fonts of its own.

    Raises:
        DrawingError: matplotlib is not installed.
    """
    figure, axes = _figure(INCHES)
    for band in panel.bands:
        _band(axes, band)
    for fan in panel.fans:
        axes.fill_between(
            fan.hours, fan.low, fan.high, color=_mark("two"), alpha=0.3, linewidth=0
        )
    for index, line in enumerate(panel.lines):
        _line(axes, panel.hours, line, _mark(ORDER[index % len(ORDER)]))
    _range(axes, panel)
    for value, label in panel.limits:
        _limit(axes, value, label, panel.hours[-1] if panel.hours else 0.0)
    _marks(axes, panel)
    axes.set_xticks([at for at, _ in panel.ticks], [word for _, word in panel.ticks])
    if len(panel.lines) > 1:
        legend = axes.legend(loc="best", frameon=False, fontsize=FONT_PT - 1.0)
        for text in legend.get_texts():
            text.set_color(_mark("ink"))
    return _bare(as_svg(figure, panel.key), panel.key)


def _marks(axes: Any, panel: Panel) -> None:
    """Draw a line for each mark, and its number where there is room for it."""
    room_h = (panel.hours[-1] - panel.hours[0]) / MOST_LABELS if panel.hours else 0.0
    last_h = float("-inf")
    for at_h, label in panel.marks:
        axes.axvline(at_h, color=_mark("ink"), linewidth=0.8, linestyle=(0, (1, 3)))
        if at_h - last_h < room_h:
            continue
        last_h = at_h
        axes.annotate(
            label, (at_h, 0.02), xycoords=("data", "axes fraction"), color=_mark("ink")
        )


def save_rows(pictures: Sequence[Rows], path: Path) -> None:
    """Draw comparisons one below the other, into a file of its own.

    Raises:
        DrawingError: matplotlib is not installed, or the file cannot be written.
    """
    count = sum(len(one.rows) + 2 for one in pictures)
    figure, first = _figure((INCHES[0] * 1.4, 0.4 + 0.3 * count))
    figure.delaxes(first)
    ratios = [len(one.rows) + 1 for one in pictures]
    panels = figure.subplots(len(pictures), 1, height_ratios=ratios, squeeze=False)
    for axes, picture in zip(panels[:, 0], pictures, strict=True):
        for n, row in enumerate(picture.rows):
            axes.plot([row.low, row.high], [n, n], color="#005f99", linewidth=2.0)
            axes.plot([row.middle], [n], color="#005f99", marker="o", markersize=6.0)
        labels = [row.label for row in picture.rows]
        axes.set_yticks(range(len(labels)), labels)
        axes.set_ylim(len(labels) - 0.5, -0.5)
        axes.set_xlabel(picture.unit)
        axes.set_title(picture.title, fontsize=FONT_PT, loc="left")
        axes.grid(visible=True, axis="x", linewidth=0.5)
    save(figure, path)


def _mark(what: str) -> str:
    return COLOURS[what][0]


def _figure(inches: tuple[float, float]) -> tuple[Any, Any]:
    figure = blank(inches)
    axes: Any = figure.subplots()
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(_mark("ink"))
    axes.tick_params(colors=_mark("ink"), labelsize=FONT_PT)
    axes.grid(visible=True, color=_mark("faint"), linewidth=0.6)
    axes.set_axisbelow(True)
    return figure, axes


def _known(values: Sequence[Told]) -> list[float]:
    return [float("nan") if one is None else one for one in values]


def _line(axes: Any, hours: Sequence[float], line: Curve, colour: str) -> None:
    axes.plot(
        hours,
        _known(line.values),
        label=line.label,
        color=colour,
        linewidth=1.6,
        linestyle=_DASHES[line.style],
    )
    if line.low is not None and line.high is not None:
        axes.fill_between(
            hours, _known(line.low), _known(line.high), color=colour, alpha=0.25,
            linewidth=0,
        )  # fmt: skip


def _band(axes: Any, band: Band) -> None:
    if band.kind == "gap":
        axes.axvspan(
            band.from_h, band.to_h, facecolor=_mark("gap"), alpha=0.5, linewidth=0
        )
        return
    hatch = "////" if band.kind == "fault" else None
    rows = {"alarm": (0.95, 1.0), "warn": (0.89, 0.94), "fault": (0.83, 0.88)}
    low, high = rows[band.kind]
    axes.axvspan(
        band.from_h,
        max(band.to_h, band.from_h + 0.02),
        low,
        high,
        facecolor="none" if hatch else _mark(band.kind),
        edgecolor=_mark(band.kind),
        hatch=hatch,
        linewidth=0.6,
    )


def _range(axes: Any, panel: Panel) -> None:
    """Leave room at the top for the bands, and set the axis' floor."""
    low, high = axes.get_ylim()
    if panel.floor is not None:
        low = min(low, panel.floor)
    if panel.top is not None:
        high = max(high, panel.top)
    if high - low < panel.least_span:
        middle = (low + high) / 2.0
        low, high = middle - panel.least_span / 2.0, middle + panel.least_span / 2.0
    room = 0.25 if panel.bands else 0.08
    axes.set_ylim(low, high + room * (high - low))
    if panel.ceiling is not None:
        inside = [one for one in axes.get_yticks() if low <= one <= panel.ceiling]
        axes.set_yticks(inside)
    if panel.hours:
        axes.set_xlim(panel.hours[0], max(panel.hours[-1], panel.hours[0] + 0.1))


def _limit(axes: Any, value: float, label: str, last_h: float) -> None:
    low, high = axes.get_ylim()
    if not low <= value <= high:
        return
    axes.axhline(value, color=_mark("alarm"), linewidth=1.2, linestyle=(0, (6, 2)))
    axes.annotate(
        label,
        (last_h, value),
        xytext=(-2, 2),
        textcoords="offset points",
        ha="right",
        color=_mark("ink"),
        fontsize=FONT_PT - 1.0,
    )


_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_TAG = re.compile(r"<[^>]*>")
"""Numbers are shortened inside tags alone: what people read stays as it is."""


def _bare(svg: str, key: str) -> str:
    """Take from an SVG what the page gives, and what nobody needs."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = re.sub(r'<style type="text/css">.*?</style>', "", svg, flags=re.DOTALL)
    svg = re.sub(r"font(-family)?: [^;\"]*?'[^;\"]*", _size_only, svg)
    svg = _TAG.sub(lambda tag: _NUMBER.sub(_shorter, tag[0]), svg)
    svg = re.sub(r'<g id="[^"]*">', "<g>", svg)
    svg = re.sub(r'<svg [^>]*?viewBox="([^"]*)"[^>]*>', r'<svg viewBox="\1">', svg)
    svg = svg.replace("xlink:href", "href")
    for marker, variable in COLOURS.values():
        svg = svg.replace(marker, f"var({variable})")
    # names of parts must differ from picture to picture
    svg = re.sub(r'id="(\w+)"', rf'id="{key}-\1"', svg)
    svg = re.sub(r'href="#(\w+)"', rf'href="#{key}-\1"', svg)
    svg = re.sub(r"url\(#(\w+)\)", rf"url(#{key}-\1)", svg)
    return re.sub(r"\s*\n\s*", "\n", svg).strip()


def _shorter(match: re.Match[str]) -> str:
    return f"{float(match[0]):.1f}"


def _size_only(match: re.Match[str]) -> str:
    """Keep a font's size alone: the page has its own fonts."""
    size = re.search(r"[\d.]+px", match[0])
    return f"font-size: {size[0]}" if size else "font-family: inherit"
