"""The air around a part: whether it lies outside what the part's maker specifies."""

import math

from cabinvigil.drivers.kit.steps import Quality


class Conditions:
    """Remembers temperature and humidity at a part, as other parts told them."""

    def __init__(
        self,
        range_c: tuple[float, float],
        range_rh_pct: tuple[float, float] = (-math.inf, math.inf),
    ) -> None:
        self._ranges = {"temp_c": range_c, "rh_pct": range_rh_pct}
        self._values: dict[str, float] = {}

    def inform(self, quantity: str, value: float) -> None:
        """Take another part's value; what is not of use is passed over."""
        if quantity in self._ranges and math.isfinite(value):
            self._values[quantity] = value

    def get(self, quantity: str) -> float | None:
        """Return the value last told; None where none was."""
        return self._values.get(quantity)

    def quality(self) -> tuple[Quality, str]:
        """Return the quality that these conditions leave, and why it is not good."""
        for quantity, unit in (("temp_c", "°C"), ("rh_pct", "% humidity")):
            value = self._values.get(quantity)
            if value is None:
                continue
            low, high = self._ranges[quantity]
            if not low <= value <= high:
                limit = f"below {low:g}" if value < low else f"above {high:g}"
                return "outside-range", (
                    f"at {value:.1f} {unit} it is {limit}, where its maker promises "
                    "nothing"
                )
        return "good", ""
