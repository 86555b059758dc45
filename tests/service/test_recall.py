"""What was kept of the last run, on a disk that errs: tried again, not written over."""

import asyncio
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs import state_file
from cabinvigil.daemon.outputs.state_file import Kept, StateFile
from cabinvigil.daemon.service import recall
from cabinvigil.daemon.service.recall import Recall
from cabinvigil.daemon.span.kept import maker

CLOCK = SystemClock()
EVENING = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)


class Disk:
    """Refuses the first so many reads of the state."""

    def __init__(self) -> None:
        self.refusals = 0
        self.reads = 0
        self._read = state_file._read

    def read(self, path: Path) -> Any:
        self.reads += 1
        if self.reads <= self.refusals and path.name == "state" and path.exists():
            raise OSError(5, os.strerror(5))
        return self._read(path)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    disk = Disk()
    monkeypatch.setattr(state_file, "_read", disk.read)
    monkeypatch.setattr(recall, "RECALL_S", 0.2)
    monkeypatch.setattr(recall, "AGAIN_SOON_S", 0.02)
    monkeypatch.setattr(recall, "AGAIN_S", 0.02)
    return disk


async def recalled(folder: Path) -> tuple[bool, Kept, list[str]]:
    """Return whether it came at once, what came, and the faults until then."""
    told: list[SourceFault | SourceOk] = []
    file = StateFile(folder / "state")
    one = Recall(file, folder, maker, CLOCK, told.append)
    async with asyncio.TaskGroup() as group:
        group.create_task(one.read())
        first = await one.first()
        kept = first.kept if first is not None else await one.late()
    return first is not None, kept, [x.text for x in told if isinstance(x, SourceFault)]


def saved(folder: Path) -> bytes:
    file = StateFile(folder / "state")
    for number in (1, 2):
        file.save({"n": number}, EVENING, float(number))
    return file.path.read_bytes()


async def test_one_refusal_costs_a_moment_of_the_start(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recall, "RECALL_S", 30.0)
    saved(tmp_path)
    disk.refusals = 1
    is_first, kept, told = await recalled(tmp_path)
    assert is_first
    assert kept.body == {"n": 2}
    assert not told


async def test_while_it_is_refused_nothing_is_lost_and_then_it_is_taken(
    tmp_path: Path, disk: Disk
) -> None:
    """Not the file before it, which was whole all the time."""
    whole = saved(tmp_path)
    disk.refusals = 100
    is_first, kept, told = await recalled(tmp_path)
    assert not is_first
    assert kept.body == {"n": 2}
    assert "cannot be read (state: Input/output error)" in told[0]
    assert "responded late" in told[-1]
    assert (tmp_path / "state").read_bytes() == whole


async def test_what_is_refused_for_long_is_put_aside_and_told(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recall, "PATIENCE_S", 0.5)
    monkeypatch.setattr(Path, "read_bytes", lambda path: disk.read(path))
    StateFile(tmp_path / "state").save({"n": 1}, EVENING, 1.0)
    disk.refusals = 10**9
    _, kept, told = await recalled(tmp_path)
    monkeypatch.undo()
    assert kept.body is None
    assert "set aside as state.unread" in " ".join(kept.notes)
    assert "set aside as state.unread" in told[-1]
    assert b'{"n":1}' in (tmp_path / "state.unread").read_bytes()
    assert not (tmp_path / "state").exists()
