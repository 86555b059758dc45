"""The oxygen module: partial pressure like any cell, dead at 0 %."""

import pytest

from cabinvigil.drivers import frame9_o2
from cabinvigil.drivers.kit.air_span import NO_PRESSURE, NO_SPAN_PRESSURE
from cabinvigil.drivers.kit.steps import CellDeadError, Sample, WrongPartError


def _upload(tenths: int) -> bytes:
    body = bytes([5, 4, 1, *tenths.to_bytes(2, "big"), 0x00, 0xFA])
    return b"\xff" + body + bytes([-sum(body) & 0xFF])


def test_spanned_at_the_trailers_height() -> None:
    """It showed 19.4 in fresh air at 939 hPa: 19.4 there and then is 20.9 %."""
    part = frame9_o2.make({"air_reading_pct": 19.4, "air_hpa": 939})
    part.inform("pressure_hpa", 939.0)
    assert part.feed(_upload(194)) == [
        Sample("o2_pct", pytest.approx(20.9)),
        Sample("o2_hpa", pytest.approx(0.209 * 939.0)),
    ]
    part.inform("pressure_hpa", 900.0)
    assert part.feed(_upload(186))[0].value == pytest.approx(20.9, abs=0.02)


def test_unspanned_is_doubtful() -> None:
    """Without a span its number stands, but may clear nothing."""
    part = frame9_o2.make({})
    part.inform("pressure_hpa", 939.0)
    assert part.feed(_upload(194)) == [
        Sample("o2_pct", pytest.approx(19.4), "outside-range", NO_SPAN_PRESSURE),
        # As its maker set it, at sea level (ISO 2533).
        Sample(
            "o2_hpa", pytest.approx(196.57, abs=0.01), "outside-range", NO_SPAN_PRESSURE
        ),
    ]
    spanned = frame9_o2.make({"air_hpa": 939})
    assert spanned.feed(_upload(194))[0].reason == NO_PRESSURE


def test_dead_cell() -> None:
    """0 % cannot be told from a dead cell: a fault, never shown as 0 %."""
    with pytest.raises(CellDeadError):
        frame9_o2.make({}).feed(_upload(0))


def test_d2_a_fault_bit_is_a_fault_and_no_oxygen() -> None:
    """32768 counts of 0.1 % are no oxygen; the module says that its cell failed."""
    with pytest.raises(CellDeadError, match="its cell has failed"):
        frame9_o2.make({}).feed(_upload(0x8000 + 209))


def test_full_scale_and_cold() -> None:
    """At its range the truth may be more; below -20 °C nothing is promised."""
    part = frame9_o2.make({"air_hpa": 1013})
    part.inform("pressure_hpa", 1013.0)
    assert part.feed(_upload(250))[0].quality == "at-least"
    part.inform("temp_c", -21.0)
    assert part.feed(_upload(209))[0].quality == "outside-range"


def test_answer_has_the_configured_range() -> None:
    """Answers tell no range: 25 % stands."""
    part = frame9_o2.make({"mode": "question"})
    assert part.feed(bytes.fromhex("ff8600fa0000000080"))[0].quality == "at-least"


def test_co_module_on_the_port() -> None:
    """A CO module's 20.9 ppm must never be read as oxygen."""
    with pytest.raises(WrongPartError, match="one for oxygen sends 05"):
        frame9_o2.make({}).feed(bytes.fromhex("ff040301015e1388fe"))
