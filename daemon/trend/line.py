"""O2 as a straight line of CO2: `o2 = level - ratio * excess`, followed by a filter.

CO2 is read a hundred times finer than O2 and sees the same fall earlier, so the bank
works on CO2 alone, and the O2 cell's part is to say where the air stands and how much
O2 goes for each CO2.  The ratio is learnt because it cannot be known: 1.16 for
sleepers, 1.53 for propane, 1.8 and more while its vapour stays in the air
(mass balances on a dry and a wet basis; recorded rooms gave 1.53 to 1.63 dry).
"""

from dataclasses import dataclass

PCT_PER_PPM = 1e-4


@dataclass(frozen=True, slots=True)
class RatioLine:
    """Level (%) and ratio (% O2 per ppm CO2), with their covariance."""

    level_pct: float
    ratio: float
    var_level: float
    cov: float
    var_ratio: float

    def o2_pct(self, excess_ppm: float) -> float:
        """Return O2 at an excess of CO2."""
        return self.level_pct - self.ratio * excess_ppm

    def variance(self, excess_ppm: float) -> float:
        """Return the variance of that O2 from level and ratio."""
        spread = self.var_level - 2.0 * excess_ppm * self.cov
        return spread + excess_ppm * excess_ppm * self.var_ratio


LEVEL_PCT = 20.75
"""O2 of outdoor air as breathed: 20.95 % dry less about 1 % vapour."""
LEVEL_SD_PCT = 0.15
"""Spread of that by humidity and by a cell's span."""
RATIO = 1.75 * PCT_PER_PPM
"""Middle of what sleepers, flame and vapour make."""
RATIO_SD = 0.2 * PCT_PER_PPM
LEVEL_WALK_PCT = 0.0005
"""Drift of a cell a step of 10 s: 0.01 % in the root of an hour."""
RATIO_WALK = 2e-7
"""Walk of the ratio a step: 2 % of itself in the root of an hour."""
GATE_SD = 5.0
"""A reading further off the line than this does not move it.

It is told as unexplained instead."""


def unread() -> RatioLine:
    """Return the line before any O2 reading."""
    return RatioLine(LEVEL_PCT, RATIO, LEVEL_SD_PCT**2, 0.0, RATIO_SD**2)


def begin(o2_pct: float, excess_ppm: float, noise_pct: float) -> RatioLine:
    """Lay the line through the first reading, whatever the cell's span is."""
    var_ratio = RATIO_SD**2
    var_level = noise_pct**2 + excess_ppm**2 * var_ratio
    level = o2_pct + RATIO * excess_ppm
    return RatioLine(level, RATIO, var_level, excess_ppm * var_ratio, var_ratio)


def fixed(level_pct: float) -> RatioLine:
    """Return the line that turns O2 into pseudo-CO2 and back, without doubt."""
    return RatioLine(level_pct, RATIO, 0.0, 0.0, 0.0)


def read(
    line: RatioLine, o2_pct: float, excess_ppm: float, noise_pct: float
) -> RatioLine:
    """Take one O2 reading, with the excess as the O2 cell's lag shows it."""
    var_level = line.var_level + LEVEL_WALK_PCT**2
    var_ratio = line.var_ratio + RATIO_WALK**2
    to_level = var_level - excess_ppm * line.cov
    to_ratio = line.cov - excess_ppm * var_ratio
    spread = to_level - excess_ppm * to_ratio + noise_pct**2
    miss = o2_pct - line.o2_pct(excess_ppm)
    if miss * miss > GATE_SD**2 * spread:
        # Not to be explained now: the line doubts itself, and follows if it lasts.
        return RatioLine(
            line.level_pct, line.ratio, var_level + 0.01 * miss**2, line.cov, var_ratio
        )
    g_level, g_ratio = to_level / spread, to_ratio / spread
    return RatioLine(
        line.level_pct + g_level * miss,
        line.ratio + g_ratio * miss,
        var_level - g_level * to_level,
        line.cov - g_level * to_ratio,
        var_ratio - g_ratio * to_ratio,
    )
