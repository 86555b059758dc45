"""SEN6x: dust, humidity, temperature, CO2, vapours and nitrogen oxides, on I2C.

Members differ in what is inside, and in the command that reads it; all else is common.
Sources: Sensirion's SEN6x data sheet, as its maker's drivers quote it
(sensirion-i2c-sen66 1.3.1, -sen63c, -sen65 and -sen68 1.1.0), and public ones
(adafruit-circuitpython-sen6x 1.1.0, sen6x-driver 0.0.4); "unverified" where not
re-read.
"""

from collections.abc import Generator, Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import co2, dust
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import signed16
from cabinvigil.drivers.kit.steps import (
    DriverError,
    Gives,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    PartInfo,
    Quality,
    Sample,
    Setup,
    Steps,
    Transfer,
    WrongPartError,
)
from cabinvigil.drivers.kit.words import ask, command, words

START = 0x0021
STOP = 0x0104
DATA_READY = 0x0202
PRODUCT_TYPE = 0xD002
READ_AND_CLEAR_STATUS = 0xD210
SELF_CALIBRATION = 0x6711
PRESSURE = 0x6720
ALTITUDE = 0x6736
RECALIBRATION = 0x6707
SHORT_S = 0.020
START_S = 0.050
STOP_S = 1.4
RECALIBRATION_S = 0.5
TYPE_WORDS = 4
"""The type has eight letters; the rest of its 32 is empty."""
UNKNOWN_MASS, UNKNOWN = 0xFFFF, 0x7FFF
PRESSURE_HPA = (700.0, 1200.0)
TARGET_PPM = (400, 2000)
"""As of the SCD4x, on whose sheet the maker's driver leans for this."""
RUN_BEFORE_RECALIBRATION_S = 180.0
RANGE_C = (-10.0, 50.0)
RANGE_RH_PCT = (0.0, 90.0)
"""Both unverified."""
BITS = {"fan": 4, "humidity": 6, "gas": 7, "co2": 9, "dust": 11, "co2_of_63": 12}
SLOW_FAN_BIT = 21
"""Of the status: what fails inside, and a fan that does not keep its speed."""
ORDER = ("pm1_ugm3", "pm2_5_ugm3", "pm4_ugm3", "pm10_ugm3", "rh_pct", "temp_c")
"""What every member measures, as it stands in its answer."""
SCALE = {"rh_pct": 100.0, "temp_c": 200.0, "co2_ppm": 1.0}
"""Counts of one unit; of all else 10."""
GAS = ("voc_index", "nox_index")


@dataclass(frozen=True, slots=True)
class Sen6xMember:
    """One member of the family."""

    type_code: bytes
    """How it calls itself."""
    read: int
    """The command for its measurement."""
    more: tuple[str, ...]
    """What stands in its answer behind `ORDER`; '' what is not read here."""
    unknown_ppm: int = UNKNOWN
    full_scale_ppm: float = 0.0
    """Where its CO2 ends; 0 where it has none."""


MEMBERS: Mapping[str, Sen6xMember] = {
    # Ends of CO2: those of the SCD4x (v1.3 p. 1) and of the STCC4 (its sheet, table 1),
    # which are inside (unverified).
    "SEN63C": Sen6xMember(b"00085700", 0x0471, ("co2_ppm",), UNKNOWN, 32000.0),
    "SEN65": Sen6xMember(b"00085200", 0x0446, GAS),
    "SEN66": Sen6xMember(b"00085300", 0x0300, (*GAS, "co2_ppm"), 0xFFFF, 40000.0),
    # Behind its indices stands formaldehyde, which nothing here judges.
    "SEN68": Sen6xMember(b"00085400", 0x0467, (*GAS, "")),
}
USUAL = "SEN66"
NAMES = {member.type_code: name for name, member in MEMBERS.items()}
NO_NAME = bytes(2 * TYPE_WORDS)


def decode(reply: bytes, member: Sen6xMember) -> dict[str, float]:
    """Decode a measurement: what is known of it, by quantity.

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    names = (*ORDER, *member.more)
    found = {}
    for name, word in zip(names, words(reply, len(names)), strict=True):
        is_mass = name in ORDER[:4]
        unknown = UNKNOWN_MASS if is_mass else UNKNOWN
        if name == "co2_ppm":
            unknown = member.unknown_ppm
        if not name or word == unknown:
            continue
        is_signed = not is_mass and unknown == UNKNOWN
        counts = signed16(word.to_bytes(2, "big")) if is_signed else word
        found[name] = counts / SCALE.get(name, 10.0)
    return found


def decode_type(reply: bytes) -> bytes:
    """Decode how the part calls itself.

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    return b"".join(word.to_bytes(2, "big") for word in words(reply, TYPE_WORDS))


def check_type(found: bytes, model: str) -> None:
    """Check that it is the member that the config says.

    Raises:
        WrongPartError: it names another; one that names none is believed.
    """
    if found not in (MEMBERS[model].type_code, NO_NAME):
        other = NAMES.get(found)
        what = f"a {other}" if other else f"of the type {found.hex()}"
        raise WrongPartError(f"it is {what}, and the config says {model}")


def failing(status: int) -> set[str]:
    """Return what fails inside, by the part's own word.

    Raises:
        NotMeasuredError: the fan stands still, so that nothing it says is of this air.
    """
    found = {name for name, bit in BITS.items() if status >> bit & 1}
    if "fan" in found:
        raise NotMeasuredError("its fan is blocked: clean its inlet")
    return found


def samples(
    values: Mapping[str, float], member: Sen6xMember, status: int
) -> list[Sample]:
    """Judge a reading; what is unknown, or fails, is left out and so becomes stale.

    Raises:
        NotMeasuredError: nothing is left, or 0 ppm of CO2, which is never air.
    """
    bad = failing(status)
    air = Conditions(RANGE_C, RANGE_RH_PCT)
    for name in ("temp_c", "rh_pct"):
        air.inform(name, values.get(name, float("nan")))
    quality = air.quality()
    if "humidity" in bad and quality[0] == "good":
        quality = "outside-range", "its humidity sensor, which corrects it, fails"
    found = []
    if "humidity" not in bad:
        found += [
            Sample(name, values[name], *quality)
            for name in ("temp_c", "rh_pct")
            if name in values
        ]
    if "dust" not in bad:
        found += _dust(values, quality, is_slow=bool(status >> SLOW_FAN_BIT & 1))
    if "gas" not in bad:
        found += [
            Sample(name, values[name], *quality)
            for name in GAS
            if values.get(name, 0.0) >= 1.0  # the indices begin at 1
        ]
    if bad.isdisjoint(("co2", "co2_of_63")) and "co2_ppm" in values:
        found.append(co2.co2_sample(values["co2_ppm"], member.full_scale_ppm, quality))
    if not found:
        raise NotMeasuredError("it knows none of its values")
    return found


def _dust(
    values: Mapping[str, float], quality: tuple[Quality, str], *, is_slow: bool
) -> list[Sample]:
    """Judge both masses; what is no dust is left out."""
    air = dust.conditions()
    for name in ("temp_c", "rh_pct"):
        air.inform(name, values.get(name, float("nan")))
    masses = [values[name] for name in ORDER[:4] if name in values]
    doubt = "its fan does not keep its speed: clean its inlet" if is_slow else ""
    if masses != sorted(masses):
        doubt = "it finds less dust up to a larger size than a smaller"
    if doubt and quality[0] == "good":
        quality = "outside-range", doubt
    found = []
    for name in ("pm2_5_ugm3", "pm10_ugm3"):
        if name not in values:
            continue
        try:
            one = dust.dust_sample(name, values[name], air)
        except OutOfRangeError:
            continue
        if one.quality == "good":
            one = Sample(name, one.value, *quality)
        found.append(one)
    return found


class Sen6x:
    """Codec of one member; see `PolledPart`."""

    def __init__(self, model: str, altitude_m: float | None = None) -> None:
        self._model, self._member = model, MEMBERS[model]
        self._altitude_m = altitude_m
        self._pressure = co2.PressureToTell(PRESSURE_HPA)

    @property
    def _has_co2(self) -> bool:
        return self._member.full_scale_ppm > 0.0

    def inform(self, quantity: str, value: float) -> None:
        """Take the air pressure; it overrides the altitude."""
        self._pressure.inform(quantity, value)

    def setup(self) -> Setup:
        """Stop, see which member it is, tell the site, start measuring.

        Self-calibration is switched off first, where there is CO2; the part keeps that
        through a loss of power, after which it stands still until it is set up again.

        Raises:
            WrongPartError: it is another member.
            CalibrationError: self-calibration stays on.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        yield Transfer(command(STOP), 0, STOP_S)
        reply = yield Transfer(command(PRODUCT_TYPE), 3 * TYPE_WORDS, SHORT_S)
        check_type(decode_type(reply), self._model)
        if self._has_co2:
            yield from co2.self_calibration_off(
                SELF_CALIBRATION, SELF_CALIBRATION, SHORT_S
            )
            if self._altitude_m is not None:
                word = round(self._altitude_m)
                yield Transfer(command(ALTITUDE, word), 0, SHORT_S)
        yield Transfer(command(START), 0, START_S)
        self._pressure.sent(None)

    def poll(self) -> Steps:
        """Report the pressure where it changed, then read if a measurement waits.

        The status is cleared as it is read: what still fails is there again by the
        next poll, and what has passed does not stay for good.

        Raises:
            NotReadyError: none waits; the part makes one a second.
            NotMeasuredError: the fan stands still, or nothing is known.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        hpa = self._pressure.due() if self._has_co2 else None
        if hpa is not None:
            yield Transfer(command(PRESSURE, hpa), 0, SHORT_S)
            self._pressure.sent(hpa)
        (ready,) = yield from ask(DATA_READY, 1, SHORT_S)
        if not ready & 1:
            raise NotReadyError(
                "no measurement is ready; the sensor makes one a second"
            )
        high, low = yield from ask(READ_AND_CLEAR_STATUS, 2, SHORT_S)
        size = 3 * (len(ORDER) + len(self._member.more))
        reply = yield Transfer(command(self._member.read), size, SHORT_S)
        values = decode(reply, self._member)
        return samples(values, self._member, high << 16 | low)


def recalibrate(target_ppm: int) -> Generator[Transfer, bytes, int]:
    """Recalibrate its CO2 to the air that is there now; return the correction in ppm.

    The part must have measured in this air for `RUN_BEFORE_RECALIBRATION_S`.  It is
    started again whatever came of it.

    Raises:
        CalibrationError: the target is out of bounds, or the part says it failed.
        ShortError, LengthError, CrcError: the answer cannot be read.
    """
    want = co2.checked_target(target_ppm, *TARGET_PPM)
    yield Transfer(command(STOP), 0, STOP_S)
    reply = yield Transfer(command(RECALIBRATION, want), 3, RECALIBRATION_S)
    yield Transfer(command(START), 0, START_S)
    return co2.correction_ppm(words(reply, 1)[0])


def identify() -> Identify:
    """Return whether a SEN6x answers: it names its type, whichever it is."""
    try:
        found = decode_type((yield Transfer(command(PRODUCT_TYPE), 12, SHORT_S)))
    except DriverError:
        return False
    return found == NO_NAME or found.startswith(b"00085")


def leaves_out(options: Mapping[str, Any]) -> frozenset[str]:
    """Return what a member does not give; `make` tells of wrong options."""
    member = MEMBERS.get(options.get("model", USUAL), MEMBERS[USUAL])
    return frozenset(PART.gives) - {*ORDER, *member.more}


def make(options: Mapping[str, Any]) -> Sen6x:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return Sen6x(
        opt.choice(options, "model", USUAL, MEMBERS),
        opt.optional_number(options, "altitude_m", 0.0, 3000.0),
    )


IDENTIFY = identify
PART = PartInfo(
    name="sen6x",
    title="all-in-one air sensor (SEN6x)",
    bus="i2c",
    gives={
        # Resolution: one count, of an index ten.  CO2 and indices: as their own parts
        # here have it.  Dust: in clean air its noise is less than a step, so an hour
        # at one value is needed to tell (own figures).  Temperature and humidity: from
        # memory, slow in their housing.
        "co2_ppm": Gives(1.0, 10.0, 60.0, 300.0, 1000.0, 40000.0),
        "pm2_5_ugm3": Gives(0.1, 0.08, 5.0, 3600.0, 3000.0),
        "pm10_ugm3": Gives(0.1, 0.08, 5.0, 3600.0, 5000.0),
        "temp_c": Gives(0.005, 0.1, 90.0, 600.0, 1.0),
        "rh_pct": Gives(0.01, 0.4, 90.0, 600.0, 10.0, 100.0, accuracy=4.5),
        "voc_index": Gives(1.0, 0.5, 60.0, 7200.0, 500.0),
        "nox_index": Gives(1.0, 0.5, 60.0, 604800.0, 500.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=20.0,
    # The fan 30 s (unverified), CO2 6 s, of the SEN63C 24 s, nitrogen oxides 11 s.
    warm_up_s=30.0,
    address=0x6B,
    addresses=(0x6B,),
    needs=("pressure_hpa",),
    options={
        "model": "'SEN63C', 'SEN65', 'SEN66' (the default) or 'SEN68'",
        "altitude_m": "height in m, 0 to 3000, for as long as no pressure is known",
    },
    # Life of ten years (unverified).
    service_years=10.0,
    range_c=RANGE_C,
    leaves_out=leaves_out,
)
