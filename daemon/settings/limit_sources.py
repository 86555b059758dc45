"""Where each packaged limit comes from: one table, of limits.toml and nothing else."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cabinvigil.daemon.settings.read import parse_toml
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.drivers.kit.quantity import QUANTITIES

RULE = "rule"
"""Stands for the figures that a rule's own file holds."""
UNITS = {"_s": "s", "_pct": "%", "_ppm": "ppm", "_v": "V", "_m": "m"}
"""Of a key that is no quantity's, by how it ends."""
OF_THE_QUANTITY = frozenset({"steps", "limit", "margin", "towards", "no_quiet_at"})
NO_LIMITS = frozenset(
    {
        *("kind", "quantity", "side", "place", "before", "source", "latch"),
        *("means", "sound"),
        *("dead_band", "on_delay_s", "off_delay_s", "ack_s", "again_step"),
        *("shelve_s", "removable", "suppressed_by"),
    }
)
"""Keys of an alarm that are no limits: they need no document, and may have one."""


@dataclass(frozen=True, slots=True)
class Document:
    """What a limit comes from."""

    id: str
    title: str
    edition: str
    date: str
    """ISO 8601, as much of it as is known; '' where none is."""
    status: str
    """`read`, `secondary`, `from memory` or `own choice`."""

    @property
    def named(self) -> str:
        """Return title and edition on one line."""
        return f"{self.title}; {self.edition}" if self.edition else self.title


@dataclass(frozen=True, slots=True)
class LimitSource:
    """One limit, and the documents that it comes from."""

    alarm: str
    key: str
    value: float | str | None
    """None: figures that stand in the rule's own file."""
    unit: str
    priority: str
    """Of a step; '' elsewhere."""
    over_s: float
    """Of a step on a mean; 0 elsewhere."""
    share_pct: float
    """Of a step that also wants so little oxygen; 100 elsewhere."""
    documents: tuple[Document, ...]


def limit_sources() -> tuple[list[LimitSource], dict[str, Document]]:
    """Return every packaged limit with its documents, and all documents by id.

    Raises:
        ConfigError: the packaged limits are broken.
        KeyError: a limit cites a document that is not there.
    """
    name = "packaged limits.toml"
    plain = parse_toml(packaged("limits.toml").read_bytes(), name)
    documents = {
        key: Document(key, **table) for key, table in plain["document"].items()
    }
    limits: list[LimitSource] = []
    for alarm, table in plain["alarm"].items():
        limits += _of_alarm(alarm, table, plain["cites"].get(alarm, {}), documents)
    return limits, documents


def uncited(plain: Mapping[str, Any]) -> Iterator[str]:
    """Yield each limit of a limits file, read as TOML, that cites no document."""
    for alarm, table in plain["alarm"].items():
        cites = plain["cites"].get(alarm, {})
        if not cites:
            yield alarm
        for key in table.keys() - NO_LIMITS:
            cited = cites.get(key, [])
            wanted = len(table[key]) if key == "steps" else 1
            if not cited or (key == "steps" and len(cited) != wanted):
                yield f"{alarm}.{key}"


def _of_alarm(
    alarm: str,
    table: Mapping[str, Any],
    cites: Mapping[str, Any],
    documents: Mapping[str, Document],
) -> Iterator[LimitSource]:
    quantity = QUANTITIES.get(table.get("quantity", ""))
    own_unit = "% COHb" if table["kind"] == "dose" else ""
    unit = quantity.unit if quantity is not None else own_unit

    def named(ids: Sequence[str]) -> tuple[Document, ...]:
        return tuple(documents[key] for key in ids)

    steps = zip(table.get("steps", ()), cites.get("steps", ()), strict=False)
    for step, ids in steps:  # whoever leaves a document out: `uncited` tells
        yield LimitSource(
            alarm,
            "steps",
            step["at"],
            unit,
            step["priority"],
            step.get("over_s", 0.0),
            step.get("share_pct", 100.0),
            named(ids),
        )
    for key, ids in cites.items():
        if key not in ("steps", "share_pct"):
            value = table.get(key)
            own = unit if key in OF_THE_QUANTITY else _unit(key, unit)
            yield LimitSource(alarm, key, value, own, "", 0.0, 100.0, named(ids))


def _unit(key: str, of_the_quantity: str) -> str:
    if key.endswith("_per_h"):
        return f"{of_the_quantity}/h"
    return next((unit for end, unit in UNITS.items() if key.endswith(end)), "")
