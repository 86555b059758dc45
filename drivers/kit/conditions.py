"""The air around a part, as others tell it, and whether the part is made for it."""

import math

from cabinvigil.drivers.kit.steps import Quality

PRESSURE_HPA = (300.0, 1100.0)
"""As `QUANTITIES` has it for air pressure."""


def is_pressure(quantity: str, value: float) -> bool:
    """Return whether this is an air pressure that can be used."""
    return quantity == "pressure_hpa" and PRESSURE_HPA[0] <= value <= PRESSURE_HPA[1]


class Conditions:
    """Remembers temperature, humidity and air pressure, as other parts told them."""

    def __init__(
        self,
        range_c: tuple[float, float],
        range_rh_pct: tuple[float, float] = (-math.inf, math.inf),
    ) -> None:
        self._ranges = {"temp_c": range_c, "rh_pct": range_rh_pct}
        self._values: dict[str, float] = {}

    def inform(self, quantity: str, value: float) -> None:
        """Take another part's value; what is not of use is passed over.

        NaN says that nobody gives it any more: a pressure of hours ago is none.
        """
        if math.isnan(value):
            self._values.pop(quantity, None)
        elif is_pressure(quantity, value) or (
            quantity in self._ranges and math.isfinite(value)
        ):
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
