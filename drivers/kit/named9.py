"""Nine-byte answers that name their gas and decimals, on I2C or a serial line.

Sources: the maker's own public driver, Python and C++ (commit 1b2dc48e), and a second
public one in C that follows it: `ff 86`, value, gas, decimals, two bytes that are no
matter here, sum.  Its data sheet was not found; figures by its maker's page, or from
memory.  By both drivers the sum leaves the eighth byte out, so that byte is not used.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.co_cold import relative_sensitivity
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.crc import complement8
from cabinvigil.drivers.kit.frame9 import (
    MOST_DECIMALS,
    READ,
    SIZE,
    START,
    sound,
)
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    LengthError,
    Sample,
    ShortError,
    WrongPartError,
)

SET_MODE = 0x78
QUESTION = 0x04
"""Behind `SET_MODE`: answer when asked.  03 is to send by itself, which is not used."""
CO = 0x04
GASES: Mapping[int, str] = {
    0x02: "ammonia",
    0x03: "hydrogen sulphide",
    0x05: "oxygen",
    0x06: "hydrogen",
    0x2A: "ozone",
    0x2B: "sulphur dioxide",
    0x2C: "nitrogen dioxide",
    0x2E: "hydrogen chloride",
    0x31: "chlorine",
    0x33: "hydrogen fluoride",
    0x45: "phosphine",
}
"""Probes of other gases, which fit the same board (both drivers' tables)."""
FULL_SCALE_PPM = 1000.0
"""Of the CO probe, by its maker's page as public examples quote it."""
STEP_PPM = 1.0
"""The same; an answer names its decimals, but what is known beforehand is this."""
STEPS_PPM = (0.01, 10.0)
MOST_ZERO_PPM = 10.0
"""A larger reading in fresh air is a gassed or worn cell, not a zero (own limit)."""
RANGE_C = (-20.0, 50.0)
RANGE_RH_PCT = (15.0, 90.0)
"""From memory."""
WARM_UP_S = 300.0
"""More than five minutes when powered for the first time (the maker's page)."""
SERVICE_YEARS = 2.0
"""Up to two years (the maker's page)."""

OPTIONS = {
    "answer_ppm": "ppm of one count, which its replies name too (1)",
    "full_scale_ppm": "end of the range (1000)",
    "zero_ppm": "what it shows in fresh air, taken off (-10 to 10; 0)",
}


def check(frame: bytes) -> None:
    """Check size, start and sum of a frame.

    The sum of another family takes the eighth byte in: such a frame passes unless it
    says that it is an answer, so that it is told as another part and not as garbled.

    Raises:
        ShortError, LengthError: it has not nine bytes.
        FramingError: it does not begin with ff.
        CrcError: the sum of bytes two to seven does not fit.
    """
    if len(frame) < SIZE:
        raise ShortError(f"{len(frame)} bytes came where a frame has {SIZE}")
    if len(frame) > SIZE:
        raise LengthError(f"{len(frame)} bytes came where a frame has {SIZE}")
    if frame[0] != START:
        raise FramingError(f"the frame begins with {frame[0]:02x}, not ff")
    wanted = complement8(frame[1:7])
    is_of_others = frame[1] != READ and frame[8] == complement8(frame[1:8])
    if frame[8] != wanted and not is_of_others:
        raise CrcError(f"the checksum is {frame[8]:02x}, its bytes give {wanted:02x}")


@dataclass(frozen=True, slots=True)
class NamedAnswer:
    """What an answer says."""

    gas: int
    counts: int
    step_ppm: float
    """The smallest step of the value, by its decimals."""


def decode(frame: bytes) -> NamedAnswer:
    """Decode an answer to `READ`.

    Raises:
        DriverError: see `check`; WrongPartError for an answer to something else,
            FramingError for impossible decimals.
    """
    check(frame)
    if frame[1] != READ:
        raise WrongPartError(
            f"the frame's second byte is {frame[1]:02x}, a reply has {READ:02x}"
        )
    if frame[5] > MOST_DECIMALS:
        raise FramingError(f"the frame claims {frame[5]} decimals")
    counts = int.from_bytes(frame[2:4], "big")
    return NamedAnswer(frame[4], counts, 1 / 10 ** frame[5])


def expect_co(answer: NamedAnswer) -> None:
    """Check that an answer is of carbon monoxide.

    Raises:
        WrongPartError: its probe is for another gas, or none is named.
    """
    if answer.gas != CO:
        words = GASES.get(answer.gas, "no gas that is known here")
        raise WrongPartError(
            f"the reply's gas code is {answer.gas:02x}, {words}; CO has {CO:02x}"
        )


class NamedCo:
    """Judges the answers of one module: its zero, the cold, the end of its range."""

    def __init__(self, full_scale_ppm: float, zero_ppm: float) -> None:
        """Take the end of its range, and what it shows in fresh air."""
        self._full_scale_ppm, self._zero_ppm = full_scale_ppm, zero_ppm
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._has_thermometer = False

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity, to tell where the module may be blind."""
        self._air.inform(quantity, value)
        self._has_thermometer = self._has_thermometer or quantity == "temp_c"

    def samples(self, frame: bytes) -> list[Sample]:
        """Turn an answer into CO; a negative rest stays to be seen.

        Raises:
            DriverError: see `decode` and `expect_co`; CellDeadError where it says
                that its cell has failed.
        """
        answer = decode(frame)
        expect_co(answer)
        step_ppm = answer.step_ppm
        shown_ppm = sound(answer.counts, self._full_scale_ppm / step_ppm) * step_ppm
        ppm = (shown_ppm - self._zero_ppm) / self._sensitivity()
        if shown_ppm >= self._full_scale_ppm:
            return [Sample("co_ppm", ppm, "at-least", "the module is at full scale")]
        return [Sample("co_ppm", ppm, *self._air.quality())]

    def _sensitivity(self) -> float:
        """Return its sensitivity, of that at 20 °C.

        A thermometer that died leaves the cold factor, which sounds early; where there
        never was one, what the module says stands.
        """
        if not self._has_thermometer:
            return 1.0
        return relative_sensitivity(self._air.get("temp_c"))


def judge_of(options: Mapping[str, Any]) -> NamedCo:
    """Make the judge from the config's options.

    Raises:
        ValueError: an option is out of bounds.
    """
    steps(options)
    most = MOST_ZERO_PPM
    return NamedCo(
        opt.number(options, "full_scale_ppm", FULL_SCALE_PPM, 100.0, 5000.0),
        opt.number(options, "zero_ppm", 0.0, -most, most),
    )


def steps(options: Mapping[str, Any]) -> Mapping[str, float]:
    """Return what one count stands for, by the options.

    Raises:
        ValueError: it is out of bounds.
    """
    return {"co_ppm": opt.number(options, "answer_ppm", STEP_PPM, *STEPS_PPM)}
