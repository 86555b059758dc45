"""The balance of CO2 in the cabin, filtered and smoothed over a whole night.

`dc/dt = -k d (c - outside) + s + e`: outdoor air dilutes at `k` times `d`, what the
warmth inside is known to do to the flow; people and burner give off `s`, and people who
are still awake `e` beside it.  Both walk slowly; `k` may jump, and `s` may be set
again; on `k` lies a gust that comes and goes within minutes.  The excess over outdoors
is measured, so the balance is linear in what is sought, and a Kalman filter forward
with a disturbance smoother back is exact (Durbin and Koopman 2012, chapter 4,
unverified); both by hand for the four states: level `c`, `k`, gust `g`, `s`.

Traps met: without the gust, its coming and going is taken for the cabin's own
relaxation, and `k` comes out too high.  In logarithms the likeliest course is one of
large `k` and `s`, under which the same readings look smoother, and it wanders there.

Units: hours, ppm, ppm/h, 1/h.
"""

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

UNKNOWN_PPM2 = 1e12
"""Variance of a level of which nothing is known: before the first reading, or after a
gap."""
TINY = 1e-12
UNKNOWN_K2 = 1.0
"""Variance of k while little is known of it: where it stands then proves nothing."""
LEAST_K = -0.05
"""Less is no rounding of nothing: air does not flow backwards."""


class StepChange(NamedTuple):
    """What happens at once within one step."""

    c_sd: float
    """It falls somewhere within the step, and a part follows late."""
    k_sd: float = 0.0
    """k becomes anything about this far from what it was."""
    s: tuple[float, float] | None = None
    """s is set again: mean and sd."""


@dataclass(frozen=True, slots=True)
class Course:
    """What was read: nodes, and the steps between them."""

    step_h: float
    level_ppm: Sequence[float | None]
    """CO2 at each node; None where no sensor told."""
    level_sd_ppm: Sequence[float]
    excess_ppm: Sequence[float | None]
    """Mean excess over outdoors in the step after each node; None: not known, and
    nothing is carried across."""
    weight: Sequence[float]
    """Of the source in each step: the same moles make more ppm of thinner air."""
    drive: Sequence[float] = ()
    """Of the air in each step: how the flow is to follow the warmth (`driven`), about
    1; empty: not at all."""
    anew: Collection[int] = ()
    """Nodes after which the level is another, and says nothing of the air."""


@dataclass(frozen=True, slots=True)
class Belief:
    """What is held before any reading, and how fast things change."""

    k: tuple[float, float]
    """Mean and sd before any reading."""
    s: tuple[float, float]
    walk_k: Sequence[float]
    """By node: standard deviation of the change of k in an hour."""
    walk_s: float
    """The same of s, as a share of it."""
    gust: Sequence[float]
    """By node: standard deviation of k about its slow course."""
    gust_h: float
    """Memory of the gust."""
    changes: Mapping[int, StepChange] = field(default_factory=dict)
    """By the node after which they happen."""
    extra: Sequence[float] = ()
    """By node: source beside `s` that is known beforehand; empty: none."""
    most_s: float = math.inf
    """More is given off by nothing in the cabin."""


class Smoothed(NamedTuple):
    """What the night tells, node by node."""

    k: list[float]
    """With its gust."""
    s: list[float]
    var_k: list[float]
    var_s: list[float]
    cov: list[float]
    z_k: list[float]
    """How strongly the readings ask for a change of k after each node, in sd."""
    z_s: list[float]


_At = tuple[float, ...]
"""c k g s, and the variances cc ck cg cs kk kg ks gg gs ss."""


FilterNode = tuple[_At, float, float, float, float, bool, bool, float, int]
"""What the filter knew at a node, as a plain tuple: naming costs a third of the time.

`at` before the reading; `v`, the reading less what was expected, and `f`, its variance
(0: no reading); `out`, what leaves in the step after it for each unit of k; `came`,
what comes in it for each unit of s; `carried`; `anew`, whether s is set again; the
log-likelihood of all readings before it; and how many nodes before it were impossible,
where air flowed backwards or people took CO2 in."""


class FilteredNight(NamedTuple):
    """The filter's way through a night."""

    nodes: list[FilterNode]
    ln_likelihood: float
    impossible: int


def forward(
    course: Course, belief: Belief, before: FilteredNight | None = None, until: int = 0
) -> FilteredNight:
    """Filter forward.

    A night is gone through more than a hundred times, so the step is written out in one
    piece.

    Args:
        course: what was read.
        belief: what is held.
        before: a way that is the same up to the node `until`, to save going it again.
        until: that node.
    """
    stays = math.exp(-course.step_h / belief.gust_h)
    if before is None or until <= 0:
        until, nodes, at, worth, wrong = 0, [], _begin(course, belief), 0.0, 0
    else:
        nodes, first = before.nodes[:until], before.nodes[until]
        at, worth, wrong = first[0], first[7], first[8]
    c, k, g, s, cc, ck, cg, cs, kk, kg, ks, gg, gs, ss = at
    get_change, log, most_s = belief.changes.get, math.log, belief.most_s
    add, squared = nodes.append, stays * stays
    walk_s2 = belief.walk_s**2 * course.step_h
    for n, (seen, noise, out, came, carried, grown_k, grown_g, more) in enumerate(
        _steps(course, belief, until), until
    ):
        change = get_change(n)
        anew = change is not None and change.s is not None
        v = f = 0.0
        here = (c, k, g, s, cc, ck, cg, cs, kk, kg, ks, gg, gs, ss)
        if seen is not None:
            v, f = seen - c, cc + noise
        add((here, v, f, out, came, carried, anew, worth, wrong))
        if (kk < UNKNOWN_K2 and k + g < LEAST_K) or not 0.0 <= s <= most_s:
            wrong += 1
        if f > 0.0:
            if f < UNKNOWN_PPM2 / 2:
                worth -= 0.5 * (log(f) + v * v / f)
            # the reading is taken
            share, left = v / f, noise / f
            of_k, of_g, of_s = ck / f, cg / f, cs / f
            c, k, g, s = c + cc * share, k + ck * share, g + cg * share, s + cs * share
            kk, kg, ks = kk - of_k * ck, kg - of_k * cg, ks - of_k * cs
            gg, gs, ss = gg - of_g * cg, gs - of_g * cs, ss - of_s * cs
            cc, ck, cg, cs = cc * left, ck * left, cg * left, cs * left
        # one step of the balance
        if not carried:
            cc, ck, cg, cs = UNKNOWN_PPM2, 0.0, 0.0, 0.0
        to_k = came * ks - out * (kk + kg)
        to_g = came * gs - out * (kg + gg)
        to_s = came * ss - out * (ks + gs)
        cc += came * (2.0 * cs + to_s) - out * (2.0 * (ck + cg) + to_k + to_g)
        ck, cg, cs = ck + to_k, stays * (cg + to_g), cs + to_s
        c, g = c + came * (s + more) - out * (k + g), stays * g
        kk, kg = kk + grown_k, stays * kg
        gg, gs = squared * gg + grown_g, stays * gs
        ss += walk_s2 * s * s
        if change is not None:
            if change.s is not None:
                s, sd = change.s
                cs, ks, gs, ss = 0.0, 0.0, 0.0, sd * sd
            cc, kk = cc + change.c_sd**2, kk + change.k_sd**2
    return FilteredNight(nodes, worth, wrong)


_Step = tuple[float | None, float, float, float, bool, float, float, float]


def _steps(course: Course, belief: Belief, first: int) -> Iterator[_Step]:
    """Return of each step reading, noise, in and out, and how k and its gust grow."""
    step_h, count = course.step_h, len(course.level_ppm)
    stays = math.exp(-step_h / belief.gust_h)
    fresh = 1.0 - stays * stays
    drive = course.drive or [1.0] * count
    extra = belief.extra or [0.0] * count
    excess = course.excess_ppm[first:]
    return zip(
        course.level_ppm[first:],
        [sd * sd for sd in course.level_sd_ppm[first:]],
        [
            0.0 if one is None else step_h * one * by
            for one, by in zip(excess, drive[first:], strict=True)
        ],
        [step_h * one for one in course.weight[first:]],
        [
            one is not None and n not in course.anew
            for n, one in enumerate(excess, first)
        ],
        [one * one * step_h for one in belief.walk_k[first:]],
        [one * one * fresh for one in belief.gust[first:]],
        extra[first:],
        strict=True,
    )


def _begin(course: Course, belief: Belief) -> _At:
    level = next((one for one in course.level_ppm if one is not None), 0.0)
    (k, k_sd), (s, s_sd) = belief.k, belief.s
    start = (level, k, 0.0, s, UNKNOWN_PPM2, 0.0, 0.0, 0.0, k_sd**2, 0.0, 0.0)
    return (*start, belief.gust[0] ** 2, 0.0, s_sd**2)
