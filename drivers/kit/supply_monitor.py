"""What the supply monitors of one maker share: who answers, a shunt, and its sign.

The INA226 and INA228 name themselves, each in registers of its own; the INA219 does
not, and is told by what it holds after a reset, or once it was set here.  All of them
measure the current by the voltage over a shunt, positive from IN+ to IN-: current
registers stay 0 until somebody calibrates them, so the shunt's voltage is read.
"""

from collections.abc import Generator

from cabinvigil.drivers.kit.registers import check_identity, read
from cabinvigil.drivers.kit.steps import Sample, Setup, Transfer, WrongPartError

INA226_IDENTITY = {0xFE: b"\x54\x49", 0xFF: b"\x22\x60"}
"""Maker and die (SBOS547 table 7-1)."""
INA228_MAKER, INA228_DIE = 0x3E, 0x3F
IS_MAKER, IS_INA228 = b"\x54\x49", 0x228
"""The die's number stands above a revision of four bits (SLYS021, unverified, and a
public library)."""
INA219_SETTINGS = (b"\x39\x9f", b"\x3e\x67")
"""After a reset (SBOS448, unverified, and a public library), and as set here."""
INA219_CALIBRATION = 0x05
"""Its last bit is always 0 (SBOS448, unverified)."""
FIRST_REGISTER = 0x00

Which = Generator[Transfer, bytes, str]


def which() -> Which:
    """Return the kind that answers, by what it holds; '' none of them.

    Changes nothing in the part.
    """
    for register, want in INA226_IDENTITY.items():
        if (yield Transfer(bytes([register]), 2)) != want:
            break
    else:
        return "ina226"
    maker = yield Transfer(bytes([INA228_MAKER]), 2)
    if maker == IS_MAKER:
        die = yield Transfer(bytes([INA228_DIE]), 2)
        return "ina228" if int.from_bytes(die, "big") >> 4 == IS_INA228 else ""
    settings = yield Transfer(bytes([FIRST_REGISTER]), 2)
    calibration = yield Transfer(bytes([INA219_CALIBRATION]), 2)
    is_even = int.from_bytes(calibration, "big") & 1 == 0
    return "ina219" if settings in INA219_SETTINGS and is_even else ""


def check_monitor(kind: str) -> Setup:
    """Check which of the monitors answers.

    Raises:
        WrongPartError: another answers, which is named with what to write; or none of
            them, with what was read.
        ShortError, LengthError: an answer has another size.
    """
    found = yield from which()
    if found == kind:
        return
    if found:
        raise WrongPartError(
            f"an {found.upper()} responds, not an {kind.upper()}: "
            f'write kind = "{found}", and look at its shunt'
        )
    register, want = {
        "ina219": (FIRST_REGISTER, INA219_SETTINGS[0]),
        "ina226": (0xFE, IS_MAKER),
        "ina228": (INA228_MAKER, IS_MAKER),
    }[kind]
    got = yield from read(register, 2, f"register {register:02x}")
    check_identity(got, want, f"register {register:02x}")
    raise WrongPartError(f"what responds is like an {kind.upper()}, but is not one")


def current_sample(
    raw: int, step_mv: float, ends: tuple[int, int], shunt_mohm: float
) -> Sample:
    """Turn the shunt's voltage into the supply's current in A.

    Args:
        raw: as it was read.
        step_mv: what one count of it is.
        ends: the lowest and the highest that the part can give.
        shunt_mohm: the shunt.
    """
    amperes = raw * step_mv / shunt_mohm
    low, high = ends
    if raw >= high:
        return Sample("supply_a", amperes, "at-least", "the shunt is at full scale")
    if raw <= low:
        why = "the shunt is at its negative full scale"
        return Sample("supply_a", amperes, "outside-range", why)
    return Sample("supply_a", amperes)
