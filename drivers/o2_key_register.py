"""Electrochemical oxygen module with a key register, on I2C.

No data sheet with a register map was found: the map is that of public drivers (the
project's sensor notes, section 10).  The module has no checksum, and flipped top bits
are on public record: five readings are taken and the middle one is used.
"""

from collections.abc import Mapping
from statistics import median
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.air_span import (
    GALVANIC_ACCURACY_PCT,
    GALVANIC_HPA_PER_K_MIN,
    GALVANIC_PCT_PER_K_MIN,
    GALVANIC_SETTLES_PCT,
    MODULE_OPTIONS,
    AirSpan,
    leaves_out,
    module_span,
    o2_samples,
)
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.registers import read, sized
from cabinvigil.drivers.kit.steps import (
    DriverError,
    Gives,
    NotMeasuredError,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
)

OXYGEN = 0x03
"""Three bytes: whole, tenths, hundredths of the cell's raw signal."""
KEY = 0x0A
"""The calibration: percent per thousand of raw signal; 0 if never set.  Registers 08
and 09 would change it for good and are never written here."""
WAIT_S = 0.050
"""Between naming a register and reading it (public drivers)."""
READINGS = 5
UNSET_FACTOR = 20.9 / 120
"""Percent for one of raw signal where no key was set (public drivers)."""
OPEN_LINE_KEY = 0xFF
FULL_SCALE_PCT = 25.0
RANGE_C = (-20.0, 50.0)
"""From memory; as of the galvanic cell within."""


def decode(reply: bytes, key: int) -> float:
    """Decode the three bytes, in %, with the module's key.

    Raises:
        ShortError, LengthError: not three bytes.
        OutOfRangeError: digits that are none, 0 %, which a dead line reads too, or more
            than the module can measure.
    """
    whole, tenths, hundredths = sized(reply, 3, "oxygen register")
    if tenths > 9 or hundredths > 9:
        raise OutOfRangeError(f"the oxygen register reads {reply.hex()}: no digits")
    factor = key / 1000 if key else UNSET_FACTOR
    percent = factor * (whole + tenths / 10 + hundredths / 100)
    if not 0 < percent <= FULL_SCALE_PCT:
        raise OutOfRangeError(
            f"it reports {percent:.1f} % oxygen, outside 0 to {FULL_SCALE_PCT:g} %"
        )
    return percent


class O2KeyRegister:
    """Codec of one module; see `PolledPart`."""

    def __init__(self, span: AirSpan) -> None:
        self._span = span
        self._key: int | None = None
        self._air = Conditions(RANGE_C)

    def setup(self) -> Setup:
        """Read the key, twice; nothing is ever written.

        Raises:
            NotMeasuredError: the two differ, or the line is open.
            ShortError, LengthError: an answer has another size.
        """
        once = yield from read(KEY, 1, "key register", WAIT_S)
        again = yield from read(KEY, 1, "key register", WAIT_S)
        if once != again or once[0] == OPEN_LINE_KEY:
            raise NotMeasuredError(
                f"its key register reads {once.hex()}, then {again.hex()}: check the "
                "wires"
            )
        self._key = once[0]

    def poll(self) -> Steps:
        """Check that the key stands, then take the middle of five readings.

        Raises:
            NotMeasuredError: the key was not read, or has changed.
            OutOfRangeError: fewer than three readings of five can be.
            ShortError, LengthError: an answer has another size.
        """
        key = yield from read(KEY, 1, "key register", WAIT_S)
        if self._key is None or key[0] != self._key:
            raise NotMeasuredError(
                f"its key register reads {key.hex()}, not what it read at the start"
            )
        good, error = [], None
        for _ in range(READINGS):
            reply = yield from read(OXYGEN, 3, "oxygen register", WAIT_S)
            try:
                good.append(decode(reply, self._key))
            except OutOfRangeError as wrong:
                error = wrong
        return self._samples(good, error)

    def _samples(self, good: list[float], error: DriverError | None) -> list[Sample]:
        if error is not None and len(good) <= READINGS // 2:
            raise error
        return o2_samples(self._span, median(good), self._air)

    def inform(self, quantity: str, value: float) -> None:
        """Take the air pressure, and the temperature at the module."""
        self._air.inform(quantity, value)


def make(options: Mapping[str, Any]) -> O2KeyRegister:
    """Make the codec from the config's options and the last span.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return O2KeyRegister(module_span(options))


IDENTIFY = None
"""Cannot be told: it has no identity register, and asking others might upset them."""
PART = PartInfo(
    name="o2_key_register",
    title="oxygen module",
    bus="i2c",
    gives={
        # Resolution: a hundredth of raw signal at a key of 209.  Noise: some steps (own
        # figure).  Lag: t90 15 s is 6.5 s at 63 % (unverified, as the galvanic cell).
        # Stuck: a module whose register never moves is on public record; ten minutes
        # (own figure).  Jump: more than 1 %/s is a flipped bit.
        "o2_pct": Gives(
            0.002,
            0.02,
            6.5,
            600.0,
            1.0,
            FULL_SCALE_PCT,
            off_per_k_min=GALVANIC_PCT_PER_K_MIN,
            accuracy=GALVANIC_ACCURACY_PCT,
            settles=GALVANIC_SETTLES_PCT,
        ),
        "o2_hpa": Gives(
            0.02, 0.2, 6.5, 600.0, 10.0, off_per_k_min=GALVANIC_HPA_PER_K_MIN
        ),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # Minutes of settling (unverified).
    warm_up_s=300.0,
    address=0x73,
    addresses=(0x70, 0x71, 0x72, 0x73),
    needs=("pressure_hpa", "temp_c"),
    options=MODULE_OPTIONS,
    # About two years (unverified).
    service_years=2.0,
    range_c=RANGE_C,
    leaves_out=leaves_out,
)
