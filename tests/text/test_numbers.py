"""How numbers are written."""

import pytest

from cabinvigil.daemon.text.numbers import (
    brief,
    compact,
    figure,
    fixed,
    grouped,
    or_never,
    signal,
    spread,
    valued,
)


def test_numbers_are_written_with_what_matters() -> None:
    """Two digits that count, never powers; a negative nothing is nothing."""
    written = [figure(value) for value in (0.0, 3.456, 0.0456, 123.4, -0.001, 12.0)]
    assert written == ["0", "3.5", "0.046", "123", "-0.001", "12"]
    assert spread((0.5, 0.7, None)) == spread((None, 0.7, 1.0)) == "not known"
    assert fixed((-0.04, 0.0, 0.4), 1) == "0.0 (0.0 to 0.4)"
    assert fixed((-0.4, -0.2, 0.4), 0) == "0 (0 to 0)"


@pytest.mark.parametrize(
    ("triple", "written", "short"),
    [
        ((0.4, 0.9, 1.6), "0.90 (0.40 to 1.6)", "0.90"),
        ((0.4, None, 1.6), "between 0.40 and 1.6", "0.40 to 1.6"),
        ((0.0, None, 1.6), "at most 1.6", "at most 1.6"),
        ((0.0, None, 0.0), "0", "0"),
        ((-0.2, None, 1.6), "between -0.20 and 1.6", "-0.20 to 1.6"),
    ],
)
def test_without_a_middle_the_range_is_told(
    triple: tuple[float, float | None, float], written: str, short: str
) -> None:
    """And what may be nothing by its end alone."""
    assert spread(triple) == written
    assert brief(triple, figure) == short


@pytest.mark.parametrize(
    ("quantity", "value", "written"),
    [
        ("o2_pct", 20.849, "20.8 %"),
        ("cohb_pct", 2.0, "2.0 %"),
        ("co_ppm", 34.6, "35 ppm"),
        ("co_ppm", -0.3, "0 ppm"),
        ("temp_c", -0.4, "0 °C"),
        ("gas_lel_pct", -0.2, "0 % LEL"),
        ("pm2_5_ugm3", 12.3, "12 µg/m³"),
        ("rh_pct", 55.4, "55 %"),
        ("pressure_hpa", 941.2, "941"),
    ],
)
def test_a_value_is_written_with_its_unit(
    quantity: str, value: float, written: str
) -> None:
    """A part's zero may lie a little below 0: that is no `-0`."""
    assert valued(quantity, value) == written


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (0.004, "0"),
        (-0.004, "0"),
        (1.234, "1,23"),
        (1.2, "1,2"),
        (12.34, "12,3"),
        (1234.5, "1234"),
    ],
)
def test_a_sentence_gets_three_digits_and_the_languages_sign(
    value: float, written: str
) -> None:
    """As people write it; never -0."""
    assert compact(value, ",") == written


def test_a_signal_is_written_to_the_hundredth_below_100() -> None:
    written = [signal(value) for value in (0.0, -0.004, 9.876, 99.999, 123.4, -123.4)]
    assert written == ["0.00", "0.00", "9.88", "100.00", "123", "-123"]


def test_thousands_are_set_apart() -> None:
    assert [grouped(value) for value in (999.4, 5000.0, -0.4)] == ["999", "5000", "0"]
    assert grouped(1234.56, 1) == "1234.6"
    assert grouped(17200.0) == "17 200"
    assert grouped(9999.6) == "10 000"
    assert grouped(1234.5, 0, ",") == "1,234"
    assert [or_never(value) for value in (None, 5000.0)] == ["never", "5000"]
    assert or_never(5000.0, separator="") == "5000"
