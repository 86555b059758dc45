"""What barometers of one maker share: BME280 and BMP280 wholly, BMP390 its limits.

Sources: Bosch Sensortec BME280 data sheet BST-BME280-DS002 (sections beside each
constant), as gathered in the project's sensor notes, section 3.  The BMP280 has the
same registers, but for humidity (BMP280 data sheet BST-BMP280-DS001, unverified, and
two public libraries).
"""

import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import (
    Bytes,
    check_identity,
    check_settings,
    read,
    sized,
)
from cabinvigil.drivers.kit.steps import (
    FramingError,
    Gives,
    NotReadyError,
    OutOfRangeError,
    Sample,
    Setup,
    Transfer,
    WrongPartError,
)

# Registers (memory map, section 5.3).
CALIBRATION = 0x88
BLOCK = struct.Struct("<HhhHhhhhhhhh")
"""T1 to T3 and P1 to P9, low byte first (section 4.2.2, table 16)."""
IDENTITY, LATER_IDENTITY = 0xD0, 0x00
"""Where the two lines have it: BME280 and BMP280, and the later one of the BMP390."""
RESET = 0xE0
CTRL_MEAS = 0xF4
CONFIG = 0xF5

ANSWERS: Mapping[int, Mapping[bytes, tuple[str, str]]] = {
    IDENTITY: {
        b"\x58": ("BMP280", "bmp280"),
        b"\x57": ("BMP280", "bmp280"),
        b"\x56": ("BMP280", "bmp280"),
        b"\x60": ("BME280", "bme280"),
        b"\x61": ("BME680", ""),
    },
    LATER_IDENTITY: {b"\x50": ("BMP388", ""), b"\x60": ("BMP390", "bmp390")},
}
"""By register and answer, the usual one first: which part it is, and its kind here; ''
where none reads it.
They look alike, and are often sold for one another (BMP280 data sheet, section 4.3.1:
58, as ten public drivers have it; 56 and 57 for samples unverified; BMP390 and BMP388
as a public library has them)."""

RESET_WORD = 0xB6
RESET_S = 0.010
"""Start-up takes 2 ms (section 1); with the copying of the calibration, 10 ms (own)."""
FORCED = 0x2D
"""Temperature once, pressure four times, one measurement now (section 5.4.5)."""
ASLEEP = 0x2C
"""What that register holds when the measurement is done and the part sleeps again."""
MODE_BITS = 0x03
NO_FILTER = 0x00
MEASURING = 0x08
"""Status bit while a measurement runs (section 5.4.4)."""
MEASURE_S = 0.020
"""1.25 + 2.3 * (1 + 4 + 1) + 2 * 0.575 = 16.2 ms at the longest, humidity included
(section 9.1, unverified), rounded up."""
SKIPPED_20 = 0x80000
"""Raw value of a quantity that was not measured (unverified, as a public library has
it)."""
RANGE_C = (-40.0, 85.0)
RANGE_HPA = (300.0, 1100.0)
"""What the parts can measure (section 1, table 1; BMP280 and BMP390 likewise, from
memory)."""

GIVES: Mapping[str, Gives] = {
    # Of BME280 and BMP280.  Noise: RMS 1.3 Pa at four times, 0.005 °C (unverified,
    # section 1).  Stuck: computed values change with every raw count; ten minutes at
    # one count is far beyond a live part (own figure).  Jump: 20 hPa/min is a fault, a
    # hatch moves less than 1 hPa (own figure); one slam within a 10 s interval is let
    # through.  Accuracy: 1 hPa and a year's drift of 1 (unverified).
    "pressure_hpa": Gives(0.002, 0.013, 1.0, 600.0, 0.5, accuracy=2.0),
    "temp_c": Gives(0.01, 0.005, 10.0, 600.0, 2.0),
}


@dataclass(frozen=True, slots=True)
class Trim:
    """The part's own constants, named as in the data sheet (section 4.2.2)."""

    t: tuple[int, int, int]
    p: tuple[int, int, int, int, int, int, int, int, int]


def decode_trim(block: bytes) -> Trim:
    """Decode the constants of temperature and pressure.

    Raises:
        ShortError, LengthError: the block has another size.
        OutOfRangeError: constants that no part has, such as those of a dead line.
    """
    sized(block, BLOCK.size, "calibration block")
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = BLOCK.unpack(block)
    if t1 in (0, 0xFFFF) or p1 in (0, 0xFFFF):
        raise OutOfRangeError(
            f"its constants T1 {t1} and P1 {p1} are from no known sensor"
        )
    return Trim((t1, t2, t3), (p1, p2, p3, p4, p5, p6, p7, p8, p9))


def raw_pair(data: bytes) -> tuple[int, int]:
    """Return the raw pressure and temperature of the six bytes f7 to fc."""
    return (
        int.from_bytes(data[0:3], "big") >> 4,
        int.from_bytes(data[3:6], "big") >> 4,
    )


def fine_temperature(raw: int, trim: Trim) -> float:
    """Return the temperature in 1/5120 °C: a parabola in the raw value."""
    t1, t2, t3 = trim.t
    above = raw / 16384 - t1 / 1024
    return above * t2 + (above / 8) ** 2 * t3


def pressure_pa(raw: int, fine: float, trim: Trim) -> float:
    """Return the pressure in Pa, corrected for temperature.

    Raises:
        OutOfRangeError: the constants make the slope zero.
    """
    p1, p2, p3, p4, p5, p6, p7, p8, p9 = trim.p
    t = fine / 2 - 64000
    offset = (t * t * p6 / 32768 + t * p5 * 2) / 4 + p4 * 65536
    slope = (1 + (p3 * t * t / 524288 + p2 * t) / 524288 / 32768) * p1
    if slope == 0:
        raise OutOfRangeError("its constants make no pressure")
    linear = (1048576 - raw - offset / 4096) * 6250 / slope
    return linear + (p9 * linear * linear / 2147483648 + linear * p8 / 32768 + p7) / 16


def within(unit: str, value: float, limits: tuple[float, float]) -> None:
    """Check a computed value against what the part can measure.

    Raises:
        OutOfRangeError: it lies outside; the values are computed from one another, so
            none of them is believed then.
    """
    low, high = limits
    if not low <= value <= high:
        raise OutOfRangeError(
            f"it computes {value:.1f} {unit}, outside {low:g} to {high:g} {unit}"
        )


def air_samples(temp_c: float, pressure_hpa: float) -> list[Sample]:
    """Judge pressure and temperature.

    Raises:
        OutOfRangeError: a value that the part cannot measure.
    """
    within("°C", temp_c, RANGE_C)
    within("hPa", pressure_hpa, RANGE_HPA)
    return [Sample("pressure_hpa", pressure_hpa), Sample("temp_c", temp_c)]


def unread(register: int) -> Mapping[bytes, str]:
    """Return those that answer there and are no kind here, by their answer."""
    found = ANSWERS[register].items()
    return {answer: name for answer, (name, kind) in found if not kind}


def answers_as(kind: str, register: int) -> Identify:
    """Return whether a part of this kind answers, by its identity register."""
    got = yield Transfer(bytes([register]), 1)
    return ANSWERS[register].get(got, ("", ""))[1] == kind


def check_kind(kind: str, register: int) -> Setup:
    """Check which of the parts answers.

    Args:
        kind: the one that the config names.
        register: where that one has its identity.

    Raises:
        WrongPartError: another answers, which is named with what to write; or none of
            them, with what was read.
        ShortError, LengthError: an answer has another size.
    """
    got = yield from read(register, 1, "identity register")
    if ANSWERS[register].get(got, ("", ""))[1] == kind:
        return
    other = LATER_IDENTITY if register == IDENTITY else IDENTITY
    for at in (register, other):
        answer = got
        if at != register:
            answer = yield from read(at, 1, "identity register")
        if answer in ANSWERS[at]:
            raise WrongPartError(_another(kind, *ANSWERS[at][answer]))
    want = next(b for b, (_, own) in ANSWERS[register].items() if own == kind)
    check_identity(got, want, "identity register")


def _another(kind: str, name: str, its_kind: str) -> str:
    wanted = kind.upper()
    if not its_kind:
        return (
            f"a {name} responds, which was perhaps sold as a {wanted}: this monitor "
            f"cannot read that sensor, so fit a {wanted}"
        )
    lacks = " and measures no humidity" if kind == "bme280" else ""
    return (
        f"a {name} responds, which was perhaps sold as a {wanted}{lacks}: "
        f'write kind = "{its_kind}"'
    )


def read_twice(ask: Callable[[], Bytes]) -> Bytes:
    """Read the constants twice: one flipped bit in them would spoil a whole night.

    Raises:
        FramingError: two readings of the constants differ.
        ShortError, LengthError: an answer has another size.
    """
    once = yield from ask()
    again = yield from ask()
    if once != again:
        raise FramingError("two readings of its constants differ: check the wires")
    return once


def check_measured(status: int, got: bytes, want: bytes, what: str) -> None:
    """Check that one measurement was made, with the settings that were written.

    Args:
        status: the status register.
        got: the settings as they are now, those of the measurement second to last.
        want: the settings as they are once it is done.
        what: names them in errors.

    Raises:
        NotMeasuredError: the part was reset, or its line is dead.
        NotReadyError: the measurement still runs.
    """
    running = got[-2] != ASLEEP and got[-2] & ~MODE_BITS == ASLEEP
    ended = bytes([ASLEEP]) if running else got[-2:-1]
    check_settings(got[:-2] + ended + got[-1:], want, what)
    if running or status & MEASURING:
        raise NotReadyError("the measurement still runs")
