"""Air through openings: temperature, wind, cracks, and one opening alone.

Formulas as ASHRAE Fundamentals, "Ventilation and Infiltration", and CIBSE Guide A have
them (from memory): orifice flow with discharge coefficient, stack pressure from the
difference of densities, power law for cracks, exchange through one tall opening.
"""

import math
from dataclasses import dataclass, field

R = 8.314462
G = 9.80665
AIR_KG = 0.02896
"""kg/mol of moist air, within 0.3 % indoors and out."""
DISCHARGE = 0.61
SMOOTH_PA = 0.02
"""Below this the root is made a line, as the flow is laminar."""


@dataclass
class Opening:
    """A hole in the wall; vents, a window, a door ajar."""

    name: str
    area_m2: float
    mid_m: float
    tall_m: float
    azimuth: float | None = None
    """Side that it looks to, rad; None: roof or floor, with its own coefficient."""
    cp: float = 0.0
    discharge: float = DISCHARGE


@dataclass
class Crack:
    """Leaks at one height: C dp^n, in m3/s at 1 Pa."""

    c_m3_s: float
    exponent: float
    mid_m: float
    azimuth: float | None = None
    cp: float = 0.0


def pressure_coefficient(angle: float) -> float:
    """Give the wind's pressure on a box's side, by its angle to the wind.

    0.6 in front, -0.55 at the sides, -0.3 behind: low-rise values (from memory).
    """
    c = math.cos(angle)
    return -0.55 + 0.45 * c + 0.70 * c * c


@dataclass
class Flow:
    """What moves now."""

    in_mol_s: float = 0.0
    in_low_share: float = 1.0
    """Of what comes in, the share below the middle height."""
    out_low_share: float = 0.0


@dataclass
class Envelope:
    """All paths of one cabin, and the inside pressure that they agree upon."""

    openings: list[Opening]
    cracks: list[Crack]
    middle_m: float
    inner_pa: float = field(default=0.0)

    def flow(
        self, pa: float, inside_c: float, outside_c: float, wind: float, toward: float
    ) -> Flow:
        """Solve the balance: what comes in by mass goes out by mass.

        Args:
            pa: air pressure.
            inside_c: mean inside.
            outside_c: outdoors.
            wind: m/s at the cabin.
            toward: side that the wind blows on, rad.
        """
        rho_in = pa * AIR_KG / (R * (inside_c + 273.15))
        rho_out = pa * AIR_KG / (R * (outside_c + 273.15))
        push = 0.5 * rho_out * wind * wind
        lift = (rho_in - rho_out) * G
        paths: list[tuple[float, float, float, float, Opening | None]] = []
        for one in self.openings:
            if one.area_m2 > 0.0:
                cp = self._cp(one, toward)
                k = one.discharge * one.area_m2 * math.sqrt(2.0)
                paths.append((cp * push + lift * one.mid_m, k, 0.5, one.mid_m, one))
        for leak in self.cracks:
            cp = self._cp(leak, toward)
            at = cp * push + lift * leak.mid_m
            # the crack's C is for 1.2 kg/m3
            paths.append((at, leak.c_m3_s * 1.2**0.5, leak.exponent, leak.mid_m, None))
        self._balance(paths, rho_in, rho_out)
        return self._sum(paths, rho_in, rho_out, inside_c, outside_c, wind)

    @staticmethod
    def _cp(path: Opening | Crack, toward: float) -> float:
        if path.azimuth is None:
            return path.cp
        return pressure_coefficient(path.azimuth - toward)

    def _balance(
        self,
        paths: list[tuple[float, float, float, float, Opening | None]],
        rho_in: float,
        rho_out: float,
    ) -> None:
        """Newton on the inside pressure, from where it was; bisection if it fails."""
        low = min(path[0] for path in paths) - 1e-6
        high = max(path[0] for path in paths) + 1e-6
        inner = min(max(self.inner_pa, low), high)
        root_in, root_out = math.sqrt(rho_in), math.sqrt(rho_out)
        for _ in range(40):
            net = slope = size = 0.0
            for at, k, exponent, _z, _o in paths:
                dp = at - inner
                root = root_out if dp > 0.0 else root_in
                over = abs(dp)
                if over < SMOOTH_PA:
                    grade = k * root * SMOOTH_PA ** (exponent - 1.0)
                    kg = grade * over
                else:
                    kg = k * root * over**exponent
                    grade = exponent * kg / over
                net += kg if dp > 0.0 else -kg
                slope += grade
                size += kg
            if abs(net) < 1e-4 * size + 1e-9:
                break
            if net > 0.0:
                low = inner
            else:
                high = inner
            step = inner + net / slope
            inner = step if low < step < high else 0.5 * (low + high)
        self.inner_pa = inner

    def _sum(
        self,
        paths: list[tuple[float, float, float, float, Opening | None]],
        rho_in: float,
        rho_out: float,
        inside_c: float,
        outside_c: float,
        wind: float,
    ) -> Flow:
        came = came_low = went = went_low = 0.0
        for at, k, exponent, mid, opening in paths:
            dp = at - self.inner_pa
            over = abs(dp)
            rho = rho_out if dp > 0.0 else rho_in
            if over < SMOOTH_PA:
                net = k * math.sqrt(rho) * SMOOTH_PA ** (exponent - 1.0) * over
            else:
                net = k * math.sqrt(rho) * over**exponent
            both = 0.0
            if opening is not None:
                whole = rho_out * exchange_m3_s(opening, inside_c, outside_c, wind)
                both = max(0.0, whole - 0.5 * net)
            enters = both + (net if dp > 0.0 else 0.0)
            leaves = both + (net if dp <= 0.0 else 0.0)
            tall = opening.tall_m if opening is not None else 0.1
            share = min(1.0, max(0.0, (self.middle_m - mid) / max(tall, 0.05) + 0.5))
            came += enters
            came_low += share * enters
            went += leaves
            went_low += share * leaves
        if came <= 0.0:
            return Flow()
        return Flow(came / AIR_KG, came_low / came, went_low / max(went, 1e-12))


def exchange_m3_s(
    opening: Opening, inside_c: float, outside_c: float, wind: float
) -> float:
    """Give what one opening trades by itself, m3/s each way.

    By warmth Cd A/3 sqrt(g H dT/T) (Brown and Solvason 1962), by wind 0.025 A U
    (Warren 1977), their squares added (both from memory).
    """
    mean_k = 0.5 * (inside_c + outside_c) + 273.15
    stack = (
        opening.discharge
        * opening.area_m2
        / 3.0
        * math.sqrt(G * opening.tall_m * abs(inside_c - outside_c) / mean_k)
    )
    return math.hypot(stack, 0.025 * opening.area_m2 * wind)
