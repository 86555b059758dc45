"""What the warmth says of the burner: while one is lit, a cabin cannot grow cold.

Half hour by half hour the heat that a burner gives must go into the lining, through the
walls and out with the air.  What the lining holds and the walls pass is known to a
factor only, so both are fitted to the night, each within its own doubt.  Heat that no
burner explains is weak evidence, since there are other stoves and warm bodies; a lit
burner whose heat went nowhere is strong evidence, since there is nowhere else.
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from cabinvigil.daemon.air.figures import heat_capacity_j_k
from cabinvigil.daemon.air.zone import AIR_J_MOL_K
from cabinvigil.daemon.review.airflow.kalman import Course
from cabinvigil.daemon.review.airflow.nodes import Told, mean

WINDOW_H = 0.5
"""Short against a night, long against the warming of the air alone (our choice)."""
CAPACITY_SHARE_SD, WALLS_SHARE_SD = 0.6, 0.35
"""What the two may be off by, as shares (own judgement; `figures.WALL_SPREAD` is 0.75
to 1.3 for walls that were stated)."""
LEAST_SHARE = 0.2
"""Neither is less than this share of what it is held to be."""
LEAST_SD_W, POWER_SHARE, AIR_SHARE, STORED_SHARE = 80.0, 0.2, 0.3, 0.3
"""Doubt of one window: warm bodies and sun-warmed walls in watts, and shares of the
burner's heat, of what the air takes and of what the lining holds (own judgement)."""
MOST_LIT, MOST_OTHER, MOST_OTHER_NIGHT = 8.0, 4.0, 60.0
"""At most what one window costs, in ln likelihood: heat that went nowhere, and heat
from nowhere; and the latter in all."""
TEMPER = 0.9
"""Windows beside each other are off together (own judgement)."""
FIRST_WINDOW_H, FIRST_CHANGE, FIRST_JUMP = 0.2, 4.0, 0.4
"""Of the course that the search begins with: a window, the cost of a change of burner
or air, and how far air may differ from window to window, in ln (our choice)."""
LEAST_EXCESS_PPM, MOST_K = 50.0, 60.0


class SettingSpan(NamedTuple):
    """A part of the night with one setting of the burner."""

    begin: int
    end: int
    ppm_per_h: float
    heat_w: float
    flame_share: float = 0.0
    """Of the source, what comes from a flame."""


class _Window(NamedTuple):
    begin: int
    end: int
    climb_k_h: float
    lift_k: float
    """Above outdoors."""
    climb_ppm_h: float
    excess_ppm: float


class HeatBalance:
    """The night's heat, half hour by half hour."""

    def __init__(
        self,
        course: Course,
        temp_c: Sequence[Told],
        outside_c: Sequence[Told],
        moles: float,
        volume_m3: float,
        wall_w_k: float,
    ) -> None:
        """Take the temperatures at the nodes.

        Args:
            course: the nodes.
            temp_c: inside.
            outside_c: outdoors.
            moles: gas that the cabin holds.
            volume_m3: of the cabin.
            wall_w_k: what walls and panes pass.
        """
        self._stored = heat_capacity_j_k(volume_m3) / 3600.0
        self._walls_w_k, self._per_k = wall_w_k, moles * AIR_J_MOL_K / 3600.0
        wide = max(4, round(WINDOW_H / course.step_h))
        short = max(3, round(FIRST_WINDOW_H / course.step_h))
        self._windows, self._first = (
            [
                one
                for n in range(0, len(temp_c) - nodes, nodes)
                if (one := _window(course, temp_c, outside_c, n, n + nodes)) is not None
            ]
            for nodes in (wide, short)
        )

    def first_course(
        self, settings: Mapping[str, tuple[float, float]]
    ) -> list[tuple[int, str]]:
        """Find a course of settings to begin the search with, window by window.

        The cheapest by heat, with air that does not jump without cause (Viterbi).

        Args:
            settings: source and heat of each.

        Returns:
            (node, setting), the night's begin first; empty where too little is known.
        """
        costs: dict[str, float] = {}
        ways: dict[str, list[tuple[int, str]]] = {}
        ks: dict[str, float] = {}
        for one in self._first:
            now: dict[str, tuple[float, float]] = {}
            for name, (ppm_per_h, heat_w) in settings.items():
                k = (ppm_per_h - one.climb_ppm_h) / max(
                    one.excess_ppm, LEAST_EXCESS_PPM
                )
                now[name] = self._first_cost(one, heat_w, k), k
            new_costs, new_ways, new_ks = {}, {}, {}
            for name, (cost, k) in now.items():
                best, came = 0.0, None
                for before, was in costs.items():
                    jump = math.log(max(k, 0.1) / max(ks[before], 0.1)) / FIRST_JUMP
                    over = was + min(FIRST_CHANGE, 0.5 * jump * jump)
                    over += FIRST_CHANGE if before != name else 0.0
                    if came is None or over < best:
                        best, came = over, before
                new_costs[name], new_ks[name] = best + cost, k
                way = ways[came] if came is not None else []
                is_new = not way or way[-1][1] != name
                new_ways[name] = [*way, (one.begin, name)] if is_new else way
            costs, ways, ks = new_costs, new_ways, new_ks
        return ways[min(costs, key=lambda name: costs[name])] if costs else []

    def _first_cost(self, one: _Window, heat_w: float, k: float) -> float:
        air_w = min(max(k, 0.0), MOST_K) * self._per_k * one.lift_k
        stored, walls = self._stored * one.climb_k_h, self._walls_w_k * one.lift_k
        sd_w = math.sqrt(
            LEAST_SD_W**2
            + (POWER_SHARE * heat_w) ** 2
            + (AIR_SHARE * air_w) ** 2
            + (CAPACITY_SHARE_SD * stored) ** 2
            + (WALLS_SHARE_SD * walls) ** 2
        )
        off = (heat_w - air_w - stored - walls) / sd_w
        backwards = min(0.0, k) / 0.3
        return (
            min(MOST_LIT, 0.5 * off * off)
            + math.log(sd_w / LEAST_SD_W)
            + min(MOST_LIT, 0.5 * backwards * backwards)
        )

    def worth(self, spans: Sequence[SettingSpan]) -> float:
        """Return ln likelihood of a course of settings."""
        rows = [self._row(one, spans) for one in self._windows]
        if not rows:
            return 0.0
        stored, walls = _fitted(rows)
        worth = -0.5 * ((stored - 1.0) / CAPACITY_SHARE_SD) ** 2
        worth -= 0.5 * ((walls - 1.0) / WALLS_SHARE_SD) ** 2
        other = 0.0
        for left_w, into, through, sd_w in rows:
            off = (left_w - stored * into - walls * through) / sd_w
            if off > 0.0:
                worth -= min(MOST_LIT, 0.5 * off * off)
            else:
                other += min(MOST_OTHER, 0.5 * off * off)
            worth -= math.log(sd_w / LEAST_SD_W)
        return TEMPER * (worth - min(MOST_OTHER_NIGHT, other))

    def _row(
        self, one: _Window, spans: Sequence[SettingSpan]
    ) -> tuple[float, float, float, float]:
        """Give heat less what the air takes, what may be stored and passed, and sd."""
        wide, source, heat_w = one.end - one.begin, 0.0, 0.0
        for begin, end, ppm_per_h, watts, _ in spans:
            share = (min(end, one.end) - max(begin, one.begin)) / wide
            if share > 0.0:
                source += share * ppm_per_h
                heat_w += share * watts
        k = (source - one.climb_ppm_h) / max(one.excess_ppm, LEAST_EXCESS_PPM)
        air_w = min(max(k, 0.0), MOST_K) * self._per_k * one.lift_k
        into = self._stored * one.climb_k_h
        sd_w = math.sqrt(
            LEAST_SD_W**2
            + (POWER_SHARE * heat_w) ** 2
            + (AIR_SHARE * air_w) ** 2
            + (STORED_SHARE * into) ** 2
        )
        return heat_w - air_w, into, self._walls_w_k * one.lift_k, sd_w


def _window(
    course: Course,
    temp_c: Sequence[Told],
    outside_c: Sequence[Told],
    begin: int,
    end: int,
) -> _Window | None:
    """Gather one window; None where something of it is not known."""
    hours = (end - begin) * course.step_h
    first, last = temp_c[begin], temp_c[end]
    c_first, c_last = course.excess_ppm[begin], course.excess_ppm[end]
    lift, excess = mean(temp_c[begin:end]), mean(course.excess_ppm[begin:end])
    outside = mean(outside_c[begin:end])
    if first is None or last is None or c_first is None or c_last is None:
        return None
    if lift is None or excess is None or outside is None:
        return None
    return _Window(
        begin,
        end,
        (last - first) / hours,
        lift - outside,
        (c_last - c_first) / hours,
        excess,
    )


def _fitted(rows: Sequence[tuple[float, float, float, float]]) -> tuple[float, float]:
    """Fit shares of what is stored and passed: least squares, with their own doubt."""
    a, b, c = CAPACITY_SHARE_SD**-2, 0.0, WALLS_SHARE_SD**-2
    p, q = a, c
    for left_w, into, through, sd_w in rows:
        each = 1.0 / sd_w**2
        a += each * into * into
        b += each * into * through
        c += each * through * through
        p += each * into * left_w
        q += each * through * left_w
    whole = a * c - b * b
    return (
        max((c * p - b * q) / whole, LEAST_SHARE),
        max((a * q - b * p) / whole, LEAST_SHARE),
    )
