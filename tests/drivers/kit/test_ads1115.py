"""The converter: settings read back, three conversions, the middle one taken."""

import pytest

from cabinvigil.drivers.kit.ads1115 import (
    CONVERT_S,
    Counts,
    Input,
    check_part,
    convert,
    decode,
    floating,
    identify,
)
from cabinvigil.drivers.kit.steps import (
    LengthError,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import play

CELL = Input("0-1", 256)
WRITE = Transfer(b"\x01\x8b\x03", 0, CONVERT_S)
CONFIG, RESULT = Transfer(b"\x01", 2), Transfer(b"\x00", 2)
DONE = b"\x8b\x03"


def _run(*results: str) -> int:
    script = []
    for result in results:
        script += [(WRITE, b""), (CONFIG, DONE), (RESULT, bytes.fromhex(result))]
    return play(convert(CELL), script)


def test_setting_of_the_datasheet() -> None:
    """AIN0-AIN1, 256 mV, one shot, 8 a second: 8b03 (8b83 at 128, two libraries)."""
    assert CELL.config == b"\x8b\x03"
    assert Input("2-3", 2048).config == b"\xb5\x03"
    assert Input("3", 6144).config == b"\xf1\x03"


def test_d7_a_slow_clock_is_waited_for() -> None:
    """Eight a second, 10 % slow: 138.9 ms, after which it has always an answer.

    The part is played with that clock: it has converted when its time is over, and
    not before.
    """
    needs_s, waited_s, reply = 1 / (8 * 0.9), 0.0, b""
    steps = convert(CELL)
    transfer = next(steps)
    for _ in range(8):  # three conversions of three transfers, the last not answered
        if transfer.tx == WRITE.tx:
            reply, waited_s = b"", transfer.delay_s
        elif transfer.tx == CONFIG.tx:
            reply = DONE if waited_s >= needs_s else b"\x0b\x03"
        else:
            reply = b"\x05\xa0"
        transfer = steps.send(reply)
    assert transfer == RESULT
    with pytest.raises(StopIteration):
        steps.send(b"\x05\xa0")


def test_middle_of_three() -> None:
    """One flipped bit is outvoted, in either direction."""
    assert _run("05a0", "05a1", "85a0") == 0x05A0
    assert _run("45a0", "05a0", "05a1") == 0x05A1


@pytest.mark.parametrize(
    ("config", "error"),
    [
        ("0b03", NotReadyError),
        ("8583", NotMeasuredError),
        ("ffff", NotMeasuredError),
        ("0000", NotMeasuredError),
        ("bb03", NotMeasuredError),
    ],
)
def test_config_is_believed_only_as_written(
    config: str, error: type[Exception]
) -> None:
    """Not ready, reset (8583), open line, held low, another user: no result is read."""
    with pytest.raises(error):
        play(convert(CELL), [(WRITE, b""), (CONFIG, bytes.fromhex(config))])


def test_short_answers() -> None:
    """A short result is no result."""
    with pytest.raises(ShortError):
        _run("05")
    with pytest.raises(LengthError):
        decode(b"\0\0\0")


@pytest.mark.parametrize("counts", [32767, -32768])
def test_ends_of_scale_are_no_cell(counts: int) -> None:
    """A result at either end means a loose wire."""
    with pytest.raises(OutOfRangeError, match="a wire is open"):
        floating(counts)
    floating(counts // 2)


LOW, HIGH = Transfer(b"\x02", 2), Transfer(b"\x03", 2)


def test_part_is_told_by_thresholds() -> None:
    """A TMP117 at the same address holds 6000 and 8000 there (limits, from memory)."""
    play(check_part(), [(LOW, b"\x80\x00"), (HIGH, b"\x7f\xff")])
    with pytest.raises(WrongPartError, match="threshold register 2 reads 6000"):
        play(check_part(), [(LOW, b"\x60\x00")])
    assert play(identify(), [(LOW, b"\x80\x00"), (HIGH, b"\x7f\xff")])
    assert not play(identify(), [(LOW, b"\x60\x00")])


def test_counts_are_a_generator_of_transfers() -> None:
    """The first thing said is the setting that starts a conversion."""
    counts: Counts = convert(CELL)
    assert next(counts) == WRITE
