"""The log's reader: whatever bytes the card gives back, never a traceback."""

import gzip
import json
import random
import tracemalloc
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.log.reader import Logbook, read_bytes

T = "2025-01-14T21:00:{:06.3f}Z"


def line(event: str, up_s: float, t: str | None = None, **fields: object) -> bytes:
    t = T.format(up_s % 60) if t is None else t
    return json.dumps({"t": t, "up_s": up_s, "event": event, **fields}).encode() + b"\n"


def pack(data: bytes) -> bytes:
    """One batch, as the log writes it: no name and no time in its head."""
    return gzip.compress(data, mtime=0)


def night(count: int = 30) -> bytes:
    lines = [line("start", 0.0, version="0.1.0", log_format=1)]
    lines += [line("air", float(s), o2_pct=20.5 + s / 100) for s in range(1, count)]
    return b"".join(lines)


def test_lines_come_with_their_fields_and_moments() -> None:
    lines, flaws = read_bytes(night(3))
    assert [each.event for each in lines] == ["start", "air", "air"]
    assert lines[1].fields == {"o2_pct": 20.51}
    assert lines[1].wall == datetime(2025, 1, 14, 21, 0, 1, tzinfo=UTC)
    assert (lines[2].run, lines[2].number, lines[2].up_s) == (1, 3, 2.0)
    assert flaws.is_clean
    assert flaws.torn == 0


@pytest.mark.parametrize("squeeze", [bytes, pack])
def test_a_torn_last_line_is_dropped_and_no_error(squeeze: object) -> None:
    """A power cut in the middle of a line, plain or within the gzip."""
    torn = squeeze(night(5) + b'{"t": "2025-01')  # type: ignore[operator]
    lines, flaws = read_bytes(torn)
    assert len(lines) == 5
    assert (flaws.torn, flaws.is_clean) == (1, True)
    assert "torn" in flaws.told[0]


def test_a_gzip_cut_anywhere_gives_what_stands_before() -> None:
    """Batches are gzip members of their own: a cut loses at most the last of them."""
    batches = [
        pack(night(20)),
        *[pack(line("air", 20.0 + n)) for n in range(5)],
    ]
    whole = b"".join(batches)
    for cut in range(len(batches[0]), len(whole)):
        lines, flaws = read_bytes(whole[:cut])
        complete = sum(
            cut >= sum(map(len, batches[: n + 1])) for n in range(len(batches))
        )
        assert len(lines) >= 20 + complete - 1
        assert flaws.unreadable == 0


def test_damage_in_one_batch_leaves_the_others() -> None:
    """A flipped byte costs its own batch, and is told; the next begins cleanly."""
    first, second, third = (pack(night(n)) for n in (20, 30, 40))
    broken = bytearray(second)
    broken[len(broken) // 2] ^= 0xFF
    lines, flaws = read_bytes(first + bytes(broken) + third)
    assert [e.up_s for e in lines[:20]] == [float(n) for n in range(20)]
    assert [e.up_s for e in lines[-40:]] == [float(n) for n in range(40)]
    assert flaws.damaged == 1
    assert "damaged" in " ".join(flaws.told)
    assert not flaws.is_clean


def test_a_batch_torn_before_others_costs_no_line_of_theirs() -> None:
    """Its half line does not swallow the first line of the next batch."""
    first, second, third = (pack(night(n)) for n in (20, 400, 40))
    for cut in range(200, len(second) - 20, 97):
        lines, flaws = read_bytes(first + second[:cut] + third)
        assert [e.up_s for e in lines[-40:]] == [float(n) for n in range(40)]
        assert lines[-40].event == "start"
        assert not flaws.is_clean


def test_a_tail_of_zeros_is_no_damage() -> None:
    """Some cards leave zeros behind a power cut."""
    lines, flaws = read_bytes(pack(night(5)) + bytes(4096))
    assert len(lines) == 5
    assert flaws.is_clean


@pytest.mark.parametrize(
    "bad",
    [
        b"no json",
        b"[]",
        b"3",
        b'"air"',
        b"null",
        b"{}",
        b'{"event": "air"}',
        b'{"event": 1, "up_s": 1}',
        b'{"event": "air", "up_s": "soon"}',
        b'{"event": "air", "up_s": NaN}',
        b'{"event": "air", "up_s": 1, "o2_pct": Infinity}',
        b'{"event": "air", "up_s": 1e999}',
        b'{"event": "air", "up_s": 1' + b"0" * 400 + b"}",
        b'{"event": "air", "up_s": ' + b"1" * 5000 + b"}",
        b"[" * 100_000,
        b"\xff\xfe\x00",
    ],
)
def test_a_line_that_is_none_is_counted_and_told(bad: bytes) -> None:
    """One damaged line costs itself alone, and its number is named."""
    lines, flaws = read_bytes(night(3) + bad + b"\n" + line("air", 9.0))
    assert len(lines) == 4
    assert flaws.unreadable == 1
    assert "line 4" in flaws.told[0]


@pytest.mark.parametrize(
    "t", ["", "yesterday", "9999-12-31T23:59:59-23:00", "1990-12-31T23:59:60Z"]
)
def test_a_moment_that_cannot_be_read_is_none(t: str) -> None:
    """The line still counts: decisions hang on `up_s`, not on the wall clock."""
    lines, flaws = read_bytes(line("air", 1.0, t))
    assert lines[0].wall is None
    assert flaws.is_clean


def test_moments_as_rfc_3339_writes_them() -> None:
    """Examples of RFC 3339 section 5.8 (check_values rfc3339)."""
    for text, utc in (
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, 0, UTC)),
    ):
        assert read_bytes(line("air", 1.0, text))[0][0].wall == utc
    assert read_bytes(line("air", 1.0, "2025-01-14T21:00:00"))[0][0].wall == datetime(
        2025, 1, 14, 21, tzinfo=UTC
    )


def test_a_second_start_begins_a_new_run() -> None:
    """After a restart `up_s` begins anew; a continued file does not."""
    data = night(3) + line("start", 0.0) + line("air", 1.0)
    data += line("start", 2.0, continues=True) + line("air", 3.0)
    lines, _ = read_bytes(data)
    assert [each.run for each in lines] == [1, 1, 1, 2, 2, 2, 2]


def test_a_file_that_begins_with_a_continuation_is_its_own_run() -> None:
    assert read_bytes(line("start", 50.0, continues=True))[0][0].run == 1


def test_a_clock_step_is_found_and_measured() -> None:
    """A Pi without a battery clock is set years forward, hours after boot."""
    data = line("start", 0.0, "2020-01-01T00:00:00Z")
    data += line("air", 10.0, "2020-01-01T00:00:10Z")
    data += line("air", 11.0, "2025-01-14T23:00:00Z")
    data += line("air", 12.0, "2025-01-14T23:00:01Z")
    lines, _ = read_bytes(data)
    step_s = (
        datetime(2025, 1, 14, 23, tzinfo=UTC)
        - datetime(2020, 1, 1, 0, 0, 11, tzinfo=UTC)
    ).total_seconds()
    assert [each.clock_step_s for each in lines] == [0.0, 0.0, step_s, 0.0]


def test_a_newer_format_is_told() -> None:
    _, flaws = read_bytes(line("start", 0.0, log_format=2))
    assert flaws.newer_format == 1
    assert "up to date" in flaws.told[0]
    assert read_bytes(line("start", 0.0, log_format="x" * 999))[1].newer_format == 1


def test_several_files_read_as_one_night(tmp_path: Path) -> None:
    first, second = tmp_path / "a.jsonl", tmp_path / "b.jsonl.gz"
    first.write_bytes(night(5))
    second.write_bytes(pack(line("start", 5.0, continues=True)))
    book = Logbook(first, second)
    assert [each.run for each in book] == [1] * 6
    assert len(list(book)) == 6, "a second reading begins anew"
    with pytest.raises(OSError, match="missing"):
        list(Logbook(tmp_path / "missing.jsonl"))


def test_memory_does_not_grow_with_the_file(tmp_path: Path) -> None:
    """A night is read in less memory than it has bytes; so is one that is one line."""

    def peak(path: Path) -> int:
        tracemalloc.start()
        for _ in Logbook(path):
            pass
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    large, mad = tmp_path / "a.jsonl.gz", tmp_path / "b.jsonl.gz"
    whole = night(16_000)
    large.write_bytes(pack(whole))
    mad.write_bytes(pack(night(5) + b"x" * 12_000_000))
    assert peak(large) < 600_000 < len(whole)
    assert peak(mad) < 8_000_000


def mutate(data: bytes, dice: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(dice.randint(1, 6)):
        at = dice.randrange(len(out) + 1)
        kind = dice.randrange(5)
        if kind == 0 and out:
            out[at % len(out)] ^= 1 << dice.randrange(8)
        elif kind == 1:
            out[at:at] = dice.randbytes(dice.randint(1, 8))
        elif kind == 2:
            del out[at : at + dice.randint(1, 40)]
        elif kind == 3:
            out[at:at] = out[at : at + 60]
        else:
            del out[at:]
    return bytes(out)


def test_ten_thousand_mutated_files_never_raise() -> None:
    """Plain and packed, 10 000 in all; every line that comes out is well formed."""
    dice = random.Random(7)
    plain = night(6)
    packed = pack(night(3)) + pack(line("alarm", 4.0, alarm="o2-low"))
    for number in range(10_000):
        lines, flaws = read_bytes(mutate(packed if number % 2 else plain, dice))
        assert all(isinstance(each.event, str) for each in lines)
        assert len(flaws.told) <= 20


@settings(max_examples=200)
@given(st.binary(max_size=400))
def test_any_bytes_never_raise(data: bytes) -> None:
    lines, flaws = read_bytes(data)
    assert isinstance(lines, list)
    read_bytes(b"\x1f\x8b\x08" + data)
    assert flaws.torn <= 1


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 4000), st.integers(0, 3))
def test_where_chunks_are_cut_changes_nothing(cut: int, kind: int) -> None:
    """Byte stream cuts are no line cuts: any chunking gives the same lines."""
    from cabinvigil.daemon.log.reader import Flaws, _Reader

    broken = pack(night(9)) + b"??" + pack(night(9))
    mutated = mutate(night(80), random.Random(cut))
    data = (night(80), pack(night(80)), mutated, broken)[kind]
    whole = [(e.event, e.up_s) for e in read_bytes(data)[0]]
    pieces = [data[at : at + cut] for at in range(0, len(data), cut)]
    cut_up = [(e.event, e.up_s) for e in _Reader(Flaws()).read(pieces, "log")]
    assert cut_up == whole


def test_the_last_batch_is_told_whatever_struck_it() -> None:
    """A flipped bit is damage; a cut, with a tail of zeros or not, is a torn end."""
    first, last = pack(night(20)), pack(line("air", 20.0, o2_pct=20.5))
    flipped = bytearray(last)
    flipped[-10] ^= 1
    lines, flaws = read_bytes(first + bytes(flipped))
    assert (len(lines), flaws.damaged, flaws.torn) == (20, 1, 0)
    for tail in (b"", bytes(4096), bytes(200_000)):
        lines, flaws = read_bytes(first + last[: len(last) // 2] + tail)
        assert (len(lines), flaws.damaged, flaws.torn) == (20, 0, 1)
    lines, flaws = read_bytes(first + last + bytes(4096))
    assert (len(lines), flaws.is_clean, flaws.torn) == (21, True, 0)


def test_zeros_between_two_batches_are_damage() -> None:
    """A page that the card lost: what stood in it is gone."""
    first, last = pack(night(20)), pack(line("air", 20.0, o2_pct=20.5))
    lines, flaws = read_bytes(first + bytes(4096) + last)
    assert (len(lines), flaws.damaged) == (21, 1)


def test_values_that_stand_in_each_other_are_no_line() -> None:
    """A thousand levels ended the reader; a config has six."""
    for levels in (30, 900, 5000):
        deep = b'{"up_s":1,"event":"mark","text":%s%s}\n' % (
            b"[" * levels,
            b"]" * levels,
        )
        lines, flaws = read_bytes(night(3) + deep)
        assert (len(lines), flaws.unreadable) == (3, 1)
