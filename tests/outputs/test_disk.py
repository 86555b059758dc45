"""The disk: all of it is written, however little is taken at one time, and synced."""

import os
import stat
from pathlib import Path

import pytest

from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.outputs.disk import sync_folder, write_synced
from cabinvigil.daemon.outputs.state_file import StateFile
from cabinvigil.daemon.phone.devices import Devices
from cabinvigil.daemon.phone.service import lock
from cabinvigil.daemon.phone.store import Store
from tests.outputs.hands import EVENING


def test_what_the_disk_takes_in_pieces_is_written_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    order: list[str] = []
    real = os.write

    def write(fd: int, data: bytes) -> int:
        order.append("write")
        return real(fd, data[:3])

    monkeypatch.setattr(os, "write", write)
    monkeypatch.setattr(os, "fsync", lambda fd: order.append("sync"))
    with (tmp_path / "file").open("wb") as file:
        write_synced(file.fileno(), b"0123456789")
    assert (tmp_path / "file").read_bytes() == b"0123456789"
    assert order == ["write"] * 4 + ["sync"]


def test_a_folder_is_synced_and_let_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Though the disk refuses: a descriptor a minute would end the watch."""
    synced: list[int] = []

    def refuse(fd: int) -> None:
        assert stat.S_ISDIR(os.fstat(fd).st_mode)
        synced.append(fd)
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(OSError, match="Input/output"):
        sync_folder(tmp_path)
    (fd,) = synced
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(fd)


@pytest.mark.skipif(os.geteuid() != 0, reason="gives files away")
def test_what_root_makes_is_whose_the_folder_is(tmp_path: Path) -> None:
    """`sudo cabinvigil span` or `phone`, without the `-u`: the service reads it after.

    Each file that outlives a command: state, night, paired devices, queue and lock.
    """
    os.chown(tmp_path, 65534, 65534)
    StateFile(tmp_path / "state").save({}, EVENING, 0.0)
    for packed in (False, True):
        nights = tmp_path / f"nights-{packed}"
        nights.mkdir()
        os.chown(nights, 65534, 65534)
        folder = Nights(nights, keep_days=9, max_bytes=10**6, packed=packed)
        folder.open(EVENING, lambda number: b'{"number":%d}\n' % number).close()
        folder.tidy(None, EVENING)
    Devices(tmp_path / "devices").pair("ana", "2026-01-16")
    lock(tmp_path).close()
    store = Store(tmp_path)
    store.open()
    store.close()
    made = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert len(made) >= 6
    strays = [path.name for path in made if path.stat().st_uid != 65534]
    assert strays == []
