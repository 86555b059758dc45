"""ADS1115: the 16-bit converter that reads bare gas cells, on I2C.

Sources: TI ADS1115 data sheet SBAS444 (register map, section 8), as gathered in the
project's sensor notes, section 7.  The part has no checksum: the setting is read back
with every conversion, and the middle one of three conversions is taken.
"""

from collections.abc import Generator, Mapping
from dataclasses import dataclass
from statistics import median_low
from typing import Any

from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import (
    check_identity,
    check_settings,
    read,
    signed16,
    sized,
)
from cabinvigil.drivers.kit.steps import NotReadyError, OutOfRangeError, Setup, Transfer

CONVERSION = 0x00
CONFIG = 0x01
LOW_THRESHOLD = 0x02
HIGH_THRESHOLD = 0x03
THRESHOLDS = {LOW_THRESHOLD: b"\x80\x00", HIGH_THRESHOLD: b"\x7f\xff"}
"""Values after power-up (unverified); nothing here writes them, so they serve to tell
the part, which has no identity register."""

START = 0x8000
"""Written: start a conversion.  Read: 1 when it is done (register map)."""
SINGLE_SHOT = 0x0100
RATE_8_SPS = 0x0000
COMPARATOR_OFF = 0x0003
MULTIPLEXER = {"0-1": 0, "0-3": 1, "1-3": 2, "2-3": 3, "0": 4, "1": 5, "2": 6, "3": 7}
"""Inputs, positive minus negative; a lone one is against ground (register map)."""
GAIN = {6144: 0, 4096: 1, 2048: 2, 1024: 3, 512: 4, 256: 5}
"""Full scale in mV and its code (register map)."""
CONVERT_S = 0.150
"""At 8 a second the part's own clock may be a tenth slow, which makes 138.9 ms and not
137.5 (SBAS444: data rate within 10 %); the rest is for waking up (own margin)."""
CONVERSIONS = 3
CLIPPED_HIGH = 0x7FFF
CLIPPED_LOW = -0x8000

Counts = Generator[Transfer, bytes, int]
Millivolts = Generator[Transfer, bytes, float]
ADDRESSES = (0x48, 0x49, 0x4A, 0x4B)


def inputs(options: Mapping[str, Any]) -> frozenset[str]:
    """Return the inputs that a part's options name; `make` tells of wrong ones."""
    return frozenset(str(options.get("pins", "0-1")).split("-"))


@dataclass(frozen=True, slots=True)
class Input:
    """Which pins are read, and how wide."""

    pins: str
    full_scale_mv: int

    @property
    def config(self) -> bytes:
        """The setting that starts one slow conversion of this input."""
        word = START | SINGLE_SHOT | RATE_8_SPS | COMPARATOR_OFF
        word |= MULTIPLEXER[self.pins] << 12 | GAIN[self.full_scale_mv] << 9
        return word.to_bytes(2, "big")

    @property
    def running(self) -> bytes:
        """How that setting reads while the conversion runs."""
        return (int.from_bytes(self.config) & ~START).to_bytes(2, "big")

    def millivolts(self, counts: int) -> float:
        """Return the voltage of a result."""
        return counts * self.full_scale_mv / 32768


def decode(reply: bytes) -> int:
    """Decode a conversion result in counts.

    Raises:
        ShortError, LengthError: not two bytes.
    """
    return signed16(sized(reply, 2, "conversion register"))


def check_part() -> Setup:
    """See that the part at the address is this one.

    Raises:
        WrongPartError: its threshold registers hold something else.
        ShortError, LengthError: an answer has another size.
    """
    for register, want in THRESHOLDS.items():
        got = yield from read(register, 2, f"threshold register {register}")
        check_identity(got, want, f"threshold register {register}")


def convert(source: Input) -> Counts:
    """Make three conversions and return the middle one, in counts.

    One flipped bit in three readings is so outvoted.

    Raises:
        NotReadyError: a conversion still runs.
        NotMeasuredError: the setting is not the one written: reset, line dead, or
            another user of the same converter came between.
        ShortError, LengthError: an answer has another size.
    """
    results = []
    for _ in range(CONVERSIONS):
        yield Transfer(bytes([CONFIG]) + source.config, 0, CONVERT_S)
        config = yield from read(CONFIG, 2, "config register")
        if config == source.running:
            raise NotReadyError("the conversion still runs")
        check_settings(config, source.config, "config register")
        results.append(decode((yield from read(CONVERSION, 2, "conversion register"))))
    return median_low(results)


def floating(counts: int) -> None:
    """Refuse a result at either end of the scale.

    Raises:
        OutOfRangeError: no cell gives that much: a wire is open or shorted to supply.
    """
    if counts in (CLIPPED_HIGH, CLIPPED_LOW):
        raise OutOfRangeError(
            "the converter is at the end of its scale: a wire is open or touches the "
            "power supply"
        )


def identify() -> Identify:
    """Return whether an ADS1115 answers; which cell depends on it cannot be told."""
    for register, want in THRESHOLDS.items():
        got = yield Transfer(bytes([register]), 2)
        if got != want:
            return False
    return True
