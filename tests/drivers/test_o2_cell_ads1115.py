"""The galvanic oxygen cell: percent from millivolts, pressure, temperature and span."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import o2_cell_ads1115 as part
from cabinvigil.drivers.kit.ads1115 import CONVERT_S
from cabinvigil.drivers.kit.air_span import NO_PRESSURE, NO_SPAN_PRESSURE
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CellDeadError,
    NotMeasuredError,
    OutOfRangeError,
    Transfer,
)
from tests.wire import MODEST, Line, play

SPANNED = {"air_mv": 11.25, "air_hpa": 1013.0}


def _script(counts: int, config: str = "8b03") -> list[Line]:
    once: list[Line] = [
        (Transfer(b"\x01" + bytes.fromhex(config), 0, CONVERT_S), b""),
        (Transfer(b"\x01", 2), bytes.fromhex(config)),
        (Transfer(b"\x00", 2), counts.to_bytes(2, "big", signed=True)),
    ]
    return once * 3


def _poll(counts: int, told: dict[str, float], **options: Any) -> list[Any]:
    made = part.make(SPANNED | options)
    for quantity, value in told.items():
        made.inform(quantity, value)
    return play(made.poll(), _script(counts))


def test_air_at_another_pressure() -> None:
    """10 mV at 900 hPa: 20.91 % and 188.2 hPa, by hand."""
    percent, partial = _poll(1280, {"pressure_hpa": 900.0})
    assert (percent.quantity, percent.quality) == ("o2_pct", "good")
    assert percent.value == pytest.approx(20.91, abs=0.005)
    assert partial.value == pytest.approx(0.209 * 1013 * 10 / 11.25)


def test_unknown_pressure_is_doubtful_but_partial_pressure_is_not() -> None:
    """Percent hangs on the pressure, what the cell really measures does not."""
    percent, partial = _poll(1440, {})
    assert (percent.reason, partial.quality) == (NO_PRESSURE, "good")


def test_span_without_pressure() -> None:
    """Both are doubtful: sea level stands in for the pressure of that day."""
    made = part.make({"air_mv": 11.25})
    percent, partial = play(made.poll(), _script(1440))
    assert percent.reason == partial.reason == NO_SPAN_PRESSURE


def test_never_spanned() -> None:
    """Millivolts alone mean nothing; they can still be read for the span."""
    made = part.make({})
    with pytest.raises(NotMeasuredError, match=r"11\.25 mV, but was never calibrated"):
        play(made.poll(), _script(1440))
    assert play(made.read_mv(), _script(1440)) == 11.25


@pytest.mark.parametrize("counts", [0, 25, -1440])
def test_dead_cell(counts: int) -> None:
    """Under 0.2 mV a cell is dead, reversed or loose: never shown as 0 % oxygen."""
    with pytest.raises(CellDeadError, match="dead or reversed"):
        _poll(counts, {})


def test_just_alive() -> None:
    """26 counts are 0.203 mV: 0.38 %, which must be shown and ring."""
    assert _poll(26, {"pressure_hpa": 1013.0})[0].value == pytest.approx(
        0.377, abs=0.01
    )


def test_floating_input() -> None:
    """A loose wire drifts to the end of the scale."""
    with pytest.raises(OutOfRangeError, match="a wire is open"):
        _poll(32767, {})


def test_zero_and_slope() -> None:
    """Zero is taken off span and signal; a slope of 0.2 % a kelvin off the signal."""
    told = {"pressure_hpa": 1013.0, "temp_c": 0.0}
    with_zero = _poll(1280, told, zero_mv=0.2)
    assert with_zero[0].value == pytest.approx(20.9 * 9.8 / 11.05)
    cold = _poll(1280, told, slope_pct_per_k=0.2, air_temp_c=20.0)
    assert cold[0].value == pytest.approx(20.9 * 10 / 11.25 / 0.96)
    unknown = _poll(1280, {"pressure_hpa": 1013.0}, slope_pct_per_k=0.2)
    assert unknown[0].value == pytest.approx(20.9 * 10 / 11.25)


def test_slope_ends_with_the_range() -> None:
    """Spanned at -40 °C with -1 % a kelvin, 60 °C divided by 0: 70 K are the most."""
    told = {"pressure_hpa": 1013.0, "temp_c": 60.0}
    hot = _poll(1280, told, slope_pct_per_k=-1.0, air_temp_c=-40.0)
    assert hot[0].value == pytest.approx(20.9 * 10 / 11.25 / 0.3)
    assert hot[0].quality == "outside-range"


def test_too_cold() -> None:
    """Below -20 °C the maker promises nothing, of either value."""
    found = _poll(1440, {"pressure_hpa": 1013.0, "temp_c": -21.0})
    assert {s.quality for s in found} == {"outside-range"}


def test_setup_and_other_inputs() -> None:
    """Inputs 2 and 3 are another setting of the converter (b503 at 2.048 V: bb03)."""
    made = part.make(SPANNED | {"pins": "2-3"})
    thresholds = [
        (Transfer(b"\x02", 2), b"\x80\x00"),
        (Transfer(b"\x03", 2), b"\x7f\xff"),
    ]
    play(made.setup(), thresholds)
    play(made.poll(), _script(1440, "bb03"))


STEADY = [11.2, 11.21, 11.19, 11.2, 11.2]


def test_span() -> None:
    """Steady readings give their mean."""
    assert part.SIGNAL.span(STEADY) == pytest.approx(11.2)
    assert part.SIGNAL.span(STEADY, first_mv=15.9) == pytest.approx(11.2)


@pytest.mark.parametrize(
    ("readings", "first", "words"),
    [
        (STEADY[:4], None, "4 readings are too few"),
        ([6.9] * 5, None, "6.90 mV in air, outside 7 to 70 mV"),
        ([70.1] * 5, None, "outside 7 to 70"),
        ([11.0, 11.2, 11.0, 11.0, 11.0], None, "run from 11.000 to 11.200 mV"),
        (STEADY, 16.1, "less than 70% of its first 16.10 mV"),
    ],
)
def test_span_refusals(readings: list[float], first: float | None, words: str) -> None:
    """Too few, outside 7 to 70 mV, unsteady, or under 70 % of the first: refused."""
    with pytest.raises(CalibrationError, match=words):
        part.SIGNAL.span(readings, first)


@pytest.mark.parametrize("new_mv", [9.0, 13.0, 16.0, 47.0, 65.0])
def test_d3_any_makers_cell_is_spanned_and_worn_by_its_own_first_span(
    new_mv: float,
) -> None:
    """Cells above 14 mV were refused; what is worn for one is new for another."""
    assert part.SIGNAL.span([new_mv] * 5) == pytest.approx(new_mv)
    counts = round(new_mv / 256 * 32768)
    oxygen = _poll(counts, {"pressure_hpa": 1013.0}, air_mv=new_mv)[0]
    assert (oxygen.value, oxygen.quality) == (pytest.approx(20.9, abs=0.03), "good")
    with pytest.raises(CalibrationError, match=r"less than 70% of its first|outside 7"):
        part.SIGNAL.span([0.69 * new_mv] * 5, first_mv=new_mv)


@MODEST
@given(st.lists(st.floats(-100, 100), max_size=8), st.none() | st.floats(0, 20))
def test_span_is_total_and_in_bounds(
    readings: list[float], first: float | None
) -> None:
    """A span that is taken lies within the maker's bounds, whatever was read."""
    try:
        taken = part.SIGNAL.span(readings, first)
    except CalibrationError:
        return
    assert 7.0 <= taken <= 70.0
    assert first is None or taken >= 0.7 * first
