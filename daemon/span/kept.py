"""The kept spans: what each part gave in known fresh air, when, and in what air.

They lie in the state folder, in a file that no cut tears (see `keep`).  A part's last
span goes before the options of the config, unless the part was put into service after
it: then another cell hangs there.
"""

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from cabinvigil.daemon.core.model import EMPTY, SourceFault, SourceOk
from cabinvigil.daemon.outputs.state_file import StateFile, UnreadError
from cabinvigil.daemon.sampling.wiring import MakeCodec
from cabinvigil.daemon.settings.accounts import user_name
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.dated import dated_of_part, moment_from_plain, newest
from cabinvigil.daemon.span.proofs import MOST_KEPT as MOST_PROOFS
from cabinvigil.daemon.span.proofs import Proof, proof_from_plain, proof_to_plain
from cabinvigil.daemon.span.slope import SpannedAt, slope_pct_per_k
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.drivers.kit.air_span import FRESH_AIR_O2_PCT, gives_share
from cabinvigil.drivers.kit.steps import PartInfo

FILE = "spans"
VERSION = 1
HAVE_A_SLOPE = frozenset({"o2_cell_ads1115"})
"""Kinds whose driver takes the drift with temperature that their spans tell."""
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
    void: str = ""
    """Why it does not count: it was refused, or taken back; '' where it counts."""

    @property
    def sensitivity(self) -> float | None:
        """Return the signal for each unit of what the cell senses.

        That is hPa of oxygen behind a membrane, its share behind a capillary; None
        without the pressure of that day.
        """
        o2_pct = self.options.get("air_o2_pct", FRESH_AIR_O2_PCT)
        hpa = 100.0 if gives_share(self.options) else self.options.get("air_hpa")
        if not isinstance(hpa, int | float) or not isinstance(o2_pct, int | float):
            return None
        return self.signal / (o2_pct / 100.0 * hpa)


class SpansFile:
    """The file of one state folder."""

    def __init__(self, folder: Path) -> None:
        """Name it; nothing is read or written yet."""
        self.path = folder / FILE
        self._file = StateFile(self.path)

    def why_not_kept(self) -> str:
        """Return why this user can keep nothing here, before there is any; '' if not.

        A folder that is not there yet is made.
        """
        folder = self.path.parent
        if not folder.is_dir() or os.access(
            folder, os.W_OK | os.X_OK, effective_ids=True
        ):
            return ""
        owner = user_name(folder.stat().st_uid)
        return (
            f"kept in {folder}, where the user {user_name(os.geteuid())} may not "
            f"write; run this by `sudo -u {owner}`"
        )

    def load(self) -> list[Span]:
        """Return every kept span, the oldest first; none where there is no file.

        Raises:
            SpansError: there is a file, and neither it nor the one before can be read.
        """
        return self.load_all()[0]

    def proofs(self) -> list[Proof]:
        """Return every kept test of a part, the oldest first.

        Raises:
            SpansError: as for `load`.
        """
        return self.load_all()[1]

    def load_all(self) -> tuple[list[Span], list[Proof]]:
        """Return every kept span, and every kept test, by one read.

        Raises:
            SpansError: as for `load`.
        """
        try:
            kept = self._file.load(_LONG_AGO, 0.0)
        except UnreadError as error:
            text = (
                f"The kept calibrations in {self.path.parent} cannot be read now "
                f"({error})."
            )
            raise SpansError(f"{text} Check the disk, and try again.") from error
        if kept.body is None:
            if kept.notes:
                raise SpansError(" ".join(kept.notes) + _mend(self.path))
            return [], []
        try:
            return _spans(kept.body), _proofs(kept.body)
        except (KeyError, TypeError, ValueError) as error:
            why = str(error) or type(error).__name__
            text = f"The kept calibrations in {self.path} cannot be used ({why})."
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
        before, proofs = self.load_all()
        spans = [*before, *new]
        kept = newest(spans, MOST_KEPT, lambda span: span.part)
        self._save(kept, proofs, wall, monotonic_s)

    def add_proofs(
        self, new: Sequence[Proof], wall: datetime, monotonic_s: float
    ) -> None:
        """Keep more tests of parts.

        Args:
            new: in the order of their moments.
            wall: now.
            monotonic_s: now.

        Raises:
            SpansError, OSError: as for `add`.
        """
        spans, before = self.load_all()
        self._save(
            spans,
            newest(
                [*before, *new], MOST_PROOFS, lambda proof: (proof.part, proof.quantity)
            ),
            wall,
            monotonic_s,
        )

    def undo(self, undone: Span, why: str, wall: datetime, monotonic_s: float) -> None:
        """Have a span count no more; it stays in the file.

        Args:
            undone: the span, as `load` gave it.
            why: what is said of it from now on.
            wall: now.
            monotonic_s: now.

        Raises:
            SpansError, OSError: as for `add`.
        """
        before, proofs = self.load_all()
        spans = [replace(one, void=why) if one == undone else one for one in before]
        self._save(spans, proofs, wall, monotonic_s)

    def _save(
        self,
        spans: Sequence[Span],
        proofs: Sequence[Proof],
        wall: datetime,
        monotonic_s: float,
    ) -> None:
        body = {
            "version": VERSION,
            "spans": [_plain(one) for one in spans],
            "proofs": [proof_to_plain(one) for one in proofs],
        }
        self._file.save(body, wall, monotonic_s)


def _mend(path: Path) -> str:
    return f" Move {path.name} out of {path.parent} and calibrate the sensors again."


def _plain(span: Span) -> dict[str, Any]:
    plain = {one.name: getattr(span, one.name) for one in fields(span)}
    return plain | {"at": span.at.isoformat(), "options": dict(span.options)}


def _spans(body: Any) -> list[Span]:
    if body["version"] != VERSION:
        raise ValueError(f"version {body['version']!r}, known is {VERSION}")
    return [_span(one) for one in body["spans"]]


def _proofs(body: Any) -> list[Proof]:
    return [proof_from_plain(one) for one in body.get("proofs", ())]


def _span(plain: Mapping[str, Any]) -> Span:
    options = plain["options"]
    for key, value in options.items():
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise TypeError(f"{key} is not a number or word")
    maybe = ("before", "after", "temp_c", "pressure_hpa", "rh_pct")
    return Span(
        part=str(plain["part"]),
        kind=str(plain["kind"]),
        at=moment_from_plain(plain["at"]),
        signal=float(plain["signal"]),
        unit=str(plain["unit"]),
        options=dict(options),
        void=str(plain.get("void", "")),
        **{key: None if plain.get(key) is None else float(plain[key]) for key in maybe},
    )


def of_part(
    spans: Sequence[Span], part: str, kind: str, since: date | None = None
) -> list[Span]:
    """Return the spans that count of the part that hangs there now, the oldest first.

    Args:
        spans: all that are kept.
        part: its name in the config.
        kind: another kind under the same name is another part.
        since: the day it was put into service; what is older was another cell's.
    """
    own = dated_of_part(spans, part, kind, since)
    return [span for span in own if not span.void]


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
    return _last_options(SpansFile(folder).load(), part, kind, since)


def _last_options(
    spans: Sequence[Span], part: str, kind: str, since: date | None
) -> Mapping[str, float | str]:
    return options_of(of_part(spans, part, kind, since))


def options_of(own: Sequence[Span]) -> Mapping[str, float | str]:
    """Return the driver's options that the spans of one part give together.

    Args:
        own: its spans that count, the oldest first.

    Returns:
        What the last one found, and the slope that all of them tell.
    """
    if not own:
        return EMPTY
    # Whether it gives share or pressure is the config's word: a span only keeps it.
    options = {key: one for key, one in own[-1].options.items() if key != "barrier"}
    if own[-1].kind not in HAVE_A_SLOPE:
        return options
    slope = slope_pct_per_k(
        [
            SpannedAt(span.at, span.temp_c, sensitivity)
            for span in own
            if span.temp_c is not None and (sensitivity := span.sensitivity) is not None
        ]
    )
    return options if slope is None else {**options, "slope_pct_per_k": slope}


def maker(folder: Path, tell: Callable[[SourceFault | SourceOk], None]) -> MakeCodec:
    """Return what makes a codec with its last span's options put in.

    The spans are read here and now, and not again: making a codec waits for no disk.

    Args:
        folder: the state folder.
        tell: told where the spans cannot be read, or do not suit the part, when a
            codec is made: from the config alone then, since a monitor without a span is
            better than none; and once every such part has been made again with what
            suits it.
    """
    found: Sequence[Span] | SpansError
    try:
        found = SpansFile(folder).load()
    except SpansError as error:
        found = error
    without: set[str] = set()

    def make(name: str, part: PartSettings, info: PartInfo) -> Any:
        try:
            if isinstance(found, SpansError):
                raise found
            kept = _last_options(found, name, part.kind, part.in_service)
            codec = info.make({**part.options, **kept})
        except ValueError as error:
            without.add(name)
            text = f"{name} continues without its last calibration: {error}"
            tell(SourceFault("spans", "out-of-range", text))
            return info.make(part.options)
        if name in without:
            without.remove(name)
            if not without:
                tell(SourceOk("spans"))
        return codec

    return make
