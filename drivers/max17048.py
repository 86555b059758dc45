"""MAX17048 and MAX17049: a lithium cell's charge and voltage on I2C.

Sources: Maxim MAX17048/MAX17049 data sheet 19-6171 (unverified; registers and steps as
in two public libraries and a public driver's table).  The gauge has no checksum: its
version is read with every poll.  It is fed by the cell that it measures, so an empty or
missing one mostly does not respond at all.
"""

from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import check_identity, read, sized
from cabinvigil.drivers.kit.steps import (
    Gives,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)

# Registers of two bytes, high byte first (data sheet, table 2).
CELL = 0x02
"""Then the charge, at 04."""
VERSION = 0x08
IS_GAUGE = 0x001
"""Of the version, above a revision of four bits."""
STEP_V = 78.125e-6
"""Of one cell, in the MAX17049 too, which has two in a row."""
STEP_PCT = 1 / 256
RANGE_V = (2.0, 5.0)
"""No lithium cell that feeds anything lies outside (own figure): below 2.5 V its guard
has cut off, and 4.4 V is the highest that any is charged to (unverified)."""
MOST_PCT = 130.0
"""The estimate may run some way past full (own figure)."""
FULL_PCT = 100.0


@dataclass(frozen=True, slots=True)
class GaugeReading:
    """What one answer says."""

    cell_v: float
    charge_pct: float


def decode(reply: bytes) -> GaugeReading:
    """Decode the four bytes of voltage and charge.

    Raises:
        ShortError, LengthError: not four bytes.
    """
    sized(reply, 4, "cell and charge registers")
    cell, charge = int.from_bytes(reply[:2], "big"), int.from_bytes(reply[2:], "big")
    return GaugeReading(cell * STEP_V, charge * STEP_PCT)


def samples(reading: GaugeReading) -> list[Sample]:
    """Judge a reading.

    Raises:
        OutOfRangeError: a voltage that no cell has, or more than full can be.
    """
    low, high = RANGE_V
    if not low <= reading.cell_v <= high:
        raise OutOfRangeError(
            f"it measures {reading.cell_v:.2f} V, which no cell has: is one fitted?"
        )
    if reading.charge_pct > MOST_PCT:
        raise OutOfRangeError(f"it reckons {reading.charge_pct:.0f} % of charge")
    return [
        Sample("cell_v", reading.cell_v),
        Sample("charge_pct", reading.charge_pct),
    ]


class Max17048:
    """Codec of one MAX17048 or MAX17049; see `PolledPart`."""

    def setup(self) -> Setup:
        """Check that it is one: it measures by itself, and what it has learnt stays.

        Raises:
            WrongPartError: another part answers.
            ShortError, LengthError: an answer has another size.
        """
        yield from _check_version()

    def poll(self) -> Steps:
        """Check the version, then read voltage and charge.

        Raises:
            WrongPartError: another part answers, or the line is dead.
            OutOfRangeError: a voltage that no cell has, or more than full can be.
            ShortError, LengthError: an answer has another size.
        """
        yield from _check_version()
        reply = yield from read(CELL, 4, "cell and charge registers")
        return samples(decode(reply))

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def _is_gauge(version: bytes) -> bool:
    return int.from_bytes(version, "big") >> 4 == IS_GAUGE


def _check_version() -> Setup:
    got = yield from read(VERSION, 2, "version register")
    if not _is_gauge(got):
        check_identity(got, b"\x00\x12", "version register")


def identify() -> Identify:
    """Return whether a MAX17048 or MAX17049 answers, by its version."""
    return _is_gauge((yield Transfer(bytes([VERSION]), 2)))


make = opt.no_options(Max17048)
IDENTIFY = identify
PART = PartInfo(
    name="max17048",
    title="fuel gauge of a lithium cell (MAX17048)",
    bus="i2c",
    gives={
        # Resolution: one step.  Noise: below what is kept (own figure).  Lag: it
        # measures each 0.25 s, and each 45 s once nothing is drawn (unverified).
        # Stuck: on its charger a cell may stand for days; a week is not (own figure),
        # and a charge that stands at full is no fault.  Jump: a load may take tenths of
        # a volt at once, and a cell that is changed any charge.
        "cell_v": Gives(STEP_V, 0.0005, 45.0, 604_800.0, 5.0),
        "charge_pct": Gives(STEP_PCT, 0.01, 45.0, 604_800.0, 100.0, FULL_PCT),
    },
    make=make,
    interval_s=10.0,
    max_age_s=30.0,
    warm_up_s=1.0,
    address=0x36,
    addresses=(0x36,),
    service_years=0.0,
    range_c=(-40.0, 85.0),
)
