"""Unburnt gas at both ends of its scale."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.gas_lel import gas_sample, thin_air
from cabinvigil.drivers.kit.quantity import QUANTITIES
from cabinvigil.drivers.kit.steps import OutOfRangeError, Sample
from tests.wire import MODEST

ANY_AIR = Conditions((-50.0, 80.0))
ENDS = QUANTITIES["gas_lel_pct"]


@MODEST
@given(st.floats(-1e6, 1e6))
def test_what_is_told_is_never_refused_as_impossible(pct: float) -> None:
    """A leak of any size is a value that the rules may judge, or a part's fault."""
    if pct < ENDS.low:
        with pytest.raises(OutOfRangeError):
            gas_sample(pct, ANY_AIR)
        return
    found = gas_sample(pct, ANY_AIR)
    assert ENDS.low <= found.value <= ENDS.high
    assert (found.quality == "at-least") is (pct >= ENDS.high)


def test_both_ends() -> None:
    """Each counts from its own number on."""
    assert gas_sample(-2.0, ANY_AIR) == Sample("gas_lel_pct", -2.0)
    with pytest.raises(OutOfRangeError, match=r"reads -2\.1 % LEL"):
        gas_sample(-2.06, ANY_AIR)
    assert gas_sample(99.9, ANY_AIR).quality == "good"
    assert gas_sample(100.0, ANY_AIR).quality == "at-least"
    assert gas_sample(40.0, ANY_AIR, "full") == Sample(
        "gas_lel_pct", 40.0, "at-least", "full"
    )


@pytest.mark.parametrize(
    ("hpa", "share"),
    [(None, 1.0), (1013.25, 1.0), (795.0, 0.7846), (700.0, 0.6908), (388.0, 0.6908)],
)
def test_thin_air(hpa: float | None, share: float) -> None:
    """Of the sea's (ISO 2533), and no further down than 3000 m."""
    assert thin_air(hpa) == pytest.approx(share, abs=1e-4)
