"""The rolling log on a bad disk: one fault, and nothing lost that memory holds."""

import errno
import os
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import (
    SourceFault,
)
from cabinvigil.daemon.log import writer
from cabinvigil.daemon.settings.accounts import user_name
from tests.log.writing import Bench, ticks

pytestmark = [
    pytest.mark.made_up("counts its lines by a field of its own"),
    pytest.mark.usefixtures("nothing_synced"),
]


class BadDisk:
    """Makes the system calls fail, as a full, read-only or dying card does."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.fails: dict[str, int] = {}
        self.short = False
        for name in ("write", "fsync", "open"):
            self._wrap(monkeypatch, name, getattr(os, name))

    def _wrap(self, monkeypatch: pytest.MonkeyPatch, name: str, real: object) -> None:
        def call(*args: object, **kw: object) -> object:
            if name == "write" and self.short and len(args[1]) > 40:  # type: ignore[arg-type]
                self.short = False
                self.fails["write"] = errno.ENOSPC
                return real(args[0], args[1][:40])  # type: ignore[operator,index]
            if name in self.fails and (name != "open" or "night-" in str(args[0])):
                raise OSError(self.fails[name], os.strerror(self.fails[name]))
            return real(*args, **kw)  # type: ignore[operator]

        monkeypatch.setattr(os, name, call)


@pytest.mark.parametrize(
    ("call", "number", "word"),
    [
        ("write", errno.ENOSPC, "full"),
        ("write", errno.EROFS, "read-only"),
        ("fsync", errno.EIO, "replace it"),
        ("open", errno.EACCES, f"chown -R {user_name(os.geteuid())}: /"),
        ("write", errno.EDQUOT, "quota"),
    ],
)
@pytest.mark.parametrize("packed", [True, False])
def test_a_bad_disk_is_told_and_nothing_is_lost(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    call: str,
    number: int,
    word: str,
    packed: bool,
) -> None:
    """For ten minutes the card refuses: one fault, and every line once it is back."""
    disk = BadDisk(monkeypatch)
    bench = Bench(tmp_path, packed=packed).begin()
    bench.air(30)
    disk.fails = {call: number}
    if call == "open":
        bench.recorder._close()
    bench.air(300)
    bench.ring()
    bench.air(300)
    assert bench.told.kinds() == ["not-writable"]
    assert isinstance(bench.told[0], SourceFault)
    assert word in bench.told[0].text
    assert bench.told[0].source == "log"
    disk.fails = {}
    bench.air(30)
    bench.recorder.stop(1.0)
    lines = bench.on_disk()
    assert bench.told.kinds() == ["not-writable", "ok"]
    assert ticks(lines) == [float(n) for n in range(1, 661)]
    assert len([e for e in lines if e.event == "alarm"]) == 1


def test_a_disk_that_takes_bytes_and_drops_them_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ext4 remounted read-only under the open file: write and fsync say all is well."""
    bench = Bench(tmp_path).begin()
    bench.air(30)
    real = os.fstatvfs

    class ReadOnly:
        f_flag = os.ST_RDONLY

    monkeypatch.setattr(os, "fstatvfs", lambda fd: ReadOnly)
    bench.air(60)
    assert bench.told.kinds() == ["not-writable"]
    assert isinstance(bench.told[0], SourceFault)
    assert "read-only" in bench.told[0].text
    monkeypatch.setattr(os, "fstatvfs", real)
    bench.air(60)
    bench.recorder.stop(1.0)
    assert bench.told.kinds() == ["not-writable", "ok"]
    assert ticks(bench.on_disk()) == [float(n) for n in range(1, 151)]


def test_a_write_that_stops_half_way_is_taken_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk filled within a batch: no half batch, no line twice."""
    disk = BadDisk(monkeypatch)
    bench = Bench(tmp_path).begin()
    bench.air(30)
    disk.short = True
    bench.air(60)
    disk.fails = {}
    bench.air(60)
    bench.recorder.stop(1.0)
    assert ticks(bench.on_disk()) == [float(n) for n in range(1, 151)]


def test_a_file_deleted_beneath_us_is_begun_again(bench: Bench) -> None:
    """Lines written into a deleted file would be gone in silence."""
    bench.air(30)
    for each in bench.nights.files():
        each.path.unlink()
    bench.air(60)
    bench.recorder.stop(1.0)
    lines = bench.on_disk()
    assert lines[0].event == "start"
    assert lines[0].fields["continues"] is True
    assert ticks(lines)[-1] == 90.0
    assert bench.told.kinds() == ["not-writable", "ok"]


def test_a_folder_that_cannot_be_made_is_a_fault_and_no_crash(tmp_path: Path) -> None:
    (tmp_path / "log").write_text("a file where the folder should be")
    bench = Bench(tmp_path / "log").begin()
    bench.air(60)
    assert bench.told.kinds() == ["not-writable"]


def test_memory_for_waiting_lines_is_bounded_and_alarms_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The oldest readings go first, and the log says how many when it can."""
    monkeypatch.setattr(writer, "PENDING_BYTES", 20_000)
    disk = BadDisk(monkeypatch)
    bench = Bench(tmp_path).begin()
    disk.fails = {"write": errno.ENOSPC}
    bench.air(50)
    bench.ring()
    bench.air(2_000)
    disk.fails = {}
    bench.air(30)
    bench.recorder.stop(1.0)
    lines = bench.on_disk()
    got = ticks(lines)
    assert got == sorted(got)
    assert got[-1] == 2_080.0
    assert 100 < len(got) < 500
    assert len([e for e in lines if e.event == "alarm"]) == 1
    (lost,) = [e for e in lines if e.event == "fault"]
    assert str(2_080 - len(got)) in lost.fields["text"]


def test_a_disk_that_gives_no_reason_is_told_as_failing(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some file systems in user space raise an error without a number."""

    def refuse(*_: object) -> None:
        raise OSError

    monkeypatch.setattr(bench.nights, "open", refuse)
    bench.recorder._close()
    bench.ring()
    (fault,) = bench.told
    assert isinstance(fault, SourceFault)
    assert os.strerror(errno.EIO) in fault.text
    assert str(bench.folder) in fault.text
