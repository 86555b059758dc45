"""The amplified oxygen cell: volts in place of millivolts, and an amplifier's ends."""

from typing import Any

import pytest

from cabinvigil.drivers import o2_amplified_ads1115 as part
from cabinvigil.drivers.kit.ads1115 import CONVERT_S
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CellDeadError,
    NotMeasuredError,
    OutOfRangeError,
    Transfer,
)
from tests.wire import Line, play

SPANNED = {"air_mv": 2000.0, "air_hpa": 1013.0}


def _script(mv: float, config: str = "8303") -> list[Line]:
    counts = round(mv / 0.125)
    once: list[Line] = [
        (Transfer(b"\x01" + bytes.fromhex(config), 0, CONVERT_S), b""),
        (Transfer(b"\x01", 2), bytes.fromhex(config)),
        (Transfer(b"\x00", 2), counts.to_bytes(2, "big", signed=True)),
    ]
    return once * 3


def _poll(mv: float, hpa: float | None = 1013.0, **options: Any) -> list[Any]:
    made = part.make(SPANNED | options)
    if hpa is not None:
        made.inform("pressure_hpa", hpa)
    return play(made.poll(), _script(mv))


def test_half_its_signal_is_half_the_oxygen() -> None:
    """1 V where 2 V are 20.9 %: 10.45 %, and 105.9 hPa, by hand."""
    percent, partial = _poll(1000.0)
    assert (percent.quantity, percent.quality) == ("o2_pct", "good")
    assert percent.value == pytest.approx(10.45)
    assert partial.value == pytest.approx(0.209 * 1013 / 2)


def test_height_is_corrected_and_doubt_told() -> None:
    """A cell behind an amplifier gives partial pressure as a bare one does."""
    assert _poll(2000.0, 795.0)[0].value == pytest.approx(20.9 * 1013 / 795)
    assert _poll(2000.0, None)[0].quality == "outside-range"
    assert len(_poll(2000.0, barrier="capillary")) == 1


@pytest.mark.parametrize("mv", [0.0, 19.9, -5.0])
def test_an_amplifier_without_its_cell(mv: float) -> None:
    """Some millivolts of offset are no 0.2 % of oxygen."""
    with pytest.raises(CellDeadError, match="under 20 mV"):
        _poll(mv)


def test_just_alive() -> None:
    """20 mV of 2 V are a fifth of a percent, which must be shown and ring."""
    assert _poll(20.0)[0].value == pytest.approx(0.209)


@pytest.mark.parametrize("mv", [2600.125, 3300.0])
def test_an_amplifier_at_its_end(mv: float) -> None:
    """Above what 25 % give it stands at its supply, and no air is so rich."""
    with pytest.raises(OutOfRangeError, match="more than 2600: a wire touches power"):
        _poll(mv)


def test_up_to_its_end() -> None:
    """2.6 V are still a reading; that no air holds 27 % is the rules' matter."""
    assert _poll(2600.0)[0].value == pytest.approx(27.17)


def test_never_spanned() -> None:
    """Its gain is its maker's own: nothing is known before the first span."""
    with pytest.raises(
        NotMeasuredError, match=r"2000\.00 mV, but was never calibrated"
    ):
        play(part.make({}).poll(), _script(2000.0))


@pytest.mark.parametrize(
    ("readings", "first", "words"),
    [
        ([299.0] * 5, None, "outside 300 to 2450 mV"),
        ([2451.0] * 5, None, "outside 300 to 2450 mV"),
        ([1000.0] * 5, 1450.0, "less than 70%"),
    ],
)
def test_span_refusals(readings: list[float], first: float | None, words: str) -> None:
    """Boards from 100 % to 25 % at their end; worn by its own first span."""
    with pytest.raises(CalibrationError, match=words):
        part.SIGNAL.span(readings, first)


@pytest.mark.parametrize("mv", [300.0, 1000.0, 2450.0])
def test_span(mv: float) -> None:
    """Steady readings within what such boards give."""
    assert part.SIGNAL.span([mv] * 5) == mv


def test_a_lone_input_and_zero() -> None:
    """AIN2 against ground at 4.096 V is e303; an amplifier's offset is taken off."""
    made = part.make(SPANNED | {"pins": "2", "zero_mv": 50.0})
    made.inform("pressure_hpa", 1013.0)
    found = play(made.poll(), _script(1000.0, "e303"))
    assert found[0].value == pytest.approx(20.9 * 950 / 1950)
