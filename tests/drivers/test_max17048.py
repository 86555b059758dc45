"""MAX17048 on a strict wire: a cell's voltage, and how full it is."""

import pytest

from cabinvigil.drivers import max17048
from cabinvigil.drivers.kit.steps import (
    LengthError,
    OutOfRangeError,
    Sample,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import play

VERSION, DATA = Transfer(b"\x08", 2), Transfer(b"\x02", 4)
WHO = (VERSION, b"\x00\x12")


def _poll(data: str) -> list[Sample]:
    part = max17048.make({})
    part.inform("temp_c", 3.0)
    return play(part.poll(), [WHO, (DATA, bytes.fromhex(data))])


@pytest.mark.parametrize("version", [b"\x00\x10", b"\x00\x11", b"\x00\x1f"])
def test_setup(version: bytes) -> None:
    """Any revision; nothing is written, since the gauge keeps what it has learnt."""
    play(max17048.make({}).setup(), [(VERSION, version)])
    assert play(max17048.identify(), [(VERSION, version)])


@pytest.mark.parametrize(
    ("version", "words"),
    [
        (b"\x00\x03", "version register reads 0003 where the sensor has 0012$"),
        (b"\x01\x12", "reads 0112"),
        (b"\x00\x20", "reads 0020"),
        (b"\x00\x00", "held low"),
        (b"\xff\xff", "line is open"),
    ],
)
def test_another_part(version: bytes, words: str) -> None:
    with pytest.raises(WrongPartError, match=words):
        play(max17048.make({}).setup(), [(VERSION, version)])
    with pytest.raises(WrongPartError, match=words):
        play(max17048.make({}).poll(), [(VERSION, version)])
    assert not play(max17048.identify(), [(VERSION, version)])


@pytest.mark.parametrize(
    ("data", "volts", "percent"),
    [
        # 78.125 uV and 1/256 % a step, as a public library reads them in
        # test_supply_libraries.py.
        ("c000 5080", 3.84, 80.5),
        ("d200 6440", 4.2, 100.25),
        ("a5c0 00c0", 3.315, 0.75),
        ("6400 0000", 2.0, 0.0),
        ("fa00 8200", 5.0, 130.0),
    ],
)
def test_vectors(data: str, volts: float, percent: float) -> None:
    assert _poll(data) == [
        Sample("cell_v", pytest.approx(volts)),
        Sample("charge_pct", pytest.approx(percent)),
    ]


@pytest.mark.parametrize("data", ["0000 5000", "63ff 5000", "fa01 5000", "ffff ffff"])
def test_no_cell_has_such_a_voltage(data: str) -> None:
    """2 to 5 V: else there is none, or another battery hangs there."""
    with pytest.raises(OutOfRangeError, match="V, which no cell has: is one fitted"):
        _poll(data)


def test_more_than_full_can_be() -> None:
    with pytest.raises(OutOfRangeError, match="reckons 200 % of charge"):
        _poll("c000 c800")


def test_sizes() -> None:
    with pytest.raises(ShortError, match="cell and charge registers: 3 bytes"):
        _poll("c00050")
    with pytest.raises(LengthError, match="5 bytes"):
        max17048.decode(bytes(5))


def test_full_is_where_it_may_stand() -> None:
    """On its charger it reads 100 for weeks, and is not stuck."""
    assert max17048.PART.gives["charge_pct"].top == 100.0
