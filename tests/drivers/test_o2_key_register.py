"""The I2C oxygen module: no checksum and flipping bits, so five readings and a vote."""

from typing import Any

import pytest

from cabinvigil.drivers import o2_key_register as module
from cabinvigil.drivers.kit.air_span import NO_SPAN_PRESSURE
from cabinvigil.drivers.kit.steps import (
    NotMeasuredError,
    OutOfRangeError,
    ShortError,
    Transfer,
)
from tests.wire import Line, play

KEY, OXYGEN = Transfer(b"\x0a", 1, 0.050), Transfer(b"\x03", 3, 0.050)
KEY_208: Line = (KEY, b"\xd0")
AIR, FLIPPED, DEAD = b"\x64\x04\x08", b"\xe4\x04\x08", b"\x00\x00\x00"
"""20.9 % at key 208; the top bit flipped, 47.5 % (public report); a dead line."""


def _made(**options: Any) -> module.O2KeyRegister:
    part = module.make(options)
    play(part.setup(), [KEY_208, KEY_208])
    return part


def _poll(part: module.O2KeyRegister, *replies: bytes) -> Any:
    return play(part.poll(), [KEY_208, *((OXYGEN, reply) for reply in replies)])


def test_air() -> None:
    """Spanned at 939 hPa, 20.9 there is 20.9 %; at 900 hPa the same air reads less."""
    part = _made(air_hpa=939.0)
    part.inform("pressure_hpa", 939.0)
    found, partial = _poll(part, *[AIR] * 5)
    assert (round(found.value, 2), found.quality) == (20.9, "good")
    assert partial.value == pytest.approx(found.value * 9.39)
    part.inform("pressure_hpa", 900.0)
    thinner, _ = _poll(part, *[b"\x60\x02\x09"] * 5)
    assert thinner.value == pytest.approx(0.208 * 96.29 * 939 / 900)


def test_partial_pressure_does_not_move_with_the_barometer() -> None:
    """So that a module that stands still is seen to stand still."""
    part = _made(air_hpa=939.0)
    seen = []
    for hpa in (939.0, 930.0):
        part.inform("pressure_hpa", hpa)
        seen.append(_poll(part, *[AIR] * 5))
    (before, same), (after, still) = seen
    assert after.value > before.value
    assert still == same


def test_flipped_bits_are_outvoted() -> None:
    """Two impossible readings of five change nothing."""
    found, _ = _poll(_made(), AIR, FLIPPED, AIR, DEAD, AIR)
    assert found.value == pytest.approx(20.9, abs=0.01)


def test_flipped_low_bits_are_outvoted() -> None:
    """Two possible but wrong readings of five change nothing either."""
    low = b"\x24\x04\x08"
    found, _ = _poll(_made(), low, AIR, AIR, low, AIR)
    assert found.value == pytest.approx(20.9, abs=0.01)


def test_three_of_five_must_be_possible() -> None:
    """With two left there is no vote."""
    with pytest.raises(OutOfRangeError):
        _poll(_made(), AIR, FLIPPED, DEAD, DEAD, AIR)


@pytest.mark.parametrize("reply", ["640a08", "64040a"])
def test_digits(reply: str) -> None:
    """Tenths and hundredths are one digit each."""
    with pytest.raises(OutOfRangeError, match="no digits"):
        module.decode(bytes.fromhex(reply), 208)


def test_short_answers() -> None:
    """A short answer ends the poll."""
    with pytest.raises(ShortError):
        _poll(_made(), AIR[:2])


def test_key_is_read_twice_and_must_be_one() -> None:
    """Two different keys, or an open line, give no factor."""
    for once, again in ((b"\xd0", b"\x50"), (b"\xff", b"\xff")):
        with pytest.raises(NotMeasuredError, match="check the wires"):
            play(module.make({}).setup(), [(KEY, once), (KEY, again)])


def test_key_must_stay() -> None:
    """A key that changes is another calibration, or a dead line."""
    with pytest.raises(NotMeasuredError, match="reads d1"):
        play(_made().poll(), [(KEY, b"\xd1")])
    with pytest.raises(NotMeasuredError):
        play(module.make({}).poll(), [KEY_208])


def test_key_never_set() -> None:
    """Key 0 stands for 20.9 % at a raw 120 (public drivers)."""
    part = module.make({})
    play(part.setup(), [(KEY, b"\0"), (KEY, b"\0")])
    lines = [(KEY, b"\0"), *[(OXYGEN, b"\x78\x00\x00")] * 5]
    found, _ = play(part.poll(), lines)
    assert found.value == pytest.approx(20.9)
    assert found.reason == NO_SPAN_PRESSURE


def test_cold() -> None:
    """Below -20 °C nothing is promised."""
    part = _made(air_hpa=939.0)
    part.inform("temp_c", -21.0)
    assert "below -20" in _poll(part, *[AIR] * 5)[0].reason


def test_nothing_is_ever_written() -> None:
    """Registers 08 and 09 would change the calibration for good."""
    part = _made()
    steps = part.poll()
    seen = [next(steps)]
    seen.append(steps.send(b"\xd0"))
    seen += [steps.send(AIR) for _ in range(4)]
    assert {t.tx for t in seen} == {b"\x0a", b"\x03"}
