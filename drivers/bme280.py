"""BME280: air pressure, humidity and temperature on I2C.

Sources: Bosch Sensortec BME280 data sheet BST-BME280-DS002 (sections beside each
constant), as gathered in the project's sensor notes, section 3.  The part has no
checksum: its settings are read back with every measurement.
"""

import struct
from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.barometer import (
    ASLEEP,
    BLOCK,
    CALIBRATION,
    CONFIG,
    CTRL_MEAS,
    FORCED,
    GIVES,
    IDENTITY,
    MEASURE_S,
    NO_FILTER,
    RANGE_C,
    RESET,
    RESET_S,
    RESET_WORD,
    SKIPPED_20,
    Trim,
    air_samples,
    answers_as,
    check_kind,
    check_measured,
    decode_trim,
    fine_temperature,
    pressure_pa,
    raw_pair,
    read_twice,
    unread,
)
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import Bytes, read, sized
from cabinvigil.drivers.kit.steps import (
    Gives,
    NotMeasuredError,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)

CALIBRATION_A_SIZE = BLOCK.size + 2
"""Then a reserved byte, and H1 at a1 (section 4.2.2, table 16)."""
CALIBRATION_B = 0xE1
BLOCK_B = struct.Struct("<hBbBbb")
"""H2, H3, then H4 and H5 of 12 bits sharing the byte e5, and H6 (table 16)."""
CALIBRATION_B_SIZE = BLOCK_B.size
CTRL_HUM = 0xF2

HUM_X1 = 0x01
BURST_SIZE = 13
"""f2 to fe: settings, status and the eight data bytes, in one piece."""
DATA_SIZE = 8
SKIPPED_16 = 0x8000
"""Raw value of a humidity that was not measured (as ten public drivers have it);
measured ones, too: at some humidity each tenth reading is the one in the middle of the
scale."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """The part's own constants, named as in the data sheet (section 4.2.2)."""

    air: Trim
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
    air = decode_trim(a[: BLOCK.size])
    h2, h3, h4_high, h4_h5, h5_high, h6 = BLOCK_B.unpack(b)
    h4 = h4_high << 4 | h4_h5 & 0x0F
    h5 = h5_high << 4 | h4_h5 >> 4
    return Calibration(air, (a[-1], h2, h3, h4, h5, h6))


def decode(data: bytes, constants: Calibration) -> Bme280Reading:
    """Decode the eight data bytes f7 to fe with the part's constants (section 4.2.3).

    Raises:
        ShortError, LengthError: not eight bytes.
        NotMeasuredError: it holds the values of skipped measurements.
        OutOfRangeError: the constants make no pressure.
    """
    sized(data, DATA_SIZE, "data")
    raw_p, raw_t = raw_pair(data)
    raw_h = int.from_bytes(data[6:8], "big")
    skipped = (raw_p == SKIPPED_20, raw_t == SKIPPED_20, raw_h == SKIPPED_16)
    # One alone was measured: a part that lost its settings, which `poll` reads back,
    # has skipped all.
    if sum(skipped) > 1:
        raise NotMeasuredError("it holds the values of a sensor that has not measured")
    fine = fine_temperature(raw_t, constants.air)
    rh_raw = humidity_pct(raw_h, fine, constants)
    return Bme280Reading(
        temp_c=fine / 5120,
        pressure_hpa=pressure_pa(raw_p, fine, constants.air) / 100,
        rh_pct=min(100.0, max(0.0, rh_raw)),
        rh_raw_pct=rh_raw,
    )


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
    pressure, temp = air_samples(reading.temp_c, reading.pressure_hpa)
    if reading.rh_raw_pct < 0:
        raise OutOfRangeError(f"it computes {reading.rh_raw_pct:.1f} % humidity")
    humidity = Sample("rh_pct", reading.rh_pct)
    if reading.rh_raw_pct >= 100:
        humidity = Sample("rh_pct", 100.0, "at-least", "the sensor is wet")
    return [pressure, humidity, temp]


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
        yield from check_kind("bme280", IDENTITY)
        yield Transfer(bytes([RESET, RESET_WORD]), 0, RESET_S)
        once = yield from read_twice(_constants)
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
        check_measured(
            status,
            bytes([hum, meas, config]),
            bytes([HUM_X1, ASLEEP, NO_FILTER]),
            "settings (f2, f4, f5)",
        )
        return samples(decode(burst[-DATA_SIZE:], self._constants))

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def _constants() -> Bytes:
    a = yield from read(CALIBRATION, CALIBRATION_A_SIZE, "first calibration block")
    b = yield from read(CALIBRATION_B, CALIBRATION_B_SIZE, "second calibration block")
    return a + b


def identify() -> Identify:
    """Return whether a BME280 answers, by its identity register."""
    return answers_as("bme280", IDENTITY)


make = opt.no_options(Bme280)
IDENTIFY = identify
PART = PartInfo(
    name="bme280",
    title="pressure and humidity sensor (BME280)",
    bus="i2c",
    gives={
        "pressure_hpa": GIVES["pressure_hpa"],
        # Noise: 0.02 % (typical 0.07 at once).  Lag: 1 s in moving air (section 1,
        # table 2), slower in a still corner.  Accuracy: 3 % and 1 of hysteresis
        # (section 1, table 2).  The rest as for pressure.
        "rh_pct": Gives(0.008, 0.07, 5.0, 600.0, 20.0, 100.0, accuracy=4.0),
        "temp_c": GIVES["temp_c"],
    },
    make=make,
    interval_s=10.0,
    max_age_s=30.0,
    warm_up_s=1.0,
    address=0x76,
    addresses=(0x76, 0x77),
    sisters={IDENTITY: unread(IDENTITY)},
    # No wear-out named; drift of pressure is about 1 hPa a year (unverified).
    service_years=0.0,
    range_c=RANGE_C,
)
