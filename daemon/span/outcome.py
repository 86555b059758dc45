"""What became of a session of spanning, part by part."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.span.found import Found
from cabinvigil.daemon.span.fresh_air import AirFound, Saw, is_fresh
from cabinvigil.daemon.span.kept import Span


@dataclass
class PartOutcome:
    """What became of one part."""

    name: str
    kind: str
    found: Found | None = None
    refused: str = ""
    """Why it was not spanned; '' where it was."""
    measured: float | None = None
    """What it showed after it was recalibrated."""


@dataclass
class Outcome:
    """What became of the session."""

    saw: list[Saw]
    air: AirFound
    parts: list[PartOutcome] = field(default_factory=list)
    earlier: Mapping[str, list[Span]] = field(default_factory=dict)
    """By part: its spans, this one included where it was kept."""
    spans: list[Span] = field(default_factory=list)
    """What this session found; one that was refused is void."""
    at: datetime = EARLIEST
    kept_in: Path | None = None
    only_looked: bool = False

    @property
    def is_good(self) -> bool:
        """Whether the air was fit, and every part too."""
        return bool(self.parts) and not any(part.refused for part in self.parts)

    def as_plain(self) -> dict[str, Any]:
        """Return what JSON can hold."""
        return {
            "fresh": is_fresh(self.saw),
            "saw": [{"good": one.is_good, "text": one.text} for one in self.saw],
            "air": {
                "temp_c": self.air.temp_c,
                "rh_pct": self.air.rh_pct,
                "pressure_hpa": self.air.pressure_hpa,
                "o2_pct": round(self.air.o2_pct, 3),
            },
            "parts": [_plain(part) for part in self.parts],
            "kept": self.kept_in is not None,
        }


def _plain(part: PartOutcome) -> dict[str, Any]:
    plain: dict[str, Any] = {"part": part.name, "kind": part.kind}
    if part.refused:
        plain["refused"] = part.refused
    if part.found is not None:
        found = part.found
        plain |= {
            "signal": found.signal,
            "unit": found.unit,
            "before": found.before,
            "after": found.after if part.measured is None else part.measured,
            "options": dict(found.options),
            "warnings": list(found.warnings),
        }
    return plain
