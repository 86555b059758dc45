"""Optical (luminescence) oxygen sensor that sends ASCII lines on a serial port.

Sources: the maker's data sheets and interface description as gathered in the project's
sensor notes, section 11.  A line has no checksum: it must be whole, say `e 0000`, and
its own percent and pressure must agree.
"""

import re
from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.frames import PATIENCE_FRAMES, LineHunter, Stream
from cabinvigil.drivers.kit.steps import (
    FramingError,
    Gives,
    NotMeasuredError,
    OutOfRangeError,
    PartInfo,
    Quality,
    Sample,
    ShortError,
)
from cabinvigil.drivers.kit.vapour import rh_at_surface_pct

LETTERS = ("O", "T", "P", "%", "e")
"""Partial pressure, temperature, pressure, percent, status: the order of a line."""
ANSWERS = frozenset("OTP%eMKA#")
"""Letters that answers to commands begin with."""
STREAM = b"M 0\r\n"
"""The command for a line about once a second; the answer is `M 00` or alike."""
GOOD = "0000"
LONGEST = 80
"""A full line has 41 characters; twice that is no line (own limit)."""
MOST_DIFFERENCE_PCT = 0.3
"""Own percent against ppO2 / P: 0.1 mbar and 1 mbar of rounding and, on the coarse
version, 0.1 % make 0.13; with room (sensor notes, section 11)."""
FULL_O2_HPA = 300.0
FULL_O2_PCT = 25.0
"""Ends of the ranges (data sheet)."""
RANGE_C = (-30.0, 60.0)
RANGE_RH_PCT = (0.0, 99.0)
"""Without dew: a wet disc answers slowly or stands still (sensor notes, section 11).
It is the humidity at the disc that counts."""
REFUSALS = {
    "0": "it was too long",
    "1": "it does not know it",
    "2": "it is misspelt",
    "3": "its argument is wrong",
}
"""Last digit of an error line."""

_NUMBER = re.compile(r"[+-]?\d{1,5}(\.\d{1,3})?")
_DASHES = re.compile(r"-[-.]+")
_STATUS = re.compile(r"[0-9A-Fa-f]{4}")


@dataclass(frozen=True, slots=True)
class OpticalReading:
    """What one whole line says."""

    o2_hpa: float
    temp_c: float
    """Indication only."""
    pressure_hpa: float | None
    """None on the version without a pressure cell."""
    o2_pct: float | None
    """None on the version without a pressure cell."""
    status: str


@dataclass(frozen=True, slots=True)
class CommandAnswer:
    """What a line says that answers a command."""

    letter: str
    numbers: tuple[float, ...]


def decode(line: bytes) -> OpticalReading | CommandAnswer:
    """Decode one line with its end.

    Raises:
        ShortError: the line is cut: no line end, or letters are missing.
        FramingError: not such a line: joined in the middle, noise, a refusal.
    """
    try:
        text = line.decode("ascii")
    except UnicodeDecodeError:
        raise FramingError("the line holds bytes that are no text") from None
    if not text.endswith("\n"):
        raise ShortError("the line is cut before its end")
    tokens = text.split()
    if not tokens:
        raise FramingError("the line is empty")
    if tokens[0] == "E":
        raise FramingError(_refusal(tokens))
    if tokens[0] not in ANSWERS:
        raise FramingError("the line begins in its middle")
    if tokens[0] == "O" and len(tokens) > 2:
        return _reading(tokens)
    return _answer(tokens)


def _refusal(tokens: list[str]) -> str:
    why = REFUSALS.get(tokens[-1][-1], "it does not say why")
    return f"the sensor refuses a command: {why}"


def _reading(tokens: list[str]) -> OpticalReading:
    letters, values = tuple(tokens[0::2]), tokens[1::2]
    if letters != LETTERS[: len(letters)]:
        raise FramingError(f"the line has {' '.join(letters)}, not {' '.join(LETTERS)}")
    if len(values) < len(LETTERS):
        raise ShortError(f"the line ends before its {LETTERS[len(values)]}")
    if not _STATUS.fullmatch(values[4]):
        raise FramingError(f"the line's status is {values[4]!r}, not four digits")
    return OpticalReading(
        o2_hpa=_number(values[0]),
        temp_c=_number(values[1]),
        pressure_hpa=_number_or_dashes(values[2]),
        o2_pct=_number_or_dashes(values[3]),
        status=values[4],
    )


def _answer(tokens: list[str]) -> CommandAnswer:
    if len(tokens) < 2:
        raise ShortError("the line ends behind its letter")
    return CommandAnswer(tokens[0], tuple(_number(token) for token in tokens[1:]))


def _number(token: str) -> float:
    if not _NUMBER.fullmatch(token):
        raise FramingError(f"{token!r} is not a number")
    return float(token)


def _number_or_dashes(token: str) -> float | None:
    return None if _DASHES.fullmatch(token) else _number(token)


def samples(reading: OpticalReading, air: Conditions) -> list[Sample]:
    """Judge a line; without a pressure cell, percent comes from another's pressure.

    Without either there is no percent: taken at sea level it would read low on a hill.

    Raises:
        NotMeasuredError: the part says that something is wrong with it.
        OutOfRangeError: values that no air has, or that contradict one another.
    """
    if reading.status != GOOD:
        raise NotMeasuredError(
            f"its self-check says {reading.status}, not {GOOD}: it must go to its maker"
        )
    if reading.o2_hpa <= 0:
        raise OutOfRangeError(f"it reports {reading.o2_hpa:g} hPa of oxygen: no air")
    air.inform("temp_c", reading.temp_c)
    quality = air.quality()
    percent = _percent(reading, air.get("pressure_hpa"))
    found = [_ranged("o2_hpa", reading.o2_hpa, FULL_O2_HPA, quality)]
    if percent is not None:
        found.insert(0, _ranged("o2_pct", percent, FULL_O2_PCT, quality))
    if reading.pressure_hpa is not None:
        found.append(Sample("pressure_hpa", reading.pressure_hpa, *quality))
    return found


def _percent(reading: OpticalReading, told_hpa: float | None) -> float | None:
    pressure = reading.pressure_hpa if reading.pressure_hpa is not None else told_hpa
    if pressure is None:
        return None
    if pressure <= 0:
        raise OutOfRangeError("it reports an air pressure of 0 hPa: no air")
    computed = 100 * reading.o2_hpa / pressure
    if reading.o2_pct is None:
        return computed
    if abs(computed - reading.o2_pct) > MOST_DIFFERENCE_PCT:
        raise OutOfRangeError(
            f"it reports {reading.o2_pct:g} % oxygen, but {reading.o2_hpa:g} of "
            f"{pressure:g} hPa are {computed:.2f} %"
        )
    return reading.o2_pct


def _ranged(
    quantity: str, value: float, full: float, quality: tuple[Quality, str]
) -> Sample:
    if value >= full:
        return Sample(quantity, value, "at-least", "the sensor is at full scale")
    return Sample(quantity, value, *quality)


def _is_about(temp_c: float) -> bool:
    """Return whether a temperature can be that of a disc that works at all."""
    return RANGE_C[0] <= temp_c <= RANGE_C[1]


def _hunter() -> LineHunter:
    return LineHunter(LONGEST)


class O2OpticalLine:
    """Codec of one optical oxygen sensor; see `StreamPart`."""

    def __init__(self) -> None:
        self._stream = Stream(_hunter, self._read)
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._room = Conditions(RANGE_C, RANGE_RH_PCT)
        self._synced = False
        self._noise_lines = 0

    def opening(self) -> bytes:
        """Ask for a line about once a second (also the mode at power-up)."""
        self._stream.restart()
        self._synced, self._noise_lines = False, 0
        return STREAM

    def request(self) -> bytes:
        """Ask for nothing: the lines come by themselves."""
        return b""

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking; see `StreamPart`.

        Raises:
            DriverError: the first thing wrong since the last call.
        """
        return self._stream.feed(data)

    def inform(self, quantity: str, value: float) -> None:
        """Take the room's humidity and temperature, and its pressure.

        The pressure is what a part without a cell for it wants.
        """
        self._room.inform(quantity, value)
        if quantity != "temp_c":  # its own is told with each line
            self._air.inform(quantity, value)

    def _see_wetness(self, disc_c: float) -> None:
        """Judge the room's humidity at the disc: soaked in the cold, it is wet long.

        Where nobody shows how warm the room is, it is taken for as warm as the disc.
        """
        rh_pct, room_c = self._room.get("rh_pct"), self._room.get("temp_c")
        if rh_pct is None or room_c is None or not _is_about(disc_c):
            return
        self._air.inform("rh_pct", rh_at_surface_pct(rh_pct, room_c, disc_c))

    def _read(self, line: bytes) -> list[Sample]:
        """Read one line; what comes before the first good one is power-up noise."""
        try:
            item = decode(line)
        except (FramingError, ShortError):
            self._noise_lines += 1
            if self._synced or self._noise_lines > PATIENCE_FRAMES:
                raise
            return []
        self._synced = True
        if not isinstance(item, OpticalReading):
            return []
        self._see_wetness(item.temp_c)
        return samples(item, self._air)


make = opt.no_options(O2OpticalLine)
IDENTIFY = None
"""A part on a serial port is told by its lines: open, listen, feed."""
PART = PartInfo(
    name="o2_optical_line",
    title="optical oxygen sensor",
    bus="serial",
    gives={
        # Resolution: 0.1 mbar, 0.01 to 0.1 % by version, 1 mbar (data sheet).  Noise:
        # one step (own figure).  Lag: t90 below 30 s is 13 s at 63 %.  Stuck: the
        # coarse version may rightly stand for an hour in still fresh air (own figure);
        # the partial pressure comes in steps of 0.1 mbar from every version, half of
        # its noise, and ten minutes at one number are too long (own figure).  Jump:
        # full air to none takes t90, 20 % in 30 s; three times that is no gas.
        # Accuracy: 2 % of 300 mbar, 0.6 % of oxygen at the sea; 5 mbar (data sheet).
        "o2_pct": Gives(0.01, 0.02, 13.0, 3600.0, 2.0, FULL_O2_PCT, accuracy=0.6),
        "o2_hpa": Gives(0.1, 0.2, 13.0, 600.0, 20.0, FULL_O2_HPA, accuracy=6.0),
        "pressure_hpa": Gives(1.0, 0.3, 1.0, 86400.0, 5.0, accuracy=5.0),
    },
    make=make,
    interval_s=1.0,
    max_age_s=5.0,
    # One line at once; a minute until its lines agree (own figure).
    warm_up_s=60.0,
    baud=9600,
    needs=("pressure_hpa", "rh_pct", "temp_c"),
    # Life of five years or more (data sheet).
    service_years=5.0,
    says_what=lambda _options: True,  # each value behind its letter
    range_c=RANGE_C,
)
