"""Hunting frames and lines: nothing good is lost, nothing bad goes on unsaid."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from cabinvigil.drivers.kit.crc import complement8
from cabinvigil.drivers.kit.frames import (
    PATIENCE_FRAMES,
    Delivery,
    FrameHunter,
    LineHunter,
    Stream,
)
from cabinvigil.drivers.kit.steps import (
    CrcError,
    DriverError,
    FramingError,
    LengthError,
    OutOfRangeError,
    Sample,
)
from tests.wire import MODEST

START, SIZE = b"\x42\x4d", 6


def _check(frame: bytes) -> None:
    if frame[:2] != START or frame[-1] != complement8(frame[:-1]):
        raise CrcError("bad sum")


def _frame(body: bytes) -> bytes:
    whole = START + body
    return whole + bytes([complement8(whole)])


def _hunter() -> FrameHunter:
    return FrameHunter(START, SIZE, _check)


def _good(found: list[bytes | DriverError]) -> list[bytes]:
    return [item for item in found if isinstance(item, bytes)]


def _codes(found: list[bytes | DriverError]) -> list[str]:
    return [item.code for item in found if isinstance(item, DriverError)]


BODY = st.binary(min_size=3, max_size=3)
# Noise that looks like the real thing: starts and halves of frames among the bytes.
NOISE = st.lists(
    st.one_of(st.binary(max_size=8), st.just(START), st.just(START[:1]))
).map(b"".join)


@MODEST
@given(NOISE, BODY)
@example(b"\x42", b"abc")
@example(START, START + b"\x42")
def test_frame_behind_any_noise(noise: bytes, body: bytes) -> None:
    """A frame is found when its last byte comes, unless noise itself makes a frame.

    A chance frame in the noise may swallow the beginning; the next one is then found.
    """
    hunter = _hunter()
    found = _good(hunter.feed(noise + _frame(body)))
    if found[-1:] != [_frame(body)]:
        assert found, "neither the frame nor a chance frame was found"
        assert _good(hunter.feed(_frame(body) * 2))[-1] == _frame(body)


@MODEST
@given(st.lists(st.one_of(NOISE, BODY.map(_frame))), st.data())
def test_chunks_do_not_matter(pieces: list[bytes], data: st.DataObject) -> None:
    """Byte by byte, in any chunks or as a whole: the same frames, the same errors."""
    stream = b"".join(pieces)
    whole = _hunter().feed(stream)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=4)))
    hunter, chunked = _hunter(), []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        chunked += hunter.feed(stream[start:end])
    hunter, single = _hunter(), []
    for byte in stream:
        single += hunter.feed(bytes([byte]))
    assert _good(whole) == _good(chunked) == _good(single)
    assert _codes(whole) == _codes(chunked) == _codes(single)


def test_bounded() -> None:
    """Whatever comes, no more than a frame is held."""
    hunter = _hunter()
    for _ in range(50):
        hunter.feed(START * 40)
        assert len(hunter._buffer) < SIZE


def test_power_up_noise_is_silent() -> None:
    """Junk before the first good frame is no error, as ports begin with noise."""
    assert _hunter().feed(b"boot\x42" + _frame(b"abc")) == [_frame(b"abc")]


def test_babble_is_told_again_and_again() -> None:
    """Without any frame, each eight frames' length of junk is told."""
    length = PATIENCE_FRAMES * SIZE
    assert _codes(_hunter().feed(b"\0" * (length - 1))) == []
    found = _hunter().feed(b"\0" * 2 * length)
    assert _codes(found) == ["framing", "framing"]
    assert "no frame among 48 bytes: none began like one" in str(found[0])


def test_babble_tells_what_the_last_candidate_lacked() -> None:
    """Where frames of another kind come, their fault is told."""
    found = _hunter().feed(START + b"\0" * PATIENCE_FRAMES * SIZE)
    assert "of the last that began like one, bad sum" in str(found[0])


def test_each_stretch_of_junk_is_told_once() -> None:
    """A spoilt frame is one error, junk between frames another, in their order."""
    good = _frame(b"abc")
    spoilt = good[:-1] + bytes([good[-1] ^ 1])
    found = _hunter().feed(good + spoilt + good + b"xyz" + good)
    assert [item if isinstance(item, bytes) else item.code for item in found] == [
        good,
        "crc",
        good,
        "framing",
        good,
    ]


def test_lost_bytes_cost_one_frame() -> None:
    """Where two bytes are lost, the next frame's start in the tail is kept."""
    good = _frame(b"abc")
    assert _good(_hunter().feed(good[:2] + good[4:] + good)) == [good]


# --- lines ---------------------------------------------------------------------------


def test_lines_are_cut_and_kept_whole() -> None:
    """Lines come with their ends; a half line waits."""
    hunter = LineHunter(10)
    assert hunter.feed(b"one\r\ntw") == [b"one\r\n"]
    assert hunter.feed(b"o\n\n") == [b"two\n", b"\n"]


def test_endless_line_is_told_and_dropped() -> None:
    """Bytes without an end are dropped up to the next one, and told."""
    hunter = LineHunter(10)
    found = hunter.feed(b"x" * 25 + b"\nnext\n")
    assert [item if isinstance(item, bytes) else item.code for item in found] == [
        "framing",
        "framing",
        b"next\n",
    ]
    assert len(hunter._buffer) == 0


@MODEST
@given(st.lists(st.sampled_from([b"a", b"bcd", b"\n", b"e" * 12])))
def test_line_chunks_do_not_matter(pieces: list[bytes]) -> None:
    """Byte by byte or as a whole: the same lines."""
    stream = b"".join(pieces)
    hunter, single = LineHunter(10), []
    for byte in stream:
        single += hunter.feed(bytes([byte]))
    assert _good(LineHunter(10).feed(stream)) == _good(single)


# --- delivery ------------------------------------------------------------------------

ONE, TWO = Sample("o2_pct", 1.0), Sample("o2_pct", 2.0)


def test_error_first_then_samples() -> None:
    """An error is raised, and the samples of the same bytes come with the next call."""
    delivery = Delivery()
    delivery.good([ONE])
    delivery.bad(CrcError("first"))
    delivery.bad(FramingError("second"))
    with pytest.raises(CrcError, match="first"):
        delivery.hand_over()
    assert delivery.hand_over() == [ONE]
    assert delivery.hand_over() == []


def test_errors_never_starve_samples() -> None:
    """With an error in every call, every second call still returns the samples."""
    delivery = Delivery()
    for round_ in range(10):
        delivery.good([ONE])
        delivery.bad(CrcError("again"))
        if round_ % 2 == 0:
            with pytest.raises(CrcError):
                delivery.hand_over()
        else:
            assert delivery.hand_over() == [ONE, ONE]


def test_errors_alone_are_raised_each_time() -> None:
    """Where no samples wait, each call raises its error."""
    delivery = Delivery()
    for _ in range(3):
        delivery.bad(CrcError("again"))
        with pytest.raises(CrcError):
            delivery.hand_over()


def _read(frame: bytes) -> list[Sample]:
    if frame[2] == 0:
        raise OutOfRangeError("zero")
    return [Sample("o2_pct", float(frame[2]))]


def test_stream_joins_all() -> None:
    """The hunter's and the reader's errors are raised; samples around them wait."""
    stream = Stream(_hunter, _read)
    one, zero, two = _frame(b"\1ab"), _frame(b"\0ab"), _frame(b"\2ab")
    with pytest.raises(OutOfRangeError):
        stream.feed(one + zero + two)
    assert stream.feed(b"") == [ONE, TWO]
    with pytest.raises(FramingError):
        stream.feed(b"?" + one)
    assert stream.feed(b"") == [ONE]


def test_restart_forgets() -> None:
    """After a port was opened again, half a frame and old samples are gone."""
    stream = Stream(_hunter, _read)
    one = _frame(b"\1ab")
    with pytest.raises(FramingError):
        stream.feed(one + b"?" + one[:3])
    stream.restart()
    assert stream.feed(one[3:] + one) == [ONE]


def _closed(body: bytes) -> bytes:
    return body + bytes([complement8(body)])


def test_a_pause_ends_junk_and_what_was_begun() -> None:
    """Once in step, each stretch is told; before, power-up noise stays that."""
    hunter, good = FrameHunter(START, SIZE, _check), _closed(START + b"abc")
    assert hunter.feed(START + b"a") == []
    assert hunter.pause() is None
    assert hunter.feed(b"bc") == []  # the frame that was begun is forgotten
    assert hunter.feed(good) == [good]
    assert hunter.pause() is None
    for _ in range(2):
        assert [type(item) for item in hunter.feed(b"xx")] == [FramingError]
        assert hunter.pause() is None
        assert hunter.feed(START + b"a") == []
        assert str(hunter.pause()) == "the reply broke off after 3 bytes"
    assert hunter.feed(good) == [good]


def test_junk_before_the_first_frame_is_counted_through_pauses() -> None:
    """Else a part at the wrong speed, which is asked now and then, would be silent."""
    hunter = FrameHunter(START, SIZE, _check)
    found = []
    for _ in range(PATIENCE_FRAMES):
        found += hunter.feed(b"x" * SIZE)
        assert hunter.pause() is None
    assert [type(item) for item in found] == [FramingError]


def test_frames_that_tell_their_size() -> None:
    """By their third byte; what cannot be one is junk at once."""

    def size_of(head: bytes) -> int:
        if len(head) < 3:
            return 3
        if head[2] > 9:
            raise LengthError("too long")
        return head[2]

    hunter = FrameHunter(START, 9, _check, size_of)
    short, long = _closed(START + b"\x05a"), _closed(START + b"\x09abcde")
    assert hunter.feed(short + long + short) == [short, long, short]
    assert [type(item) for item in hunter.feed(START + b"\x0a")] == [LengthError]
    assert hunter.feed(short) == [short]


def test_lines_know_no_pause() -> None:
    """They end with their line feed, however long that takes."""
    stream = Stream(lambda: LineHunter(20), lambda line: [Sample("temp_c", len(line))])
    stream.feed(b"ab")
    stream.pause()
    assert [one.value for one in stream.feed(b"c\n")] == [4]
