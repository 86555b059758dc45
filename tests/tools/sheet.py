"""Draws a small circuit as SVG, with its joints in words, and what it needs.

Points are in pixels, x to the right and y downwards.  Whatever has two legs lies
between two points, straight or upright.  What is joined to what is said in words, and
becomes a line of the list to tick while soldering; what has a value is to be bought.
"""

import re
from collections.abc import Callable, Mapping
from types import MappingProxyType

Point = tuple[float, float]

INK, SOFT, PAPER, BLOCK = "#14202b", "#44525f", "#ffffff", "#f4f6f8"
HALF = 22.0
"""Half of a symbol's length, along its legs."""
PEN = f'stroke="{INK}" stroke-width="2" fill="none"'


def _path(words: str, look: str = PEN) -> str:
    return f'<path d="{words}" {look}/>'


def _box(high: float) -> str:
    return (
        f'<rect x="{-HALF}" y="{-high}" width="{2 * HALF}" height="{2 * high}" '
        f'stroke="{INK}" stroke-width="2" fill="{PAPER}"/>'
    )


def _capacitor() -> str:
    return _path(f"M {-HALF} 0 H -5 M -5 -13 V 13 M 5 -13 V 13 M 5 0 H {HALF}")


def _diode() -> str:
    """Draw the anode at the first leg, the cathode with its stripe at the second."""
    triangle = f'stroke="{INK}" stroke-width="2" fill="{INK}"'
    return (
        _path(f"M {-HALF} 0 H {HALF}")
        + _path("M -9 -10 L 9 0 L -9 10 Z", triangle)
        + _path("M 9 -11 V 11")
    )


def _led() -> str:
    return _diode() + _path(
        "M 0 -15 l 9 -9 m -6 0 h 6 v 6 M 10 -15 l 9 -9 m -6 0 h 6 v 6"
    )


def _suppressor() -> str:
    return _diode() + _path("M 9 -11 l 5 -4 M 9 11 l -5 4")


def _switch() -> str:
    return _path(f"M {-HALF} 0 H -12 L 12 -12 M 14 0 H {HALF}")


def _round() -> str:
    return (
        _path(f"M {-HALF} 0 H {HALF}")
        + f'<circle r="17" stroke="{INK}" stroke-width="2" fill="{PAPER}"/>'
        + _path("M -6 -5 V 5 H -1 L 6 11 V -11 L -1 -5 Z")
    )


def _cell() -> str:
    """Draw the plus, the longer line, at the first leg."""
    return _path(f"M {-HALF} 0 H -5 M -5 -15 V 15 M 5 -8 V 8 M 5 0 H {HALF}")


SYMBOLS: Mapping[str, Callable[[], str]] = MappingProxyType(
    {
        "resistor": lambda: _box(8.0),
        "fuse": lambda: _box(7.0) + _path(f"M {-HALF} 0 H {HALF}"),
        "capacitor": _capacitor,
        "diode": _diode,
        "led": _led,
        "suppressor": _suppressor,
        "switch": _switch,
        "sounder": _round,
        "cell": _cell,
    }
)
BOUGHT: Mapping[str, str] = MappingProxyType(
    {
        "R": "resistor",
        "C": "capacitor",
        "D": "diode",
        "F": "fuse",
        "Q": "transistor",
    }
)
"""What the first letter of a label stands for."""
TURNED: Mapping[Point, int] = MappingProxyType(
    {(1.0, 0.0): 0, (0.0, 1.0): 90, (-1.0, 0.0): 180, (0.0, -1.0): 270}
)


class Sheet:
    """One circuit, drawn piece by piece."""

    def __init__(self, title: str, wide: float, high: float) -> None:
        self.title = title
        self.joints: list[str] = []
        self.needs: list[str] = []
        """What has to be bought for it, each as often as it is there."""
        self._size = (wide, high)
        self._drawn: list[str] = []

    def wire(self, *points: Point, dashed: bool = False) -> None:
        """Draw a wire through some points."""
        path = "M " + " L ".join(f"{x:g} {y:g}" for x, y in points)
        self._drawn.append(
            _path(path, PEN + (' stroke-dasharray="6 4"' if dashed else ""))
        )

    def over(self, start: Point, crossed: Point, end: Point) -> None:
        """Draw a wire to the right that hops over another without touching it."""
        (x, y), (at, _), (to, _) = start, crossed, end
        self._drawn.append(
            _path(f"M {x:g} {y:g} H {at - 8:g} A 8 8 0 0 1 {at + 8:g} {y:g} H {to:g}")
        )

    def dot(self, *points: Point) -> None:
        """Mark where wires are joined."""
        for x, y in points:
            self._drawn.append(f'<circle cx="{x:g}" cy="{y:g}" r="4" fill="{INK}"/>')

    def text(self, at: Point, words: str, anchor: str = "start") -> None:
        """Write a label; `anchor` is start, middle or end."""
        x, y = at
        self._drawn.append(
            f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}">{words}</text>'
        )

    def join(self, words: str) -> None:
        """Add a line to the list of joints."""
        self.joints.append(words)

    def legs(
        self,
        symbol: str,
        first: Point,
        second: Point,
        label: str,
        *,
        beside: Point = (0.0, 0.0),
    ) -> None:
        """Draw what has two legs; a label `R2, 10 kΩ` also says what to buy."""
        (x, y), (to_x, to_y) = first, second
        far = abs(to_x - x) + abs(to_y - y)
        way = ((to_x - x) / far, (to_y - y) / far)
        middle = ((x + to_x) / 2, (y + to_y) / 2)
        near = (middle[0] - way[0] * HALF, middle[1] - way[1] * HALF)
        after = (middle[0] + way[0] * HALF, middle[1] + way[1] * HALF)
        self.wire(first, near)
        self.wire(after, second)
        self._drawn.append(
            f'<g transform="translate({middle[0]:g} {middle[1]:g}) '
            f'rotate({TURNED[way]})">{SYMBOLS[symbol]()}</g>'
        )
        upright = way[0] == 0.0
        at = (middle[0] + 26, middle[1] + 5) if upright else (middle[0], middle[1] - 20)
        at = (at[0] + beside[0], at[1] + beside[1])
        self.text(at, label, "start" if upright else "middle")
        self._need(label)

    def transistor(self, base: Point, label: str, *, is_mosfet: bool = False) -> None:
        """Draw an NPN or an N-MOSFET; its other legs are 34 right, 34 up and down."""
        x, y = base
        bar = x + (22 if is_mosfet else 16)
        arrow = f'stroke="{INK}" stroke-width="1" fill="{INK}"'
        self.wire((x, y), (x + 16, y))
        self.wire((x + 16, y - 18), (x + 16, y + 18))
        if is_mosfet:
            self.wire((bar, y - 18), (bar, y + 18))
            self.wire((bar, y - 14), (x + 34, y - 14), (x + 34, y - 34))
            self.wire((bar, y + 14), (x + 34, y + 14), (x + 34, y + 34))
            self._drawn.append(_path(f"M {bar} {y + 14} l 9 -5 v 10 Z", arrow))
        else:
            self.wire((bar, y - 8), (x + 34, y - 22), (x + 34, y - 34))
            self.wire((bar, y + 8), (x + 34, y + 22), (x + 34, y + 34))
            self._drawn.append(_path(f"M {x + 34} {y + 22} l -10 -1 l 5 -8 Z", arrow))
        self.text((x + 44, y + 5), label)
        self._need(label)

    def need(self, *things: str) -> None:
        """Add what is to be bought, and is not named by a label."""
        self.needs += things

    def _need(self, label: str) -> None:
        name, _, value = label.partition(", ")
        if value and re.fullmatch(r"[RCDFQ]\d+", name):
            self.needs.append(f"{BOUGHT[name[0]]} {value}")

    def block(self, at: Point, size: Point, label: str) -> None:
        """Draw a box for a board, with its name."""
        (x, y), (wide, high) = at, size
        self._drawn.append(
            f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" '
            f'stroke="{SOFT}" stroke-width="2" fill="{BLOCK}"/>'
        )
        self.text((x + wide / 2, y + 18), label, "middle")

    def svg(self) -> str:
        """Return the drawing, the same each time."""
        wide, high = self._size
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" '
            f'width="{wide:g}" height="{high:g}" font-family="sans-serif" '
            f'font-size="14" fill="{INK}">\n<title>{self.title}</title>\n'
            f'<rect width="100%" height="100%" fill="{PAPER}"/>\n'
            + "\n".join(self._drawn)
            + "\n</svg>\n"
        )
