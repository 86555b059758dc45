"""SGP41: volatile organic compounds and nitrogen oxides, raw and as index, on I2C.

Sources: Sensirion SGP40 data sheet v1.0 and SGP41 examples, as gathered in the
project's sensor notes, section 4.  Raw signals follow the logarithm of a resistance;
an index shows how they stand against the last hours.  Neither is ever a concentration,
and both are annotations, never an alarm's ground.
"""

from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.gas_index import NOX, VOC, GasIndex
from cabinvigil.drivers.kit.probe import Identify, answers
from cabinvigil.drivers.kit.steps import (
    CellDeadError,
    Gives,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from cabinvigil.drivers.kit.words import ask, command, words

CONDITION = 0x2612
MEASURE = 0x2619
SELF_TEST = 0x280E
HEATER_OFF = 0x3615
SERIAL_NUMBER = 0x3682
MEASURE_S = 0.050
SELF_TEST_S = 0.320
SHORT_S = 0.001
FAILED_BITS = 0x000F
"""What of the verdict says that a pixel is faulty: bit 0 that for VOC, bit 1 that for
NOx.  The others are to be passed over (two public drivers; the maker's unverified)."""
FAILED = 0x4B00
"""A faulty SGP40's verdict, by the same command (v1.0 p. 14, table 13)."""
CONDITION_POLLS = 10
"""Ten seconds at one poll a second; longer harms the nitrogen oxide pixel (from
memory)."""
DEFAULT_RH_PCT, DEFAULT_TEMP_C = 50.0, 25.0
"""Air that the part assumes where none is told: words 8000 and 6666 (p. 13)."""
RANGE_C = (-10.0, 50.0)
"""From memory."""
RANGE_RH_PCT = (0.0, 90.0)
"""It must not see condensing air (section 2.3)."""


@dataclass(frozen=True, slots=True)
class Sgp41Reading:
    """What one answer says, in ticks."""

    voc_raw: int
    nox_raw: int


def decode(reply: bytes) -> Sgp41Reading:
    """Decode the six bytes of a measurement.

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    voc, nox = words(reply, 2)
    return Sgp41Reading(voc, nox)


def decode_self_test(reply: bytes) -> bool:
    """Return whether the self-test found nothing wrong.

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    (verdict,) = words(reply, 1)
    return verdict != FAILED and not verdict & FAILED_BITS


def humidity_word(rh_pct: float) -> int:
    """Format a humidity (p. 13): 100 % over the 16-bit range."""
    return round(min(max(rh_pct, 0.0), 100.0) * 65535 / 100)


def temperature_word(temp_c: float) -> int:
    """Format a temperature (p. 13): -45 to 130 °C over the 16-bit range."""
    return round((min(max(temp_c, -45.0), 130.0) + 45) * 65535 / 175)


def tick_sample(quantity: str, raw: int, air: Conditions) -> Sample:
    """Judge a raw signal.

    Raises:
        OutOfRangeError: an end of the scale, where no live pixel sits.
    """
    if raw in (0, 0xFFFF):
        raise OutOfRangeError(
            f"the signal {quantity} is {raw}: no live pixel sits there"
        )
    return Sample(quantity, float(raw), *air.quality())


class Sgp41:
    """Codec of one SGP41; see `PolledPart`."""

    def __init__(self) -> None:
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._conditioned = 0
        self._voc, self._nox = GasIndex(VOC), GasIndex(NOX)

    def setup(self) -> Setup:
        """Switch the heater off, then see that the part is there and well.

        What the indices have learnt is kept: it is the air's, not the start's.

        Raises:
            CellDeadError: its self-test fails.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        yield Transfer(command(HEATER_OFF), 0, SHORT_S)
        yield from ask(SERIAL_NUMBER, 3, SHORT_S)
        verdict = yield Transfer(command(SELF_TEST), 3, SELF_TEST_S)
        if not decode_self_test(verdict):
            raise CellDeadError("its self-test fails: replace it")
        self._conditioned = 0

    def poll(self) -> Steps:
        """Measure; for the first ten polls condition the pixels.

        Raises:
            OutOfRangeError: a signal at the end of its scale.
            ShortError, LengthError, CrcError: the answer cannot be read.
        """
        if self._conditioned < CONDITION_POLLS:
            (voc,) = yield from ask(CONDITION, 1, MEASURE_S, *self._told())
            self._conditioned += 1
            live = tick_sample("voc_raw", voc, self._air)
            why = "it is warming up"
            return [Sample(live.quantity, live.value, "outside-range", why)]
        reply = yield Transfer(command(MEASURE, *self._told()), 6, MEASURE_S)
        reading = decode(reply)
        found = [
            tick_sample("voc_raw", reading.voc_raw, self._air),
            tick_sample("nox_raw", reading.nox_raw, self._air),
        ]
        for name, index, raw in (
            ("voc_index", self._voc, reading.voc_raw),
            ("nox_index", self._nox, reading.nox_raw),
        ):
            value = index.process(raw)
            if value:  # 0 stands for none yet
                found.append(Sample(name, float(value), *self._air.quality()))
        return found

    def _told(self) -> tuple[int, int]:
        rh_pct, temp_c = self._air.get("rh_pct"), self._air.get("temp_c")
        return (
            humidity_word(DEFAULT_RH_PCT if rh_pct is None else rh_pct),
            temperature_word(DEFAULT_TEMP_C if temp_c is None else temp_c),
        )

    def inform(self, quantity: str, value: float) -> None:
        """Take humidity and temperature, which the part needs to correct itself."""
        self._air.inform(quantity, value)


def identify() -> Identify:
    """Return whether an SGP41 answers, by its serial number and checksums."""
    return answers(ask(SERIAL_NUMBER, 3, SHORT_S))


make = opt.no_options(Sgp41)
IDENTIFY = identify
PART = PartInfo(
    name="sgp41",
    title="volatile organics and nitrogen oxides sensor (SGP41)",
    bus="i2c",
    gives={
        # One tick; noise of some ticks, lag of some seconds (unverified).  Stuck: live
        # signals flicker at each reading; five minutes is room.  Jump: no bound but the
        # scale's (own figures).
        "voc_raw": Gives(1.0, 10.0, 10.0, 300.0, 65535.0),
        "nox_raw": Gives(1.0, 10.0, 30.0, 300.0, 65535.0),
        # Smoothed over 20 to 500 s, so that its noise is below its step.  Stuck: in
        # usual air NOx rightly stands at 1 for days, and VOC near 100 for a while (own
        # figures).
        "voc_index": Gives(1.0, 0.5, 60.0, 7200.0, 500.0),
        "nox_index": Gives(1.0, 0.5, 60.0, 604800.0, 500.0),
    },
    make=make,
    # A fixed second: the heater's rhythm is part of the measurement.
    interval_s=1.0,
    max_age_s=5.0,
    # Ten seconds of conditioning and 46 without an index, with room.
    warm_up_s=90.0,
    address=0x59,
    addresses=(0x59,),
    needs=("rh_pct", "temp_c"),
    # Ten years of life (unverified).
    service_years=10.0,
    range_c=RANGE_C,
)
