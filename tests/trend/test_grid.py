"""One step of the equation against a numerical integration."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cabinvigil.daemon.trend.grid import make_grid, step_coefficients


@settings(max_examples=25, derandomize=True)
@given(
    k_per_h=st.floats(0.1, 20.0),
    lag_s=st.floats(2.0, 120.0),
    c=st.floats(0.0, 2e4),
    s=st.floats(0.0, 25.0),
    z=st.floats(0.0, 2e4),
)
def test_a_step_solves_the_equation(
    k_per_h: float, lag_s: float, c: float, s: float, z: float
) -> None:
    """dc/dt = s - k c and dz/dt = (c - z)/lag, as scipy integrates them."""
    k = k_per_h / 3600.0
    e, b, g_c, g_s, f = step_coefficients(k, lag_s, 10.0)
    found = solve_ivp(
        lambda _, y: (s - k * y[0], (y[0] - y[1]) / lag_s),
        (0.0, 10.0),
        (c, z),
        rtol=1e-9,
        atol=1e-9,
    ).y[:, -1]
    assert e * c + b * s == pytest.approx(found[0], rel=1e-5, abs=1e-3)
    assert g_c * c + g_s * s + f * z == pytest.approx(found[1], rel=1e-4, abs=0.05)


def test_lag_equal_to_ventilation_is_no_pole() -> None:
    """k = 1/lag makes the two exponentials meet; the step stays finite and right."""
    at = step_coefficients(1.0 / 180.0, 180.0, 10.0)
    beside = step_coefficients(1.0 / 180.0, 181.0, 10.0)
    assert at == pytest.approx(beside, rel=0.02)


def test_no_lag_shows_the_air() -> None:
    """A part without lag shows what the air is."""
    e, b, g_c, g_s, f = step_coefficients(1e-3, 0.0, 10.0)
    assert (g_c, g_s, f) == (e, b, 0.0)


def test_the_hypotheses_span_a_cabin() -> None:
    """From sealed (0.1 an hour) to wide open (20), evenly in the logarithm."""
    grid = make_grid(10.0, (30.0, 60.0))
    assert grid.k_per_s[0] * 3600.0 == pytest.approx(0.1)
    assert grid.k_per_s[-1] * 3600.0 == pytest.approx(20.0)
    assert len(grid.coefficients) == 2 * len(grid.k_per_s)
    assert grid.spacing == pytest.approx(math.log(200.0) / 9.0)
