"""What carbon monoxide has done to a sleeper: blood, and the alarm standards' times.

Two measures run side by side.  Carboxyhaemoglobin is what the sleeper carries.  The
alarm fraction is what the two alarm standards ask: at a constant level it reaches 1
at a moment inside both standards' bands.  Where the standards contradict each other
(one wants 300 ppm told within 3 min, the other 400 ppm not before 4 min) the earlier
moment rules: for a sleeper a late alarm costs more than a false one.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from types import MappingProxyType

from cabinvigil.daemon.air.blood import (
    REST,
    START_COHB_PCT,
    WASHOUT_HALF_LIFE_MIN,
    Body,
    breathe,
)

ALARM_MINUTES: tuple[tuple[float, float], ...] = (
    # ppm, minutes at which the fraction is 1; bands from check values `co_en50291`
    # and `co_ul2034` (both read there, secondary):
    (35.0, 240.0),  # EN: 30 ppm not before 120 min; UL: 30 ppm not in 30 days
    (50.0, 80.0),  # EN: 60 to 90
    (70.0, 62.0),  # UL: 60 to 240
    (100.0, 30.0),  # EN: 10 to 40
    (150.0, 13.0),  # UL: 10 to 50
    (300.0, 2.5),  # EN: within 3
    (400.0, 2.0),  # UL: within 15; its 'not before 4' yields to EN's 300 ppm row
)
RECOVERS_BELOW_PPM = 30.0
"""Both standards let this level go on for hours: below it the fraction goes down, from
here to the table's first row it stays."""
RECOVERY_HALF_LIFE_S = WASHOUT_HALF_LIFE_MIN * 60.0
"""The fraction goes down as the blood does."""
MOST_FRACTION = 2.0
"""The fraction grows no further: a poisoned sleeper is given no second grace for one
half-life of clean air, and not for a whole day."""


def alarm_minutes(co_ppm: float) -> float:
    """Return the minutes at a constant level until the standards' alarm is due.

    Between the table's rows it is a straight line in logarithms; below the first row
    it never comes (infinity); above the last, time goes as one over the level.
    """
    first_ppm, _ = ALARM_MINUTES[0]
    last_ppm, last_min = ALARM_MINUTES[-1]
    if not co_ppm >= first_ppm:
        return math.inf
    for (low_ppm, low_min), (high_ppm, high_min) in pairwise(ALARM_MINUTES):
        if co_ppm <= high_ppm:
            share = math.log(co_ppm / low_ppm) / math.log(high_ppm / low_ppm)
            return low_min * math.exp(share * math.log(high_min / low_min))
    return last_min * last_ppm / co_ppm


Bodies = Mapping[str, Body]
NO_OTHERS: Bodies = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Dose:
    """What has been breathed so far."""

    cohb_pct: float = START_COHB_PCT
    """Of an adult at rest who does not smoke."""
    alarm_fraction: float = 0.0
    """1 and above: the alarm standards want an alarm now."""
    others_pct: Mapping[str, float] = field(default_factory=lambda: NO_OTHERS_PCT)
    """COHb of the others who sleep here, by the name of their body."""

    def of(self, name: str, body: Body) -> float:
        """Return the COHb of one of the others, who may have come just now."""
        return self.others_pct.get(name, max(self.cohb_pct, body.start_pct))

    @property
    def most_pct(self) -> float:
        """The highest COHb of all who sleep here."""
        return max(self.cohb_pct, *self.others_pct.values(), 0.0)


NO_OTHERS_PCT: Mapping[str, float] = MappingProxyType({})


def breathe_co(
    dose: Dose,
    co_ppm: float,
    gap_s: float,
    adult: Body = REST,
    others: Bodies = NO_OTHERS,
) -> Dose:
    """Breathe a level for `gap_s` seconds; below nothing counts as nothing.

    Args:
        dose: what was breathed before.
        co_ppm: carbon monoxide in the air.
        gap_s: for how long.
        adult: an adult at rest, in the air that is breathed.
        others: the others who sleep here, in the same air.
    """
    co_ppm = max(co_ppm, 0.0)
    fraction = dose.alarm_fraction
    minutes = alarm_minutes(co_ppm)
    if minutes < math.inf:
        fraction = min(MOST_FRACTION, fraction + gap_s / 60.0 / minutes)
    elif co_ppm < RECOVERS_BELOW_PPM:
        fraction *= math.exp(-math.log(2.0) * gap_s / RECOVERY_HALF_LIFE_S)
    others_pct = {
        name: breathe(dose.of(name, body), co_ppm, gap_s, body)
        for name, body in others.items()
    }
    cohb_pct = breathe(dose.cohb_pct, co_ppm, gap_s, adult)
    return Dose(cohb_pct, fraction, others_pct or NO_OTHERS_PCT)


def worse_of(dose: Dose, other: Dose) -> Dose:
    """Return the worse of each measure: what only a doubtful part says lowers none."""
    return Dose(
        max(dose.cohb_pct, other.cohb_pct),
        max(dose.alarm_fraction, other.alarm_fraction),
        {
            name: max(pct, other.others_pct.get(name, pct))
            for name, pct in dose.others_pct.items()
        },
    )
