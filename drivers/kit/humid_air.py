"""What the humidity sensors of one maker share: one scale of temperature, one judge."""

from cabinvigil.drivers.kit.steps import OutOfRangeError, Sample

RANGE_C = (-40.0, 125.0)
"""What SHT3x and SHT4x can measure (data sheets, cover)."""
STEP_C = 175 / 65535


def temperature_c(word: int) -> float:
    """Return the temperature that a word stands for (data sheets, conversion)."""
    return -45.0 + 175.0 * word / 65535


def temp_sample(temp_c: float) -> Sample:
    """Judge a temperature.

    Raises:
        OutOfRangeError: one that the part cannot measure.
    """
    low, high = RANGE_C
    if not low <= temp_c <= high:
        raise OutOfRangeError(
            f"it reports {temp_c:.1f} °C, outside {low:g} to {high:g} °C"
        )
    return Sample("temp_c", temp_c)
