"""From a cell's signal to percent: pressure is corrected, and its lack is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers.kit.air_span import (
    NO_PRESSURE,
    NO_SPAN_PRESSURE,
    AirSpan,
    leaves_out,
    o2_samples,
    span_of,
)
from cabinvigil.drivers.kit.conditions import Conditions
from tests.wire import MODEST

SPAN = AirSpan(signal=11.25, hpa=1013.0)
NONE_TOLD = Conditions((-20, 50))
PRESSURES = st.floats(500, 1100)


def test_pressure_is_corrected() -> None:
    """10 mV at 900 hPa are 20.91 %, by hand: 20.9 x 10/11.25 x 1013/900."""
    assert SPAN.percent(10.0, 900.0)[0] == pytest.approx(20.91, abs=0.005)


def test_uncorrected_reads_low_and_is_doubtful() -> None:
    """Without a pressure now the same signal reads 18.578 %, and says why."""
    percent, quality, reason = SPAN.percent(10.0, None)
    assert percent == pytest.approx(18.578, abs=0.001)
    assert (quality, reason) == ("outside-range", NO_PRESSURE)


def test_span_without_pressure_is_doubtful() -> None:
    """A span whose pressure was not kept cannot be corrected."""
    assert AirSpan(11.25, None).percent(11.25, 900.0) == (
        20.9,
        "outside-range",
        NO_SPAN_PRESSURE,
    )
    assert AirSpan(11.25, None).partial_hpa(11.25) == (
        pytest.approx(0.209 * 1013.25),
        "outside-range",
        NO_SPAN_PRESSURE,
    )


@MODEST
@given(PRESSURES, PRESSURES)
def test_fresh_air_is_fresh_at_any_pressure(then: float, now: float) -> None:
    """A signal that goes with pressure gives the same percent at any pressure."""
    percent, quality, _ = AirSpan(11.25, then).percent(11.25 * now / then, now)
    assert percent == pytest.approx(20.9)
    assert quality == "good"


@MODEST
@given(st.floats(1, 20), PRESSURES)
def test_partial_pressure_agrees_with_percent(signal: float, now: float) -> None:
    """Partial pressure is percent of the pressure now."""
    percent = SPAN.percent(signal, now)[0]
    partial, quality, _ = SPAN.partial_hpa(signal)
    assert partial == pytest.approx(percent / 100 * now)
    assert quality == "good"


def test_air_outside_range_outweighs() -> None:
    """Where the part itself may be blind, that is told before a missing pressure."""
    air = Conditions((-20, 50))
    assert [one.reason for one in o2_samples(SPAN, 11.25, air)] == [NO_PRESSURE, ""]
    air.inform("temp_c", -25.0)
    assert all("below -20" in one.reason for one in o2_samples(SPAN, 11.25, air))


def test_options() -> None:
    """The span's air comes from the options, within bounds."""
    assert span_of({"air_hpa": 940, "air_o2_pct": 20.7}, 11.0) == AirSpan(11, 940, 20.7)
    assert span_of({}, 11.0) == AirSpan(11, None, 20.9)
    with pytest.raises(ValueError, match="air_hpa"):
        span_of({"air_hpa": 94}, 11.0)


CAPILLARY = {"barrier": "capillary", "air_hpa": 1013.0}


@MODEST
@given(PRESSURES)
def test_a_share_is_not_corrected_by_pressure(now: float) -> None:
    """Behind a capillary the same signal is the same share at any pressure."""
    air = Conditions((-20, 50))
    air.inform("pressure_hpa", now)
    span = span_of(CAPILLARY, 11.25)
    (only,) = o2_samples(span, 10.0, air)
    assert (only.quantity, only.quality) == ("o2_pct", "good")
    assert only.value == pytest.approx(20.9 * 10.0 / 11.25)


def test_a_share_needs_no_pressure() -> None:
    """Nor the pressure of its span."""
    (only,) = o2_samples(span_of({"barrier": "capillary"}, 11.25), 11.25, NONE_TOLD)
    assert (only.value, only.quality) == (20.9, "good")


def test_the_barrier_is_one_of_two() -> None:
    """Another word is refused, and leaves nothing out before it is."""
    assert leaves_out(CAPILLARY) == {"o2_hpa"}
    assert leaves_out({}) == leaves_out({"barrier": "membrane"}) == frozenset()
    with pytest.raises(ValueError, match="barrier: 'foil' is none of membrane, cap"):
        span_of({"barrier": "foil"}, 11.25)
    assert leaves_out({"barrier": "foil"}) == frozenset()
