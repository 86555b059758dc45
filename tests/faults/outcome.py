"""What one fault did to every way out: a line of the matrix."""

from dataclasses import dataclass

COLUMNS = (
    ("fault", 30),
    ("rings for it", 18),
    ("gas sounds s", 13),
    ("phone: fault, gas s", 20),
    ("alarms logged", 14),
    ("lost", 27),
    ("comes back", 30),
    ("what the phone is told", 0),
)
"""Each with its width."""


@dataclass(frozen=True)
class Outcome:
    """One line; every figure in it has been held to its limit before."""

    fault: str
    rings: str
    """Which sound the fault itself has, and after how many seconds."""
    gas_sounds: str
    """After how many seconds gas is heard that comes while the fault lasts."""
    phone: str
    """After how many seconds the phone has the fault, and the gas."""
    logged: str
    """Alarm events in the log, of those decided."""
    lost: str
    back: str
    told: str

    def line(self) -> str:
        cells = (
            self.fault, self.rings, self.gas_sounds, self.phone, self.logged,
            self.lost, self.back, self.told,
        )  # fmt: skip
        pairs = zip(cells, COLUMNS, strict=True)
        return " ".join(f"{cell:<{width}}" for cell, (_, width) in pairs).rstrip()


HEAD = Outcome(*(name for name, _ in COLUMNS)).line()


def seconds(value: float | None) -> str:
    """Write a time, or that there is none."""
    return "-" if value is None else f"{value:.1f}"
