"""Numbers as people read them, each with the digits that matter."""

from collections.abc import Sequence


def figure(value: float, digits: int = 2) -> str:
    """Write a number with so many digits that matter, and never in powers."""
    if value == 0.0:
        return "0"
    size = abs(value)
    decimals = 0
    while size < 10.0 ** (digits - 1) and decimals < digits + 1:
        size, decimals = size * 10.0, decimals + 1
    text = f"{value:.{decimals}f}"
    return "0" if float(text) == 0.0 else text


def spread(triple: Sequence[float | None], digits: int = 2) -> str:
    """Write a middle with its 5 and 95 % points."""
    low, middle, high = triple
    if low is None or middle is None or high is None:
        return "not known"
    return f"{figure(middle, digits)} ({figure(low, digits)} to {figure(high, digits)})"


def fixed(triple: Sequence[float], decimals: int) -> str:
    """Write a middle with its 5 and 95 % points, all to so many decimals."""
    low, middle, high = (f"{one:z.{decimals}f}" for one in triple)
    return f"{middle} ({low} to {high})"


def valued(quantity: str, value: float) -> str:
    """Write a value of a quantity with its unit."""
    if quantity in ("o2_pct", "cohb_pct"):
        return f"{value:.1f} %"
    if quantity.endswith("_ppm"):
        return f"{value:.0f} ppm"
    if quantity == "temp_c":
        return f"{value:z.0f} °C"
    if quantity == "gas_lel_pct":
        return f"{value:.0f} % LEL"
    if quantity.endswith("_ugm3"):
        return f"{value:.0f} µg/m³"
    if quantity == "rh_pct":
        return f"{value:.0f} %"
    return figure(value)


def minutes(value: float) -> str:
    """Write minutes, as hours where they are many."""
    if value < 90.0:
        return f"{value:.0f} min"
    return f"{value / 60.0:.1f} h"
