"""The number in a file's first line: whatever stands there, the folder goes on."""

import gzip
from pathlib import Path

import pytest

from cabinvigil.daemon.log.number import first_number
from tests.log.test_folder import nights_in
from tests.outputs.hands import EVENING

ODD = (
    b"1e999", b"1e300", b"-3", b"0", b'"7"', b"true", b"null", b"[1]", b"9" * 400,
    b"[" * 990 + b"]" * 990, b'1,"x":"%s"' % (b"x" * 300_000),
)  # fmt: skip


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("number", ODD)
def test_an_odd_number_is_none_and_the_night_is_written(
    tmp_path: Path, number: bytes, packed: bool
) -> None:
    """X11: `1e999` in one old file, and nothing of the night was written."""
    data = b'{"up_s":1,"event":"start","file_no":%s}\n' % number
    path = tmp_path / f"night-2025-01-10.jsonl{'.gz' * packed}"
    path.write_bytes(gzip.compress(data, mtime=0) if packed else data)
    assert first_number(path) == 0
    night = nights_in(tmp_path, packed=packed).open(
        EVENING, lambda number: b'{"file_no":%d}\n' % number
    )
    night.close()
    assert first_number(night.path) == 1


def test_a_number_is_read(tmp_path: Path) -> None:
    path = tmp_path / "night-2025-01-10.jsonl"
    path.write_bytes(b'{"up_s":1,"event":"start","file_no":7}\n')
    assert first_number(path) == 7
