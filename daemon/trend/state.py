"""What the zone filter remembers, and how it begins."""

from dataclasses import dataclass, replace

from cabinvigil.daemon.trend import line as lines
from cabinvigil.daemon.trend.bank import USUAL, Bank
from cabinvigil.daemon.trend.explain import Minute
from cabinvigil.daemon.trend.grid import Grid, make_grid
from cabinvigil.daemon.trend.line import RatioLine
from cabinvigil.daemon.trend.minute_means import Channel
from cabinvigil.daemon.trend.model import TrendEstimate, TrendSetup

STEP_S = 10.0
"""The fine bank's step: shorter than any CO2 part's lag, so nothing is lost."""
EARLY_S = 0.25
"""A tick this much early still ends a step: ticks are never quite even."""
COARSE_STEPS = 3
"""The coarse bank steps every 30 s: an O2 cell tells nothing in less."""
LONGEST_GAP_STEPS = 90
"""After a quarter of an hour with nothing the banks begin again: too much may have
changed."""
SLIDE_STEPS = 6
"""Sliding of ventilation is slow: once a minute is enough."""
STALE_S = 180.0
"""CO2 this old no longer leads (the slowest tick is a minute)."""
WARM_S = 60.0
"""In its first minute the filter knows neither noise nor slope, and says nothing."""
STOOD_S = 30.0
"""Three odd readings look like a fire for as long as they last, and no longer: 30 s."""
VAPOUR_HELD_S = 600.0
"""Vapour changes slowly: humidity this old still serves."""
STANDARD_HPA = 1013.25
ZERO_C_K = 273.15
WARMER_K = 0.2
"""Sources follow the temperature in such steps: 0.07 % each."""
UNKNOWN_CO2_LAGS_S = (2.0, 12.0, 25.0, 45.0, 70.0)
"""Lags to choose from where no part is known: none, to a part in a tight housing."""
LAG_SHARES = (0.7, 1.0, 1.4)
"""A known part's lag is a figure from its sheet, not of its place in the cabin."""
UNKNOWN_O2_LAG_S = 15.0
CO2_KNEE_PPM = 2500.0
"""Reading from which what grows with it makes most of a CO2 part's noise: 10 ppm and
0.4 % of the reading (repeatability of the sheets, and what their users report; from
memory).  Of a thousand safe nights in recorded rooms, 4.9 % rang for nothing with it,
and 5.7 without (tests/bench/projection.py).
"""
COARSE = replace(
    USUAL,
    hazard=USUAL.hazard * COARSE_STEPS,
    drift=USUAL.drift * COARSE_STEPS,
    kept_steps=6,
    mixing_ppm=5.0,
)
"""Habits of the coarse bank, whose step is three times as long."""


UNREAD = lines.unread()
"""No O2 cell has been read yet."""


@dataclass(frozen=True, slots=True)
class TrendState:
    """All that the filter remembers; bounded, frozen."""

    started_s: float | None
    step_s: float
    """Moment of the last step."""
    steps: int
    co2: Channel
    o2: Channel
    co2_s: float
    """Moment of the last CO2 that was believed."""
    o2_s: float
    fine_grid: Grid
    coarse_grid: Grid
    fine: Bank | None = None
    coarse: Bank | None = None
    coarse_sum: float = 0.0
    coarse_count: int = 0
    coarse_steps: int = 0
    lagged_ppm: float = 0.0
    """The fine bank's excess as an O2 cell's lag shows it."""
    line: RatioLine = UNREAD
    line_is_read: bool = False
    vapour: float | None = None
    vapour_s: float = float("-inf")
    temp_c: float | None = None
    sources_at_c: float | None = None
    """Temperature to which the banks' sources belong."""
    pressure_hpa: float | None = None
    o2_off_pct: float = 0.0
    """So far O2 may have moved by its cell alone: its warmth, or its settling."""
    minutes: tuple[Minute, ...] = ()
    minute: int = 0
    minute_sums: tuple[float, int, float, int] = (0.0, 0, 0.0, 0)
    lows: tuple[tuple[int, float], ...] = ()
    """Lowest excess of each of the last minutes, of the leading bank."""
    lows_of_co2: bool = True
    chances: tuple[tuple[float, tuple[float, ...]], ...] = ()
    """Moment and answers of each estimate of the last half minute, and one before."""
    estimate: TrendEstimate | None = None
    spread_s: float = float("-inf")
    """When the intervals were last worked out."""


def start(setup: TrendSetup) -> TrendState:
    """Begin with nothing seen."""
    known = setup.co2_lag_s
    fine_lags: tuple[float, ...] = UNKNOWN_CO2_LAGS_S
    if known is not None:
        fine_lags = tuple(known * share for share in LAG_SHARES)
    o2_lag = UNKNOWN_O2_LAG_S if setup.o2_lag_s is None else setup.o2_lag_s
    return TrendState(
        None,
        float("-inf"),
        0,
        # Gates: no cabin's air moves faster.  3 kW in 4 m3 makes 24 ppm/s and takes
        # 0.004 %/s; a tenfold allows for a hand or a draught at the part.
        Channel(
            setup.co2_noise_ppm or 12.0,
            2.0,
            250.0,
            setup.co2_step_ppm or 0.0,
            knee=CO2_KNEE_PPM,
        ),
        Channel(setup.o2_noise_pct or 0.03, 0.002, 0.05, setup.o2_step_pct or 0.0),
        float("-inf"),
        float("-inf"),
        make_grid(STEP_S, fine_lags),
        make_grid(STEP_S * COARSE_STEPS, (o2_lag,)),
    )
