"""A short run of the benchmark, so that no change quietly costs lead or honesty.

The full run is `python -m tests.bench.projection`; these nights are too few for shares
of a percent, and the bounds leave room for that.
"""

import csv
import random
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import Transition
from cabinvigil.daemon.review.recording import Recording
from cabinvigil.daemon.review.replay import replay_columns
from cabinvigil.daemon.settings import Cabin, standard
from cabinvigil.daemon.words_loading import renderer
from tests.bench import projection
from tests.bench.lines import LineFit
from tests.bench.nights import KINDS, LIMIT_PCT, make_night
from tests.bench.projection import Coverage, Job, Outcome

FIRST = 700_000
"""Seeds that nothing was tuned on, and that the report does not use either."""


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    # Every eighth seed is followed to the night's end for its intervals: slow.
    seeds = [FIRST + i for i in range(20) if (FIRST + i) % 8][:7]
    return [
        projection.judge(Job(seed, with_o2_alone=i % 2 == 0))
        for i, seed in enumerate(seeds)
    ]


def test_earns_its_ring(outcomes: list[Outcome]) -> None:
    """Nothing missed, and most of the lead that exact knowledge would give; the best
    straight line that does not cry wolf has half of it."""
    observer = projection.score(outcomes, "observer")
    ours = projection.score(outcomes, projection.chosen("ours"))
    line = projection.score(outcomes, "line 0.33")
    assert ours.dangerous >= 3
    assert ours.missed == 0.0
    assert ours.mean_min >= 0.85 * observer.mean_min
    assert ours.mean_min >= 1.3 * line.mean_min
    assert ours.nuisance <= 0.25


def test_o2_alone_earns_its_ring(outcomes: list[Outcome]) -> None:
    """Without CO2, six tenths of the observer's lead and nothing missed."""
    alone = outcomes[::2]
    observer = projection.score(alone, "observer")
    ours = projection.score(alone, projection.chosen("o2 alone"))
    assert ours.missed == 0.0
    assert ours.mean_min >= 0.6 * observer.mean_min


def test_intervals_are_honest() -> None:
    """90 % intervals hold most truths, over the first forty minutes of many nights."""
    total = Coverage()
    for seed in range(FIRST, FIRST + 10):
        projection.follow(make_night(seed), "ours", True, False, total, 2400.0)
    assert total.asked["air changes"] >= 15
    for what in ("air changes", "settling level", "minutes to limit"):
        assert total.held[what] / total.asked[what] >= 0.7


@pytest.mark.parametrize("kind", KINDS)
def test_a_night_is_its_seed(kind: str) -> None:
    """The same seed gives the same night, another seed another."""
    assert make_night(5, kind) == make_night(5, kind)
    assert make_night(5, kind).o2_seen != make_night(6, kind).o2_seen


def test_the_observer_is_right() -> None:
    """Where nothing changes any more, the observer's time is the true crossing."""
    checked = 0
    for seed in range(FIRST, FIRST + 16):
        night = make_night(seed)
        crossing = night.crossing_s()
        if crossing is None or crossing < night.changes[-1] + 60.0:
            continue
        i = int(crossing / 10.0) - 3
        known = night.known_s[i]
        assert known is not None
        assert night.time_s[i] + known == pytest.approx(crossing, abs=15.0)
        checked += 1
    assert checked >= 3


def test_a_straight_line_is_least_squares() -> None:
    """The baseline's moving fit is the plain one of its window."""
    rng = random.Random(1)
    fit = LineFit(600.0)
    points = [(10.0 * i, 20.9 - 0.001 * i + rng.gauss(0.0, 0.02)) for i in range(200)]
    for point in points:
        fit.add(*point)
    last = [p for p in points if p[0] >= points[-1][0] - 600.0]
    mean_t = sum(t for t, _ in last) / len(last)
    mean_v = sum(v for _, v in last) / len(last)
    slope = sum((t - mean_t) * (v - mean_v) for t, v in last) / sum(
        (t - mean_t) ** 2 for t, _ in last
    )
    end = fit.at_end()
    assert end is not None
    assert end[1] == pytest.approx(slope, rel=1e-6)
    assert end[0] == pytest.approx(mean_v + slope * (points[-1][0] - mean_t))


def test_the_engine_rings_with_the_benchmark(tmp_path: Path) -> None:
    """The benchmark drives the filter directly; through replay, with the packaged
    limits and all rules beside it, the projection rings before the crossing too, and
    within two minutes of the benchmark's ring."""
    seed = next(
        s
        for s in range(FIRST, FIRST + 50)
        if (c := make_night(s).crossing_s()) is not None and 1800.0 < c < 3600.0
    )
    night = make_night(seed)
    crossing = night.crossing_s()
    assert crossing is not None
    direct = projection.follow(night, "ours", True, True, None)
    path = tmp_path / "night.csv"
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("time_s", "o2_pct", "co2_ppm"))
        rows.writerows(
            row
            for row in zip(night.time_s, night.o2_seen, night.co2_seen, strict=True)
            if row[0] <= crossing
        )
    settings = standard(Cabin(name="recording"))
    rang = [
        t
        for t, commands in replay_columns(
            Recording(path), settings, renderer(settings.watch.language)
        )
        for command in commands
        if isinstance(command, Transition) and command.alarm == "o2-projected"
    ]
    assert rang
    assert rang[0] < crossing
    assert night.o2_pct[int(rang[0] / 10.0)] > LIMIT_PCT
    assert rang[0] == pytest.approx(direct[projection.chosen("ours")], abs=120.0)
