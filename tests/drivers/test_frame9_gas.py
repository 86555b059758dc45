"""The gas module: its scale, thin air, its end, and strangers on its line."""

from typing import Any

import pytest

from cabinvigil.drivers import frame9_gas
from cabinvigil.drivers.kit.frame9 import check
from cabinvigil.drivers.kit.steps import (
    CellDeadError,
    CrcError,
    OutOfRangeError,
    Sample,
    WrongPartError,
)

SHEETS = bytes.fromhex("ff86026047000000d1")
"""The answer that the MH-441D data sheet prints (section 6.2): 608 counts."""
FULL_SCALE = "the module is at full scale"


def _answer(counts: int, warmth: int = 0x47) -> bytes:
    body = b"\x86" + counts.to_bytes(2, "big") + bytes([warmth, 0, 0, 0])
    return b"\xff" + body + bytes([-sum(body) & 0xFF])


def _reads(counts: int, told: dict[str, float] | None = None, **options: Any) -> Sample:
    part = frame9_gas.make(options)
    for quantity, value in (told or {}).items():
        part.inform(quantity, value)
    (found,) = part.feed(_answer(counts))
    return found


def test_the_data_sheets_own_answer() -> None:
    """608 counts, each 0.1 % LEL where the config says so: 60.8 %."""
    check(SHEETS)
    assert frame9_gas.decode(SHEETS) == 608
    part = frame9_gas.make({"answer_lel_pct": 0.1})
    assert part.feed(SHEETS) == [Sample("gas_lel_pct", pytest.approx(60.8))]


def test_it_is_asked_with_the_data_sheets_command() -> None:
    """ff 01 86 ... 79; nothing is set on it."""
    part = frame9_gas.make({})
    assert part.opening() == b""
    assert part.request() == bytes.fromhex("ff0186000000000079")


def test_a_count_is_a_hundredth_of_the_limit_unless_the_config_says_otherwise() -> None:
    """500 ppm of 5 % methane (data sheet): 1 % LEL."""
    assert _reads(10) == Sample("gas_lel_pct", 10.0)
    assert _reads(10, answer_lel_pct=0.2).value == pytest.approx(2.0)
    assert frame9_gas.steps({}) == {"gas_lel_pct": 1.0}
    assert frame9_gas.steps({"answer_lel_pct": 0.2}) == {"gas_lel_pct": 0.2}


@pytest.mark.parametrize(
    ("hpa", "shown"), [(1013.25, 10.0), (506.6, 14.475), (795.0, 12.745), (1013.3, 10)]
)
def test_thin_air_is_corrected_and_no_further_than_to_700_hpa(
    hpa: float, shown: float
) -> None:
    """At 2 000 m (795 hPa, ISO 2533) a share has a fifth fewer molecules."""
    found = _reads(10, {"pressure_hpa": hpa})
    assert found.value == pytest.approx(shown, abs=0.01)


def test_the_end_of_the_range_is_at_least() -> None:
    """And never more than the whole of the limit, where the quantity itself ends."""
    for counts in (100, 101, 421):
        assert _reads(counts) == Sample("gas_lel_pct", 100.0, "at-least", FULL_SCALE)
    assert _reads(99).quality == "good"
    half = {"full_scale_lel_pct": 50}
    assert _reads(50, **half) == Sample("gas_lel_pct", 50.0, "at-least", FULL_SCALE)
    high = _reads(50, {"pressure_hpa": 795.0}, **half)
    assert (round(high.value, 1), high.quality) == (63.7, "at-least")
    dense = _reads(50, {"pressure_hpa": 1050.0}, **half)
    assert (dense.value, dense.quality) == (50.0, "at-least")


def test_what_thin_air_makes_more_than_the_limit_is_at_least_too() -> None:
    """90 counts at 795 hPa are 115 %: refused as impossible, it would be no alarm."""
    found = _reads(90, {"pressure_hpa": 795.0})
    assert (found.value, found.quality) == (100.0, "at-least")
    assert found.reason == "it is at the explosive limit, or beyond"


def test_its_zero_is_taken_off() -> None:
    """A rest below nothing is left to be seen, and refused past what a zero wanders."""
    assert _reads(3, zero_lel_pct=1.5).value == pytest.approx(1.5)
    assert _reads(0, zero_lel_pct=1.5).value == pytest.approx(-1.5)
    with pytest.raises(OutOfRangeError, match=r"-2\.5 % LEL, less than nothing"):
        _reads(0, {"pressure_hpa": 795.0}, zero_lel_pct=2.0)


@pytest.mark.parametrize(
    ("quantity", "value", "quality"),
    [
        ("temp_c", -20.0, "good"),
        ("temp_c", -20.1, "outside-range"),
        ("temp_c", 60.1, "outside-range"),
        ("rh_pct", 95.0, "good"),
        ("rh_pct", 95.1, "outside-range"),
    ],
)
def test_outside_its_air(quantity: str, value: float, quality: str) -> None:
    """Frost and fog blind it; at its end it says so all the same."""
    assert _reads(5, {quantity: value}).quality == quality
    assert _reads(100, {quantity: value}).quality == "at-least"


def test_a_fault_bit_is_a_fault_and_no_gas() -> None:
    """The topmost bit, as in the family's other modules."""
    with pytest.raises(CellDeadError, match="has failed"):
        frame9_gas.make({}).feed(_answer(0x8000))


def test_a_checksum_that_does_not_fit() -> None:
    """After a good frame: what came before is kept."""
    part = frame9_gas.make({})
    bad = _answer(7)[:-1] + b"\0"
    with pytest.raises(CrcError):
        part.feed(_answer(5) + bad)
    assert part.feed(b"") == [Sample("gas_lel_pct", 5.0)]


def test_a_repeated_setting_is_no_reading() -> None:
    """Some modules answer a setting with its own frame."""
    assert frame9_gas.make({}).feed(bytes.fromhex("ff8701000000000078")) == []


def test_another_modules_answers_ring_for_nothing() -> None:
    """An oxygen module on the port: 190 counts of its own are no 190 % LEL."""
    part = frame9_gas.make({})
    upload = bytes.fromhex("ff05040100d100fa2b")
    assert part.feed(_answer(0)) == [Sample("gas_lel_pct", 0.0)]
    assert part.feed(_answer(190)) == []  # waits for one that agrees
    with pytest.raises(WrongPartError, match="second byte is 05"):
        part.feed(upload)
    for _ in range(frame9_gas.DOUBTED_ANSWERS):
        with pytest.raises(WrongPartError, match="another module's frames"):
            part.feed(_answer(190))
    # Ten answers without a stranger's frame, and the line is the module's own again.
    assert part.feed(_answer(0)) == []
    assert part.feed(_answer(0)) == [Sample("gas_lel_pct", 0.0)]


def test_a_leap_waits_for_one_that_agrees() -> None:
    """25 % a second is thrice what its lag lets it move; gas that is there stays."""
    part = frame9_gas.make({})
    assert part.feed(_answer(0)) == [Sample("gas_lel_pct", 0.0)]
    assert part.feed(_answer(25)) == [Sample("gas_lel_pct", 25.0)]
    assert part.feed(_answer(51)) == []
    assert part.feed(_answer(52)) == [Sample("gas_lel_pct", 52.0)]
    assert part.feed(_answer(0)) == []
    assert part.feed(_answer(0)) == [Sample("gas_lel_pct", 0.0)]


def test_an_opened_port_knows_no_past() -> None:
    """The first answer is heard, whatever the last one before the gap was."""
    part = frame9_gas.make({})
    part.feed(_answer(0))
    part.opening()
    assert part.feed(_answer(60)) == [Sample("gas_lel_pct", 60.0)]
    with pytest.raises(WrongPartError):
        part.feed(bytes.fromhex("ff05040100d100fa2b"))
    part.opening()
    assert part.feed(_answer(3)) == [Sample("gas_lel_pct", 3.0)]
