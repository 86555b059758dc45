"""The kept spans: what each part gave in known fresh air, when, and in what air.

They lie in the state folder, in a file that no cut tears (see `keep`).  A part's last
span goes before the options of the config, unless the part was put into service after
it: then another cell hangs there.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from cabinvigil.daemon.core.model import EMPTY, SourceFault
from cabinvigil.daemon.outputs.state_file import StateFile
from cabinvigil.daemon.sampling.wiring import MakeCodec
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.drivers.kit.steps import PartInfo

FILE = "spans"
VERSION = 1
MOST_KEPT = 200
"""Of each part: a span a month for sixteen years."""
_LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)
"""Reading needs no clock; this stands in for one."""


class SpansError(CabinvigilError, ValueError):
    """The kept spans cannot be read; the message says which file, and the mend."""

    exit_code = ExitCode.MACHINE_FAILED


@dataclass(frozen=True, slots=True)
class Span:
    """What one part gave in fresh air."""

    part: str
    """The part's name in the config."""
    kind: str
    at: datetime
    """Aware, in UTC."""
    signal: float
    """The mean of what the part gave, before any calibration, in `unit`."""
    unit: str
    """`mV`, `%` or `ppm`."""
    before: float | None = None
    """What it showed with the calibration before, in its quantity's unit."""
    after: float | None = None
    """What it shows with this one."""
    temp_c: float | None = None
    pressure_hpa: float | None = None
    rh_pct: float | None = None
    options: Mapping[str, float | str] = field(default_factory=lambda: EMPTY)
    """The driver's options that follow from it."""


class SpansFile:
    """The file of one state folder."""

    def __init__(self, folder: Path) -> None:
        """Name it; nothing is read or written yet."""
        self.path = folder / FILE
        self._file = StateFile(self.path)

    def load(self) -> list[Span]:
        """Return every kept span, the oldest first; none where there is no file.

        Raises:
            SpansError: there is a file, and neither it nor the one before can be read.
        """
        kept = self._file.load(_LONG_AGO, 0.0)
        if kept.body is None:
            if kept.notes:
                raise SpansError(" ".join(kept.notes) + _mend(self.path))
            return []
        try:
            return _spans(kept.body)
        except (KeyError, TypeError, ValueError) as error:
            why = str(error) or type(error).__name__
            text = f"The kept spans in {self.path} cannot be used ({why})."
            raise SpansError(text + _mend(self.path)) from error

    def add(self, new: Sequence[Span], wall: datetime, monotonic_s: float) -> None:
        """Keep more spans.

        Args:
            new: in the order of their moments.
            wall: now.
            monotonic_s: now.

        Raises:
            SpansError: what is there cannot be read, so nothing is written over it.
            OSError: the folder does not take it; what was kept still stands.
        """
        spans = [*self.load(), *new]
        counts: dict[str, int] = {}
        kept = []
        for span in reversed(spans):
            counts[span.part] = counts.get(span.part, 0) + 1
            if counts[span.part] <= MOST_KEPT:
                kept.append(_plain(span))
        body = {"version": VERSION, "spans": kept[::-1]}
        self._file.save(body, wall, monotonic_s)


def _mend(path: Path) -> str:
    return f" Move {path.name} out of {path.parent} and span the parts again."


def _plain(span: Span) -> dict[str, Any]:
    plain = {one.name: getattr(span, one.name) for one in fields(span)}
    return plain | {"at": span.at.isoformat(), "options": dict(span.options)}


def _spans(body: Any) -> list[Span]:
    if body["version"] != VERSION:
        raise ValueError(f"version {body['version']!r}, known is {VERSION}")
    return [_span(one) for one in body["spans"]]


def _span(plain: Mapping[str, Any]) -> Span:
    at = datetime.fromisoformat(plain["at"])
    if at.tzinfo is None:
        raise ValueError(f"the moment {plain['at']} has no time zone")
    options = plain["options"]
    for key, value in options.items():
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise TypeError(f"{key} is no number or word")
    maybe = ("before", "after", "temp_c", "pressure_hpa", "rh_pct")
    return Span(
        part=str(plain["part"]),
        kind=str(plain["kind"]),
        at=at.astimezone(UTC),
        signal=float(plain["signal"]),
        unit=str(plain["unit"]),
        options=dict(options),
        **{key: None if plain.get(key) is None else float(plain[key]) for key in maybe},
    )


def of_part(
    spans: Sequence[Span], part: str, kind: str, since: date | None = None
) -> list[Span]:
    """Return the spans of the part that hangs there now, the oldest first.

    Args:
        spans: all that are kept.
        part: its name in the config.
        kind: another kind under the same name is another part.
        since: the day it was put into service; what is older was another cell's.
    """
    return [
        span
        for span in spans
        if (span.part, span.kind) == (part, kind)
        and (since is None or span.at.date() >= since)
    ]


def options_for(
    part: str, kind: str, folder: Path, since: date | None = None
) -> Mapping[str, float | str]:
    """Return the driver's options that a part's last span gave; none without a span.

    Args:
        part: its name in the config.
        kind: its kind.
        folder: the state folder.
        since: as for `of_part`.

    Raises:
        SpansError: the kept spans cannot be read.
    """
    own = of_part(SpansFile(folder).load(), part, kind, since)
    return own[-1].options if own else EMPTY


def maker(folder: Path, tell: Callable[[SourceFault], None]) -> MakeCodec:
    """Return what makes a codec with its last span's options put in.

    Args:
        folder: the state folder.
        tell: told where the spans cannot be read, or do not suit the part: the codec
            is made from the config alone then, since a watch without a span is better
            than none.
    """

    def make(name: str, part: PartSettings, info: PartInfo) -> Any:
        try:
            kept = options_for(name, part.kind, folder, part.in_service)
            return info.make({**part.options, **kept})
        except ValueError as error:
            text = f"{name} goes on without its last span: {error}"
            tell(SourceFault("state", "out-of-range", text))
            return info.make(part.options)

    return make
