"""Numbers as people read them, each with the digits that matter; pure."""

from collections.abc import Callable, Sequence

SET_APART_FROM = 10_000.0
"""Four digits are read at a glance, and stay together (common practice)."""


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


def compact(value: float, decimal: str = ".") -> str:
    """Write a number with three digits or so, and no zeros behind the decimal sign."""
    size = abs(value)
    decimals = 0 if size >= 100.0 else 1 if size >= 10.0 else 2
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return ("0" if text == "-0" else text).replace(".", decimal)


def signal(value: float) -> str:
    """Write what a part gives: whole from 100 on, else to the hundredth."""
    return f"{value:z.{0 if abs(value) >= 100.0 else 2}f}"


def grouped(value: float, decimals: int = 0, separator: str = " ") -> str:
    """Write a number with its thousands set apart, by a space from five digits on."""
    text = f"{value:z,.{decimals}f}"
    few = separator != "," and abs(round(value, decimals)) < SET_APART_FROM
    return text.replace(",", "" if few else separator)


def or_never(value: float | None, decimals: int = 0, separator: str = " ") -> str:
    """Write a number that may never be reached, as `grouped` does."""
    return "never" if value is None else grouped(value, decimals, separator)


def bracketed(middle: str, low: str, high: str) -> str:
    """Put beside a figure, in brackets, what it lies between."""
    return f"{middle} ({low} to {high})"


def span(low: str, high: str) -> str:
    """Write from where to where a value lies; by its end, where that is from 0."""
    if low == high:
        return high
    return f"{low} to {high}" if low.strip("0.") else f"at most {high}"


Writer = Callable[[float], str]


def with_points(triple: Sequence[float | None], write: Writer) -> str:
    """Write a middle with its 5 and 95 % points, or those alone where it is None."""
    low, middle, high = triple
    if low is None or high is None:
        return "not known"
    ends = write(low), write(high)
    if middle is not None:
        return bracketed(write(middle), *ends)
    told = span(*ends)
    return "between {} and {}".format(*ends) if " to " in told else told


def brief(triple: Sequence[float | None], write: Writer) -> str:
    """Write a middle alone, or from where to where it may lie where it is None."""
    low, middle, high = triple
    if low is None or high is None:
        return "not known"
    return span(write(low), write(high)) if middle is None else write(middle)


def spread(triple: Sequence[float | None], digits: int = 2) -> str:
    """Write a middle with its 5 and 95 % points, to so many digits that matter."""
    return with_points(triple, lambda value: figure(value, digits))


def fixed(triple: Sequence[float | None], decimals: int) -> str:
    """Write a middle with its 5 and 95 % points, all to so many decimals."""
    return with_points(triple, lambda value: f"{value:z.{decimals}f}")


def valued(quantity: str, value: float, separator: str = " ") -> str:
    """Write a value of a quantity with its unit, a temperature in degrees Celsius.

    Args:
        quantity: as its key is called.
        value: in its unit.
        separator: between thousands, as of `grouped`.
    """
    if quantity in ("o2_pct", "cohb_pct"):
        return f"{value:z.1f} %"
    if quantity.endswith("_ppm"):
        return f"{grouped(value, 0, separator)} ppm"
    if quantity == "temp_c":
        return f"{value:z.0f} °C"
    if quantity == "gas_lel_pct":
        return f"{value:z.0f} % LEL"
    if quantity.endswith("_ugm3"):
        return f"{value:z.0f} µg/m³"
    if quantity == "rh_pct":
        return f"{value:z.0f} %"
    return figure(value)
