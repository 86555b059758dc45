"""Emulated parts for unburnt gas: a module by infrared, and beads in a bridge."""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.frame9 import (
    T90_PER_TAU,
    Frames,
    closed,
)
from cabinvigil.daemon.rehearsal.emulated.ways import Lag, Now, See, clip

SEA_HPA = 1013.25


class EmulatedFrame9Gas(Frames):
    """The NDIR gas module: answers when asked, a count for each % LEL (data sheet)."""

    T90_S = 30.0
    """From memory."""
    GAIN_SPREAD, NOISE_PCT = 0.02, 0.2
    """Own choice."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        answer_lel_pct: float = 1.0,
        full_scale_lel_pct: float = 100.0,
    ) -> None:
        """Hang the module in the air; see `own_figures`."""
        self._step_pct = answer_lel_pct
        self._range = round(full_scale_lel_pct / answer_lel_pct)
        super().__init__(air, seed, now)

    def _make(self) -> None:
        self._gain = self._random.gauss(1.0, self.GAIN_SPREAD)

    def power_up(self) -> None:
        """Start cold; it sends nothing by itself."""
        super().power_up()
        self._due_s = None
        self._lag = Lag(self.T90_S / T90_PER_TAU)

    def _obey(self, command: int, argument: int) -> bytes:
        del argument
        return self._reply() if command == 0x86 else b""

    def _upload(self) -> bytes:
        return self._reply()

    def _reply(self) -> bytes:
        air = self._air()
        lagged = self._lag.follow(air.gas_lel_pct, self._now())
        pct = lagged * self._gain * air.pressure_hpa / SEA_HPA * self._warm
        pct += self._random.gauss(0.0, self.NOISE_PCT)
        counts = clip(pct / self._step_pct, 0, self._range)
        return closed(b"\xff\x86" + counts.to_bytes(2, "big") + bytes(4))


class GasBeads:
    """Two beads and two resistors in a bridge: each input gives its own volts."""

    T90_S = 10.0
    MV_PER_LEL_PCT = 0.765
    """45 mV for 1 % of propane, the middle of 30 to 60 (MC113), at an LEL of 1.7 %."""
    BRIDGE_MV = 2800.0
    RICH_PCT = 250.0
    """Near what burns completely, 4 % of propane; in richer air the bead has too
    little oxygen, and its signal falls (shape: our choice)."""
    LEAST_O2_PCT = 10.0
    """Without so much oxygen it reads low (several makers' notes)."""
    SETTLE_S, SETTLE_MV = 60.0, 2.0
    NOISE_MV = 0.02
    """Own choice."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        mv_per_lel_pct: float = MV_PER_LEL_PCT,
        bridge_mv: float = BRIDGE_MV,
    ) -> None:
        """Take a bridge of its own sensitivity; see `own_figures`."""
        self._air, self._now, self._bridge_mv = air, now, bridge_mv
        self._random = random = Random(seed)
        self._mv_per_lel_pct = mv_per_lel_pct * random.gauss(1.0, 0.03)
        self._lag = Lag(self.T90_S / T90_PER_TAU)
        self._on_s = now()
        self.is_dark = False
        """Its supply is away: both sides are at nothing."""

    def plus(self) -> float:
        """Return the volts of the middle between the beads."""
        if self.is_dark:
            return 0.0
        air, now_s = self._air(), self._now()
        pct = self._lag.follow(air.gas_lel_pct, now_s)
        burnt = min(pct, max(2.0 * self.RICH_PCT - pct, 0.0))
        burnt *= min(air.o2_pct / self.LEAST_O2_PCT, 1.0)
        cold = max(1.0 - (now_s - self._on_s) / self.SETTLE_S, 0.0)
        mv = burnt * self._mv_per_lel_pct + cold * self.SETTLE_MV
        mv += self._random.gauss(0.0, self.NOISE_MV)
        return (self._bridge_mv / 2.0 + mv) / 1000.0

    def minus(self) -> float:
        """Return the volts of the middle between the resistors."""
        return 0.0 if self.is_dark else self._bridge_mv / 2000.0
