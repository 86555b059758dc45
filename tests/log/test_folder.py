"""The folder of nights: what a cut leaves of a file is found to the byte."""

import gzip
import os
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.log import folder
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.reader import read_bytes
from tests.outputs.hands import EVENING

CHUNK = 32
"""Bytes that are read at one time, here: so that every file has many."""


@pytest.fixture(autouse=True)
def _small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder, "_CHUNK", CHUNK)
    monkeypatch.setattr(os, "fsync", lambda fd: None)


def nights_in(path: Path, *, packed: bool) -> Nights:
    return Nights(path, keep_days=9, max_bytes=10**9, packed=packed, zone=UTC)


def whole_of(path: Path, data: bytes, *, packed: bool) -> tuple[int, int]:
    """What is taken as whole of a file that holds this, and its size then."""
    name = f"night-2025-01-14.jsonl{'.gz' if packed else ''}"
    path.mkdir(exist_ok=True)
    (path / name).write_bytes(data)
    os.utime(path / name, (EVENING.timestamp(),) * 2)
    night = nights_in(path, packed=packed).open(EVENING, lambda number: b"{}\n")
    night.close()
    if night.path.name != name:  # nothing in it is whole: it is kept, and not used
        assert (path / name).read_bytes() == data
        night.path.unlink()
        return 0, 0
    return night.size, night.path.stat().st_size


def test_of_lines_cut_anywhere_all_up_to_the_last_newline_stay(tmp_path: Path) -> None:
    """Lines that end at a chunk's end, before and behind it; none within many."""
    lengths = [1, 4 * CHUNK, CHUNK - 1, CHUNK, CHUNK + 1, 3, CHUNK]
    text = b"".join(b"x" * (length - 1) + b"\n" for length in lengths)
    ends = [0]
    for length in lengths:
        ends.append(ends[-1] + length)
    for cut in range(len(text) + 1):
        whole = max(end for end in ends if end <= cut)
        assert whole_of(tmp_path, text[:cut], packed=False) == (whole, whole), cut


def test_of_batches_cut_anywhere_all_whole_ones_stay(tmp_path: Path) -> None:
    """Packed bytes of every length, so that their ends fall on a chunk's end too."""
    dice = Random(1)
    sizes = (0, 1, 17, *range(30, 30 + CHUNK, 7))
    members = [gzip.compress(dice.randbytes(size), mtime=0) for size in sizes]
    so_far = sum(map(len, members))
    fills = [gzip.compress(dice.randbytes(size), mtime=0) for size in range(CHUNK)]
    members.append(next(f for f in fills if (so_far + len(f)) % CHUNK == 0))
    members.append(gzip.compress(dice.randbytes(5 * CHUNK), mtime=0))
    data = b"".join(members)
    ends = [0]
    for member in members:
        ends.append(ends[-1] + len(member))
    assert any(end % CHUNK == 0 for end in ends[1:])
    for cut in range(len(data) + 1):
        whole = max(end for end in ends if end <= cut)
        assert whole_of(tmp_path, data[:cut], packed=True) == (whole, whole), cut


def test_batches_behind_damage_stay_and_are_gone_on_with(tmp_path: Path) -> None:
    """R4: one flipped bit cost hours of good lines; readers find the next batch."""
    first, second = (gzip.compress(word * 9, mtime=0) for word in (b"one\n", b"two\n"))
    for damaged in (bytes(5), b"no gzip at all", first[:-1] + b"?"):
        for data in (first + damaged + second, damaged + second):
            size = whole_of(tmp_path, data + second[:-3], packed=True)[0]
            assert size == len(data)


def test_a_flipped_bit_costs_its_own_batch_and_is_told(tmp_path: Path) -> None:
    """At 200 places, by the writer's own batches: reopened, gone on with, and read."""
    dice = Random(4)
    batches = [
        gzip.compress(
            b"".join(
                b'{"t":null,"up_s":%d,"event":"air","o2_pct":%.3f}\n'
                % (40 * n + line, dice.uniform(20, 21))
                for line in range(40)
            ),
            mtime=0,
        )
        for n in range(30)
    ]
    whole, more = b"".join(batches), gzip.compress(b"", mtime=0)
    path = tmp_path / "night-2025-01-14.jsonl.gz"
    for _ in range(200):
        data = bytearray(whole)
        at = dice.randrange(len(data))
        data[at] ^= 1 << dice.randrange(8)
        size, _ = whole_of(tmp_path, bytes(data), packed=True)
        lines, flaws = read_bytes(path.read_bytes() + more)
        lost = 30 * 40 - len(lines)
        struck = next(n for n in range(30) if at < sum(map(len, batches[: n + 1])))
        assert lost <= 40, at
        assert size == len(whole) or struck == 29
        assert lost == 0 or struck == 29 or not flaws.is_clean, at


def test_a_file_that_is_no_night_is_not_read_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is left as it is, and the night gets a part of its own."""
    monkeypatch.setattr(folder, "MOST_REOPENED", 10)
    path = tmp_path / "night-2025-01-14.jsonl"
    path.write_bytes(b"{}\n" * 9)
    os.utime(path, (EVENING.timestamp(),) * 2)
    night = nights_in(tmp_path, packed=False).open(EVENING, lambda number: b"{}\n")
    night.close()
    assert night.path.name == "night-2025-01-14.2.jsonl"
    assert path.stat().st_size == 27


@pytest.mark.parametrize("moment_s", [1e12, 1e15])
def test_a_file_of_an_impossible_date_does_not_end_the_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment_s: float
) -> None:
    """A card's damage can give a file a date that no calendar has."""
    one = nights_in(tmp_path, packed=False).open(EVENING, lambda n: b'{"file_no":1}\n')
    one.close()
    real = Path.stat

    class Dated:
        st_mtime = moment_s

        def __init__(self, stat: os.stat_result) -> None:
            self._stat = stat

        def __getattr__(self, name: str) -> object:
            return getattr(self._stat, name)

    monkeypatch.setattr(Path, "stat", lambda path, **kw: Dated(real(path, **kw)))
    two = nights_in(tmp_path, packed=False).open(EVENING, lambda n: b"%d\n" % n)
    two.close()
    assert two.path.read_bytes() == b"2\n"


def test_a_new_file_takes_the_first_name_that_is_free(tmp_path: Path) -> None:
    """Plain or packed, a name is taken: both would be one night's."""
    for name in ("night-2025-01-14.jsonl.gz", "night-2025-01-14.2.jsonl"):
        (tmp_path / name).write_bytes(b"")
        os.utime(tmp_path / name, (datetime(2040, 1, 1, tzinfo=UTC).timestamp(),) * 2)
    for packed, name in ((True, ".3.jsonl.gz"), (False, ".4.jsonl")):
        night = nights_in(tmp_path, packed=packed).open(EVENING, lambda n: b"{}\n")
        night.close()
        assert night.path.name == f"night-2025-01-14{name}"
