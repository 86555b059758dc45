"""Catalytic beads (a pellistor) in a bridge, read through an ADS1115: unburnt gas.

Gas burns on the one bead and warms it, and the bridge gives millivolts in proportion.
Sources: MC113 data sheet, as a page has its text (signals, response, range, drift);
VQ10 data sheet (bridge, linear range); ADS1115 as in `kit.ads1115`; unverified.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import ads1115
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.gas_lel import WHOLE_PCT, gas_sample
from cabinvigil.drivers.kit.steps import (
    CellDeadError,
    Gives,
    PartInfo,
    Setup,
    Steps,
)

MV_PER_LEL_PCT = 0.425
"""25 mV for 1 % of propane, the least of two such parts (25 to 60, MC113 and MC113C
data sheet), at its lower explosive limit of 1.7 % (IEC 60079-20-1): the least, so that
a better one reads too high and rings too early."""
SIGNALS_MV_PER_LEL_PCT = (0.1, 20.0)
"""What a config may say: a bare bridge's, up to that of a board that amplifies it."""
BRIDGE_MV = 2800.0
"""Supply of the bridge (MC113: 2.8 V within 0.1)."""
BRIDGES_MV = (1000.0, 5000.0)
ARM_FULL_SCALE_MV = 4096
ARM_SHARE = (0.35, 0.65)
"""Two like beads in a row halve the supply; outside this one of them is broken, or the
bridge has no power (own limits).  Else no power would read as clean air."""
ROOM = 1.3
"""The converter's range beyond the explosive limit, of that limit's signal: drift and
spread (our choice)."""
MOST_ZERO_MV = 30.0
"""Offset of a bridge in clean air (own limit)."""
HOLD_POLLS = 120
"""Once past the explosive limit it counts as there for ten minutes, at the part's
interval: richer air burns less on a bead, whose signal falls back towards nothing (own
figure; that such a reading latches is IEC 60079-29-1's, unverified)."""
HELD = "it was at the explosive limit, and in richer air its signal falls back"
RANGE_C = (-40.0, 70.0)
RANGE_RH_PCT = (0.0, 95.0)
"""MC113 data sheet."""
PAIRS = [pins for pins in ads1115.MULTIPLEXER if "-" in pins]


@dataclass(frozen=True, slots=True)
class BeadFacts:
    """What is known of a bridge."""

    mv_per_lel_pct: float = MV_PER_LEL_PCT
    zero_mv: float = 0.0
    """Its signal in clean air."""
    bridge_mv: float = BRIDGE_MV

    @property
    def full_scale_mv(self) -> int:
        """The finest range of the converter that holds the explosive limit."""
        needed = ROOM * (WHOLE_PCT * self.mv_per_lel_pct + abs(self.zero_mv))
        return min(scale for scale in ads1115.GAIN if scale >= needed)

    def lel_pct(self, mv: float) -> float:
        """Return gas in % LEL from the bridge's signal."""
        return (mv - self.zero_mv) / self.mv_per_lel_pct


def check_arm(mv: float, bridge_mv: float) -> None:
    """See that the bridge is alive, by the middle of its beads against ground.

    Raises:
        CellDeadError: it has no power, or a bead or wire is broken.
    """
    low, high = ARM_SHARE
    if not low <= mv / bridge_mv <= high:
        raise CellDeadError(
            f"the middle of its beads is at {mv:.0f} mV, where {bridge_mv / 2:.0f} "
            "belong: it has no power, or a bead or a wire is broken"
        )


class GasBeadAds1115:
    """Codec of one bridge and its converter; see `PolledPart`."""

    def __init__(self, bead: BeadFacts, pins: str) -> None:
        self._bead = bead
        self._input = ads1115.Input(pins, bead.full_scale_mv)
        self._arm = ads1115.Input(pins[0], ARM_FULL_SCALE_MV)
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._held_polls = 0

    def setup(self) -> Setup:
        """See that the converter is there; it needs no setting that lasts.

        Raises:
            WrongPartError: another part answers.
            ShortError, LengthError: an answer has another size.
        """
        return ads1115.check_part()

    def poll(self) -> Steps:
        """Read the bridge.

        Raises:
            NotReadyError, NotMeasuredError, ShortError, LengthError: see `convert`.
            CellDeadError: see `check_arm`.
            OutOfRangeError: less than nothing.
        """
        mv = yield from self.read_mv()
        pct = self._bead.lel_pct(mv)
        if pct >= WHOLE_PCT:
            self._held_polls = HOLD_POLLS
        elif self._held_polls:
            self._held_polls -= 1
            return [gas_sample(WHOLE_PCT, self._air, HELD)]
        return [gas_sample(pct, self._air)]

    def read_mv(self) -> ads1115.Millivolts:
        """Read the bridge's signal alone, as its zero needs it.

        Raises:
            DriverError: as `poll`.
        """
        arm = yield from ads1115.convert(self._arm)
        check_arm(self._arm.millivolts(arm), self._bead.bridge_mv)
        counts = yield from ads1115.convert(self._input)
        return self._input.millivolts(counts)

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity, to tell where its maker promises nothing."""
        self._air.inform(quantity, value)


def bead_of(options: Mapping[str, Any]) -> BeadFacts:
    """Read the bridge's figures from the config's options.

    Raises:
        ValueError: an option is out of bounds.
    """
    most = MOST_ZERO_MV
    return BeadFacts(
        opt.number(options, "mv_per_lel_pct", MV_PER_LEL_PCT, *SIGNALS_MV_PER_LEL_PCT),
        opt.number(options, "zero_mv", 0.0, -most, most),
        opt.number(options, "bridge_mv", BRIDGE_MV, *BRIDGES_MV),
    )


def make(options: Mapping[str, Any]) -> GasBeadAds1115:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return GasBeadAds1115(bead_of(options), opt.choice(options, "pins", "0-1", PAIRS))


def steps(options: Mapping[str, Any]) -> Mapping[str, float]:
    """Return what one count stands for, with this bridge.

    Raises:
        ValueError: an option is out of bounds.
    """
    bead = bead_of(options)
    return {"gas_lel_pct": bead.full_scale_mv / 32768 / bead.mv_per_lel_pct}


IDENTIFY = ads1115.identify
PART = PartInfo(
    name="gas_bead_ads1115",
    title="catalytic gas beads",
    bus="i2c",
    gives={
        # Resolution: one count, 7.8 µV.  Noise: a few counts (own figure).  Response
        # 10 s as t90 is 4.3 s at 63 % (MC113).  Stuck: a living bridge moves a count
        # within minutes; an hour is room (own figure, as of the CO cell).  Jump: none
        # is refused, see `frame9_gas`.  Accuracy: linear within 5 % (MC113).
        "gas_lel_pct": Gives(0.0184, 0.1, 4.3, 3600.0, 100.0, accuracy=5.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # Its zero comes to rest within minutes of power (unverified).
    warm_up_s=180.0,
    address=0x48,
    addresses=ads1115.ADDRESSES,
    needs=("temp_c", "rh_pct"),
    options={
        "mv_per_lel_pct": "mV for 1 % LEL of your gas, by its sheet (0.425)",
        "zero_mv": "mV in clean air, -30 to 30 (0; kept by `cabinvigil span`)",
        "bridge_mv": "power supply of the bridge in mV (2800)",
        "pins": "inputs of the converter: 0-1 (default), 2-3, 0-3 or 1-3; the first "
        "goes to the middle of the two beads",
    },
    # Three years (MC113); poisoned much sooner by silicone and lead.
    service_years=3.0,
    range_c=RANGE_C,
    steps=steps,
    inputs=ads1115.inputs,
)
