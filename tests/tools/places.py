"""Where each thing goes in the cabin: one list, drawn as a table and as a picture.

`python -m tests.tools.drawings` puts the table into hardware.md and the picture into
tests/pictures/building.  The cabin is a side view of the example's: its vents and its
burner are at the heights of config/cabin.toml.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot

from cabinvigil.daemon.settings.config import example

LONG_M, HIGH_M = 3.8, 1.95
"""Of the drawn cabin, inside."""
PILLOW = (0.45, 0.62)
"""Where the head is, as all points here: metres from the left wall and above the
floor."""
HEATER_M = 2.95
CAPTION = "Side view, not to scale for your cabin; numbers as in the table"


@dataclass(frozen=True)
class Place:
    """One thing, where it goes, what it must keep away from, and where it is drawn."""

    what: str
    where: str
    why: str
    label: str
    at: tuple[float, float]
    label_at: tuple[float, float]
    """Where the label begins."""


PLACES = (
    Place(
        "oxygen, carbon dioxide, humidity: the bunk",
        "the pillow's level, an arm's length from the faces (our choice); humidity in "
        "free air, away from the Pi; air pressure beside them, on the same bus",
        "Not in front of a mouth: a breath is 16 % oxygen and 4 % carbon dioxide "
        "(common practice, no source). Oxygen cells upright, the face down or to the "
        "side: a drop on the membrane shuts it, and a leak runs away from the contacts "
        "(common practice, no source). A Pi warms the air around it by some °C, and "
        "3 °C more read 55 % humidity where it is 66 %.",
        "oxygen, CO2, humidity",
        (1.1, 0.72),
        (1.2, 0.8),
    ),
    Place(
        "carbon monoxide",
        "as 1, and as a certified alarm: 1 to 3 m to the side of the burner, nearer "
        "to the sleeper than to it (EN 50292, as trade pages quote it)",
        "Away from a lead battery: on charge it gives off hydrogen, and a CO cell "
        "takes some of it for CO. Away from spirits, hand cleaner, glue, paint and the "
        "fuel filler: alcohol and solvents read as CO (sensor notes, 12).",
        "carbon monoxide",
        (1.3, 0.58),
        (1.3, 0.44),
    ),
    Place(
        "second oxygen or CO2",
        'near the ceiling, `place = "ceiling"`; the first stays at the bunk, which the '
        "forecast follows",
        "In measured rooms, high and low samples differed by up to several points of "
        "oxygen, when a burner was high in still air. `cabinvigil plan` asks for two "
        "places where the flame is above 0.6 m (`burner_height_m`).",
        "second oxygen",
        (1.0, 1.8),
        (1.1, 1.77),
    ),
    Place(
        "window",
        "the coldest window, its low corner, on the side away from the heater",
        "Press it on with a drop of heat paste, a patch of foam over it: it must read "
        "the window and not the room.",
        "window sensor",
        (1.6, 1.12),
        (1.7, 0.985),
    ),
    Place(
        "unburnt gas",
        "a hand's breadth above the floor, near the heater and the hose, "
        '`place = "floor"`',
        "Where no foot or water comes: propane and butane run along the floor (common "
        "practice, no source).",
        "gas: a hand up",
        (2.65, 0.1),
        (2.22, 0.2),
    ),
    Place(
        "fine dust",
        "20 cm or more above the floor (data sheet)",
        "Its inlet to the side.",
        "dust: 20 cm or more",
        (1.9, 0.36),
        (2.0, 0.33),
    ),
    Place(
        "outside air",
        "in the shade, under a hood",
        "On the side away from the exhausts.",
        "outside air",
        (-0.15, 1.5),
        (-0.6, 1.62),
    ),
    Place(
        "Pi in its box",
        "dry, and within a metre of wire from the bunk's sensors; inside it the "
        "battery monitor's board, the clock, the converter, the lever connectors, the "
        "USB adapter, and the stripboard with the drivers and with D4, D5 and C4",
        "[The bus is short](#all-wires-of-the-usual-build). Its warmth: see 1.",
        "Pi in its box",
        (2.03, 0.9),
        (2.12, 0.87),
    ),
    Place(
        "battery",
        "in a box with a vent to the outside; beside it the main fuse, the shunt, F2 "
        "and F3 for the sense leads, and F1 for the power lead",
        "Fit `ina226`, so that the monitor can name hydrogen as a reason.",
        "battery",
        (1.8, 0.12),
        (1.89, 0.1),
    ),
    Place(
        "sounder, light, button",
        "the sounder within [its table's](#how-loud-at-the-pillow) distance of the "
        "pillow; from there the light is seen, and a hand finds the button",
        "Where no mattress presses on the button, no blanket covers the sounder, and "
        "the light shines into no eye.",
        "sounder, button",
        (0.12, 0.95),
        (0.22, 0.97),
    ),
)

_PX_PER_M = 170.0
_LEFT_PX, _TOP_PX = 130.0, 46.0
_WIDE_PX = _LEFT_PX + LONG_M * _PX_PER_M + 100.0
_HIGH_PX = _TOP_PX + HIGH_M * _PX_PER_M + 66.0
INK, SOFT, FAINT = "#14202b", "#44525f", "#d5dbe1"
BLUE, RED, WATER = "#005f99", "#b3261e", "#e3eef6"


def _x(metres: float) -> float:
    return round(_LEFT_PX + metres * _PX_PER_M, 1)


def _y(metres: float) -> float:
    return round(_TOP_PX + (HIGH_M - metres) * _PX_PER_M, 1)


def _box(x: float, y: float, wide: float, high: float, look: str) -> str:
    """Draw a rectangle by its low left corner, in metres."""
    return (
        f'<rect x="{_x(x)}" y="{_y(y + high)}" width="{wide * _PX_PER_M:.1f}" '
        f'height="{high * _PX_PER_M:.1f}" {look}/>'
    )


def _text(x: float, y: float, words: str, look: str = "") -> str:
    return f'<text x="{_x(x)}" y="{_y(y)}" {look}>{words}</text>'


def _line(x: float, y: float, to_x: float, to_y: float, look: str) -> str:
    return f'<line x1="{_x(x)}" y1="{_y(y)}" x2="{_x(to_x)}" y2="{_y(to_y)}" {look}/>'


def burner_m() -> float:
    """Return the height of the example's flame."""
    return float(str(example().cabin.burner_height_m))


def vents_apart_m() -> float:
    """Return the height between the example's two vents."""
    return float(str(example().cabin.vent_height_m))


def to_burner_m(place: Place) -> float:
    """Return how far a place is drawn from the burner."""
    return hypot(place.at[0] - HEATER_M, place.at[1] - burner_m())


def to_pillow_m(place: Place) -> float:
    """Return how far a place is drawn from the pillow."""
    return hypot(place.at[0] - PILLOW[0], place.at[1] - PILLOW[1])


def _cabin() -> Iterator[str]:
    low_m = 0.15
    high_m = low_m + vents_apart_m()
    wall = f'fill="none" stroke="{INK}" stroke-width="4"'
    thin = f'fill="#ffffff" stroke="{SOFT}" stroke-width="1.5"'
    yield _box(0, 0, LONG_M, HIGH_M, wall)
    yield _box(0.03, 0.0, 1.55, 0.42, f'fill="{FAINT}" stroke="{SOFT}"')
    yield _box(0.22, 0.42, 0.5, 0.1, thin)
    yield (
        f'<circle cx="{_x(PILLOW[0])}" cy="{_y(PILLOW[1])}" r="17" '
        f'fill="#ffffff" stroke="{SOFT}" stroke-width="1.5"/>'
    )
    yield _text(0.5, 0.18, "bunk", f'fill="{SOFT}"')
    yield _box(1.65, 0.01, 0.55, 0.22, thin)
    yield _box(1.55, 1.07, 0.75, 0.55, f'fill="{WATER}" stroke="{SOFT}"')
    yield _text(1.77, 1.32, "window", f'fill="{SOFT}"')
    never = f'fill="{RED}" fill-opacity="0.12" stroke="{RED}" stroke-dasharray="5 3"'
    for height, name in ((low_m, "low"), (high_m, "high")):
        yield _box(LONG_M - 0.42, height - 0.13, 0.38, 0.26, never)
        yield _box(LONG_M - 0.02, height - 0.06, 0.04, 0.12, 'fill="#ffffff"')
        yield _text(LONG_M - 0.38, height - 0.03, "draught", f'fill="{RED}"')
        yield _text(LONG_M + 0.05, height - 0.03, f"{name} vent", f'fill="{SOFT}"')
    yield from _heater(thin)
    dashed = f'stroke="{SOFT}" stroke-dasharray="4 3"'
    at = LONG_M + 0.25
    yield _line(at, low_m + 0.07, at, high_m - 0.1, dashed)
    yield _text(at + 0.03, 0.95, f"{vents_apart_m():g} m")


def _heater(look: str) -> Iterator[str]:
    """Draw the heater, its flame, and the places around it that are none."""
    never = f'fill="{RED}" fill-opacity="0.12" stroke="{RED}" stroke-dasharray="5 3"'
    yield _box(HEATER_M - 0.2, 0.5, 0.4, HIGH_M - 0.53, never)
    for line, words in enumerate(("no sensor", "in the", "plume")):
        yield _text(
            HEATER_M, 1.55 - 0.11 * line, words, f'fill="{RED}" text-anchor="middle"'
        )
    yield _box(HEATER_M - 0.17, 0.0, 0.34, 0.5, look)
    height = burner_m()
    yield (
        f'<path d="M {_x(HEATER_M)} {_y(height + 0.09)} '
        f"Q {_x(HEATER_M + 0.07)} {_y(height - 0.02)} "
        f"{_x(HEATER_M)} {_y(height - 0.04)} "
        f"Q {_x(HEATER_M - 0.07)} {_y(height - 0.02)} "
        f'{_x(HEATER_M)} {_y(height + 0.09)}" '
        f'fill="{RED}"/>'
    )
    yield _text(HEATER_M, 0.1, "heater", f'fill="{SOFT}" text-anchor="middle"')


def _marks() -> Iterator[str]:
    for number, place in enumerate(PLACES, start=1):
        x, y = place.at
        yield f'<circle cx="{_x(x)}" cy="{_y(y)}" r="10" fill="{BLUE}"/>'
        yield (
            f'<text x="{_x(x)}" y="{_y(y) + 4.5}" fill="#ffffff" font-weight="bold" '
            f'text-anchor="middle">{number}</text>'
        )
        yield _text(*place.label_at, place.label, f'fill="{INK}"')


def _distance() -> Iterator[str]:
    """Draw an arm from the pillow, and the way from the monoxide to the burner."""
    bunk, monoxide, *_ = PLACES
    arm = f'stroke="{BLUE}" stroke-dasharray="2 3" stroke-width="1.5"'
    yield _line(PILLOW[0] + 0.1, PILLOW[1], bunk.at[0] - 0.06, bunk.at[1], arm)
    yield _text(0.62, 0.74, "an arm", f'fill="{BLUE}"')
    x, y = monoxide.at
    look = f'stroke="{BLUE}" stroke-dasharray="2 3" stroke-width="1.5"'
    yield _line(x + 0.06, y, HEATER_M - 0.17, y, look)
    yield _text(2.3, y + 0.03, "1 to 3 m", f'fill="{BLUE}"')


def picture() -> str:
    """Draw the side view as SVG, as plain text and the same each time."""
    inside = [*_cabin(), *_distance(), *_marks()]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE_PX:.0f} '
        f'{_HIGH_PX:.0f}" width="{_WIDE_PX:.0f}" height="{_HIGH_PX:.0f}" '
        f'font-family="sans-serif" font-size="13" fill="{INK}">\n'
        f"<title>{CAPTION}</title>\n"
        '<rect width="100%" height="100%" fill="#ffffff"/>\n'
        + "\n".join(inside)
        + f'\n<text x="{_LEFT_PX}" y="{_HIGH_PX - 22:.0f}" fill="{SOFT}">'
        f"{CAPTION}</text>\n</svg>\n"
    )


def rows() -> list[tuple[str, str, str, str]]:
    """Return the table's rows: number, what, where, why."""
    return [
        (str(number), one.what, one.where, one.why)
        for number, one in enumerate(PLACES, start=1)
    ]
