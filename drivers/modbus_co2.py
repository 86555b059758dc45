"""Infrared carbon dioxide module that speaks Modbus, on a serial port.

Registers as of the S8 and K30 families: their makers' Modbus papers, as ten public
drivers quote them (a status, a value, a period of self-calibration); figures from
makers' sheets as public pages quote them; "unverified" where not re-read.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import co2, modbus
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.frames import Stream
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    Gives,
    NotMeasuredError,
    PartInfo,
    Quality,
    Sample,
    WrongPartError,
)

ANY_UNIT = 0xFE
"""Any of these parts answers to this; so it must be alone on its line."""
STATUS_TO_VALUE = (0x0000, 4)
"""Input registers IR1 to IR4: status, alarms, outputs, CO2."""
PERIOD = 0x001F
"""Holding register HR32: hours between its self-calibrations; 0 none."""
SPECIAL = 0x0001
BACKGROUND = 0x7C06
"""Holding register HR2, and the word there by which it takes the air for 400 ppm."""
BACKGROUND_RUN_S = 1200.0
"""In outdoor air, before: as of its nine-byte sisters (our choice)."""
FAILS = {
    0: "a fatal error",
    2: "an error of its algorithm",
    4: "an error of its self-diagnosis",
    6: "an error of its memory",
}
OFFSET_BIT, RANGE_BIT = 1, 5
"""Bits of the status; bit 3 is an error of its outputs, which nobody uses here."""
LOOK_AGAIN_REQUESTS = 720
"""An hour: self-calibration is looked at again, since a loss of power too short for
its silence to show may bring the factory's setting back."""
FULL_SCALE_PPM = 10000.0
"""Of the extended range; a module that ends before says so by its status."""
RANGE_C = (0.0, 50.0)
RANGE_RH_PCT = (0.0, 95.0)
WARM_UP_S = 60.0
"""The sheet's first figure; its full class after 15 min."""


def zero_command() -> bytes:
    """Format the command that takes the air now for 400 ppm, for good.

    Only after a typed yes, and twenty minutes in outdoor air: it cannot be taken back.
    """
    return modbus.spell(ANY_UNIT, modbus.WRITE_ONE, SPECIAL, BACKGROUND)


def question() -> bytes:
    """Format the question for status and value."""
    return modbus.spell(ANY_UNIT, modbus.READ_INPUT, *STATUS_TO_VALUE)


def check_status(status: int) -> tuple[Quality, str]:
    """Return the quality that the part's own status leaves, and why.

    Raises:
        NotMeasuredError: it says that it has failed.
    """
    for bit, what in FAILS.items():
        if status >> bit & 1:
            raise NotMeasuredError(f"it says itself that it has {what}")
    if status >> RANGE_BIT & 1:
        return "at-least", "the module says that it is out of its range"
    if status >> OFFSET_BIT & 1:
        return "outside-range", "the module says that its offset is wrong"
    return "good", ""


class ModbusCo2:
    """Codec of one CO2 module; see `StreamPart`.

    It asks one thing at a time, since such a module hears nothing while it answers: at
    first whether it calibrates itself, and for values only once it does not.
    """

    def __init__(self, full_scale_ppm: float) -> None:
        self._full_scale_ppm = full_scale_ppm
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._stream = Stream(lambda: modbus.hunter(ANY_UNIT), self._read)
        self._begin()

    def _begin(self) -> None:
        self._requests = 0
        self._is_off = self._is_on = self._was_set = False

    def opening(self) -> bytes:
        """Begin again; the first question comes with the first request."""
        self._stream.restart()
        self._begin()
        return b""

    def request(self) -> bytes:
        """Ask whether it calibrates itself, switch that off, or ask for the value."""
        self._stream.pause()
        self._requests += 1
        if self._requests % LOOK_AGAIN_REQUESTS == 0:
            self._is_off = self._was_set = False
        if self._is_on:
            self._is_on, self._was_set = False, True
            return modbus.spell(ANY_UNIT, modbus.WRITE_ONE, PERIOD, 0)
        if not self._is_off:
            return modbus.spell(ANY_UNIT, modbus.READ_HOLDING, PERIOD, 1)
        return question()

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking; see `StreamPart`.

        Raises:
            DriverError: the first thing wrong since the last call.
        """
        return self._stream.feed(data)

    def _read(self, frame: bytes) -> list[Sample]:
        answer = modbus.decode(frame)
        if answer.function == modbus.WRITE_ONE:
            return []
        if answer.function == modbus.READ_HOLDING:
            self._note_period(*answer.words)
            return []
        if len(answer.words) != STATUS_TO_VALUE[1]:
            raise WrongPartError(
                f"{len(answer.words)} registers came where 4 are asked"
            )
        return [self._sample(answer.words[0], answer.words[3])]

    def _note_period(self, hours: int, *more: int) -> None:
        if more:
            raise WrongPartError(f"{len(more) + 1} registers came where 1 is asked")
        self._is_off, self._is_on = hours == 0, hours > 0
        if self._is_on and self._was_set:
            raise CalibrationError(
                "self-calibration stays on though switched off: values will drift low"
            )

    def _sample(self, status: int, shown_ppm: int) -> Sample:
        quality = check_status(status)
        if quality[0] == "good":
            quality = self._air.quality()
        ppm = co2.corrected(shown_ppm, self._air.get("pressure_hpa"))
        return co2.co2_sample(shown_ppm, self._full_scale_ppm, quality, ppm)

    def inform(self, quantity: str, value: float) -> None:
        """Take pressure, temperature and humidity."""
        self._air.inform(quantity, value)


def make(options: Mapping[str, Any]) -> ModbusCo2:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    full_scale = opt.number(options, "full_scale_ppm", FULL_SCALE_PPM, 1000.0, 50000.0)
    return ModbusCo2(full_scale)


IDENTIFY = None
"""A part on a serial port is told by its frames: open, ask, feed."""
PART = PartInfo(
    name="modbus_co2",
    title="CO2 module (Modbus)",
    bus="serial",
    gives={
        # Resolution 1 ppm.  Noise: as of its nine-byte sister (unverified).  Lag: t90
        # of two minutes by diffusion.  Stuck: such modules smooth heavily; ten minutes
        # are still too long (own figure).  Jump: breath on it (common practice).
        "co2_ppm": Gives(1.0, 5.0, 52.0, 600.0, 1000.0),
    },
    make=make,
    # Its own interval is 2 s or 4 s.
    interval_s=5.0,
    max_age_s=15.0,
    warm_up_s=WARM_UP_S,
    baud=9600,
    needs=("pressure_hpa", "temp_c", "rh_pct"),
    options={"full_scale_ppm": "end of the module's range, 1000 to 50 000 (10 000)"},
    # Life of more than fifteen years.
    service_years=15.0,
    range_c=RANGE_C,
    question=question(),
)
