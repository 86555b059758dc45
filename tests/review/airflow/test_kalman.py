"""The filter and smoother, held against the dense solution of the same equations."""

import math
from random import Random

import numpy as np
import pytest

from cabinvigil.daemon.review.airflow.kalman import (
    UNKNOWN_PPM2,
    Belief,
    Course,
    StepChange,
    forward,
)
from cabinvigil.daemon.review.airflow.smoother import smooth

STEP_H = 2.0 / 60.0


def course(count: int, seed: int, holes: tuple[int, ...] = ()) -> Course:
    random = Random(seed)
    levels: list[float | None] = [
        600.0 + 30.0 * n + random.gauss(0.0, 20.0) for n in range(count)
    ]
    excess: list[float | None] = [200.0 + 25.0 * n for n in range(count)]
    for n in holes:
        levels[n] = None
    weight = [1.0 + 0.01 * n for n in range(count)]
    drive = [0.8 + 0.03 * n for n in range(count)]
    noise = [5.0 + 0.5 * n for n in range(count)]
    return Course(STEP_H, levels, noise, excess, weight, drive)


def belief(count: int, changes: dict[int, StepChange] | None = None) -> Belief:
    walk_k = [0.2 + 0.02 * n for n in range(count)]
    gust = [0.1 + 0.01 * n for n in range(count)]
    extra = [max(0.0, 900.0 - 80.0 * n) for n in range(count)]
    start = (2.0, 1.5), (3000.0, 900.0)
    return Belief(*start, walk_k, 0.0, gust, 0.25, changes or {}, extra)


def dense(course: Course, belief: Belief) -> tuple[np.ndarray, np.ndarray]:
    """Condition the whole joint normal distribution on the readings, by numpy."""
    count = len(course.level_ppm)
    stays = math.exp(-STEP_H / belief.gust_h)
    first = next(one for one in course.level_ppm if one is not None)
    mean = [np.array([first, belief.k[0], 0.0, belief.s[0]])]
    start = [UNKNOWN_PPM2, belief.k[1] ** 2, belief.gust[0] ** 2, belief.s[1] ** 2]
    blocks = {(0, 0): np.diag(start)}
    for n in range(count - 1):
        out = STEP_H * (course.excess_ppm[n] or 0.0) * course.drive[n]
        came = STEP_H * course.weight[n]
        step = np.array(
            [[1, -out, -out, came], [0, 1, 0, 0], [0, 0, stays, 0], [0, 0, 0, 1.0]]
        )
        noise = [
            0.0,
            belief.walk_k[n] ** 2 * STEP_H,
            belief.gust[n] ** 2 * (1 - stays**2),
            0.0,
        ]
        change, fixed = belief.changes.get(n), np.zeros(4)
        fixed[0] = came * belief.extra[n]
        if change is not None:
            noise[0] += change.c_sd**2
            noise[1] += change.k_sd**2
            if change.s is not None:
                step[3] = 0.0
                fixed[3], noise[3] = change.s[0], change.s[1] ** 2
        mean.append(step @ mean[n] + fixed)
        for m in range(n + 1):
            blocks[n + 1, m] = step @ blocks[n, m]
            blocks[m, n + 1] = blocks[n + 1, m].T
        blocks[n + 1, n + 1] = step @ blocks[n, n] @ step.T + np.diag(noise)
    whole = np.block([[blocks[a, b] for b in range(count)] for a in range(count)])
    told = [n for n in range(count) if course.level_ppm[n] is not None]
    see = np.zeros((len(told), 4 * count))
    see[range(len(told)), [4 * n for n in told]] = 1.0
    seen = see @ whole @ see.T + np.diag([course.level_sd_ppm[n] ** 2 for n in told])
    values = np.array([course.level_ppm[n] for n in told])
    gain = np.linalg.solve(seen, see @ whole).T
    middle = np.concatenate(mean)
    return middle + gain @ (values - see @ middle), whole - gain @ see @ whole


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {7: StepChange(20.0, 1.5)},
        {5: StepChange(30.0, 0.0, (5000.0, 400.0)), 9: StepChange(5.0)},
    ],
)
def test_smoothing_is_conditioning_on_all_readings(
    seed: int, changes: dict[int, StepChange]
) -> None:
    """Means and variances are those of the joint normal distribution (numpy)."""
    count = 16
    told, held = course(count, seed, holes=(3, 11)), belief(count, changes)
    way = forward(told, held)
    found = smooth(way.nodes, math.exp(-STEP_H / held.gust_h))
    mean, spread = dense(told, held)
    for n in range(count):
        k = np.zeros(4 * count)
        k[4 * n + 1] = k[4 * n + 2] = 1.0
        s = np.zeros(4 * count)
        s[4 * n + 3] = 1.0
        assert found.k[n] == pytest.approx(k @ mean, rel=1e-4, abs=1e-4)
        assert found.s[n] == pytest.approx(s @ mean, rel=1e-4)
        assert found.var_k[n] == pytest.approx(k @ spread @ k, rel=1e-3)
        assert found.var_s[n] == pytest.approx(s @ spread @ s, rel=1e-3)
        assert found.cov[n] == pytest.approx(k @ spread @ s, rel=1e-2, abs=1e-2)


def test_a_way_taken_up_again_is_the_same_way() -> None:
    """What is the same up to a node need not be gone again, to the last digit."""
    told = course(20, 1)
    plain, other = belief(20), belief(20, {12: StepChange(10.0, 2.0)})
    before = forward(told, plain)
    assert forward(told, other, before, 12) == forward(told, other)


def test_a_gap_carries_nothing_across_it() -> None:
    """Behind a step that nobody knows, the level is as unknown as at first."""
    told = course(12, 1)
    excess = list(told.excess_ppm)
    excess[6] = None
    gap = Course(STEP_H, told.level_ppm, [6.0] * 12, excess, told.weight)
    node = forward(gap, belief(12)).nodes[7]
    assert node[0][4] >= UNKNOWN_PPM2


def test_the_readings_ask_where_a_change_was() -> None:
    """The source doubles at node 20: there the smoother asks most, and for a source."""
    levels, level = [], 500.0
    excess: list[float | None] = []
    for n in range(40):
        levels.append(level)
        s = 3000.0 if n < 20 else 9000.0
        after = level + STEP_H * (s - 2.0 * (level - 430.0))
        excess.append((level + after) / 2.0 - 430.0)
        level = after
    told = Course(STEP_H, levels, [3.0] * 40, excess, [1.0] * 40)
    held = Belief((2.0, 2.0), (3000.0, 500.0), [0.2] * 40, 0.0, [0.05] * 40, 0.25)
    found = smooth(forward(told, held).nodes, math.exp(-STEP_H / 0.25))
    asked = max(range(40), key=lambda n: abs(found.z_s[n]))
    assert asked in (18, 19, 20)
    assert abs(found.z_s[asked]) > 10.0
