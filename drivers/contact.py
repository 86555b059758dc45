"""A contact on a line of the machine: a certified alarm's relay, a float, a door.

The shell shows how the line stood since it was last asked, as text: the level at first,
each change with its millisecond, and the length of it all, `0 1@312 0@480 =500` and a
newline.  Level 1 is what the contact is there to tell: it sounds, the float is up, the
door is open.

A wire with a resistor at its far end can be watched too, by a voltage divider on one
input of an ADS1115: at rest it has one resistance and in alarm another, so that a cut
wire (next to none of the current) and a short (all of it) are told apart.  Circuit:
common practice of alarm loops, no source; the sums are Ohm's law.
"""

import math
import re
from collections.abc import Generator, Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import ads1115
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.steps import (
    FramingError,
    Gives,
    LengthError,
    OutOfRangeError,
    PartInfo,
    Sample,
    Transfer,
    WireLooseError,
    WireOpenError,
    WireShortError,
)

BOUNCE_MS = 30
"""Contacts bounce for 5 to 20 ms (common practice, no source): a level that has stood
for less is not believed.  The button has the same figure."""
CHATTERS = 12
"""So many changes in one message, and none that lasted, are a loose wire (our choice:
a relay that bounces makes some six)."""
LONGEST = 4096
"""Bytes of a message; the kernel keeps some dozens of changes (own limit)."""
DEFAULT_PIN = "0"
"""The converter's input that watches the wire, where the options name none."""
FULL_SCALE_MV = 4096
"""Above any supply that the converter may have on its inputs here, 3.3 V."""
NEAR = 2.0
"""A resistance is the one it should be within a factor of two: resistors, supply and
converter are good to a few per cent, and dirt on a plug is to be told (our choice)."""

_TEXT = re.compile(rb"([01])((?: [01]@\d{1,7})*) =(\d{1,7})\n")

Stood = tuple[bool, int]
"""Whether it told of something, and for how many milliseconds."""
WireLook = Generator[Transfer, bytes, bool]
"""Returns whether the wire is as in alarm."""


def decode(text: bytes) -> list[Stood]:
    """Decode how the line stood, in order.

    Raises:
        LengthError: more than a message can have.
        FramingError: not such a message, or its times run backwards.
    """
    if len(text) > LONGEST:
        raise LengthError(f"{len(text)} bytes came where a line reports a few dozen")
    match = _TEXT.fullmatch(text)
    if match is None:
        raise FramingError("this is not a message of a line")
    levels, starts = [match[1] == b"1"], [0]
    for change in match[2].split():
        level, _, at = change.partition(b"@")
        levels.append(level == b"1")
        starts.append(int(at))
    ends = [*starts[1:], int(match[3])]
    if any(end < start for start, end in zip(starts, ends, strict=True)):
        raise FramingError("the times of a line's changes run backwards")
    return [
        (level, end - start)
        for level, start, end in zip(levels, starts, ends, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Wire:
    """A wire that is watched, from the pull-up to the contact and back."""

    pins: str
    pull_up_ohm: float
    """From the supply to the line."""
    rest_ohm: float
    """What the wire has while the contact rests."""
    alarm_ohm: float
    """What it has while the contact tells of something."""
    supply_mv: float

    def ohms(self, millivolts: float) -> float:
        """Return the wire's resistance; infinity where no current flows."""
        left_mv = self.supply_mv - millivolts
        if left_mv <= 0.0:
            return math.inf
        return self.pull_up_ohm * max(millivolts, 0.0) / left_mv

    def is_alarm(self, millivolts: float) -> bool:
        """Return whether the wire is as in alarm.

        Raises:
            WireOpenError: it is cut, or its plug is out.
            WireShortError: its two leads touch.
            OutOfRangeError: it is neither as at rest nor as in alarm.
        """
        ohm = self.ohms(millivolts)
        if ohm > NEAR * max(self.rest_ohm, self.alarm_ohm):
            raise WireOpenError("the wire is open")
        if ohm < min(self.rest_ohm, self.alarm_ohm) / NEAR:
            raise WireShortError("the wire is shorted")
        for usual_ohm, is_alarm in ((self.alarm_ohm, True), (self.rest_ohm, False)):
            if usual_ohm / NEAR <= ohm <= usual_ohm * NEAR:
                return is_alarm
        raise OutOfRangeError(
            f"the wire has {ohm / 1000:.1f} kOhm, neither as at rest nor as in alarm"
        )


class Contact:
    """Codec of one contact; see `StreamPart`.  Each feed is all since the last."""

    def __init__(self, wire: Wire) -> None:
        """Begin with nothing known; `wire` is how it would be watched."""
        self.wire = wire
        self._input = ads1115.Input(wire.pins, FULL_SCALE_MV)
        self._level: bool | None = None
        self._for_ms = 0
        self._is_closed = False

    def opening(self) -> bytes:
        """Send nothing: a line is read."""
        return b""

    def request(self) -> bytes:
        """Send nothing."""
        return b""

    def feed(self, data: bytes) -> list[Sample]:
        """Take how the line stood since the last message.

        What told of something for long enough counts, though it is over by now: a
        certified alarm's word is not lost between two looks.

        Raises:
            WireLooseError: it only came and went.
            DriverError: see `decode`.
        """
        stood = decode(data)
        is_told = False
        for level, for_ms in stood:
            if level is not self._level:
                # The first level of all is believed: it may have stood for hours.
                self._for_ms = BOUNCE_MS if self._level is None else 0
                self._level = level
            self._for_ms = min(self._for_ms + for_ms, BOUNCE_MS)
            if self._for_ms >= BOUNCE_MS:
                self._is_closed = level
            is_told = is_told or self._is_closed
        if not is_told and len(stood) > CHATTERS:
            raise WireLooseError(f"it came and went {len(stood) - 1} times at once")
        return [Sample("contact", float(is_told))]

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""

    def look(self) -> WireLook:
        """Measure the wire.

        Raises:
            WireOpenError, WireShortError, OutOfRangeError: see `Wire.is_alarm`.
            DriverError: the converter did not measure; see `ads1115.convert`.
        """
        yield from ads1115.check_part()
        counts = yield from ads1115.convert(self._input)
        return self.wire.is_alarm(self._input.millivolts(counts))


def wire_of(options: Mapping[str, Any]) -> Wire:
    """Read the figures of a watched wire from the config's options.

    Raises:
        ValueError: an option is out of bounds, or rest and alarm are alike.
    """
    wire = Wire(
        pins=opt.choice(options, "pins", DEFAULT_PIN, ("0", "1", "2", "3")),
        pull_up_ohm=opt.number(options, "pull_up_ohm", 10_000.0, 1000.0, 100_000.0),
        rest_ohm=opt.number(options, "rest_ohm", 47_000.0, 100.0, 400_000.0),
        alarm_ohm=opt.number(options, "alarm_ohm", 1000.0, 100.0, 400_000.0),
        supply_mv=opt.number(options, "supply_mv", 3300.0, 1800.0, 4000.0),
    )
    low, high = sorted((wire.rest_ohm, wire.alarm_ohm))
    if high < NEAR**3 * low:
        raise ValueError(
            f"rest_ohm: {wire.rest_ohm:g} and alarm_ohm {wire.alarm_ohm:g} are too "
            f"much alike; one must be {NEAR**3:g} times the other or more"
        )
    return wire


def _inputs(options: Mapping[str, Any]) -> frozenset[str]:
    """Return the input that watches the wire; `make` tells of a wrong one."""
    return frozenset(str(options.get("pins", DEFAULT_PIN)))


def make(options: Mapping[str, Any]) -> Contact:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    opt.choice(options, "pull", "up", ("up", "down", "none"))
    return Contact(wire_of(options))


IDENTIFY = None
"""A line says nothing of what depends on it."""


PART = PartInfo(
    name="contact",
    title="contact",
    bus="line",
    # It is 0 or 1, and may rightly stand at either for ever; the rest are the button's.
    gives={"contact": Gives(1.0, 0.01, 0.03, math.inf, math.inf, top=1.0)},
    make=make,
    # Twice a tick, so that what closes is told within one.
    interval_s=0.5,
    max_age_s=5.0,
    warm_up_s=0.05,
    options={
        "pull": "the Pi's own pull on the line: up (default), down or none",
        "pins": "the ADS1115's input that reads the wire: 0 (default), 1, 2 or 3",
        "pull_up_ohm": "from the power supply to the line (10 000)",
        "rest_ohm": "the wire's, both ways, while the contact rests (47 000)",
        "alarm_ohm": "the same while it reports something (1000)",
        "supply_mv": "of the divider (3300)",
    },
    inputs=_inputs,
)
