"""The words of the trend: what it is told of a cabin, what it sees, what it says.

All values are frozen; the filter's state is a value too, so the same night gives the
same estimates whether it is lived, rehearsed or replayed.
"""

from dataclasses import dataclass, field
from typing import Literal

from cabinvigil.daemon.air.figures import FRESH_CO2_PPM
from cabinvigil.daemon.trend.bank import Component
from cabinvigil.daemon.trend.line import RatioLine

Triple = tuple[float, float, float]
"""The 5, 50 and 95 % points."""
MinutesTriple = tuple[float | None, float | None, float | None]
"""5, 50 and 95 % points in minutes; None where that share levels off first."""


@dataclass(frozen=True, slots=True)
class CrossingQuery:
    """One crossing whose probability is wanted."""

    quantity: Literal["o2_pct", "co2_ppm"]
    limit: float
    side: Literal["below", "above"]
    horizon_s: float
    is_told: bool = True
    """False: wanted by a rule alone, not told once a minute."""


DEFAULT_ASKS = (
    CrossingQuery("o2_pct", 19.5, "below", 1200.0),
    CrossingQuery("o2_pct", 19.5, "below", 300.0),
    CrossingQuery("o2_pct", 19.55, "below", 1320.0, is_told=False),
    CrossingQuery("o2_pct", 19.55, "below", 300.0, is_told=False),
    CrossingQuery("co2_ppm", 30000.0, "above", 1200.0),
    CrossingQuery("co2_ppm", 30000.0, "above", 300.0),
)
"""The limits of `o2-low` and `co2-level`, 20 and 5 min ahead (design, section 7), and
`o2-projected`'s own with its margin."""


@dataclass(frozen=True, slots=True)
class TrendSetup:
    """What is known of the cabin and its sensors; None means not known."""

    volume_m3: float | None = None
    """Air volume; without it burner power in kW cannot be told."""
    o2_noise_pct: float | None = None
    """Standard deviation of one O2 reading; learnt where None."""
    o2_step_pct: float | None = None
    """Smallest step of the O2 reading; learnt where None."""
    o2_lag_s: float | None = None
    """First-order lag of the O2 part."""
    co2_noise_ppm: float | None = None
    co2_step_ppm: float | None = None
    co2_lag_s: float | None = None
    outdoor_co2_ppm: float = FRESH_CO2_PPM
    """Outdoor air."""
    o2_per_co2: float = 5.0 / 3.0
    """Moles of O2 the fuel takes for each mole of CO2 it gives; propane 5/3."""
    fuel_kj_per_mol_co2: float = 2219.2 / 3.0
    """Heat on the higher heating value for each mole of CO2; propane 2219.2 kJ/mol."""
    asks: tuple[CrossingQuery, ...] = DEFAULT_ASKS


@dataclass(frozen=True, slots=True)
class Observation:
    """What the air at the bunk gave at one tick; None where a sensor gave nothing."""

    o2_pct: float | None = None
    """As breathed, wet."""
    co2_ppm: float | None = None
    temp_c: float | None = None
    rh_pct: float | None = None
    pressure_hpa: float | None = None
    o2_off_pct: float = 0.0
    """So far O2 may have moved though the air did not (`core/warmth.py`)."""


@dataclass(frozen=True, slots=True)
class View:
    """One bank's belief, as it is projected."""

    parts: tuple[tuple[float, Component], ...]
    """Ventilation in 1/s with each Gaussian; weights together 1."""
    line: RatioLine
    """From CO2's excess to O2 as breathed."""
    spacing: float
    """Logarithm of the ratio between neighbouring ventilations."""
    outdoor_co2_ppm: float
    reads_co2: bool
    """False: the excess is O2 in disguise, and says nothing of CO2."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """The answer to one `CrossingQuery`."""

    ask: CrossingQuery
    probability: float
    lowest: float = 1.0
    """The lowest that it was in the last half minute."""


@dataclass(frozen=True, slots=True)
class TrendEstimate:
    """What the trend says of the present and of what follows if nothing changes."""

    at_s: float
    """The moment it was worked out."""
    crossings: tuple[Crossing, ...]
    o2_pct: float
    """O2 now, filtered, as breathed."""
    o2_rate_pct_per_h: Triple
    o2_settles_pct: Triple
    o2_minutes: MinutesTriple | None
    """Minutes to the first O2 limit asked for; None: it levels off first.  All are 0
    where it is passed already."""
    co2_ppm: float | None
    co2_rate_ppm_per_h: Triple | None
    co2_minutes: MinutesTriple | None
    air_changes_per_h: Triple
    burn_kw: Triple | None
    """Power of the flame that would give the present source; None: volume unknown."""
    source_ppm_per_h: Triple
    """CO2 given off, in ppm of the cabin's air an hour."""
    o2_per_co2: float
    """Moles of O2 that went for each mole of CO2 that came, as fitted."""
    sensors: tuple[str, ...]
    """What it was judged on."""
    unexplained_o2_pct: float
    """O2 missing (positive) beyond what CO2, vapour and pressure explain."""
    unexplained_z: float
    """The same in standard deviations; 0 where it cannot be told."""
    gases_disagree_z: float
    """Standard deviations between the fitted ratio and the nearest possible one."""
    watched_s: float
    """How long the filter has been fed."""
    o2_fallen_pct: float = 0.0
    """How far O2 has come down from its highest of the last 20 min, as filtered: a
    breath on the sensor looks like a fierce burner, but brings O2 no lower."""
    belief: tuple[View, ...] = field(default=(), repr=False, compare=False)
    """What it rests on, the leading bank first: any other question can be asked of
    it (`trend.project.probability`)."""
