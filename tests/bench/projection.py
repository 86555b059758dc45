"""How early the projection rings, how often for nothing, and how honest it is.

Run as `python -m tests.bench.projection --nights 400 [--seed 500000]`.  Seeds below
100 000 were used for tuning; reporting nights start at 500 000.  The same nights are
put before the level rule, straight lines, ours, ours on O2 alone, and an observer who
knows the present source and ventilation exactly, but not the future.  Nights come from
the rehearsal's own air and from a second generator that was written apart from it; on
the latter stands also the best that any reader of these two parts could do.

`--safe 1000 [--air apart]` judges so many safe nights instead, for nuisance alone: a
share of 1 % cannot be shown on fewer.  `--air second` judges nights of a generator by
another hand (`second_nights`), thirty kinds in turn.
"""

import argparse
import itertools
import multiprocessing
import statistics
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cabinvigil.daemon.trend import zone_filter
from cabinvigil.daemon.trend.model import (
    CrossingQuery,
    MinutesTriple,
    Observation,
    TrendEstimate,
    TrendSetup,
    Triple,
)
from tests.bench.airs import MAKERS, Air
from tests.bench.coverage import Coverage
from tests.bench.informed import follow_informed
from tests.bench.lines import LineFit
from tests.bench.nights import HORIZON_S, KINDS, LIMIT_PCT, Night

REPORT_FROM = 500_000
NEAR_PCT = 0.12
"""Nights that come this near to the limit count neither as safe nor as dangerous."""
CAP_MIN = 20.0
THRESHOLDS = (0.7, 0.8, 0.86, 0.9, 0.93, 0.95, 0.97, 0.99)
CHOSEN = 0.93
SOON = 0.4
MARGIN_PCT = 0.05
LEAST_FALL_PCT, NEARER_PCT = 0.15, 20.0
ASKS = (
    CrossingQuery("o2_pct", LIMIT_PCT + MARGIN_PCT, "below", HORIZON_S),
    CrossingQuery("o2_pct", LIMIT_PCT + MARGIN_PCT, "below", 300.0),
    CrossingQuery("o2_pct", LIMIT_PCT, "below", HORIZON_S),
)
LINE_SHARES = (0.2, 0.33, 0.5, 0.7, 1.0)
"""Shares of the horizon that a straight line is extrapolated; 1 is the whole, as the
`predict_linear` of a general monitoring system does."""
INFORMED_SOON = 0.9
"""The informed reader forgets all at a change, so his prior alone gives minutes a
chance; he waits for more."""
EVERY_TICKS = 30
"""Intervals are held against the truth every 5 min ..."""
SETTLED_S = 300.0
"""... from 5 min after a change on."""

Rang = dict[str, float]
"""First ring by who rang, in seconds."""


@dataclass
class Outcome:
    """One night's result."""

    crossing_s: float | None
    is_safe: bool
    rang: Rang
    coverage: Coverage


def in_triple(value: float, triple: Triple) -> bool:
    """Say whether a 90 % interval holds a value."""
    return triple[0] <= value <= triple[2]


def in_minutes(known_s: float | None, triple: MinutesTriple | None) -> bool:
    """The same for minutes, where None is 'levels off'."""
    if triple is None:
        return known_s is None
    low, _, high = triple
    minutes = float("inf") if known_s is None else known_s / 60.0
    return (low is not None and low <= minutes) and (high is None or minutes <= high)


def check_intervals(
    night: Night, i: int, told: TrendEstimate, into: Coverage, minutes_only: bool
) -> None:
    """Hold the intervals of one moment against the truth, while something burns."""
    t = night.time_s[i]
    since = [t - at for at in night.changes if at <= t]
    if not since or min(since) < SETTLED_S or night.burn_kw[i] <= 0.0:
        return
    if not minutes_only:
        per_h = night.k_per_s[i] * 3600.0
        into.note("air changes", in_triple(per_h, told.air_changes_per_h))
        into.note(
            "settling level", in_triple(night.settles_pct[i], told.o2_settles_pct)
        )
    if night.o2_pct[i] > LIMIT_PCT and night.known_s[i] is not None:
        into.note("minutes to limit", in_minutes(night.known_s[i], told.o2_minutes))


def observe(night: Night, i: int, use_co2: bool) -> Observation:
    """Give what the parts gave at one tick; humidity where it is measured."""
    co2 = night.co2_seen[i] if use_co2 else None
    if not night.rh_seen:
        return Observation(night.o2_seen[i], co2)
    return Observation(night.o2_seen[i], co2, night.temp_seen[i], night.rh_seen[i])


def follow(
    night: Night,
    who: str,
    use_co2: bool,
    stop: bool,
    into: Coverage | None,
    until_s: float = float("inf"),
) -> Rang:
    """Put one night before the filter, and note the first ring at each threshold.

    Args:
        night: readings and truth.
        who: name of the judge in the tables.
        use_co2: False hides the CO2 part from the filter.
        stop: end at the crossing; then only minutes to it are checked.
        into: where intervals are counted; None checks none.
        until_s: end here at the latest.
    """
    setup = TrendSetup(asks=ASKS)
    state = zone_filter.start(setup)
    rang: Rang = {}
    last = len(THRESHOLDS)
    for i, t in enumerate(night.time_s):
        if t > until_s:
            break
        if stop and (
            night.o2_pct[i] <= LIMIT_PCT or (into is None and len(rang) == last)
        ):
            break
        state = zone_filter.update(setup, state, t, observe(night, i, use_co2))
        told = zone_filter.estimate(setup, state, t)
        if told is None:
            continue
        if into is not None and i % EVERY_TICKS == 0 and told.at_s == t:
            check_intervals(night, i, told, into, stop)
        if told.o2_fallen_pct < LEAST_FALL_PCT and told.o2_pct > NEARER_PCT:
            continue
        far, soon = (c.probability for c in told.crossings[:2])
        for threshold in THRESHOLDS:
            key = f"{who} {threshold:g}"
            if key not in rang and (far >= threshold or soon >= SOON):
                rang[key] = t
    return rang


def informed(night: Night) -> Rang:
    """Let the reader judge who is told all but source and ventilation."""
    rang: Rang = {}
    for t, far, soon in follow_informed(night):
        for threshold in THRESHOLDS:
            key = f"informed {threshold:g}"
            if key not in rang and (far >= threshold or soon >= INFORMED_SOON):
                rang[key] = t
    return rang


def others(night: Night) -> Rang:
    """Let the level rule, the straight lines and the observer judge a night."""
    rang: Rang = {}
    fit = LineFit(600.0)
    low = 0
    for i, t in enumerate(night.time_s):
        known = night.known_s[i]
        if known is not None and known <= HORIZON_S:
            rang.setdefault("observer", t)
        o2 = night.o2_seen[i]
        if o2 is None:
            continue
        low = low + 1 if o2 <= LIMIT_PCT else 0
        if low >= 2:
            rang.setdefault("level", t)
        fit.add(t, o2)
        end = fit.at_end()
        if end is None:
            continue
        for share in LINE_SHARES:
            if end[0] + end[1] * HORIZON_S * share <= LIMIT_PCT:
                rang.setdefault(f"line {share:g}", t)
    return rang


@dataclass(frozen=True)
class Job:
    """One night to be judged."""

    seed: int
    kind: str = "plain"
    coarse: bool = False
    with_o2_alone: bool = False
    air: Air = "zone"
    """Whose air: the rehearsal's, or that of a generator written apart from it."""
    safe_only: bool = False


def judge(job: Job) -> Outcome:
    """Judge one night, every way."""
    night = MAKERS[job.air](job.seed, job.kind, job.coarse)
    crossing = night.crossing_s()
    coverage = Coverage()
    is_safe = night.lowest() > LIMIT_PCT + NEAR_PCT
    if job.safe_only and not is_safe:
        return Outcome(crossing, is_safe, {}, coverage)
    rang = others(night)
    # Every eighth night goes to its end for its intervals: ringing ends nothing.
    stop = crossing is not None and job.seed % 8 != 0
    rang |= follow(night, "ours", True, stop, coverage)
    if job.with_o2_alone:
        rang |= follow(night, "o2 alone", False, crossing is not None, None)
    if job.air == "apart" and job.kind == "plain" and not job.coarse:
        rang |= informed(night)
    return Outcome(crossing, is_safe, rang, coverage)


@dataclass(frozen=True)
class Score:
    """How one judge did over many nights."""

    mean_min: float
    tenth_min: float
    missed: float
    nuisance: float
    unfounded: float
    """Of the safe nights, those in which this one rang and the observer never did: in
    the others the crossing was coming, and somebody turned the burner down."""
    dangerous: int
    safe: int


def score(outcomes: Sequence[Outcome], who: str) -> Score:
    """Score one judge: leads on dangerous nights, rings on safe ones."""
    leads, missed, dangerous = [], 0, 0
    safe = [o for o in outcomes if o.is_safe]
    for outcome in outcomes:
        crossing = outcome.crossing_s
        if crossing is None or crossing < 60.0:
            continue
        dangerous += 1
        first = outcome.rang.get(who, float("inf"))
        missed += first >= crossing
        leads.append(min(CAP_MIN, max(0.0, (crossing - first) / 60.0)))
    rang = [o for o in safe if who in o.rang]
    tenth = sorted(leads)[len(leads) // 10] if leads else 0.0
    return Score(
        statistics.fmean(leads) if leads else 0.0,
        tenth,
        missed / max(1, dangerous),
        len(rang) / max(1, len(safe)),
        sum("observer" not in o.rang for o in rang) / max(1, len(safe)),
        dangerous,
        len(safe),
    )


def run(jobs: Iterable[Job], workers: int) -> list[Outcome]:
    """Judge many nights on some cores."""
    listed = list(jobs)
    if workers <= 1:
        return [judge(job) for job in listed]
    with multiprocessing.Pool(workers) as pool:
        return pool.map(judge, listed, chunksize=4)


def print_row(name: str, s: Score, observer: Score) -> None:
    """Print one row of the table."""
    share = s.mean_min / observer.mean_min if observer.mean_min else 0.0
    print(
        f"{name:34s} {s.mean_min:6.2f} {share:6.3f} {s.tenth_min:6.1f}"
        f" {100 * s.missed:7.2f} {100 * s.nuisance:9.2f} {100 * s.unfounded:10.2f}"
        f"  {s.dangerous:5d} {s.safe:5d}"
    )


def print_table(title: str, outcomes: Sequence[Outcome], rows: Sequence[str]) -> None:
    """Print one table."""
    print(f"\n{title}")
    print(f"{'who':34s} mean    of    10 %  missed  nuisance  unfounded  nights")
    print(f"{'':34s}   min   obs.   min       %         %          %  dang. safe")
    observer = score(outcomes, "observer")
    for row in rows:
        print_row(row, score(outcomes, row), observer)
    sys.stdout.flush()


def chosen(who: str) -> str:
    """Name a judge at the threshold that the rule uses."""
    return f"{who} {CHOSEN:g}"


def print_intervals(outcomes: Sequence[Outcome]) -> None:
    """Print how often the intervals held."""
    total = Coverage()
    for outcome in outcomes:
        total.add(outcome.coverage)
    print("\n90 % intervals, 5 min and more after a change, while something burns")
    for what, asked in total.asked.items():
        print(f"  {what:18s} hold {100 * total.held[what] / asked:5.1f} % of {asked}")


def report(nights: int, first: int, workers: int) -> None:
    """Judge the nights and print every table."""
    seeds = range(first, first + nights)
    main = run([Job(s, with_o2_alone=s % 8 == 1) for s in seeds], workers)
    lines = [f"line {share:g}" for share in LINE_SHARES]
    ours = [f"ours {t:g}" for t in THRESHOLDS]
    print_table(
        f"plain nights in the rehearsal's air, {nights} from seed {first}",
        main,
        ["level", *lines, *ours, "observer"],
    )
    print_intervals(main)
    print_table(
        "the same, O2 alone (every eighth night)",
        [outcome for s, outcome in zip(seeds, main, strict=True) if s % 8 == 1],
        [*(f"o2 alone {t:g}" for t in THRESHOLDS), "observer"],
    )
    apart = run([Job(s, air="apart") for s in seeds[: max(8, nights // 5)]], workers)
    print_table(
        "nights made apart from our air; nobody measures humidity",
        apart,
        ["line 0.33", *ours, *(f"informed {t:g}" for t in THRESHOLDS), "observer"],
    )
    print_intervals(apart)
    few = seeds[: max(8, nights // 25)]
    coarse = run([Job(s, coarse=True) for s in seeds[: 4 * len(few)]], workers)
    rows = [chosen("ours"), "line 0.33", "observer"]
    print_table("O2 in steps of 0.1 %, CO2 in steps of 50 ppm", coarse, rows)
    for kind in KINDS[1:]:
        found = run([Job(s, kind) for s in few], workers)
        print_table(f"nights of kind '{kind}'", found, rows)


def report_second(nights: int, first: int, workers: int) -> None:
    """Judge nights of the second generator, all its kinds in turn."""
    seeds = range(first, first + nights)
    found = run([Job(seed, air="second") for seed in seeds], workers)
    rows = ["level", "line 0.33", *(f"ours {t:g}" for t in THRESHOLDS), "observer"]
    print_table(f"nights of the second generator, from seed {first}", found, rows)
    print_intervals(found)


def report_safe(wanted: int, first: int, workers: int, air: Air) -> None:
    """Judge so many safe nights, for nuisance alone."""
    found: list[Outcome] = []
    rows = [*(f"ours {t:g}" for t in THRESHOLDS), "line 0.33", "observer"]
    jobs = (Job(seed, air=air, safe_only=True) for seed in itertools.count(first))
    with multiprocessing.Pool(workers) as pool:
        while len(found) < wanted:
            judged = pool.map(judge, itertools.islice(jobs, 100))
            found += [outcome for outcome in judged if outcome.is_safe]
            title = f"{len(found)} safe nights, air '{air}', from seed {first}"
            print_table(title, found, rows)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=400)
    parser.add_argument("--seed", type=int, default=REPORT_FROM)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--safe", type=int, default=0, help="judge safe nights alone")
    parser.add_argument("--air", choices=tuple(MAKERS), default="zone")
    given = parser.parse_args(arguments)
    if given.safe:
        report_safe(given.safe, given.seed, given.workers, given.air)
        return
    judge_all = report_second if given.air == "second" else report
    judge_all(given.nights, given.seed, given.workers)


if __name__ == "__main__":
    main()
