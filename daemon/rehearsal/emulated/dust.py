"""What the emulated dust parts make of smoke, and of fog (sensors.md 5 and 6)."""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow

NOISE_SHARE, NOISE_UGM3 = 0.03, 0.4
"""Well within the class of +-10 ug/m3; our choice."""
GAIN_SPREAD = 0.1 / 3
"""+-10 % (data sheet p.1) read as three deviations."""
MIST_UGM3_PER_PCT = 60.0
"""Fog counts as dust (sensors.md 6); our choice of size."""


def dust_ugm3(air: AirNow, random: Random, gain: float) -> float:
    """Return what a part makes of the dust, and of fog above 100 %RH."""
    mist = max(air.rh_pct - 100.0, 0.0) * MIST_UGM3_PER_PCT
    true = air.pm2_5_ugm3 + mist
    noise = random.gauss(0.0, NOISE_UGM3 + NOISE_SHARE * true)
    return max(true * gain + noise, 0.1)
