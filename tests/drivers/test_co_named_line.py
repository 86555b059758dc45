"""The CO module that names its gas, on a line: asked, judged, and never mistaken."""

from typing import Any

import pytest

from cabinvigil.drivers import co_named_line
from cabinvigil.drivers.kit.steps import (
    CellDeadError,
    CrcError,
    Sample,
    WrongPartError,
)


def _answer(counts: int, gas: int = 4, decimals: int = 0, ticks: int = 0x258) -> bytes:
    """As the maker's public driver has it: the sum leaves the eighth byte out."""
    body = b"\x86" + counts.to_bytes(2, "big") + bytes([gas, decimals, ticks >> 8])
    return b"\xff" + body + bytes([ticks & 0xFF, -sum(body) & 0xFF])


def _reads(frame: bytes, told: dict[str, float] | None = None, **options: Any) -> Any:
    part = co_named_line.make(options)
    for quantity, value in (told or {}).items():
        part.inform(quantity, value)
    (found,) = part.feed(frame)
    return found


@pytest.mark.parametrize(
    ("counts", "decimals"), [(35, 0), (350, 1), (3500, 2), (35_000, 3)]
)
def test_its_decimals_are_read(counts: int, decimals: int) -> None:
    """35 ppm, however it counts: the byte behind the gas says so."""
    found = _reads(_answer(counts, decimals=decimals))
    assert found == Sample("co_ppm", pytest.approx(35.0))


def test_it_is_told_to_answer_and_asked() -> None:
    """78 04 is the maker's 'passive'; 86 asks (its public driver)."""
    part = co_named_line.make({})
    assert part.opening() == bytes.fromhex("ff0178040000000083")
    assert part.request() == bytes.fromhex("ff0186000000000079")
    assert part.feed(bytes.fromhex("ff7801000000000087")) == []


@pytest.mark.parametrize(
    ("gas", "words"),
    [(5, "05, oxygen"), (0x2B, "2b, sulphur dioxide"), (0, "00, no gas that is known")],
)
def test_a_probe_of_another_gas(gas: int, words: str) -> None:
    """They fit the same board, and only the answer tells."""
    with pytest.raises(WrongPartError, match=f"gas code is {words}"):
        _reads(_answer(209, gas=gas, decimals=1))


def test_full_scale_is_at_least() -> None:
    """1000 ppm, or the config's; in the cold the truth is more still."""
    assert _reads(_answer(1000)).quality == "at-least"
    assert _reads(_answer(999)).quality == "good"
    assert _reads(_answer(500), full_scale_ppm=500).quality == "at-least"
    cold = _reads(_answer(1000), {"temp_c": -20.0})
    assert cold.value == pytest.approx(1000 / 0.575)


def test_a_fault_bit_is_a_fault_where_the_range_ends_below_it() -> None:
    """Bit 7 of the high byte; with two decimals 1000 ppm need it."""
    with pytest.raises(CellDeadError, match="has failed"):
        _reads(_answer(0x8000 + 35))
    assert _reads(_answer(40_000, decimals=2)).value == pytest.approx(400.0)


def test_zero_and_cold() -> None:
    """The zero is taken off, a rest below nothing is left; the cold makes more of it.

    Without a thermometer what the module says stands; with one that died, the cold
    factor (57.5 % at -20 °C, CO-B4).
    """
    assert _reads(_answer(35), zero_ppm=5.0).value == pytest.approx(30.0)
    assert _reads(_answer(0), zero_ppm=2.0).value == pytest.approx(-2.0)
    assert _reads(_answer(23), {"temp_c": -20.0}).value == pytest.approx(40.0)
    assert _reads(_answer(23), {"rh_pct": 50.0}).value == pytest.approx(23.0)
    assert _reads(_answer(23), {"temp_c": float("nan")}).value == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("quantity", "value", "quality"),
    [
        ("temp_c", -20.0, "good"),
        ("temp_c", -20.1, "outside-range"),
        ("temp_c", 50.1, "outside-range"),
        ("rh_pct", 15.0, "good"),
        ("rh_pct", 14.9, "outside-range"),
        ("rh_pct", 90.1, "outside-range"),
    ],
)
def test_outside_its_air(quantity: str, value: float, quality: str) -> None:
    """What is not covered by its sheet is doubtful."""
    assert _reads(_answer(3), {quantity: value}).quality == quality


def test_another_familys_frame_is_told_as_such() -> None:
    """A module that sends by itself has its own sum: another part, and not garbled."""
    with pytest.raises(WrongPartError, match="second byte is 05"):
        co_named_line.make({}).feed(bytes.fromhex("ff05040100d100fa2b"))


def test_an_answer_has_its_own_sum() -> None:
    """With the other families' sum it is garbled, unless its eighth byte is 0."""
    frame = _answer(35)
    other = frame[:8] + bytes([-sum(frame[1:8]) & 0xFF])
    part = co_named_line.make({})
    assert part.feed(frame)[0].value == 35.0
    with pytest.raises(CrcError):
        part.feed(other)


def test_an_opened_port_knows_no_half_frame() -> None:
    """What came before the gap is gone."""
    part = co_named_line.make({})
    part.feed(_answer(35)[:5])
    part.opening()
    assert part.feed(_answer(40)) == [Sample("co_ppm", 40.0)]


def test_its_step() -> None:
    """1 ppm, unless the config says otherwise; a wrong one is told."""
    assert co_named_line.steps({}) == {"co_ppm": 1.0}
    assert co_named_line.steps({"answer_ppm": 0.1}) == {"co_ppm": 0.1}
    assert co_named_line.PART.says_what({})
