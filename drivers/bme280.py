"""BME280: air pressure, humidity and temperature on I2C.

Sources: Bosch Sensortec BME280 data sheet BST-BME280-DS002 (sections beside each
constant), as gathered in the project's sensor notes, section 3.  The part has no
checksum: its settings are read back with every measurement.
"""

import struct
from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.probe import Identify, register_reads
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
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
    WrongPartError,
)

# Registers (memory map, section 5.3).
CALIBRATION_A = 0x88
BLOCK_A = struct.Struct("<HhhHhhhhhhhhxB")
"""T1 to T3 and P1 to P9, low byte first, then H1 at a1 (section 4.2.2, table 16)."""
CALIBRATION_A_SIZE = BLOCK_A.size
IDENTITY = 0xD0
RESET = 0xE0
CALIBRATION_B = 0xE1
BLOCK_B = struct.Struct("<hBbBbb")
"""H2, H3, then H4 and H5 of 12 bits sharing the byte e5, and H6 (table 16)."""
CALIBRATION_B_SIZE = BLOCK_B.size
CTRL_HUM = 0xF2
CTRL_MEAS = 0xF4
CONFIG = 0xF5

IS_BME280 = b"\x60"
SISTERS = {b"\x56": "BMP280", b"\x57": "BMP280", b"\x58": "BMP280", b"\x61": "BME680"}
"""What answers there instead, by its identity: parts that look alike, often sold for
this one (BMP280 data sheet, section 4.3.1: 58, as ten public drivers have it; that
samples had 56 and 57 is from memory)."""
RESET_WORD = 0xB6
RESET_S = 0.010
"""Start-up takes 2 ms (section 1); with the copying of the calibration, 10 ms (own)."""
HUM_X1 = 0x01
FORCED = 0x2D
"""Temperature once, pressure four times, one measurement now (section 5.4.5)."""
ASLEEP = 0x2C
"""What that register holds when the measurement is done and the part sleeps again."""
MODE_BITS = 0x03
NO_FILTER = 0x00
MEASURING = 0x08
"""Status bit while a measurement runs (section 5.4.4)."""
MEASURE_S = 0.020
"""1.25 + 2.3 * (1 + 4 + 1) + 2 * 0.575 = 16.2 ms at the longest (section 9.1, from
memory), rounded up."""
BURST_SIZE = 13
"""f2 to fe: settings, status and the eight data bytes, in one piece."""
DATA_SIZE = 8
SKIPPED_20 = 0x80000
SKIPPED_16 = 0x8000
"""Raw values of a quantity that was not measured (the second as ten public drivers have
it, for humidity; the first from memory); measured ones, too: at
some humidity each tenth reading is the one in the middle of the scale."""
RANGE_C = (-40.0, 85.0)
RANGE_HPA = (300.0, 1100.0)
"""What the part can measure (section 1, table 1)."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """The part's own constants, named as in the data sheet (section 4.2.2)."""

    t: tuple[int, int, int]
    p: tuple[int, int, int, int, int, int, int, int, int]
    h: tuple[int, int, int, int, int, int]


@dataclass(frozen=True, slots=True)
class Bme280Reading:
    """What one measurement says."""

    temp_c: float
    pressure_hpa: float
    rh_pct: float
    """Limited to 0 and 100, as the data sheet's formula is."""
    rh_raw_pct: float
    """Before that limit."""


def decode_calibration(a: bytes, b: bytes) -> Calibration:
    """Decode the two blocks of constants (section 4.2.2, table 16).

    Raises:
        ShortError, LengthError: a block has another size.
        OutOfRangeError: constants that no part has, such as those of a dead line.
    """
    sized(a, CALIBRATION_A_SIZE, "first calibration block")
    sized(b, CALIBRATION_B_SIZE, "second calibration block")
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9, h1 = BLOCK_A.unpack(a)
    h2, h3, h4_high, h4_h5, h5_high, h6 = BLOCK_B.unpack(b)
    if t1 in (0, 0xFFFF) or p1 in (0, 0xFFFF):
        raise OutOfRangeError(
            f"its constants T1 {t1} and P1 {p1} are from no known sensor"
        )
    h4 = h4_high << 4 | h4_h5 & 0x0F
    h5 = h5_high << 4 | h4_h5 >> 4
    return Calibration(
        t=(t1, t2, t3),
        p=(p1, p2, p3, p4, p5, p6, p7, p8, p9),
        h=(h1, h2, h3, h4, h5, h6),
    )


def decode(data: bytes, constants: Calibration) -> Bme280Reading:
    """Decode the eight data bytes f7 to fe with the part's constants (section 4.2.3).

    Raises:
        ShortError, LengthError: not eight bytes.
        NotMeasuredError: it holds the values of skipped measurements.
        OutOfRangeError: the constants make no pressure.
    """
    sized(data, DATA_SIZE, "data")
    raw_p = int.from_bytes(data[0:3], "big") >> 4
    raw_t = int.from_bytes(data[3:6], "big") >> 4
    raw_h = int.from_bytes(data[6:8], "big")
    skipped = (raw_p == SKIPPED_20, raw_t == SKIPPED_20, raw_h == SKIPPED_16)
    # One alone was measured: a part that lost its settings, which `poll` reads back,
    # has skipped all.
    if sum(skipped) > 1:
        raise NotMeasuredError("it holds the values of a sensor that has not measured")
    fine = fine_temperature(raw_t, constants)
    rh_raw = humidity_pct(raw_h, fine, constants)
    return Bme280Reading(
        temp_c=fine / 5120,
        pressure_hpa=pressure_pa(raw_p, fine, constants) / 100,
        rh_pct=min(100.0, max(0.0, rh_raw)),
        rh_raw_pct=rh_raw,
    )


def fine_temperature(raw: int, constants: Calibration) -> float:
    """Return the temperature in 1/5120 °C: a parabola in the raw value."""
    t1, t2, t3 = constants.t
    above = raw / 16384 - t1 / 1024
    return above * t2 + (above / 8) ** 2 * t3


def pressure_pa(raw: int, fine: float, constants: Calibration) -> float:
    """Return the pressure in Pa, corrected for temperature.

    Raises:
        OutOfRangeError: the constants make the slope zero.
    """
    p1, p2, p3, p4, p5, p6, p7, p8, p9 = constants.p
    t = fine / 2 - 64000
    offset = (t * t * p6 / 32768 + t * p5 * 2) / 4 + p4 * 65536
    slope = (1 + (p3 * t * t / 524288 + p2 * t) / 524288 / 32768) * p1
    if slope == 0:
        raise OutOfRangeError("its constants make no pressure")
    linear = (1048576 - raw - offset / 4096) * 6250 / slope
    return linear + (p9 * linear * linear / 2147483648 + linear * p8 / 32768 + p7) / 16


def humidity_pct(raw: int, fine: float, constants: Calibration) -> float:
    """Return the relative humidity in %, corrected for temperature, without limit."""
    h1, h2, h3, h4, h5, h6 = constants.h
    t = fine - 76800
    above = raw - (h4 * 64 + h5 / 16384 * t)
    gain = h2 / 65536 * (1 + h6 / 67108864 * t * (1 + h3 / 67108864 * t))
    linear = above * gain
    return linear * (1 - h1 * linear / 524288)


def samples(reading: Bme280Reading) -> list[Sample]:
    """Judge a reading.

    Raises:
        OutOfRangeError: a value that the part cannot measure; the three are computed
            from one another, so none of them is believed.
    """
    _within("°C", reading.temp_c, RANGE_C)
    _within("hPa", reading.pressure_hpa, RANGE_HPA)
    if reading.rh_raw_pct < 0:
        raise OutOfRangeError(f"it computes {reading.rh_raw_pct:.1f} % humidity")
    humidity = Sample("rh_pct", reading.rh_pct)
    if reading.rh_raw_pct >= 100:
        humidity = Sample("rh_pct", 100.0, "at-least", "the sensor is wet")
    return [
        Sample("pressure_hpa", reading.pressure_hpa),
        humidity,
        Sample("temp_c", reading.temp_c),
    ]


def _within(unit: str, value: float, limits: tuple[float, float]) -> None:
    low, high = limits
    if not low <= value <= high:
        raise OutOfRangeError(
            f"it computes {value:.1f} {unit}, outside {low:g} to {high:g} {unit}"
        )


class Bme280:
    """Codec of one BME280; see `PolledPart`."""

    def __init__(self) -> None:
        self._constants: Calibration | None = None

    def setup(self) -> Setup:
        """Check the identity, reset, and read the constants twice.

        Raises:
            WrongPartError: another part answers, such as its sister without humidity.
            FramingError: two readings of the constants differ.
            OutOfRangeError: the constants are no part's.
            ShortError, LengthError: an answer has another size.
        """
        identity = yield from read(IDENTITY, 1, "identity register")
        if identity in SISTERS:
            raise WrongPartError(
                f"a {SISTERS[identity]} responds, perhaps sold as a BME280: this "
                "monitor cannot read it, so fit a BME280"
            )
        check_identity(identity, IS_BME280, "identity register")
        yield Transfer(bytes([RESET, RESET_WORD]), 0, RESET_S)
        once = yield from _constants()
        again = yield from _constants()
        if once != again:
            raise FramingError("two readings of its constants differ: check the wires")
        self._constants = decode_calibration(
            once[:CALIBRATION_A_SIZE], once[CALIBRATION_A_SIZE:]
        )
        yield Transfer(bytes([CONFIG, NO_FILTER]))

    def poll(self) -> Steps:
        """Make one measurement and read it together with the settings it was made with.

        Raises:
            NotMeasuredError: the part was reset, its line is dead, or it skipped.
            NotReadyError: the measurement still runs.
            OutOfRangeError: a value that the part cannot measure.
            ShortError, LengthError: an answer has another size.
        """
        if self._constants is None:
            raise NotMeasuredError("its constants have not been read yet")
        # Humidity's setting takes effect with the write of the other (section 5.4.3).
        yield Transfer(bytes([CTRL_HUM, HUM_X1]))
        yield Transfer(bytes([CTRL_MEAS, FORCED]), 0, MEASURE_S)
        burst = yield from read(CTRL_HUM, BURST_SIZE, "data")
        hum, status, meas, config = burst[:4]
        running = meas != ASLEEP and meas & ~MODE_BITS == ASLEEP
        check_settings(
            bytes([hum, ASLEEP if running else meas, config]),
            bytes([HUM_X1, ASLEEP, NO_FILTER]),
            "settings (f2, f4, f5)",
        )
        if running or status & MEASURING:
            raise NotReadyError("the measurement still runs")
        return samples(decode(burst[-DATA_SIZE:], self._constants))

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def _constants() -> Bytes:
    a = yield from read(CALIBRATION_A, CALIBRATION_A_SIZE, "first calibration block")
    b = yield from read(CALIBRATION_B, CALIBRATION_B_SIZE, "second calibration block")
    return a + b


def identify() -> Identify:
    """Say whether a BME280 answers, by its identity register."""
    return register_reads(IDENTITY, IS_BME280)


make = opt.no_options(Bme280)
IDENTIFY = identify
PART = PartInfo(
    name="bme280",
    title="pressure and humidity sensor (BME280)",
    bus="i2c",
    gives={
        # Noise: RMS 1.3 Pa at four times, 0.02 % (typical 0.07 at once), 0.005 °C (from
        # memory, section 1).  Lag: RH 1 s in moving air (section 1, table 2), slower in
        # a still corner.  Stuck: computed values change with every raw count; ten
        # minutes at one count in 16 bits is far beyond a live part (own figure).
        # Jump: 20 hPa/min is a fault, a hatch moves less than 1 hPa (own figure); one
        # slam within a 10 s interval is let through.
        # Accuracy: 1 hPa and a year's drift of 1 (from memory); 3 % and 1 of hysteresis
        # (section 1, table 2).
        "pressure_hpa": Gives(0.002, 0.013, 1.0, 600.0, 0.5, accuracy=2.0),
        "rh_pct": Gives(0.008, 0.07, 5.0, 600.0, 20.0, 100.0, accuracy=4.0),
        "temp_c": Gives(0.01, 0.005, 10.0, 600.0, 2.0),
    },
    make=make,
    interval_s=10.0,
    max_age_s=30.0,
    warm_up_s=1.0,
    address=0x76,
    addresses=(0x76, 0x77),
    sisters={IDENTITY: SISTERS},
    # No wear-out named; drift of pressure is about 1 hPa a year (from memory).
    service_years=0.0,
    range_c=RANGE_C,
)
