"""What to order of small parts, for each build: counted from the circuits.

`python -m tests.tools.drawings` puts the table into hardware.md.
"""

from collections import Counter

from tests.tools.circuits import CIRCUITS

BUILDS: dict[str, dict[str, int]] = {
    # How often each circuit is in a build; the second has the first's too.
    "least": {"driver": 1, "chain": 1},
    "usual": {"driver": 1, "light-button": 1, "shunt": 1},
    "thorough": {"pump": 1, "loop": 1},
}
BESIDE: dict[str, dict[str, int]] = {
    # What the sensors of each build's config need beside them, likewise.
    "least": {
        "USB serial adapter, 3.3 V": 1,
        "board with a clock chip ds3231": 1,
        "lever connector, 5 wires": 4,
        "wire with a socket for the header": 9,
        "stripboard": 1,
        "resistor 1 kΩ": 2,
        "resistor 2 kΩ": 2,
        "cable of four cores, in m": 5,
        "cable of two cores, in m": 5,
        "cable of two cores, 0.75 mm² or more, in m": 3,
    },
    "usual": {
        "lever connector, 5 wires": 4,
        "cable of two cores, in m": 10,
        "cable of three cores, in m": 5,
        "twisted pair, 0.5 mm², in m": 3,
        "resistor 4.7 kΩ": 1,
        "capacitor 10 µF": 1,
        "wire with a socket for the header": 7,
    },
    "thorough": {
        "lever connector, 5 wires": 4,
        "resistor 1 kΩ": 1,
        "resistor 2 kΩ": 1,
        "cable of four cores, in m": 5,
        "cable of two cores, in m": 5,
        "cable of three cores, in m": 5,
        "wire with a socket for the header": 2,
        "USB serial adapter, 3.3 V": 1,
        "ADS1115 board": 1,
        "resistor 10 to 100 kΩ, a cell's load": 1,
    },
}
"""Of the usual build's ds18b20 and scd4x; the thorough one has a cell and a contact.

A divider for each serial sensor; metres for a cabin of 4 m, as the example's."""


def counted() -> list[tuple[str, str, str, str]]:
    """Return rows of what to order: a small part, and how many for each build."""
    so_far: Counter[str] = Counter()
    columns = []
    for build, circuits in BUILDS.items():
        for name, times in circuits.items():
            so_far.update(CIRCUITS[name]().needs * times)
        so_far.update(BESIDE[build])
        columns.append(so_far.copy())
    least, usual, thorough = columns
    return [
        (
            what,
            str(least[what] or "-"),
            str(usual[what] or "-"),
            str(thorough[what] or "-"),
        )
        for what in sorted(so_far, key=_by_kind)
    ]


def _by_kind(what: str) -> tuple[str, float, str]:
    """Sort by what it is, and alike things by their value."""
    units = {"kΩ": 1e3, "MΩ": 1e6, "Ω": 1.0, "µF": 1e-6, "nF": 1e-9, "A": 1.0}
    kind, *value = what.split(" ")
    if len(value) >= 2 and value[1] in units:
        return (kind, float(value[0]) * units[value[1]], what)
    return (kind, 0.0, what)


def orders() -> str:
    """Draw what to order of small parts, as Markdown."""
    lines = [("to buy", "least", "usual", "thorough"), ("---",) * 4, *counted()]
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)
