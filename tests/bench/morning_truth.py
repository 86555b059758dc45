"""How often the truth lies inside what the morning states, over seeded nights.

`python -m tests.bench.morning_truth --nights 100 --from 0`: a table by figure.  The
search's thresholds were chosen on seeds 0 to 59 and 1000 to 1149; score on others.

`--generator second`: nights of a generator that was written without reading the
daemon's air (`second_nights`), by figure and kind, the whole and the worst stretch.
"""

import argparse
import tempfile
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from multiprocessing import Pool
from pathlib import Path
from typing import TypeVar

from tests.bench import second_score
from tests.bench.truth_nights import FIGURES, account_of, hits, truths

T = TypeVar("T")


def score(seed: int) -> tuple[dict[str, bool], dict[str, float]]:
    """Give hits, and the widths of the intervals as a share of the truth."""
    with tempfile.TemporaryDirectory() as folder:
        found, truth = account_of(seed, Path(folder))
    totals, known = found.whole.totals, truths(truth)
    widths = {}
    for name in FIGURES:
        if totals is not None and known[name] > 0.05:
            low, _, high = getattr(totals, name)
            widths[name] = (high - low) / 2.0 / known[name]
    return hits(found, truth), widths


def on_cores(ask: Callable[[int], T], seeds: Iterable[int], workers: int) -> list[T]:
    """Ask of every seed, on some cores."""
    with Pool(workers) as pool:
        return pool.map(ask, seeds, chunksize=2)


def print_first(seeds: Sequence[int], workers: int) -> None:
    """Score the first generator, in the rehearsal's own air."""
    scores = on_cores(score, seeds, workers)
    print(f"{len(seeds)} nights, seeds {seeds[0]} to {seeds[-1]}; stated: 90 %")
    print(f"{'figure':<20} {'inside':>7}  half width, median")
    for name in FIGURES:
        inside = sum(one[name] for one, _ in scores) / len(scores)
        widths = sorted(one[name] for _, one in scores if name in one)
        middle = widths[len(widths) // 2] if widths else 0.0
        print(f"{name:<20} {100.0 * inside:>6.0f}%  {100.0 * middle:.0f} %")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=100)
    parser.add_argument("--from", type=int, default=2000, dest="first")
    parser.add_argument(
        "--generator", choices=("first", "second", "both"), default="first"
    )
    parser.add_argument("--kind", choices=sorted(second_score.KINDS), default=None)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.nights)
    if args.generator != "second":
        print_first(seeds, args.workers)
    if args.generator != "first":
        ask = partial(second_score.judge, kind=args.kind)
        second_score.print_tables(on_cores(ask, seeds, args.workers), seeds)


if __name__ == "__main__":
    main()
