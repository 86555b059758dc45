"""INA219 on a strict wire: it has no name, so its setting is what is read back."""

import pytest

from cabinvigil.drivers import ina219
from cabinvigil.drivers.kit.steps import (
    NotMeasuredError,
    NotReadyError,
    Sample,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import Line, play


def _read(register: str, reply: str) -> Line:
    return Transfer(bytes.fromhex(register), 2), bytes.fromhex(reply)


NAMELESS: list[Line] = [_read("fe", "0000"), _read("3e", "0000")]
FRESH = [*NAMELESS, _read("00", "399f"), _read("05", "0000")]
SET = _read("00", "3e67")
SETS: Line = (Transfer(b"\x00\x3e\x67", 0, 0.04), b"")
RESET: Line = (Transfer(b"\x00\x80\x00", 0, 0.001), b"")


def _poll(bus: str, shunt: str, **options: float) -> list[Sample]:
    lines = [SET, _read("02", bus), _read("01", shunt)]
    return play(ina219.make(options).poll(), lines)


@pytest.mark.parametrize("settings", ["399f", "3e67"])
def test_setup(settings: str) -> None:
    """As it is after a reset, or as this watch left it: then it is set."""
    known = [*NAMELESS, _read("00", settings), _read("05", "a000")]
    play(ina219.make({}).setup(), [*known, *known, SETS])
    assert play(ina219.identify(), known)


@pytest.mark.parametrize("settings", ["019f", "0000"])
def test_one_that_other_software_has_set_is_reset(settings: str) -> None:
    """It names itself nowhere: only its reset value tells it then."""
    foreign = [*NAMELESS, _read("00", settings), _read("05", "a000")]
    play(ina219.make({}).setup(), [*foreign, RESET, *FRESH, SETS])
    assert not play(ina219.identify(), foreign)


@pytest.mark.parametrize(
    ("lines", "more", "words"),
    [
        ("fe=5449 ff=2260", "", 'an INA226 responds, .* kind = "ina226"'),
        ("fe=0000 3e=5449 3f=2280", "", 'an INA228 responds, .* kind = "ina228"'),
        (
            "fe=0000 3e=0000 00=1104 05=0000",
            "00=1104",
            "register 00 reads 1104 where the sensor has 399f$",
        ),
        (
            "fe=0000 3e=0000 00=399f 05=0001",
            "00=399f",
            "like an INA219, but is not one",
        ),
    ],
)
def test_another_part(lines: str, more: str, words: str) -> None:
    """Its sisters say who they are, and are not written to; a stranger is none."""
    who = [_read(*one.split("=")) for one in lines.split()]
    then = [_read(*one.split("=")) for one in more.split()]
    reset = [RESET] if more else []
    with pytest.raises(WrongPartError, match=words):
        play(ina219.make({}).setup(), [*who, *reset, *who, *then])


def test_identify_a_sister_or_a_stranger() -> None:
    assert not play(ina219.identify(), [_read("fe", "5449"), _read("ff", "2260")])
    script = [_read("fe", "0000"), _read("3e", "5449"), _read("3f", "2370")]
    assert not play(ina219.identify(), script)


@pytest.mark.parametrize(
    ("bus", "shunt", "mohm", "volts", "amperes"),
    [
        # SBOS448, figure of the example: 11.98 V and 20 mV (from memory; pamoja-sensors
        # reads them alike in test_supply_libraries.py).
        ("5d9a", "07d0", 2.0, 11.98, 10.0),
        ("5d9a", "f830", 2.0, 11.98, -10.0),
        ("0002", "0000", 100.0, 0.0, 0.0),
        ("6272", "ffff", 100.0, 12.6, -0.0001),
        ("cb22", "7cff", 100.0, 26.0, 3.1999),
    ],
)
def test_vectors(
    bus: str, shunt: str, mohm: float, volts: float, amperes: float
) -> None:
    """Charging is positive, what is drawn negative."""
    assert _poll(bus, shunt, shunt_mohm=mohm) == [
        Sample("supply_v", pytest.approx(volts)),
        Sample("supply_a", pytest.approx(amperes)),
    ]


def test_the_usual_shunt() -> None:
    assert _poll("5d9a", "07d0")[1].value == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("shunt", "quality", "why"),
    [
        ("7d00", "at-least", "the shunt is at full scale"),
        ("8300", "outside-range", "the shunt is at its negative full scale"),
        ("7cff", "good", ""),
        ("8301", "good", ""),
    ],
)
def test_full_shunt(shunt: str, quality: str, why: str) -> None:
    """320 mV either way: the true current may be more."""
    found = _poll("5d9a", shunt)[1]
    assert (found.quality, found.reason) == (quality, why)


def test_overflow_is_told() -> None:
    """The flag doubts a current that looks good; at full scale that is said instead."""
    found = _poll("5d9b", "07d0")
    assert found[0] == Sample("supply_v", pytest.approx(11.98))
    assert (found[1].value, found[1].quality) == (pytest.approx(0.2), "outside-range")
    assert found[1].reason == "the sensor reports that its current overflows"
    assert _poll("5d9b", "7d00")[1].quality == "at-least"


def test_more_than_it_bears() -> None:
    """Its scale goes to 32 V, the part itself to 26 V: the value stands, in doubt."""
    (volts, _) = _poll("cb2a", "0000")
    assert (volts.value, volts.quality) == (pytest.approx(26.004), "outside-range")
    assert volts.reason == "above 26 V, more than the sensor withstands"


@pytest.mark.parametrize("bus", ["5d98", "5d99"])
def test_no_conversion_yet(bus: str) -> None:
    """Whatever the other flag says of the one before."""
    with pytest.raises(NotReadyError, match="no conversion"):
        _poll(bus, "07d0")


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ("399f", "399f where 3e67 was set: the sensor has lost its settings"),
        ("ffff", "the data line is open"),
        ("0000", "held low"),
    ],
)
def test_its_setting_is_read_back(settings: str, words: str) -> None:
    with pytest.raises(NotMeasuredError, match=words):
        play(ina219.make({}).poll(), [_read("00", settings)])


def test_short_answer() -> None:
    with pytest.raises(ShortError):
        play(ina219.make({}).poll(), [SET, (Transfer(b"\x02", 2), b"\x5d")])


def test_inform_changes_nothing() -> None:
    told = ina219.make({})
    told.inform("temp_c", 1.0)
    lines = [SET, _read("02", "5d9a"), _read("01", "07d0")]
    assert play(told.poll(), lines) == _poll("5d9a", "07d0")
