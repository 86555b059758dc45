"""Three parts on one I2C bus, and the time between their readings."""

from itertools import pairwise

from tests.emulation import Cabin

I2C = {"co2": "scd4x", "air": "sht4x", "baro": "bme280"}


def gaps(cabin: Cabin, name: str, quantity: str) -> list[float]:
    times = [at_s for at_s, _ in cabin.of(name, quantity)]
    return [b - a for a, b in pairwise(times)]
