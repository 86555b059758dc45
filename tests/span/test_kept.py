"""The kept spans: what is kept comes back, whatever the card did to the file."""

import json
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span import kept
from cabinvigil.daemon.span.kept import Span, SpansError, SpansFile, maker, options_for
from cabinvigil.daemon.span.proofs import MOST_KEPT, Proof
from cabinvigil.drivers import part as find_part

NOW = datetime(2026, 10, 20, 12, 0, tzinfo=UTC)
CELL = Span(
    "bunk-cell",
    "o2_cell_ads1115",
    NOW,
    11.02,
    "mV",
    None,
    20.7,
    12.5,
    939.2,
    60.0,
    {"air_mv": 11.02, "air_hpa": 939.2, "air_o2_pct": 20.76, "air_temp_c": 12.5},
)


def keep(folder: Path, *new: Span) -> SpansFile:
    file = SpansFile(folder)
    file.add(new, NOW, 100.0)
    return file


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    """Every figure of it, by another reader of the same folder."""
    zero = Span("bunk-co", "frame9_co", NOW, 0.3, "ppm", options={"zero_ppm": 0.3})
    keep(tmp_path / "state", CELL, zero)
    assert SpansFile(tmp_path / "state").load() == [CELL, zero]


def test_nothing_is_kept_at_first(tmp_path: Path) -> None:
    """No file is no error, and gives no options."""
    assert SpansFile(tmp_path).load() == []
    assert options_for("bunk-cell", "o2_cell_ads1115", tmp_path) == {}


def test_the_last_span_of_the_part_gives_its_options(tmp_path: Path) -> None:
    """Not another part's, and not that of another kind under the same name."""
    later = replace(CELL, at=NOW + timedelta(days=30), options={"air_mv": 10.8})
    other = replace(CELL, part="roof-cell", options={"air_mv": 9.0})
    keep(tmp_path, CELL, other, later)
    assert options_for("bunk-cell", "o2_cell_ads1115", tmp_path) == {"air_mv": 10.8}
    assert options_for("bunk-cell", "frame9_o2", tmp_path) == {}


def test_a_span_before_the_part_came_is_another_cells(tmp_path: Path) -> None:
    """Put into service the day after: the old cell's millivolts must not rule it."""
    keep(tmp_path, CELL)
    kind = CELL.kind
    assert options_for("bunk-cell", kind, tmp_path, date(2026, 10, 20)) != {}
    assert options_for("bunk-cell", kind, tmp_path, date(2026, 10, 21)) == {}


def test_a_torn_file_falls_back_to_the_one_before(tmp_path: Path) -> None:
    """A cut at any byte of the newer file leaves the older one's spans."""
    keep(tmp_path, CELL)
    before = SpansFile(tmp_path).load()
    SpansFile(tmp_path).add([replace(CELL, signal=10.0)], NOW, 200.0)
    path = tmp_path / kept.FILE
    data = path.read_bytes()
    for length in range(0, len(data) - 1, 97):
        path.write_bytes(data[:length])
        assert SpansFile(tmp_path).load() == before, length


def spoil(path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Write a body that is whole by its sum, and not what we write."""
    file = SpansFile(path)
    keep(path, CELL)
    body = {"version": 1, "spans": [json.loads(json.dumps(kept._plain(CELL)))]}
    change(body)
    file._file.load(NOW, 0.0)
    file._file.save(body, NOW, 300.0)
    (path / f"{kept.FILE}.before").unlink()


def _without_a_zone(body: dict[str, Any]) -> None:
    body["spans"][0]["at"] = "2026-10-20T12:00:00"


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda body: body.update(version=2), "version 2, known is 1"),
        (lambda body: body.pop("spans"), "spans"),
        (lambda body: body["spans"][0].pop("signal"), "signal"),
        (lambda body: body["spans"][0].update(signal="much"), "much"),
        (lambda body: body["spans"][0]["options"].update(air_mv=True), "air_mv"),
        (_without_a_zone, "no time zone"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(
    tmp_path: Path, change: Callable[[dict[str, Any]], None], why: str
) -> None:
    """It says which file, what, and how to mend it; nothing is written over it."""
    spoil(tmp_path, change)
    with pytest.raises(SpansError, match=why) as caught:
        SpansFile(tmp_path).load()
    assert f"Move {kept.FILE} out of {tmp_path}" in str(caught.value)
    data = (tmp_path / kept.FILE).read_bytes()
    with pytest.raises(SpansError):
        SpansFile(tmp_path).add([CELL], NOW, 400.0)
    assert (tmp_path / kept.FILE).read_bytes() == data


def test_garbage_in_both_files_is_told(tmp_path: Path) -> None:
    """No span at all may pass for one that was lost."""
    keep(tmp_path, CELL)
    keep(tmp_path, CELL)
    for path in tmp_path.iterdir():
        path.write_bytes(b"\x00garbage")
    with pytest.raises(SpansError, match="not whole"):
        options_for("bunk-cell", CELL.kind, tmp_path)


def test_only_so_many_are_kept(tmp_path: Path) -> None:
    """Of each part, the newest; another part's are not pushed out."""
    many = [replace(CELL, signal=float(n)) for n in range(kept.MOST_KEPT + 5)]
    held = keep(tmp_path, replace(CELL, part="roof-cell"), *many).load()
    assert next(span.signal for span in held if span.part == "bunk-cell") == 5.0
    assert len(held) == kept.MOST_KEPT + 1


def test_not_a_number_is_never_written(tmp_path: Path) -> None:
    """What was kept before stands."""
    keep(tmp_path, CELL)
    with pytest.raises(ValueError, match="JSON"):
        keep(tmp_path, replace(CELL, signal=math.nan))
    assert SpansFile(tmp_path).load() == [CELL]


def part_of(**changes: Any) -> PartSettings:
    return PartSettings(kind="o2_cell_ads1115", bus="main", **changes)


def test_a_codec_is_made_with_the_last_span(tmp_path: Path) -> None:
    """The span goes before the config's own figure; other options stay."""
    keep(tmp_path, CELL)
    told: list[SourceFault | SourceOk] = []
    make = maker(tmp_path, told.append)
    part = part_of(options={"air_mv": 9.0, "pins": "2-3"})
    codec = make("bunk-cell", part, find_part("o2_cell_ads1115"))
    assert codec._cell.span.signal == 11.02
    assert codec._input.pins == "2-3"
    bare = make("roof-cell", part, find_part("o2_cell_ads1115"))
    assert bare._cell.span.signal == 9.0
    assert told == []


def test_spans_that_cannot_be_read_do_not_stop_the_watch(tmp_path: Path) -> None:
    """It is told, and the config's own figures stand."""
    (tmp_path / kept.FILE).write_bytes(b"garbage")
    told: list[SourceFault | SourceOk] = []
    make = maker(tmp_path, told.append)
    codec = make("bunk-cell", part_of(), find_part("o2_cell_ads1115"))
    assert codec._cell.span is None
    (fault,) = told
    assert isinstance(fault, SourceFault)
    assert fault.source == "spans"
    assert fault.text.startswith(
        "bunk-cell continues without its last calibration: The state"
    )
    (tmp_path / kept.FILE).unlink()
    make = maker(tmp_path, told.append)  # at the next start
    make("bunk-cell", part_of(), find_part("o2_cell_ads1115"))
    assert told[1:] == []


def test_a_span_that_the_driver_refuses_is_told(tmp_path: Path) -> None:
    """Another version's option, or one out of bounds."""
    keep(tmp_path, replace(CELL, options={"air_mv": 99.0}))
    told: list[SourceFault | SourceOk] = []
    codec = maker(tmp_path, told.append)(
        "bunk-cell", part_of(), find_part("o2_cell_ads1115")
    )
    assert codec._cell.span is None
    assert "air_mv: 99 is outside 7 to 70" in told[0].text


BREATH = Proof("bunk-cell", "o2_cell_ads1115", "o2_pct", "breath", NOW, 11.0)


def test_tests_of_parts_are_kept_beside_the_spans(tmp_path: Path) -> None:
    """Each outlives what is added of the other."""
    file = keep(tmp_path, CELL)
    file.add_proofs([BREATH, replace(BREATH, failed="it took 60 s")], NOW, 100.0)
    file.add([replace(CELL, signal=10.9)], NOW, 200.0)
    assert [one.signal for one in file.load()] == [11.02, 10.9]
    assert [one.failed for one in file.proofs()] == ["", "it took 60 s"]
    file.undo(file.load()[-1], "taken back", NOW, 300.0)
    assert file.proofs()[0] == BREATH


def test_the_oldest_tests_go_first(tmp_path: Path) -> None:
    """A file does not grow for ever, and one part does not push another's out."""
    file = SpansFile(tmp_path)
    file.add_proofs([replace(BREATH, part="other")], NOW, 0.0)
    many = [replace(BREATH, seconds=float(n)) for n in range(MOST_KEPT + 5)]
    file.add_proofs(many, NOW, 1.0)
    kept_now = file.proofs()
    assert len(kept_now) == MOST_KEPT + 1
    assert kept_now[0].part == "other"
    assert kept_now[1].seconds == 5.0
