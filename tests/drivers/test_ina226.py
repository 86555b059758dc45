"""INA226 on a strict wire: identity and setting are read with every poll."""

import pytest

from cabinvigil.drivers import ina226
from cabinvigil.drivers.kit.steps import (
    NotMeasuredError,
    OutOfRangeError,
    Sample,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import Line, play

WHO: list[Line] = [
    (Transfer(b"\xfe", 2), b"\x54\x49"),
    (Transfer(b"\xff", 2), b"\x22\x60"),
]
CONFIG, BUS, SHUNT = Transfer(b"\x00", 2), Transfer(b"\x02", 2), Transfer(b"\x01", 2)
SET: Line = (CONFIG, b"\x45\x27")


def _poll(bus: str, shunt: str, **options: float) -> list[Sample]:
    lines: list[Line] = [(BUS, bytes.fromhex(bus)), (SHUNT, bytes.fromhex(shunt))]
    return play(ina226.make(options).poll(), [*WHO, SET, *lines])


def test_setup() -> None:
    """The part is told by its registers, then set to average without end."""
    play(ina226.make({}).setup(), [*WHO, (Transfer(b"\x00\x45\x27", 0, 0.05), b"")])


def test_example_of_the_datasheet() -> None:
    """11.98 V, and 20 mV over 2 mOhm are 10 A (SBOS547 p. 16, table 1)."""
    assert _poll("2570", "1f40") == [
        Sample("supply_v", pytest.approx(11.98)),
        Sample("supply_a", pytest.approx(10.0)),
    ]


def test_shunt_of_the_config() -> None:
    """Over 100 mOhm the same 20 mV are 0.2 A; a discharge is negative."""
    assert _poll("2570", "1f40", shunt_mohm=100)[1].value == pytest.approx(0.2)
    assert _poll("2570", "e0c0", shunt_mohm=100)[1].value == pytest.approx(-0.2)


@pytest.mark.parametrize(
    ("shunt", "quality"), [("7fff", "at-least"), ("8000", "outside-range")]
)
def test_full_shunt(shunt: str, quality: str) -> None:
    """At either end of the shunt's range the true current may be more."""
    assert _poll("2570", shunt)[1].quality == quality


@pytest.mark.parametrize("bus", ["ffff", "8000", "7fff"])
def test_impossible_voltage(bus: str) -> None:
    """The top bit is always 0, and more than 36 V the part does not bear."""
    with pytest.raises(OutOfRangeError, match=bus):
        _poll(bus, "1f40")


def test_reset_shows() -> None:
    """After a brown-out the setting is 4127 again: its values are not averaged."""
    script = [*WHO, (CONFIG, b"\x41\x27")]
    with pytest.raises(NotMeasuredError, match="4127 where 4527 was set"):
        play(ina226.make({}).poll(), script)


@pytest.mark.parametrize("at", [0, 1])
def test_another_part(at: int) -> None:
    """Another maker, another die or a dead line is never read as volts."""
    lines = [*WHO[:at], (WHO[at][0], b"\xff\xff")]
    with pytest.raises(WrongPartError, match="is open"):
        play(ina226.make({}).poll(), lines)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (
            "fe=0000 3e=5449 3f=2281",
            'an INA228 responds, not an INA226: write kind = "ina228", .* its shunt',
        ),
        (
            "fe=0000 3e=0000 00=399f 05=0000",
            'an INA219 responds, .* write kind = "ina219"',
        ),
        (
            "fe=ffff 3e=ffff 00=ffff 05=ffff fe=ffff",
            "register fe reads ffff where the sensor has 5449: .* line is open",
        ),
        (
            "fe=5449 ff=2270 3e=0000 00=4127 05=0000 fe=5449",
            "what responds is like an INA226, but is not one",
        ),
    ],
)
def test_which_of_the_monitors_answers(lines: str, words: str) -> None:
    """A sister is told by its name, with what to write; anything else as what it is."""
    script: list[Line] = []
    for one in lines.split():
        register, reply = map(bytes.fromhex, one.split("="))
        script.append((Transfer(register, 2), reply))
    with pytest.raises(WrongPartError, match=words):
        play(ina226.make({}).setup(), script)


def test_identify() -> None:
    """Maker and die tell the part."""
    assert play(ina226.identify(), WHO)
    other = [(Transfer(b"\x3e", 2), b"\x54\x49"), (Transfer(b"\x3f", 2), b"\x22\x81")]
    assert not play(ina226.identify(), [(WHO[0][0], b"\0\0"), *other])


def test_short_answer() -> None:
    """A short answer is no answer."""
    with pytest.raises(ShortError):
        play(ina226.make({}).poll(), [*WHO, SET, (BUS, b"\x25")])


def test_inform_changes_nothing() -> None:
    """The part needs no other: told or not, it gives the same."""
    lines = [*WHO, SET, (BUS, b"\x25\x70"), (SHUNT, b"\x1f\x40")]
    told = ina226.make({})
    told.inform("temp_c", 1.0)
    assert play(told.poll(), lines) == play(ina226.make({}).poll(), lines)
