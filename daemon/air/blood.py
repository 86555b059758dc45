"""Carbon monoxide in the blood: carboxyhaemoglobin by Coburn, Forster and Kane.

`Vb d[CO]/dt = V + (P_CO - [CO] P_O2 / (M [O2Hb])) / B`, `B = 1/DL + PL/VA`.  The linear
form takes the oxyhaemoglobin [O2Hb] as the whole capacity and has a closed solution;
the other counts that each CO takes a place from oxygen.  The linear form reads a
little high, on the safe side (check_values, `co_cfk_rest`).
"""

import math
from dataclasses import dataclass, replace

from cabinvigil.daemon.air.atmosphere import SEA_LEVEL_HPA

MMHG_PER_HPA = 760.0 / SEA_LEVEL_HPA
BODY_VAPOUR_MMHG = 47.0
"""Water vapour at body temperature (common value; check_values, `co_cfk_constants`)."""
START_COHB_PCT = 0.75
"""Of a non-smoker; endogenous CO alone holds about this (check_values,
`co_cfk_rest`)."""
ALVEOLAR_DROP_MMHG = 49.0
"""Inspired oxygen less that in the capillaries (check_values, `co_cfk_constants`)."""
LOWEST_CAPILLARY_MMHG = 20.0
"""Below this nobody is conscious, and the equation is no longer meant."""
WASHOUT_HALF_LIFE_MIN = 320.0
"""COHb in room air (check_values, `co_halflife`; the WHO says 2 to 6.5 h).  The
constants of an adult at rest make 253 min; a sleeper breathes less: it takes longer."""
CHILD_UPTAKE = 1.6
"""A child takes CO up 1.5 to 1.7 times as fast as an adult at rest: it breathes more
for its blood (unverified)."""
SMOKER_COHB_PCT = 8.0
"""Of a heavy smoker at bedtime: up to 10 % by day (WHO, Air Quality Guidelines for
Europe 2000, chapter 5.5, read in extract); the 8 is our choice."""
UNBORN_AFFINITY = 1.15
"""The blood of the unborn settles 10 to 15 % above the mother's (same chapter).  That
it lags hers by hours is left out: the safe side."""


@dataclass(frozen=True, slots=True)
class Body:
    """What of the body matters; the default is an adult at rest.

    Constants of check_values, `co_cfk_constants` and `co_cfk_rest`.  A grown-up asleep
    breathes no more than this: the default takes CO up at least as fast.
    """

    diffusing_ml_min_mmhg: float = 30.0
    """DL, the lung's diffusing capacity."""
    alveolar_ml_min: float = 6000.0
    """VA, alveolar ventilation."""
    blood_ml: float = 5500.0
    """Vb."""
    capacity_ml_ml: float = 0.20
    """Gas that saturated haemoglobin holds, per blood."""
    endogenous_ml_min: float = 0.007
    """CO that the body makes itself."""
    affinity: float = 218.0
    """M, of haemoglobin for CO over O2."""
    capillary_o2_mmhg: float = 100.0
    """Mean oxygen pressure in the lung's capillaries."""
    pressure_hpa: float = SEA_LEVEL_HPA
    start_pct: float = START_COHB_PCT
    """COHb at bedtime."""

    @property
    def dry_mmhg(self) -> float:
        """Barometric pressure less body vapour: PL."""
        return self.pressure_hpa * MMHG_PER_HPA - BODY_VAPOUR_MMHG

    @property
    def resistance(self) -> float:
        """B, in min mmHg / mL."""
        return 1.0 / self.diffusing_ml_min_mmhg + self.dry_mmhg / self.alveolar_ml_min

    @property
    def ml_per_pct(self) -> float:
        """Millilitres of CO per millilitre of blood at 1 % COHb."""
        return self.capacity_ml_ml / 100.0


REST = Body()
CHILD = replace(REST, blood_ml=REST.blood_ml / CHILD_UPTAKE)
SMOKER = replace(REST, start_pct=SMOKER_COHB_PCT)
UNBORN = replace(
    REST,
    affinity=REST.affinity * UNBORN_AFFINITY,
    start_pct=START_COHB_PCT * UNBORN_AFFINITY,
)


def other_bodies(
    *, children: int | None, smokers: int | None, pregnant: int | None
) -> dict[str, Body]:
    """Return, by name, whose blood is counted beside that of an adult at rest.

    Args:
        children: how many sleep here; None is unknown, and counts as none.
        smokers: the same.
        pregnant: the same.
    """
    bodies = {"child": CHILD, "smoker": SMOKER, "unborn": UNBORN}
    counts = (children, smokers, pregnant)
    return {
        name: body
        for (name, body), count in zip(bodies.items(), counts, strict=True)
        if count
    }


def at_air(body: Body, pressure_hpa: float, o2_pct: float) -> Body:
    """Return the same body in other air: thin or poor in oxygen, CO binds harder.

    In thin air it breathes more, as much as the air is thinner: the most that a body
    does, and so the safe side (our choice).
    """
    dry_mmhg = pressure_hpa * MMHG_PER_HPA - BODY_VAPOUR_MMHG
    capillary = max(
        LOWEST_CAPILLARY_MMHG, o2_pct / 100.0 * dry_mmhg - ALVEOLAR_DROP_MMHG
    )
    return replace(
        body,
        pressure_hpa=pressure_hpa,
        capillary_o2_mmhg=capillary,
        alveolar_ml_min=body.alveolar_ml_min * max(1.0, REST.dry_mmhg / dry_mmhg),
    )


def _co_mmhg(co_ppm: float, body: Body) -> float:
    return max(0.0, co_ppm) * 1e-6 * body.dry_mmhg


def plateau_pct(co_ppm: float, body: Body = REST) -> float:
    """Return the COHb that constant CO leads to, linear form."""
    drive = body.endogenous_ml_min * body.resistance + _co_mmhg(co_ppm, body)
    content = drive * body.affinity * body.capacity_ml_ml / body.capillary_o2_mmhg
    return content / body.ml_per_pct


def time_constant_min(body: Body = REST) -> float:
    """Return the linear form's time constant: uptake and washout alike."""
    held = body.blood_ml * body.resistance * body.affinity * body.capacity_ml_ml
    return held / body.capillary_o2_mmhg


def half_life_min(body: Body = REST) -> float:
    """Return the time in which COHb above its plateau halves, linear form."""
    return math.log(2.0) * time_constant_min(body)


def cohb_step(cohb_pct: float, co_ppm: float, dt_s: float, body: Body = REST) -> float:
    """Carry COHb on by a step of constant CO: linear form, exact at any length."""
    settles = plateau_pct(co_ppm, body)
    stays = math.exp(-dt_s / 60.0 / time_constant_min(body))
    return settles + (cohb_pct - settles) * stays


_SLOWER = WASHOUT_HALF_LIFE_MIN / half_life_min()
"""How much longer COHb takes to fall than the resting constants say."""
_WASHOUT_CONSTANT_MIN = WASHOUT_HALF_LIFE_MIN / math.log(2.0)


def breathe(cohb_pct: float, co_ppm: float, dt_s: float, body: Body = REST) -> float:
    """Carry COHb on, to the safe side both ways: up as at rest, down as asleep.

    Nobody's falls faster than `WASHOUT_HALF_LIFE_MIN`: that a child breathes more for
    its blood is counted where it rises alone.
    """
    settles = plateau_pct(co_ppm, body)
    constant_min = time_constant_min(body)
    if settles < cohb_pct:
        constant_min = max(constant_min * _SLOWER, _WASHOUT_CONSTANT_MIN)
    return settles + (cohb_pct - settles) * math.exp(-dt_s / 60.0 / constant_min)


def cohb_after(
    co_ppm: float, minutes: float, start_pct: float = START_COHB_PCT, body: Body = REST
) -> float:
    """Return COHb after a time of constant CO: linear form."""
    return cohb_step(start_pct, co_ppm, 60.0 * minutes, body)


def minutes_to(
    limit_pct: float,
    co_ppm: float,
    start_pct: float = START_COHB_PCT,
    body: Body = REST,
) -> float | None:
    """Return the minutes of constant CO until COHb reaches a limit; None for never."""
    if start_pct >= limit_pct:
        return 0.0
    settles = plateau_pct(co_ppm, body)
    if settles <= limit_pct:
        return None
    share = (settles - start_pct) / (settles - limit_pct)
    return time_constant_min(body) * math.log(share)


def _slope_pct_min(cohb_pct: float, co_ppm: float, body: Body) -> float:
    content = cohb_pct * body.ml_per_pct
    oxygenated = max(body.capacity_ml_ml - content, 1e-6)
    back_mmhg = content * body.capillary_o2_mmhg / (body.affinity * oxygenated)
    gain = body.endogenous_ml_min + (_co_mmhg(co_ppm, body) - back_mmhg) / (
        body.resistance
    )
    return gain / body.blood_ml / body.ml_per_pct


def cohb_after_nonlinear(
    co_ppm: float, minutes: float, start_pct: float = START_COHB_PCT, body: Body = REST
) -> float:
    """Return COHb after a time of constant CO: non-linear form, Runge-Kutta.

    Steps of up to a minute at rest; shorter as CO rises, so that it stays stable.
    """
    count = max(1, math.ceil(minutes * max(1.0, co_ppm / 5000.0)))
    step = minutes / count
    cohb = start_pct
    for _ in range(count):
        a = _slope_pct_min(cohb, co_ppm, body)
        b = _slope_pct_min(cohb + step / 2 * a, co_ppm, body)
        c = _slope_pct_min(cohb + step / 2 * b, co_ppm, body)
        d = _slope_pct_min(cohb + step * c, co_ppm, body)
        cohb += step / 6 * (a + 2 * b + 2 * c + d)
    return cohb
