"""INA228 on a strict wire: twenty bits with a sign, and flags of its own."""

import pytest

from cabinvigil.drivers import ina228
from cabinvigil.drivers.kit.steps import (
    LengthError,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    Sample,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import Line, play


def _read(register: str, reply: str, count: int = 2) -> Line:
    return Transfer(bytes.fromhex(register), count), bytes.fromhex(reply)


WHO = [_read("fe", "0000"), _read("3e", "5449"), _read("3f", "2281")]
SET = [_read("00", "0000"), _read("01", "fb6a")]


def _poll(bus: str, shunt: str, flags: str = "0003", **options: float) -> list[Sample]:
    lines = [_read("0b", flags), _read("05", bus, 3), _read("04", shunt, 3)]
    return play(ina228.make(options).poll(), [*SET, *lines])


@pytest.mark.parametrize("die", ["2280", "2281", "228f"])
def test_setup(die: str) -> None:
    """Any revision of the die; then the wide range, and sixteen averaged."""
    who = [*WHO[:2], _read("3f", die)]
    sets = [(Transfer(b"\0\0\0"), b""), (Transfer(b"\x01\xfb\x6a", 0, 0.08), b"")]
    play(ina228.make({}).setup(), [*who, *sets])
    assert play(ina228.identify(), who)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("fe=5449 ff=2260", 'an INA226 responds, .* kind = "ina226"'),
        (
            "fe=0000 3e=0000 00=399f 05=0000",
            'an INA219 responds, .* kind = "ina219"',
        ),
        (
            "fe=0000 3e=5449 3f=2370 3e=5449",
            "like an INA228, but is not one",
        ),
        (
            "fe=0000 3e=0000 00=0000 05=0000 3e=0000",
            "register 3e reads 0000 where the sensor has 5449: .* held low",
        ),
    ],
)
def test_another_part(lines: str, words: str) -> None:
    script = [_read(*one.split("=")) for one in lines.split()]
    with pytest.raises(WrongPartError, match=words):
        play(ina228.make({}).setup(), script)


def test_identify_another_die() -> None:
    assert not play(ina228.identify(), [*WHO[:2], _read("3f", "2381")])


@pytest.mark.parametrize(
    ("bus", "shunt", "mohm", "volts", "amperes"),
    [
        # 195.3125 uV and 312.5 nV a step: 12 V are 61440 of them, 75 mV 240000; a
        # public library reads them alike in test_supply_libraries.py.
        ("0f0000", "3a9800", 7.5, 12.0, 10.0),
        ("0f0000", "c56800", 7.5, 12.0, -10.0),
        ("0f1eb0", "fffff0", 15.0, 12.0958984, -0.0000208333),
        ("000000", "000010", 15.0, 0.0, 0.0000208333),
        ("6a4000", "7fffe0", 15.0, 85.0, 10.9226),
    ],
)
def test_vectors(
    bus: str, shunt: str, mohm: float, volts: float, amperes: float
) -> None:
    """Charging is positive, what is drawn negative."""
    found = _poll(bus, shunt, shunt_mohm=mohm)
    assert found == [
        Sample("supply_v", pytest.approx(volts, abs=0.0004)),
        Sample("supply_a", pytest.approx(amperes, rel=1e-5)),
    ]


def test_the_usual_shunt() -> None:
    assert _poll("0f0000", "3a9800")[1].value == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("shunt", "quality"), [("7ffff0", "at-least"), ("800000", "outside-range")]
)
def test_full_shunt(shunt: str, quality: str) -> None:
    """163.84 mV either way: the true current may be more."""
    assert _poll("0f0000", shunt)[1].quality == quality


def test_overflow_is_told() -> None:
    found = _poll("0f0000", "3a9800", "0203")
    assert found[0] == Sample("supply_v", pytest.approx(12.0))
    assert (found[1].value, found[1].quality) == (pytest.approx(5.0), "outside-range")
    assert found[1].reason == "the sensor reports that its current overflows"
    assert _poll("0f0000", "7ffff0", "0203")[1].quality == "at-least"


def _flags(flags: str) -> None:
    play(ina228.make({}).poll(), [*SET, _read("0b", flags)])


@pytest.mark.parametrize("flags", ["0002", "fffe"])
def test_its_own_memory_is_damaged(flags: str) -> None:
    with pytest.raises(NotMeasuredError, match="memory is damaged: replace it"):
        _flags(flags)


def test_the_other_flags_say_nothing_of_the_current() -> None:
    """Limits that nobody set may be passed: the value is good."""
    assert _poll("0f0000", "3a9800", "fdff")[1].quality == "good"


@pytest.mark.parametrize("flags", ["0001", "fffd"])
def test_no_conversion_yet(flags: str) -> None:
    """Whatever the other flags say."""
    with pytest.raises(NotReadyError, match="no conversion"):
        _flags(flags)


@pytest.mark.parametrize("bus", ["800000", "f00000", "6a4010"])
def test_impossible_voltage(bus: str) -> None:
    """The sign is never set, and more than 85 V the part does not bear."""
    with pytest.raises(OutOfRangeError, match=f"{bus}: no such voltage"):
        play(ina228.make({}).poll(), [*SET, _read("0b", "0003"), _read("05", bus, 3)])


@pytest.mark.parametrize("reply", ["ffffff", "0f0001", "0f0008"])
def test_four_bits_are_always_0(reply: str) -> None:
    with pytest.raises(
        OutOfRangeError, match=f"register reads {reply}, which it never"
    ):
        ina228.decode20(bytes.fromhex(reply), "shunt register")


def test_sizes() -> None:
    with pytest.raises(ShortError, match="bus register: 2 bytes"):
        ina228.decode_bus(b"\x0f\x00")
    with pytest.raises(LengthError, match="bus register: 4 bytes"):
        ina228.decode_bus(bytes(4))


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("00=0010", "config register reads 0010 where 0000 was set"),
        ("00=0000 01=fb68", "adc register reads fb68 .* lost its"),
        ("00=ffff", "is open"),
    ],
)
def test_settings_are_read_back(lines: str, words: str) -> None:
    with pytest.raises(NotMeasuredError, match=words):
        play(ina228.make({}).poll(), [_read(*one.split("=")) for one in lines.split()])


def test_inform_changes_nothing() -> None:
    told = ina228.make({})
    told.inform("temp_c", 1.0)
    lines = [_read("0b", "0003"), _read("05", "0f0000", 3), _read("04", "3a9800", 3)]
    assert play(told.poll(), [*SET, *lines]) == _poll("0f0000", "3a9800")
