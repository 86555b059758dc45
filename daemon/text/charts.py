"""The one place that draws: panels in, SVG out, colours left to the page.

Colours are drawn as marker values and replaced by the page's own variables, so that one
picture serves the light and the dark page and the printer.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from cabinvigil.daemon.text.bare_svg import bare
from cabinvigil.daemon.text.svg import FONT_PT, as_svg, blank, save

Style = Literal["solid", "dashed", "dotted", "mixed"]
BandKind = Literal["alarm", "warn", "low", "gap", "trial"]
Told = float | None

ROWS_INCHES = 7.3
WIDTH, HEIGHT = 358.0, 224.0
"""A point of it is a pixel where a phone of 390 px shows it as wide as it can."""
LEFT, RIGHT, TOP, BOTTOM = 60.0, 26.0, 10.0, 32.0
"""The margins of every picture: what lies above each other has one time axis."""
CHART_PT = 16.0
"""The text of a picture, as large as a page's own (page_style.py)."""
POINTS_PER_INCH = 72.0
MOST_TICKS = 5
LONGEST_MARK = 18
MOST_NAMED = 6
"""More marks would hide the courses: they get the numbers that a page lists them by."""
COLOURS = {
    # what: (marker in the drawing, variable of the page)
    "ink": ("#010203", "--ink"),
    "faint": ("#020304", "--faint"),
    "one": ("#030405", "--one"),
    "two": ("#040506", "--two"),
    "three": ("#050607", "--three"),
    "alarm": ("#060708", "--alarm"),
    "warn": ("#070809", "--warn"),
    "gap": ("#090a0b", "--gap"),
}
ORDER = ("one", "two", "three")
_DASHES: dict[str, Any] = {
    "solid": "-",
    "dashed": (0, (4, 2)),
    "dotted": (0, (1, 1.6)),
    "mixed": (0, (6, 2, 1, 2)),
}
STYLES: tuple[Style, ...] = ("solid", "dashed", "dotted", "mixed")


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
    kind: BandKind


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
    """Hour and name."""
    fans: Sequence[Fan] = ()
    floor: float | None = None
    """The axis begins no higher than here."""
    top: float | None = None
    """The axis ends no lower than here."""
    ceiling: float | None = None
    """No value can lie above, so no tick stands there."""
    least_span: float = 0.0
    """The axis holds at least so much: noise must not look like news."""
    is_named_beside: bool = False
    """Labels stand beside the ends of the courses, in the margin: letters alone."""


@dataclass(frozen=True, slots=True)
class Interval:
    """One row of a comparison."""

    label: str
    low: float
    middle: float | None
    """None: only the ends are known."""
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
    figure, axes = _figure((WIDTH / POINTS_PER_INCH, HEIGHT / POINTS_PER_INCH))
    figure.set_layout_engine("none")
    across, high = (WIDTH - LEFT - RIGHT) / WIDTH, (HEIGHT - TOP - BOTTOM) / HEIGHT
    axes.set_position((LEFT / WIDTH, BOTTOM / HEIGHT, across, high))
    axes.tick_params(labelsize=CHART_PT)
    axes.tick_params(axis="x", pad=6.0)
    axes.locator_params(axis="y", nbins=MOST_TICKS)
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
        _limit(axes, value, label, is_left=_is_left_free(panel))
    _marks(axes, panel)
    axes.set_xticks([at for at, _ in panel.ticks], [word for _, word in panel.ticks])
    if len(panel.lines) > 1:
        _ends(axes, panel)
    return bare(as_svg(figure, panel.key), panel.key, COLOURS.values())


def _marks(axes: Any, panel: Panel) -> None:
    """Draw a line for each mark, and its name along it where there is room."""
    span_h = panel.hours[-1] - panel.hours[0] if panel.hours else 0.0
    room_h = span_h * 1.3 * CHART_PT / (WIDTH - LEFT - RIGHT)
    last_h = float("-inf")
    has_names = len(panel.marks) <= MOST_NAMED
    for number, (at_h, label) in enumerate(panel.marks, 1):
        axes.axvline(at_h, color=_mark("ink"), linewidth=0.8, linestyle=(0, (1, 3)))
        is_near_end = panel.hours and panel.hours[-1] - at_h < room_h
        if at_h - last_h < room_h:
            continue
        last_h = at_h
        if not has_names:
            label = str(number)
        short = label if len(label) <= LONGEST_MARK else label[: LONGEST_MARK - 1] + "…"
        axes.annotate(
            short.replace("$", r"\$"),
            (at_h, 0.03),
            xycoords=("data", "axes fraction"),
            xytext=(-2 if is_near_end else 2, 0),
            textcoords="offset points",
            rotation=90 if has_names else 0,
            ha="right" if is_near_end else "left",
            va="bottom",
            color=_mark("ink"),
            fontsize=CHART_PT - 1.0,
        )


def _ends(axes: Any, panel: Panel) -> None:
    """Name each course where it ends: no key has to be looked up."""
    ends = []
    for index, line in enumerate(panel.lines):
        pairs = zip(panel.hours, line.values, strict=True)
        known = [(at, one) for at, one in pairs if one is not None]
        if known:
            at_h, value = known[-1]
            ends.append((value, at_h, line.label, _mark(ORDER[index % len(ORDER)])))
    if not ends:
        return
    ends.sort()
    low, high = axes.get_ylim()
    text = CHART_PT * (high - low) / (HEIGHT - TOP - BOTTOM)
    room_h = (panel.hours[-1] - panel.hours[0]) * 2.0 * CHART_PT / WIDTH
    beside_at = [end[0] for end in ends]
    for _, last_h, _, _ in ends:  # those that end elsewhere are in nobody's way
        near = [n for n, end in enumerate(ends) if abs(end[1] - last_h) < room_h]
        moved = _apart([ends[n][0] for n in near], text, high)
        for n, height in zip(near, moved, strict=True):
            beside_at[n] = height
    for place, (value, at_h, label, colour) in enumerate(ends):
        is_highest = place == len(ends) - 1
        beside: dict[str, Any] = {"ha": "left", "va": "center", "xytext": (5, 0)}
        if not panel.is_named_beside:
            is_above = is_highest or value - low < text
            side = ("bottom", 5) if is_above else ("top", -5)
            beside = {"ha": "right", "va": side[0], "xytext": (-2, side[1])}
        axes.annotate(
            label,
            (at_h, beside_at[place] if panel.is_named_beside else value),
            textcoords="offset points",
            color=colour,
            fontsize=CHART_PT,
            annotation_clip=False,
            **beside,
        )


def _apart(values: Sequence[float], text: float, most: float) -> list[float]:
    """Move rising heights apart by a text's height, and none above the most."""
    moved: list[float] = []
    for value in values:
        moved.append(max(value, moved[-1] + text) if moved else value)
    for place in reversed(range(len(moved))):
        moved[place] = min(moved[place], most)
        most = moved[place] - text
    return moved


def save_rows(pictures: Sequence[Rows], path: Path) -> None:
    """Draw comparisons one below the other, into a file of its own.

    Raises:
        DrawingError: matplotlib is not installed, or the file cannot be written.
    """
    count = sum(len(one.rows) + 2 for one in pictures)
    figure, first = _figure((ROWS_INCHES, 0.4 + 0.3 * count))
    figure.delaxes(first)
    ratios = [len(one.rows) + 1 for one in pictures]
    panels = figure.subplots(len(pictures), 1, height_ratios=ratios, squeeze=False)
    for axes, picture in zip(panels[:, 0], pictures, strict=True):
        for n, row in enumerate(picture.rows):
            axes.plot([row.low, row.high], [n, n], color="#005f99", linewidth=2.0)
            if row.middle is not None:
                axes.plot([row.middle], [n], color="#005f99", marker="o", markersize=6)
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
    """Draw a hole through all of it, or a bar whose shape tells the priority too."""
    if band.kind in ("gap", "trial"):
        alpha = 0.5 if band.kind == "gap" else 0.2
        colour = _mark("gap")
        axes.axvspan(band.from_h, band.to_h, facecolor=colour, alpha=alpha, linewidth=0)
        return
    low, high = {"alarm": (0.92, 1.0), "warn": (0.82, 0.9), "low": (0.77, 0.79)}[
        band.kind
    ]
    is_striped = band.kind == "warn"
    colour = _mark("alarm" if band.kind == "alarm" else "warn")
    axes.axvspan(
        band.from_h,
        max(band.to_h, band.from_h + 0.02),
        low,
        high,
        facecolor="none" if is_striped else colour,
        edgecolor=colour,
        hatch="////" if is_striped else None,
        linewidth=0.8,
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
    has_bars = any(one.kind in ("alarm", "warn", "low") for one in panel.bands)
    room = 0.34 if has_bars else 0.04
    axes.set_ylim(low, high + room * (high - low))
    if panel.ceiling is not None:
        told = axes.yaxis.get_major_locator().tick_values(low, panel.ceiling)
        inside = [one for one in told if low <= one <= panel.ceiling]
        axes.set_yticks(inside)
    if panel.hours:
        axes.set_xlim(panel.hours[0], max(panel.hours[-1], panel.hours[0] + 0.1))


def _is_left_free(panel: Panel) -> bool:
    """Return whether fewer marks stand at the left than at the right."""
    last_h = panel.hours[-1] if panel.hours else 0.0
    left = sum(1 for at_h, _ in panel.marks if at_h < 0.4 * last_h)
    return left <= sum(1 for at_h, _ in panel.marks if at_h > 0.6 * last_h)


def _limit(axes: Any, value: float, label: str, *, is_left: bool) -> None:
    low, high = axes.get_ylim()
    if not low <= value <= high:
        return
    axes.axhline(value, color=_mark("alarm"), linewidth=1.2, linestyle=(0, (6, 2)))
    axes.annotate(
        label,
        (0.0 if is_left else 1.0, value),
        xycoords=("axes fraction", "data"),
        xytext=(4 if is_left else -4, 1),
        textcoords="offset points",
        ha="left" if is_left else "right",
        va="bottom",
        color=_mark("ink"),
        fontsize=CHART_PT - 1.0,
    )
