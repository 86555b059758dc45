"""The bare CO cell: a cold cell under-reads, and the correction must ring early."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import co_cell_ads1115 as part
from cabinvigil.drivers.kit.ads1115 import CONVERT_S
from cabinvigil.drivers.kit.co_cold import relative_sensitivity
from cabinvigil.drivers.kit.steps import OutOfRangeError, Sample, Transfer
from tests.wire import MODEST, Line, play

COUNTS_35_PPM = 0x0B7C
"""183.75 mV over 10 kOhm are 18 375 nA: 35 ppm of 525 nA (CO-B4, middle)."""


def _script(counts: int) -> list[Line]:
    once: list[Line] = [
        (Transfer(b"\x01\x85\x03", 0, CONVERT_S), b""),
        (Transfer(b"\x01", 2), b"\x85\x03"),
        (Transfer(b"\x00", 2), counts.to_bytes(2, "big", signed=True)),
    ]
    return once * 3


def _poll(counts: int, temp_c: float | None = 20.0, **options: Any) -> Sample:
    made = part.make(options)
    if temp_c is not None:
        made.inform("temp_c", temp_c)
    (found,) = play(made.poll(), _script(counts))
    return found


def test_at_20_c() -> None:
    """35 ppm, by hand."""
    assert _poll(COUNTS_35_PPM) == Sample("co_ppm", pytest.approx(35.0))


def test_cold_cell_is_corrected() -> None:
    """At -20 °C it gives 57.5 % (middle of 45 to 70): 60.87 ppm, by hand."""
    assert _poll(COUNTS_35_PPM, -20.0).value == pytest.approx(60.87, abs=0.01)
    assert relative_sensitivity(0.0) == pytest.approx(0.7875)


def test_unknown_temperature_takes_the_cold_factor() -> None:
    """Without a temperature the reading is too high, never too low, at 20 °C."""
    assert _poll(COUNTS_35_PPM, None).value == pytest.approx(60.87, abs=0.01)


@MODEST
@given(st.floats(-60, 80))
def test_correction_never_lowers(temp_c: float) -> None:
    """Whatever the temperature, the correction makes no reading smaller."""
    assert 0.4 < relative_sensitivity(temp_c) <= 1.0


def test_beyond_the_range_it_is_blind() -> None:
    """Below -30 °C the factor stays that of the end, and the value is doubtful."""
    assert _poll(COUNTS_35_PPM, -31.0).quality == "outside-range"
    assert relative_sensitivity(-60.0) == relative_sensitivity(-30.0)


def test_dry_air() -> None:
    """Below 15 % humidity the cell dries out."""
    made = part.make({})
    made.inform("rh_pct", 10.0)
    (found,) = play(made.poll(), _script(100))
    assert found.quality == "outside-range"


def test_clipped_is_at_least() -> None:
    """At the converter's end the truth may be more."""
    found = _poll(32767)
    assert (round(found.value, 1), found.quality) == (390.1, "at-least")


def test_negative_end_is_a_fault() -> None:
    """No clean air drives a cell to the negative end."""
    with pytest.raises(OutOfRangeError, match="reversed or a wire open"):
        _poll(-32768)


def test_label_gain_and_zero() -> None:
    """The config's figures are used: 450 nA/ppm, 5 kOhm, a zero of -25 nA."""
    found = _poll(0, gain_ohm=5000, sensitivity_na_per_ppm=450, zero_na=-25)
    assert found.value == pytest.approx(25 / 450)
    assert _poll(-4).value == pytest.approx(-0.0476, abs=1e-4)
    wide = _poll(COUNTS_35_PPM, gain_ohm=5000, sensitivity_na_per_ppm=525)
    assert wide.value == pytest.approx(70.0)


def test_setup() -> None:
    """The converter is told by its thresholds."""
    thresholds: list[Line] = [
        (Transfer(b"\x02", 2), b"\x80\x00"),
        (Transfer(b"\x03", 2), b"\x7f\xff"),
    ]
    play(part.make({}).setup(), thresholds)


def test_a_temperature_not_told_again_is_forgotten() -> None:
    """Five minutes after the thermometer died the cold factor stands, till it is back.

    A value that is none does not bring it back.
    """
    made = part.make({})
    made.inform("temp_c", 20.0)
    found = [play(made.poll(), _script(COUNTS_35_PPM))[0].value for _ in range(61)]
    assert found[:60] == [pytest.approx(35.0)] * 60
    assert found[60] == pytest.approx(60.87, abs=0.01)
    made.inform("temp_c", float("nan"))
    assert play(made.poll(), _script(COUNTS_35_PPM))[0].value > 60
    made.inform("temp_c", 20.0)
    assert play(made.poll(), _script(COUNTS_35_PPM))[0].value == pytest.approx(35.0)
