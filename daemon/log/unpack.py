"""Unpacks the bytes of a log, and goes on behind what is damaged."""

import zlib
from collections.abc import Callable, Generator, Iterable, Iterator
from enum import Enum

_GZIP_MAGIC = b"\x1f\x8b\x08"
BATCH_MAGIC = b"\x1f\x8b\x08\0\0\0\0\0"
"""A member as the log itself writes them, without name and time: long enough not to be
met by chance in packed bytes."""
_PIECE = 1 << 10
"""Bytes unpacked at one time: where they are damaged, what is in them is lost."""
_BLANK = bytes(16)
"""More zeros than a whole member ends with."""
_SEARCHED = 1 << 16
"""Bytes of a member that are kept for the search: a batch has a few thousand."""


class Flaw(Enum):
    """What is wrong with a stretch."""

    DAMAGED = "damaged"
    TORN = "torn"
    """The file ends in it, as a power cut leaves it."""


def unpacked(chunks: Iterable[bytes], note: Callable[[Flaw], None]) -> Iterator[bytes]:
    """Pass plain bytes on; unpack gzip, member by member.

    Args:
        chunks: of a file.
        note: called for each stretch that cannot be unpacked.
    """
    source = iter(chunks)
    first = _at_least(len(_GZIP_MAGIC), b"", source)
    if not first.startswith(_GZIP_MAGIC):
        # A plain log has no such bytes: JSON writes them in other letters.
        first = _at_least(_SEARCHED, first, source)
        if BATCH_MAGIC not in first:
            yield first
            yield from source
            return
    data = first
    while data := _at_least(len(_GZIP_MAGIC), data, source):
        if data.startswith(_GZIP_MAGIC):
            data = yield from _member(data, source, note)
        else:
            is_blank, data = _skip(data, source)
            if data or not is_blank:
                note(Flaw.DAMAGED)


def _member(
    data: bytes, source: Iterator[bytes], note: Callable[[Flaw], None]
) -> Generator[bytes, None, bytes]:
    """Unpack one gzip member, yield what it holds, return what follows it.

    A torn member runs on into the next one's bytes, and may do so for a while
    before that shows: so its last bytes are kept, and searched for the next.
    """
    member, seen, is_broken = zlib.decompressobj(31), b"", False
    while not member.eof and not is_broken:
        data = _at_least(1, data, source)
        if not data:
            break
        piece, data = data[:_PIECE], data[_PIECE:]
        seen = (seen + piece)[-_SEARCHED:]
        try:
            yield member.decompress(piece)
        except zlib.error:
            is_broken = True
    if member.eof:
        return member.unused_data + data
    at = seen.find(BATCH_MAGIC, 1)
    if at < 0 and not is_broken:
        note(Flaw.TORN)
        return b""  # the file ends in it: no loss but its last lines
    yield b"\n"  # whatever line was under way ends here
    is_blank, rest = _skip(seen[at:] + data if at > 0 else data, source)
    is_cut = not rest and is_blank and seen.endswith(_BLANK)
    note(Flaw.TORN if is_cut else Flaw.DAMAGED)
    return rest


def _skip(data: bytes, source: Iterator[bytes]) -> tuple[bool, bytes]:
    """Drop bytes up to the next batch; say whether they were zeros; return the rest.

    A tail of zeros is what some cards leave, and no loss.
    """
    is_blank = True
    while (at := data.find(BATCH_MAGIC)) < 0:
        is_blank = is_blank and not data.strip(b"\0")
        more = next(source, b"")
        if not more:
            return is_blank, b""
        data = data[1 - len(BATCH_MAGIC) :] + more
    return is_blank, data[at:]


def _at_least(size: int, data: bytes, source: Iterator[bytes]) -> bytes:
    """Read on until there are so many bytes, or no more."""
    while len(data) < size and (more := next(source, b"")):
        data += more
    return data
