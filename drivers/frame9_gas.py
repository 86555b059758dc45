"""Infrared module for unburnt gas that answers with 9-byte frames on a serial port.

Sources: MH-441D data sheet, section 6.2, as a distributor's page has its text (the
frame, its worked answer, and what a count stands for); "unverified" where not read.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import frame9
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.frames import Stream
from cabinvigil.drivers.kit.gas_lel import gas_sample, thin_air
from cabinvigil.drivers.kit.steps import Gives, PartInfo, Sample, WrongPartError

ANSWER_LEL_PCT = 1.0
"""What one count stands for, in % LEL, unless the config says otherwise: 500 ppm of
methane, a hundredth of its 5 % (data sheet, for the range 0 to 100 % LEL).  Modules
that count more finely then read too high, and ring too early."""
STEPS_LEL_PCT = (0.01, 5.0)
"""What a config may say that one count stands for (own limits): of a coarser one the
alarm's first limit would be two counts."""
FULL_SCALE_LEL_PCT = 100.0
FULL_SCALES_LEL_PCT = (20.0, 100.0)
"""Ends of the range that a config may name: below 20 % LEL it hides the second limit
(own limits)."""
MOST_ZERO_LEL_PCT = 2.0
"""A larger reading in fresh air is gas, or a module for its maker, and no zero (own
limit): the alarm's first limit is 10."""
RANGE_C = (-20.0, 60.0)
RANGE_RH_PCT = (0.0, 95.0)
"""From memory; not condensing, for fog on the mirrors reads as gas or blinds it."""
AT_ITS_END = "the module is at full scale"
LEAP_LEL_PCT = 25.0
"""From one second to the next it cannot move by so much, with its lag: such an answer
waits for one that agrees (own figure; sensor notes, section 0, rule 3)."""
DOUBTED_ANSWERS = 10
"""After a frame that no gas module sends, so many answers count for nothing: another
module is on the line, and what it answers names no gas (own figure)."""


def decode(frame: bytes) -> int:
    """Decode an answer, in counts.

    Raises:
        DriverError: see `frame9.check`.
        WrongPartError: not the answer to a reading.
        CellDeadError: its topmost bit says that it has failed.
    """
    # The finest step and the widest range make 10,000 counts: none needs that bit.
    return frame9.sound(frame9.answer_value(frame), 0.0)


class Frame9Gas:
    """Codec of one gas module; see `StreamPart`."""

    def __init__(self, step_pct: float, full_scale_pct: float, zero_pct: float) -> None:
        """Take what one count stands for, the end of its range, and its zero."""
        self._step_pct = step_pct
        self._full_scale_pct = full_scale_pct
        self._zero_pct = zero_pct
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._stream = Stream(frame9.hunter, self._read)
        self._doubted = 0
        self._last_pct: float | None = None

    def opening(self) -> bytes:
        """Send nothing: it measures from power-up, and answers."""
        self._stream.restart()
        self._doubted = 0
        self._last_pct = None
        return b""

    def request(self) -> bytes:
        """Ask for the value."""
        return frame9.spell(frame9.READ)

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking; see `StreamPart`.

        Raises:
            DriverError: the first thing wrong since the last call.
        """
        return self._stream.feed(data)

    def inform(self, quantity: str, value: float) -> None:
        """Take pressure, temperature and humidity."""
        self._air.inform(quantity, value)

    def _read(self, frame: bytes) -> list[Sample]:
        if frame[1] in frame9.ACKNOWLEDGED:
            return []
        if frame[1] != frame9.READ:
            self._doubted = DOUBTED_ANSWERS
        elif self._doubted:
            self._doubted -= 1
            raise WrongPartError("another module's frames are among its replies")
        shown_pct = decode(frame) * self._step_pct
        last_pct, self._last_pct = self._last_pct, shown_pct
        if last_pct is not None and abs(shown_pct - last_pct) > LEAP_LEL_PCT:
            return []
        # It counts molecules in its light, and the share of thin air is more of them.
        thin = thin_air(self._air.get("pressure_hpa"))
        pct = (shown_pct - self._zero_pct) / thin
        if shown_pct >= self._full_scale_pct:
            return [gas_sample(max(pct, shown_pct), self._air, AT_ITS_END)]
        return [gas_sample(pct, self._air)]


def make(options: Mapping[str, Any]) -> Frame9Gas:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    most = MOST_ZERO_LEL_PCT
    return Frame9Gas(
        opt.number(options, "answer_lel_pct", ANSWER_LEL_PCT, *STEPS_LEL_PCT),
        opt.number(
            options, "full_scale_lel_pct", FULL_SCALE_LEL_PCT, *FULL_SCALES_LEL_PCT
        ),
        opt.number(options, "zero_lel_pct", 0.0, -most, most),
    )


def steps(options: Mapping[str, Any]) -> Mapping[str, float]:
    """Return what one count stands for.

    Raises:
        ValueError: it is out of bounds.
    """
    step = opt.number(options, "answer_lel_pct", ANSWER_LEL_PCT, *STEPS_LEL_PCT)
    return {"gas_lel_pct": step}


IDENTIFY = None
"""A part on a serial port is told by its frames: open, ask, feed."""
PART = PartInfo(
    name="frame9_gas",
    title="unburnt gas module",
    bus="serial",
    gives={
        # Resolution: one count.  Noise: half of one (own figure).  Response 30 s, as
        # t90, is 13 s at 63 % (unverified).  Stuck: 0 in clean air is right for days;
        # a week is not (own figure, as of the CO modules).  Jump: however fast a plume
        # comes along the floor, its own lag lets it show no more than 8 % a second.
        # Accuracy: 5 % of the range (unverified).
        "gas_lel_pct": Gives(ANSWER_LEL_PCT, 0.5, 13.0, 604800.0, 20.0, accuracy=5.0),
    },
    make=make,
    interval_s=1.0,
    max_age_s=5.0,
    # Three minutes (a public list of such parts; its sheet, unverified).
    warm_up_s=180.0,
    baud=9600,
    needs=("pressure_hpa", "temp_c", "rh_pct"),
    options={
        "answer_lel_pct": "% LEL of one count, by its sheet (1)",
        "full_scale_lel_pct": "end of its range in % LEL, 20 to 100 (100)",
        "zero_lel_pct": "what it shows in fresh air, taken off (-2 to 2; 0)",
    },
    # Five years (unverified): its lamp ages.
    service_years=5.0,
    range_c=RANGE_C,
    steps=steps,
)
