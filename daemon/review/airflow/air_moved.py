"""How much fresh air moved, and how much CO2 was given off: from the night's CO2.

The whole night is looked at from both ends, so a burner that is lit or a vent that is
opened is dated afterwards, and what came later shows which of the two it was.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from cabinvigil.daemon.review.airflow.cycles import Swing
from cabinvigil.daemon.review.airflow.doors import doors
from cabinvigil.daemon.review.airflow.drive import driven
from cabinvigil.daemon.review.airflow.guess import Settings
from cabinvigil.daemon.review.airflow.heat import Heat
from cabinvigil.daemon.review.airflow.heat_balance import HeatBalance
from cabinvigil.daemon.review.airflow.kalman import Course
from cabinvigil.daemon.review.airflow.nodes import (
    Told,
    course_of,
    filled,
    mean,
    undelayed,
)
from cabinvigil.daemon.review.airflow.oxygen import Oxygen
from cabinvigil.daemon.review.airflow.rivals import NightSearch

NODE_S = 120.0
"""Between two nodes: short against an air change of a well-aired cabin (4 min and
more), long enough to average a part's noise."""
MOST_NODES = 800
"""A night is 270; beyond this, nodes lie further apart."""
AWAKE_H, SETTLED_H = 0.4, 1.0
"""All are held to be awake until the first, and all to be asleep from the second, after
the night's begin (own judgement)."""
LEAST_H = 0.5
"""Less than this is too little for a curve."""
K_SHARE, S_SHARE = 0.08, 0.065
"""What remains unsure whatever the readings say, as shares: air that is not quite
mixed, gusts within minutes (own judgement, held by tests/bench/morning_truth.py)."""
WAY_SPREAD = 1.15
"""Times what the filter states of itself: it knows nothing of explanations that nobody
thought of (the same)."""
DRIVE_SPREAD = 0.3
"""Of the flow that warmth and wind drive, where they are e times the usual (the
same)."""
LEAST_K_SD = 0.03
"""Of air changes an hour, however few: in a cabin that is all but shut they follow
neither warmth nor one leak (own judgement)."""
OUTDOOR_SD_PPM = 20.0
"""Of the part's zero against outdoor air: 40 ppm read as two sd (sensors.md, 1)."""


class NodeAir(NamedTuple):
    """What was found at one node."""

    at_s: float
    k: float
    """Air changes an hour."""
    s: float
    """CO2 given off, ppm of the cabin's air an hour, at its temperature."""
    var_k: float
    var_s: float
    cov: float
    is_known: bool
    """Whether there were readings here; else it is carried over from its neighbours."""
    door: float = 0.0
    """Air changes an hour beside `k`, by a door that stood open."""


@dataclass(frozen=True, slots=True)
class Happened:
    """A sudden change that the readings show."""

    at_s: float
    kind: str
    """`air`, or the burner's new setting."""


@dataclass(frozen=True, slots=True)
class Moved:
    """The night's air, node by node."""

    step_s: float
    nodes: tuple[NodeAir, ...]
    changes: tuple[Happened, ...]
    start: str
    """The burner's setting at first."""
    starts: frozenset[str] = frozenset()
    """What it may have been as well as that, and that."""
    is_unsteady: bool = False
    """Whether source or air changed all the time, so that CO2 tells neither."""


@dataclass(frozen=True, slots=True)
class Warmth:
    """What is known of the cabin's heat."""

    outside_c: Sequence[Told]
    """At the readings' moments."""
    moles: float
    volume_m3: float
    wall_w_k: float
    """What walls and panes pass."""
    o2_dry_pct: Sequence[Told]
    """At the readings' moments."""
    flame_o2_per_co2: float
    """Moles that the burner's flame takes for each of CO2."""
    wind_mps: float
    vent_height_m: float


@dataclass(frozen=True, slots=True)
class AwakePeople:
    """What people give beside a sleeper's CO2 until they are asleep."""

    ppm_per_h: float
    """Of the cabin's air."""

    @staticmethod
    def share(at_h: float) -> float:
        """Return the likely share of them who are still awake."""
        done = (at_h - AWAKE_H) / (SETTLED_H - AWAKE_H)
        return min(max(1.0 - done, 0.0), 1.0)

    def at_nodes(self, at_h: Sequence[float]) -> list[float]:
        """Return it node by node."""
        return [self.ppm_per_h * self.share(one) for one in at_h]


@dataclass(frozen=True, slots=True)
class Readings:
    """A night's readings, evenly spaced; None where nothing was told."""

    at_s: Sequence[float]
    carbon_ppm: Sequence[Told]
    """CO2 with CO."""
    temp_c: Sequence[Told]
    outdoor_ppm: float
    lag_s: float
    """First-order lag of the CO2 part."""
    beyond_ppm: Sequence[Told] = ()
    """CO2 from elsewhere, without its lag, where its part told none; empty: none."""
    swings: Sequence[Swing] = ()
    """Of a burner that cycles; empty: none does."""
    cycle_s: float = 0.0
    """How long one of its cycles is."""


def moved(
    readings: Readings,
    settings: Settings,
    warmth: Warmth | None = None,
    awake: AwakePeople | None = None,
) -> Moved | None:
    """Find air changes and source of a night.

    Args:
        readings: of the night.
        settings: of the burner.
        warmth: what is known of the heat; None where no temperature is.
        awake: what people give before they sleep; None: not looked at.

    Returns:
        None where less than half an hour was told.
    """
    at_s = readings.at_s
    if len(at_s) < 2:
        return None
    fine_s = at_s[1] - at_s[0]
    each = max(1, round(NODE_S / fine_s), math.ceil(len(at_s) / MOST_NODES))
    level = undelayed(readings.carbon_ppm, readings.lag_s / fine_s)
    if readings.beyond_ppm:
        pairs = zip(level, readings.beyond_ppm, strict=True)
        level = [other if one is None else one for one, other in pairs]
    course = course_of(level, readings.temp_c, each, fine_s, readings.outdoor_ppm)
    known = [one is not None for one in course.excess_ppm]
    count = len(known)
    swing_ppm: Sequence[float] = ()
    if readings.swings:
        shares, swing_ppm = _swings(readings, each, count, course.step_h)
        weight = [one * by for one, by in zip(course.weight, shares, strict=True)]
        course = replace(course, weight=weight)
    if sum(known) * course.step_h < LEAST_H:
        return None
    heat = None
    if warmth is not None:
        inside = _at_nodes(readings.temp_c, each, count)
        outside = _at_nodes(warmth.outside_c, each, count)
        drive = driven(
            filled(inside), filled(outside), warmth.wind_mps, warmth.vent_height_m
        )
        course = replace(course, drive=drive)
        sizes = (warmth.moles, warmth.volume_m3)
        heat = Heat(
            course,
            inside,
            outside,
            *sizes,
            HeatBalance(course, inside, outside, *sizes, warmth.wall_w_k),
            Oxygen(
                course,
                _at_nodes(warmth.o2_dry_pct, each, count),
                warmth.flame_o2_per_co2,
            ),
        )
    at_h = [n * course.step_h for n in range(count)]
    more = () if awake is None else awake.at_nodes(at_h)
    opened = doors(
        course.level_ppm, course.level_sd_ppm, readings.outdoor_ppm, course.step_h
    )
    by_door = {
        n: one.changes / (one.end - one.begin) / course.step_h
        for one in opened
        for n in range(one.begin, one.end)
    }
    course = replace(course, anew=frozenset(by_door))
    explained = NightSearch(course, settings, heat, more, swing_ppm).explain()
    found, step_s = explained.found, each * fine_s
    nodes = tuple(
        _air(at_s[0] + n * step_s, known[n], course, n, values)._replace(
            door=by_door.get(n, 0.0)
        )
        for n, values in enumerate(zip(*found[:5], strict=True))
    )
    changes = tuple(
        Happened(at_s[0] + (n + 1) * step_s, kind)
        for n, kind in sorted(explained.guess.changes.items())
    )
    return Moved(
        *(step_s, nodes, changes, explained.guess.start, explained.starts),
        explained.guess.walks.is_unsteady,
    )


def _swings(
    readings: Readings, each: int, count: int, step_h: float
) -> tuple[list[float], list[float]]:
    """Return by node the source's share of its mean, and the ppm that swing in and out.

    Where a cycle is shorter than a node, most of its swing is over within it.
    """
    parts = [readings.swings[n * each : (n + 1) * each] for n in range(count)]
    within = min(1.0, readings.cycle_s / 3600.0 / step_h)
    return (
        [math.fsum(one.share for one in part) / len(part) for part in parts],
        [max(one.sd_ppm_per_h for one in part) * step_h * within for part in parts],
    )


def _at_nodes(values: Sequence[Told], each: int, count: int) -> list[Told]:
    return [mean(values[n * each : (n + 1) * each]) for n in range(count)]


def _air(
    at_s: float, known: bool, course: Course, n: int, values: tuple[float, ...]
) -> NodeAir:
    k, s, var_k, var_s, cov = values
    if k < 0.0 < var_k:  # air flows backwards nowhere; its source was too small then
        k, s = 0.0, s - k * cov / var_k
    weight, drive = course.weight[n], course.drive[n] if course.drive else 1.0
    k, var_k, cov = k * drive, var_k * drive**2, cov * drive
    var_k, var_s, cov = (one * WAY_SPREAD**2 for one in (var_k, var_s, cov))
    # what the air carries off is told by the excess over outdoors, and no better
    excess = max(abs(course.excess_ppm[n] or 0.0), OUTDOOR_SD_PPM)
    is_told = course.excess_ppm[n] is not None
    outdoor_share = OUTDOOR_SD_PPM / excess if is_told else 0.0
    var_k += (K_SHARE * k) ** 2 + LEAST_K_SD**2 + (outdoor_share * k) ** 2
    var_k += (DRIVE_SPREAD * math.log(drive) * k) ** 2
    var_s += (S_SHARE * s) ** 2 + (OUTDOOR_SD_PPM * k) ** 2
    return NodeAir(at_s, k, s * weight, var_k, var_s * weight**2, cov * weight, known)
