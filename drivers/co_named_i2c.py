"""Carbon monoxide module on I2C whose answers name gas and decimals.

Sources: see `kit.named9`.  Each frame is written behind register 0, and its answer
read from register 0 a tenth of a second later.
"""

from collections.abc import Generator, Mapping
from typing import Any

from cabinvigil.drivers.kit import frame9, named9
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.named9 import (
    FULL_SCALE_PPM,
    OPTIONS,
    RANGE_C,
    SERVICE_YEARS,
    STEP_PPM,
    WARM_UP_S,
    judge_of,
    steps,
)
from cabinvigil.drivers.kit.probe import Identify, answers
from cabinvigil.drivers.kit.registers import sized
from cabinvigil.drivers.kit.steps import (
    Gives,
    NotMeasuredError,
    PartInfo,
    Setup,
    Steps,
    Transfer,
)

REGISTER = b"\x00"
ANSWER_S = 0.1
"""What the maker's driver waits on a Pi."""
TAKEN = 0x01
"""Third byte of the answer to a mode that was taken."""

Frame = Generator[Transfer, bytes, bytes]


def _exchange(command: int, *values: int) -> Frame:
    """Send a command frame and read the frame that answers it."""
    yield Transfer(REGISTER + frame9.spell(command, *values), 0, ANSWER_S)
    reply = yield Transfer(REGISTER, frame9.SIZE)
    return sized(reply, frame9.SIZE, "answer")


class CoNamedI2c:
    """Codec of one module; see `PolledPart`."""

    def __init__(self, judge: named9.NamedCo) -> None:
        """Take what judges its answers."""
        self._judge = judge

    def setup(self) -> Setup:
        """Let it answer when asked, and see that it is the part, by its gas.

        Raises:
            DriverError: see `named9.decode` and `named9.expect_co`.
            NotMeasuredError: it does not take the mode.
        """
        reply = yield from _exchange(named9.SET_MODE, named9.QUESTION)
        named9.check(reply)
        if reply[1] != named9.SET_MODE or reply[2] != TAKEN:
            raise NotMeasuredError(
                f"it replies {reply.hex()} where it should change to reply mode"
            )
        yield from _asked()

    def poll(self) -> Steps:
        """Ask for the value.

        Raises:
            DriverError: see `NamedCo.samples`; ShortError, LengthError.
        """
        return self._judge.samples((yield from _exchange(frame9.READ)))

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity."""
        self._judge.inform(quantity, value)


def make(options: Mapping[str, Any]) -> CoNamedI2c:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return CoNamedI2c(judge_of(options))


def identify() -> Identify:
    """Return whether a module with a CO probe answers; asking sets nothing."""
    return answers(_asked())


def _asked() -> Generator[Transfer, bytes, None]:
    named9.expect_co(named9.decode((yield from _exchange(frame9.READ))))


IDENTIFY = identify
PART = PartInfo(
    name="co_named_i2c",
    title="carbon monoxide module that names its gas",
    bus="i2c",
    gives={
        # As of `co_named_line`.
        "co_ppm": Gives(STEP_PPM, 0.3, 13.0, 604800.0, FULL_SCALE_PPM, accuracy=10.0),
    },
    make=make,
    interval_s=2.0,
    max_age_s=10.0,
    warm_up_s=WARM_UP_S,
    address=0x74,
    # Its switches have 76 and 77 too: those are left to the barometer, which a scan
    # must not write a frame to.
    addresses=(0x74, 0x75),
    needs=("temp_c", "rh_pct"),
    options=OPTIONS,
    service_years=SERVICE_YEARS,
    range_c=RANGE_C,
    steps=steps,
)
