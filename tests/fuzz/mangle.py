"""Good files, mangled: what a failing card, a bad editor or a hostile hand leaves.

`FUZZ_EXAMPLES=3000 pytest tests/fuzz -o timeout=0` looks longer than the suite does,
and elsewhere each time.  What that finds goes to `tests/data/corpus`.
"""

import os
from collections.abc import Callable, Sequence

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "0"))
"""0: the few of the suite, the same ones each time."""

NASTY = (
    b"", b"\x00", b"\xff\xfe", b"\n", b"\r", b"\\", b'"', b"'''", b"{", b"[", b"[[",
    b"]", b"}", b",", b"=", b"#", b"-", b"nan", b"inf", b"-inf", b"NaN", b"Infinity",
    b"1e400", b"-0", b"1e-400", b"9" * 400, b"true", b"null", b"None", b"[]", b"{}",
    b"\xed\xa0\x80", b"\\ud800", b"\xe2\x80\xae", b"[" * 3000, b'{"a":' * 2000,
    b"../../../etc/shadow", b"$(reboot)", b"%s%n", b"1979-05-27", b"07:32:00",
    b"0x7fffffffffffffff", b"__class__", b"inf_", b"1_000", b";", b"\t",
)  # fmt: skip
"""Pieces that parsers of text have stumbled over; common practice, no source."""

Change = Callable[[bytes], bytes]


def _flip(at: float, bit: int) -> Change:
    def act(data: bytes) -> bytes:
        place = int(at * (len(data) - 1)) if data else 0
        return data[:place] + bytes(b ^ 1 << bit for b in data[place : place + 1]) + (
            data[place + 1 :]
        )  # fmt: skip

    return act


def _cut(at: float, length: float) -> Change:
    def act(data: bytes) -> bytes:
        place = int(at * len(data))
        return data[:place] + data[place + int(length * len(data)) :]

    return act


def _put(at: float, piece: bytes) -> Change:
    def act(data: bytes) -> bytes:
        place = int(at * len(data))
        return data[:place] + piece + data[place:]

    return act


def _again(at: float, to: float) -> Change:
    """Put a piece of the data in once more, elsewhere."""

    def act(data: bytes) -> bytes:
        place = int(at * len(data))
        return data[: int(to * len(data))] + data[place : place + 200] + (
            data[int(to * len(data)) :]
        )  # fmt: skip

    return act


def _value(which: float, piece: bytes) -> Change:
    """Put a piece in the place of a value: what stands after `=`, `:` or a comma."""

    def act(data: bytes) -> bytes:
        ends = [n for n, byte in enumerate(data) if byte in b"=:,"]
        if not ends:
            return data
        begin = ends[int(which * (len(ends) - 1))] + 1
        stops = [n for n in (data.find(s, begin) for s in (b",", b"\n", b"}")) if n > 0]
        return data[:begin] + b" " + piece + data[min(stops, default=len(data)) :]

    return act


_share = st.floats(0.0, 1.0)
_piece = st.one_of(st.sampled_from(NASTY), st.binary(max_size=30))
_change = st.one_of(
    st.builds(_flip, _share, st.integers(0, 7)),
    st.builds(_cut, _share, st.one_of(st.just(1.0), st.floats(0.0, 0.2))),
    st.builds(_put, _share, _piece),
    st.builds(_again, _share, _share),
    st.builds(_value, _share, _piece),
)


def mangled(seeds: Sequence[bytes], most: int = 4) -> st.SearchStrategy[bytes]:
    """One of the seeds, with a few changes."""

    def change(data: bytes, changes: list[Change]) -> bytes:
        for one in changes:
            data = one(data)
        return data[: 1 << 18]

    changes = st.lists(_change, min_size=1, max_size=most)
    return st.builds(change, st.sampled_from(seeds), changes)


def fuzz(in_suite: int) -> settings:
    """So many examples in the suite, or as many as asked for."""
    return settings(
        max_examples=EXAMPLES or in_suite,
        derandomize=not EXAMPLES,
        deadline=None,
        database=None,
        suppress_health_check=[
            HealthCheck.function_scoped_fixture,
            HealthCheck.too_slow,
            HealthCheck.data_too_large,
        ],
    )
