"""The cabin as one well-mixed volume: balances of gas and heat.

`N dx/dt = n (y - x) + S - x G`: `n` mol/s of outdoor air of fractions `y` enter, the
sources `S` add `G` mol/s in all, and what leaves is what enters plus what is made,
plus what warming drives out.  Heat: `C dT/dt = Q - (UA + c (n + G)) (T - T_outside)`.
Where the inputs are constant and no water settles, both have closed solutions, since
`dt/N` is the integral of the temperature: a step is exact whatever its length.

Measured rooms differ from one well-mixed zone by a few percent, on the safe side, and
by far more where a burner stands high in still air (cases.md, S23 to S26).
Left out: vapour that bedding and wood take up, and gas that dissolves in water.
"""

import math
from dataclasses import dataclass

from cabinvigil.daemon.air.atmosphere import ZERO_C_K, Mixture
from cabinvigil.daemon.air.cabin import (
    Inputs,
    People,
    Surface,
    Zone,
    ZoneState,
    moles,
    outdoor_state,
)
from cabinvigil.daemon.air.combustion import H2O_KG_MOL, burn
from cabinvigil.daemon.air.moisture import LATENT_J_KG
from cabinvigil.daemon.air.surfaces import (
    FILM_KG_M2,
    face_fraction,
    latent_to_room,
    run_down,
    settling_share,
)

__all__ = [
    "Inputs",
    "NoSteadyStateError",
    "People",
    "Surface",
    "Zone",
    "ZoneState",
    "air_changes_per_h",
    "air_m3_s",
    "moles",
    "outdoor_state",
    "solve",
    "steady",
    "step",
]

AIR_J_MOL_K = 29.2
"""Molar heat of room air: 29.1 dry, 33.6 the vapour (CoolProp), 2 % of it vapour."""
STARVED_O2 = 0.04
"""Mole fraction of oxygen below which neither flame nor person draws on the air, which
only keeps a forgotten model from negative gas: flames go out, and people, far above
(cases.md, S23: at 8.7 % by the sampler a burner still burned)."""
WATER_STEP_S = 10.0
"""Longest step that `solve` takes where water settles; a tenth of it changes an hour's
water from a cold start by 0.3 % (tests/air/test_zone_water.py)."""


@dataclass(frozen=True, slots=True)
class _Sources:
    """What enters and what is made, mol/s (oxygen negative: used), and heat."""

    o2: float
    co2: float
    co: float
    h2o: float
    fuel: float
    heat_w: float
    entering: float
    """Outdoor air."""
    air: Mixture
    """Its composition."""

    @property
    def net(self) -> float:
        return self.o2 + self.co2 + self.co + self.h2o + self.fuel


def _sources(zone: Zone, inputs: Inputs) -> _Sources:
    flame = burn(inputs.fuel, inputs.burner_kw_hhv, inputs.co_fraction)
    people = inputs.people
    return _Sources(
        -flame.o2_mol_s - people.o2_mol_s,
        flame.co2_mol_s + people.co2_mol_s,
        flame.co_mol_s,
        flame.h2o_mol_s + people.h2o_mol_s,
        inputs.leak_mol_s,
        flame.heat_lhv_w + people.heat_w,
        _entering_mol_s(zone, inputs),
        inputs.outside.mixture(zone.pressure_hpa),
    )


def _starved(made: _Sources) -> _Sources:
    """Return the same without flame and people; what leaks goes on leaking."""
    return _Sources(0.0, 0.0, 0.0, 0.0, made.fuel, 0.0, made.entering, made.air)


def _entering_mol_s(zone: Zone, inputs: Inputs) -> float:
    return inputs.air_m3_s * inputs.outside.mol_m3(zone.pressure_hpa)


def _settling(
    zone: Zone, state: ZoneState, inputs: Inputs, made: _Sources, dt_s: float
) -> list[float]:
    """Return the mol/s that settle on each surface in this step; negative dries.

    Implicit in the vapour at the step's end, for all surfaces at once, so that no step
    length can overshoot, and exact once settled.  None dries more than its film.
    """
    out = made.entering + made.net
    span = dt_s / moles(zone, state.temp_c)
    decay = math.exp(-out * span)
    reach = (1.0 - decay) / out if abs(out) > 1e-12 else span
    felt = (1.0 - state.h2o) * reach
    free = state.h2o * decay + (made.entering * made.air.h2o + made.h2o) * reach
    outside_c = inputs.outside.temp_c
    limits = [face_fraction(zone, f, state.temp_c, outside_c) for f in zone.surfaces]
    shares = [settling_share(zone, face, state.temp_c) for face in zone.surfaces]
    dries = [-film / H2O_KG_MOL / dt_s for film in state.film_kg]
    rates = [0.0] * len(limits)
    open_faces = list(range(len(limits)))
    while open_faces:
        pull = math.fsum(shares[i] * limits[i] for i in open_faces)
        vapour = (free + felt * pull) / (
            1.0 + felt * math.fsum(shares[i] for i in open_faces)
        )
        for i in open_faces:
            rates[i] = shares[i] * (vapour - limits[i])
        dry = [i for i in open_faces if rates[i] <= dries[i]]
        if not dry:
            break
        for i in dry:
            rates[i] = dries[i]
            free -= dries[i] * felt
            open_faces.remove(i)
    return rates


def _advance(
    zone: Zone, state: ZoneState, inputs: Inputs, made: _Sources, dt_s: float
) -> ZoneState:
    settling = _settling(zone, state, inputs, made, dt_s) if zone.surfaces else []
    net = made.net - math.fsum(settling)
    entering, air = made.entering, made.air
    latent_w = (
        LATENT_J_KG
        * H2O_KG_MOL
        * math.fsum(
            rate * latent_to_room(face)
            for rate, face in zip(settling, zone.surfaces, strict=True)
        )
    )
    temp_c, kelvin_s = _warm(
        zone, state.temp_c, inputs, entering + net, made.heat_w + latent_w, dt_s
    )
    drawn = (moles(zone, temp_c) - moles(zone, state.temp_c)) / dt_s - net
    entering = max(entering, drawn)  # cooling fast, a shut cabin breathes in
    out = entering + net
    span = kelvin_s / (state.temp_c + ZERO_C_K) / moles(zone, state.temp_c)
    decay = math.exp(-out * span)
    reach = -math.expm1(-out * span) / out if abs(out) > 1e-12 else span
    film, drained_kg = run_down(zone, state, settling, dt_s)
    return ZoneState(
        state.n2 * decay + entering * air.n2 * reach,
        state.o2 * decay + (entering * air.o2 + made.o2) * reach,
        state.co2 * decay + (entering * air.co2 + made.co2) * reach,
        state.co * decay + made.co * reach,
        state.h2o * decay
        + (entering * air.h2o + made.h2o - math.fsum(settling)) * reach,
        state.fuel * decay + made.fuel * reach,
        temp_c,
        film,
        drained_kg,
    )


def _warm(
    zone: Zone, temp_c: float, inputs: Inputs, out: float, heat_w: float, dt_s: float
) -> tuple[float, float]:
    """Return the temperature after a step, and the integral of kelvin over it."""
    lost_w_k = zone.wall_w_k + AIR_J_MOL_K * out
    outside_k = inputs.outside.temp_c + ZERO_C_K
    start_k = temp_c + ZERO_C_K
    if lost_w_k <= 1e-12:
        rise = heat_w / zone.heat_capacity_j_k
        return temp_c + rise * dt_s, dt_s * (start_k + rise * dt_s / 2)
    settles_k = outside_k + heat_w / lost_w_k
    rate = lost_w_k / zone.heat_capacity_j_k
    gone = -math.expm1(-rate * dt_s)
    end_k = start_k + (settles_k - start_k) * gone
    return end_k - ZERO_C_K, settles_k * dt_s + (start_k - settles_k) * gone / rate


def step(zone: Zone, state: ZoneState, inputs: Inputs, dt_s: float) -> ZoneState:
    """Carry the cabin on by one step with constant inputs.

    Exact at any length while no water settles; where it does, within half a percent of
    the water at steps of up to 10 s.
    """
    if dt_s <= 0.0:
        return state
    made = _sources(zone, inputs)
    if state.o2 <= STARVED_O2:
        return _advance(zone, state, inputs, _starved(made), dt_s)
    after = _advance(zone, state, inputs, made, dt_s)
    if after.o2 >= STARVED_O2 or made.o2 == 0.0:
        return after
    low_s, high_s = 0.0, dt_s  # the instant at which the oxygen is used up
    for _ in range(50):
        middle_s = (low_s + high_s) / 2
        reached = _advance(zone, state, inputs, made, middle_s).o2 <= STARVED_O2
        low_s, high_s = (low_s, middle_s) if reached else (middle_s, high_s)
    last = _advance(zone, state, inputs, made, high_s)
    return _advance(zone, last, inputs, _starved(made), max(dt_s - high_s, 1e-9))


def solve(zone: Zone, state: ZoneState, inputs: Inputs, dt_s: float) -> ZoneState:
    """Carry the cabin on by any time with constant inputs.

    One exact step where no water can settle and the cabin does not breathe in by
    cooling; else as many short steps as that takes.
    """
    made = _sources(zone, inputs)
    drives_out = made.entering + made.net
    lost_w = (zone.wall_w_k + AIR_J_MOL_K * drives_out) * (
        state.temp_c - inputs.outside.temp_c
    )
    cooling_k_s = (lost_w - made.heat_w) / zone.heat_capacity_j_k
    drawn = moles(zone, state.temp_c) * cooling_k_s / (state.temp_c + ZERO_C_K)
    if not zone.surfaces and drawn <= drives_out:
        return step(zone, state, inputs, dt_s)
    count = max(1, math.ceil(dt_s / WATER_STEP_S))
    for _ in range(count):
        state = step(zone, state, inputs, dt_s / count)
    return state


class NoSteadyStateError(ValueError):
    """With these inputs the cabin settles nowhere: oxygen is used up, or heat stays."""


def steady(zone: Zone, inputs: Inputs) -> ZoneState:
    """Return the state that constant inputs lead to, from wherever they start.

    Surfaces that are wet there go on running: their film is given as full.

    Raises:
        NoSteadyStateError: no air enters and nothing is made; or the oxygen does not
            last; or there is heat and no way out for it.
    """
    made = _sources(zone, inputs)
    lost_w_k = zone.wall_w_k + AIR_J_MOL_K * made.entering
    if made.entering + made.net <= 1e-12 or lost_w_k <= 1e-12:
        raise NoSteadyStateError("nothing moves the air or its heat: it stays as it is")
    return _settled_air(zone, inputs, made, _settled_c(zone, inputs, made))


def _settled_c(zone: Zone, inputs: Inputs, made: _Sources) -> float:
    """Find the temperature at which no heat is left over (regula falsi, Illinois)."""
    low_c, high_c = inputs.outside.temp_c, inputs.outside.temp_c + 1.0
    low_w = _heat_gap_w(zone, inputs, made, low_c)
    if low_w <= 0.0:
        return low_c
    high_w = _heat_gap_w(zone, inputs, made, high_c)
    while high_w > 0.0:
        low_c, low_w = high_c, high_w
        high_c += 2 * (high_c - inputs.outside.temp_c)
        high_w = _heat_gap_w(zone, inputs, made, high_c)
    side = 0
    for _ in range(100):
        middle_c = (low_c * high_w - high_c * low_w) / (high_w - low_w)
        gap_w = _heat_gap_w(zone, inputs, made, middle_c)
        if abs(gap_w) < 1e-9 or high_c - low_c < 1e-10:
            break
        if gap_w > 0.0:
            low_c, low_w = middle_c, gap_w
            high_w = high_w / 2 if side > 0 else high_w
            side = 1
        else:
            high_c, high_w = middle_c, gap_w
            low_w = low_w / 2 if side < 0 else low_w
            side = -1
    return middle_c


def _settled_vapour(
    zone: Zone, inputs: Inputs, made: _Sources, temp_c: float
) -> tuple[float, list[float]]:
    """Return the vapour fraction that settles at a temperature, and what settles where.

    The coldest surface gets wet first; taking them in that order, the first set that
    is consistent is the answer.  mol/s for each surface.
    """
    outside_c = inputs.outside.temp_c
    gain = made.entering * made.air.h2o + made.h2o
    out = made.entering + made.net
    faces = [
        (
            face_fraction(zone, face, temp_c, outside_c),
            settling_share(zone, face, temp_c),
        )
        for face in zone.surfaces
    ]
    vapour = gain / out
    share_sum = pull_sum = 0.0
    for limit, share in sorted(faces):
        if vapour <= limit:
            break
        share_sum += share
        pull_sum += share * limit
        for _ in range(30):  # 1 - vapour moves the answer by a percent of itself
            dry, before = 1.0 - vapour, vapour
            vapour = (gain + dry * pull_sum) / (out + dry * share_sum)
            if abs(vapour - before) <= 1e-15:
                break
    return vapour, [max(0.0, share * (vapour - limit)) for limit, share in faces]


def _heat_gap_w(zone: Zone, inputs: Inputs, made: _Sources, temp_c: float) -> float:
    """Return the heat made less the heat lost, at an inside temperature."""
    _, settling = _settled_vapour(zone, inputs, made, temp_c)
    latent_w = (
        LATENT_J_KG
        * H2O_KG_MOL
        * math.fsum(
            rate * latent_to_room(face)
            for rate, face in zip(settling, zone.surfaces, strict=True)
        )
    )
    out = made.entering + made.net - math.fsum(settling)
    lost_w_k = zone.wall_w_k + AIR_J_MOL_K * out
    return made.heat_w + latent_w - lost_w_k * (temp_c - inputs.outside.temp_c)


def _settled_air(
    zone: Zone, inputs: Inputs, made: _Sources, temp_c: float
) -> ZoneState:
    vapour, settling = _settled_vapour(zone, inputs, made, temp_c)
    entering, air = made.entering, made.air
    out = entering + made.net - math.fsum(settling)
    o2 = (entering * air.o2 + made.o2) / out if out > 1e-12 else 0.0
    if o2 < STARVED_O2:
        raise NoSteadyStateError("no level settles: the oxygen is used up first")
    film = tuple(
        FILM_KG_M2 * face.area_m2 if rate > 0.0 else 0.0
        for face, rate in zip(zone.surfaces, settling, strict=True)
    )
    return ZoneState(
        entering * air.n2 / out,
        o2,
        (entering * air.co2 + made.co2) / out,
        made.co / out,
        vapour,
        made.fuel / out,
        temp_c,
        film,
    )


def air_changes_per_h(zone: Zone, temp_c: float, inputs: Inputs) -> float:
    """Return the rate at which the entering air dilutes the cabin's."""
    return 3600.0 * _entering_mol_s(zone, inputs) / moles(zone, temp_c)


def air_m3_s(
    zone: Zone, temp_c: float, outside_c: float, changes_per_h: float
) -> float:
    """Return the entering air, by its volume outdoors, that makes these air changes."""
    kelvin, kelvin_outside = temp_c + ZERO_C_K, outside_c + ZERO_C_K
    return changes_per_h / 3600.0 * zone.volume_m3 * kelvin_outside / kelvin
