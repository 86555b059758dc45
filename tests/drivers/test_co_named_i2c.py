"""The CO module that names its gas, on I2C: its register, its wait and its mode."""

import pytest

from cabinvigil.drivers import co_named_i2c as part
from cabinvigil.drivers.kit.steps import (
    CrcError,
    LengthError,
    NotMeasuredError,
    Sample,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import Line, play

ASK = Transfer(bytes.fromhex("00ff0186000000000079"), 0, 0.1)
MODE = Transfer(bytes.fromhex("00ff0178040000000083"), 0, 0.1)
READ = Transfer(b"\x00", 9)
CO_35 = bytes.fromhex("ff86002304000258") + bytes([0x51])
"""35 ppm with 0258 for its own warmth; the sum is that of the maker's public driver."""
OXYGEN = bytes.fromhex("ff8600d1050102") + b"\x58\xa1"
TAKEN = bytes.fromhex("ff7801000000000087")


def _asked(reply: bytes) -> list[Line]:
    return [(ASK, b""), (READ, reply)]


def _mode(reply: bytes) -> list[Line]:
    return [(MODE, b""), (READ, reply)]


def test_poll() -> None:
    """A frame behind register 0, a tenth of a second, and its answer."""
    made = part.make({})
    assert play(made.poll(), _asked(CO_35)) == [Sample("co_ppm", 35.0)]


def test_setup_makes_it_answer_and_looks_at_its_gas() -> None:
    """The mode first: what sends by itself need not answer."""
    play(part.make({}).setup(), _mode(TAKEN) + _asked(CO_35))
    with pytest.raises(WrongPartError, match="05, oxygen; CO has 04"):
        play(part.make({}).setup(), _mode(TAKEN) + _asked(OXYGEN))


@pytest.mark.parametrize(
    "reply", [bytes.fromhex("ff7800000000000088"), bytes.fromhex("ff7901000000000086")]
)
def test_a_mode_that_is_not_taken(reply: bytes) -> None:
    """Anything but 01 behind 78."""
    with pytest.raises(NotMeasuredError, match="should change to reply mode"):
        play(part.make({}).setup(), _mode(reply))


def test_wrong_sizes_and_sums() -> None:
    """No byte more or less, and none that does not add up."""
    made = part.make({})
    with pytest.raises(ShortError):
        play(made.poll(), _asked(CO_35[:8]))
    with pytest.raises(CrcError):
        play(made.poll(), _asked(CO_35[:8] + b"\0"))
    with pytest.raises(CrcError):
        play(made.setup(), _mode(TAKEN[:8] + b"\0"))
    steps = made.poll()
    next(steps)
    steps.send(b"")
    with pytest.raises(LengthError):
        steps.send(CO_35 + b"\0")


@pytest.mark.parametrize(
    ("reply", "is_it"),
    [(CO_35, True), (OXYGEN, False), (bytes(9), False), (b"\xff" * 9, False)],
)
def test_identify(reply: bytes, is_it: bool) -> None:
    """By its gas; asking sets nothing."""
    assert play(part.identify(), _asked(reply)) is is_it


def test_its_air_and_options() -> None:
    """Told temperature and humidity, as on a line; the same options."""
    made = part.make({"zero_ppm": 5.0, "full_scale_ppm": 500.0})
    made.inform("temp_c", -20.0)
    (found,) = play(made.poll(), _asked(CO_35))
    assert found.value == pytest.approx(30.0 / 0.575)
    assert part.steps({"answer_ppm": 10.0}) == {"co_ppm": 10.0}
