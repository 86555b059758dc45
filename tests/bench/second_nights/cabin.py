"""The air of one cabin, in moles and kilojoules, a step of two seconds at a time.

One layer or two; pressure is the weather's, so what does not fit goes out and what is
missing comes in.  Walls take up water in a quick and a slow layer, panes and bare metal
sweat and freeze, foam holds some carbon dioxide.
"""

import math
from dataclasses import dataclass, field

from tests.bench.second_nights.chemistry import H2O_KG
from tests.bench.second_nights.openings import Flow, R
from tests.bench.second_nights.scene import Shell

Vector = list[float]
"""One number for each gas, in the order below."""
O2, CO2, H2O, CO, REST = range(5)
DRY_O2 = 0.20946
FILM_M_S = 0.003
"""Mass transfer to a surface in still air: Lewis' relation with 3.5 W/(m2 K)."""
INNER_R = 0.13
"""Surface resistance indoors, m2 K/W (ISO 6946)."""
RUNS_KG_M2 = 0.08
"""More than this on a pane runs off (own judgement)."""
INSIDE_W_M2K = 6.0
"""From air to wall, convection and radiation."""


def saturation_pa(temp_c: float) -> float:
    """Give the vapour pressure over water, or over ice below 0 C (Magnus form)."""
    if temp_c >= 0.0:
        return 611.2 * math.exp(17.62 * temp_c / (243.12 + temp_c))
    return 611.2 * math.exp(22.46 * temp_c / (272.62 + temp_c))


def outdoor_shares(pa: float, temp_c: float, rh_pct: float, co2_ppm: float) -> Vector:
    """Give the mole fractions of outdoor air; humidity by the water curve."""
    over_water = 611.2 * math.exp(17.62 * temp_c / (243.12 + temp_c))
    wet = rh_pct / 100.0 * over_water / pa
    dry = 1.0 - wet
    co2 = co2_ppm * 1e-6
    return [DRY_O2 * dry, co2 * dry, wet, 0.0, (1.0 - DRY_O2 - co2) * dry]


@dataclass
class Outdoors:
    """Now."""

    pa: float
    temp_c: float
    shares: Vector


@dataclass
class Ledger:
    """Moles by gas that came with air, went with air, were made, went to walls."""

    came: Vector = field(default_factory=lambda: [0.0] * 5)
    went: Vector = field(default_factory=lambda: [0.0] * 5)
    made: Vector = field(default_factory=lambda: [0.0] * 5)
    walls: Vector = field(default_factory=lambda: [0.0] * 5)


@dataclass
class Sources:
    """What is made in each layer, mol/s, and the heat of it."""

    by_layer: list[Vector]
    air_kw: float
    wall_kw: float


class Cabin:
    """The state of the air, and its law."""

    def __init__(
        self, shell: Shell, out: Outdoors, air_c: float, rh_pct: float, co2_ppm: float
    ) -> None:
        self.shell = shell
        self.air_c = air_c
        self.wall_c = air_c - 0.3 * (air_c - out.temp_c)
        per_layer = out.pa * shell.volume_m3 / shell.layers / (R * (air_c + 273.15))
        shares = outdoor_shares(out.pa, max(air_c, 0.0), rh_pct, co2_ppm)
        if air_c < 0.0:
            shares = outdoor_shares(out.pa, air_c, rh_pct, co2_ppm)
        self.layers = [[per_layer * one for one in shares] for _ in range(shell.layers)]
        damp = self._damp()
        self.quick_kg = shell.sorbs_kg * damp
        self.deep_kg = shell.deep_kg * damp
        self.first_kg = self.quick_kg + self.deep_kg
        self.films_kg = [0.0, 0.0]
        self.run_off_kg = 0.0
        amount = shell.co2_share * per_layer * shell.layers
        self.co2_walls = amount * shares[CO2]
        self.ledger = Ledger()
        self.to_walls_mol_s = 0.0
        self.film_mol_s = 0.0

    def _damp(self) -> float:
        """Humidity at the wall's own temperature, 0 to 1."""
        n = [math.fsum(one) for one in zip(*self.layers, strict=True)]
        total = math.fsum(n)
        pa_vapour = n[H2O] / self.shell.volume_m3 * R * (self.air_c + 273.15)
        assert total > 0.0
        return min(0.97, pa_vapour / saturation_pa(self.wall_c))

    @property
    def moles(self) -> float:
        """All gas."""
        return math.fsum(math.fsum(one) for one in self.layers)

    def shares_at(self, upper: float) -> Vector:
        """Give mole fractions at a place: 0 the lower layer, 1 the upper."""
        low, high = self.layers[0], self.layers[-1]
        n_low, n_high = math.fsum(low), math.fsum(high)
        return [
            (1.0 - upper) * a / n_low + upper * b / n_high
            for a, b in zip(low, high, strict=True)
        ]

    @property
    def water_left_kg(self) -> float:
        """On panes and metal, and in walls since the begin; negative: they dried."""
        held = self.quick_kg + self.deep_kg - self.first_kg
        return held + math.fsum(self.films_kg) + self.run_off_kg

    def surface_c(self, u_w_m2k: float, outside_c: float) -> float:
        """Give the inner temperature of a pane or skin."""
        return self.air_c - min(0.95, u_w_m2k * INNER_R) * (self.air_c - outside_c)

    def step(self, sources: Sources, out: Outdoors, flow: Flow, dt_s: float) -> None:
        """Live one step."""
        if flow.in_mol_s * dt_s > 0.1 * self.moles and dt_s > 0.3:
            self.step(sources, out, flow, 0.5 * dt_s)
            self.step(sources, out, flow, 0.5 * dt_s)
            return
        taken = self._walls(out, dt_s)
        self._warm(sources, out, flow, dt_s)
        self._gases(sources, out, flow, taken, dt_s)

    def _warm(self, sources: Sources, out: Outdoors, flow: Flow, dt_s: float) -> None:
        """Move heat."""
        shell = self.shell
        inside_w_k = INSIDE_W_M2K * shell.wall_m2
        outer_w_k = 1.0 / max(1.0 / shell.wall_w_k - 1.0 / inside_w_k, 1e-3)
        to_wall = inside_w_k * (self.air_c - self.wall_c)
        panes_w_k = shell.glass_m2 * shell.glass_u + shell.skin_m2 * shell.skin_u
        air_w_k = 29.1 * flow.in_mol_s  # J/(mol K) of air
        lost = to_wall + (panes_w_k + air_w_k) * (self.air_c - out.temp_c)
        held = 29.1 * self.moles + 1000.0 * shell.room_kj_k
        self.air_c += dt_s * (1000.0 * sources.air_kw - lost) / held
        wall = to_wall + 1000.0 * sources.wall_kw
        wall -= outer_w_k * (self.wall_c - out.temp_c)
        self.wall_c += dt_s * wall / (1000.0 * shell.wall_kj_k)

    def _walls(self, out: Outdoors, dt_s: float) -> tuple[float, float]:
        """Trade water and CO2 with surfaces; return moles that the air lost."""
        shell = self.shell
        rt = R * (self.air_c + 273.15)
        vapour = math.fsum(one[H2O] for one in self.layers)
        pa = vapour / shell.volume_m3 * rt
        lost = 0.0
        if shell.sorbs_kg > 0.0:
            over = pa - self.quick_kg / shell.sorbs_kg * saturation_pa(self.wall_c)
            kg = dt_s * shell.sorb_m_s * shell.wall_m2 * over / rt * H2O_KG
            self.quick_kg += kg
            lost += kg
            if shell.deep_kg > 0.0:
                gap = self.quick_kg / shell.sorbs_kg - self.deep_kg / shell.deep_kg
                into = dt_s / shell.deep_s * gap * shell.deep_kg
                self.quick_kg -= into
                self.deep_kg += into
        films = 0.0
        surfaces = ((shell.glass_m2, shell.glass_u), (shell.skin_m2, shell.skin_u))
        for i, (area, u) in enumerate(surfaces):
            if area <= 0.0:
                continue
            over = pa - saturation_pa(self.surface_c(u, out.temp_c))
            kg = dt_s * FILM_M_S * area * over / rt * H2O_KG
            kg = max(kg, -self.films_kg[i])
            self.films_kg[i] += kg
            films += kg
            extra = self.films_kg[i] - RUNS_KG_M2 * area
            if extra > 0.0:
                self.films_kg[i] -= extra
                self.run_off_kg += extra
        self.film_mol_s = films / H2O_KG / dt_s
        lost_mol = (lost + films) / H2O_KG
        self.to_walls_mol_s = lost_mol / dt_s
        co2 = 0.0
        if shell.co2_share > 0.0:
            n = self.moles
            share = math.fsum(one[CO2] for one in self.layers) / n
            gap = shell.co2_share * n * share - self.co2_walls
            co2 = dt_s / shell.co2_s * gap
            self.co2_walls += co2
        self.ledger.walls[H2O] += lost_mol
        self.ledger.walls[CO2] += co2
        return lost_mol, co2

    def _gases(
        self,
        sources: Sources,
        out: Outdoors,
        flow: Flow,
        taken: tuple[float, float],
        dt_s: float,
    ) -> None:
        """Move gases: in by the openings, out with what does not fit."""
        count = len(self.layers)
        water, co2 = taken
        vapour = math.fsum(one[H2O] for one in self.layers)
        carbon = math.fsum(one[CO2] for one in self.layers)
        fits = out.pa * self.shell.volume_m3 / count / (R * (self.air_c + 273.15))
        adds, sizes, shares = [], [], []
        for layer, made in zip(self.layers, sources.by_layer, strict=True):
            n = math.fsum(layer)
            add = [dt_s * one for one in made]
            add[H2O] -= water * layer[H2O] / vapour
            add[CO2] -= co2 * layer[CO2] / carbon
            adds.append(add)
            sizes.append(math.fsum(add) - (fits - n))
            shares.append([one / n for one in layer])
        came = flow.in_mol_s * dt_s
        went = came + math.fsum(sizes)
        if went < 0.0:  # it cools so fast that air is drawn in
            came, went = came - went, 0.0
        if count == 1:
            comes, goes, up, mix = [came], [went], 0.0, 0.0
        else:
            low = flow.in_low_share
            comes = [low * came, (1.0 - low) * came]
            goes = [flow.out_low_share * went, (1.0 - flow.out_low_share) * went]
            up = comes[0] + sizes[0] - goes[0]
            mix = fits / (0.5 * self.shell.volume_m3) * self.shell.mixing_m3_s * dt_s
        ledger, fresh = self.ledger, out.shares
        for i, layer in enumerate(self.layers):
            add, mine, made = adds[i], shares[i], sources.by_layer[i]
            other = shares[-1 - i]
            for gas in range(5):
                enters, leaves = comes[i] * fresh[gas], goes[i] * mine[gas]
                layer[gas] += enters - leaves + add[gas]
                ledger.came[gas] += enters
                ledger.went[gas] += leaves
                ledger.made[gas] += dt_s * made[gas]
                if count == 2:
                    drift = up * shares[0 if up > 0.0 else 1][gas]
                    layer[gas] += (-drift if i == 0 else drift) + mix * (
                        other[gas] - mine[gas]
                    )
