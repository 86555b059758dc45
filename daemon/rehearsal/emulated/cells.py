"""Emulated gas cells, which give volts to a converter (sensors.md 7a and 7b)."""

import math
from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import Drift, Lag, Now, See


class GalvanicO2Cell:
    """A galvanic cell: millivolts that follow the partial pressure (sensors.md 7a)."""

    T90_S = 12.0
    """t90 < 10 to 15 s."""
    AIR_MV, AIR_HPA = 11.25, 210.0
    """Middle of 9 to 13 mV in 210 mbar of O2."""
    SEA_HPA = 1013.25
    """Behind a capillary a cell gives the share, as if it were always there."""
    PER_C = 0.0005
    """+-2 % over 0 to 40 C, read as a slope of 1 % in 20 K."""
    MEMBRANE_PER_C = 0.02
    """A membrane passes 1 to 3 % more oxygen for each kelvin, and a thermistor in the
    cell takes that away again (unverified)."""
    SETTLE_S = 900.0
    """15 minutes of settling after it is connected: the output starts this much of
    `SETTLE_SHARE` too high and comes down (our choice of shape and size)."""
    SETTLE_SHARE = 0.03
    NOISE_MV = 0.004
    """Own choice: half a count of the converter."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        air_mv: float = AIR_MV,
        is_share: bool = False,
        on_for_s: float = 0.0,
    ) -> None:
        """Take a cell of its own sensitivity.

        Args:
            air: what it hangs in.
            seed: of its own errors.
            now: the present in seconds.
            air_mv: what cells of its make give in 210 mbar of O2, about.
            is_share: behind a capillary.
            on_for_s: how long it has been connected; see `SETTLE_S`.
        """
        self._air, self._now, self._is_share = air, now, is_share
        self._random = random = Random(seed)
        self.air_mv = air_mv * random.gauss(1.0, 0.04)
        """What it gives in 210 mbar of O2 at 20 C; a worn cell gives less."""
        self._zero_mv = random.uniform(0.0, 0.2)
        self._drift = Drift(random, 0.02, 8 * 3600.0)
        self._lag = Lag(self.T90_S / 2.303)
        self._on_s = now() - on_for_s
        self.is_open = False
        """The cable is broken: the load resistor holds the input at zero."""

    def volts(self) -> float:
        """Return the output."""
        air, now_s = self._air(), self._now()
        felt_hpa = self.SEA_HPA if self._is_share else air.pressure_hpa
        o2_hpa = self._lag.follow(air.o2_pct / 100 * felt_hpa, now_s)
        if self.is_open:
            return self._random.gauss(0.0, 2e-6)
        cell_c = air.temp_c if air.cell_c is None else air.cell_c
        settling = 1 + self.SETTLE_SHARE * max(
            0.0, 1 - (now_s - self._on_s) / self.SETTLE_S
        )
        mv = self.air_mv * o2_hpa / self.AIR_HPA * (1 + self.PER_C * (cell_c - 20.0))
        mv *= math.exp(-self.MEMBRANE_PER_C * air.membrane_behind_k)
        noise_mv = self._random.gauss(0.0, self.NOISE_MV) + self._drift.at(now_s)
        return (mv * settling + self._zero_mv + noise_mv) / 1000


class CoCell:
    """A CO cell behind a transimpedance amplifier (sensors.md 7b)."""

    T90_S = 15.0
    NA_PER_PPM = 525.0
    """Middle of 450 to 600."""
    OHM = 10000.0
    NOISE_NA = 40.0
    """Own choice: less than 0.1 ppm."""
    COLD = ((-20.0, 0.575), (20.0, 1.0), (50.0, 1.175))
    """Output against 20 C: middle of the bands 45-70 % and 110-125 %."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        ohm: float = OHM,
        na_per_ppm: float = NA_PER_PPM,
    ) -> None:
        """Take a cell of its own sensitivity and zero current."""
        self._air, self._now, self._ohm = air, now, ohm
        self._random = random = Random(seed)
        self._na_per_ppm = na_per_ppm * random.gauss(1.0, 0.03)
        self._zero_na = random.uniform(-50.0, 0.0)
        self._lag = Lag(self.T90_S / 2.303)

    def volts(self) -> float:
        """Return the amplifier's output."""
        air = self._air()
        ppm = self._lag.follow(air.co_ppm, self._now())
        cell_c = air.temp_c if air.cell_c is None else air.cell_c
        na = ppm * self._na_per_ppm * self.relative(cell_c) + self._zero_na
        return (na + self._random.gauss(0.0, self.NOISE_NA)) * 1e-9 * self._ohm

    @classmethod
    def relative(cls, cell_c: float) -> float:
        """Return the output relative to 20 C: a cold cell reads low."""
        (cold, low), (mild, one), (hot, high) = cls.COLD
        if cell_c < mild:
            return max(low + (cell_c - cold) * (one - low) / (mild - cold), 0.1)
        return one + (min(cell_c, hot) - mild) * (high - one) / (hot - mild)
