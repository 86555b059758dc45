"""Links in the folder of nights: whoever laid them, nothing is written by them."""

import gzip
import os
from pathlib import Path

import pytest

from tests.log.test_folder import nights_in
from tests.outputs.hands import EVENING

NAME = "night-2025-01-13.jsonl"


@pytest.fixture(autouse=True)
def _unsynced(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fsync", lambda fd: None)


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    """A file that only its owner may read, outside of the folder."""
    path = tmp_path / "secret"
    path.write_bytes(b"key\n")
    path.chmod(0o600)
    (tmp_path / "nights").mkdir()
    return path


def test_what_a_link_leads_to_is_neither_packed_nor_deleted(secret: Path) -> None:
    """X11: root's rehearsal packed it, for all to read."""
    folder = secret.parent / "nights"
    (folder / NAME).symlink_to(secret)
    nights_in(folder, packed=False).tidy(None, EVENING)
    assert [path.name for path in folder.iterdir()] == [NAME]
    assert secret.read_bytes() == b"key\n"


@pytest.mark.parametrize("packed", [False, True])
def test_what_a_link_leads_to_is_not_gone_on_with(secret: Path, packed: bool) -> None:
    """The night's own name may be one: it gets a file of its own."""
    folder = secret.parent / "nights"
    link = folder / f"night-2025-01-14.jsonl{'.gz' * packed}"
    link.symlink_to(secret)
    os.utime(secret, (EVENING.timestamp(),) * 2)
    night = nights_in(folder, packed=packed).open(EVENING, lambda number: b"{}\n")
    night.append(b"{}\n")
    night.close()
    assert secret.read_bytes() == b"key\n"
    assert night.path.name.startswith("night-2025-01-14.2.jsonl")


def test_a_link_where_the_packed_one_goes_is_not_written_through(secret: Path) -> None:
    """It is a leftover like any other; and others may not read the packed night."""
    folder = secret.parent / "nights"
    (folder / NAME).write_bytes(b'{"up_s":1,"event":"air"}\n')
    (folder / f"{NAME}.gz.part").symlink_to(secret)
    nights_in(folder, packed=False).tidy(None, EVENING)
    (made,) = folder.iterdir()
    assert made.name == f"{NAME}.gz"
    assert gzip.decompress(made.read_bytes()) == b'{"up_s":1,"event":"air"}\n'
    assert made.stat().st_mode & 0o777 == 0o640
    assert secret.read_bytes() == b"key\n"
