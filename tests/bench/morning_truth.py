"""How often the truth lies inside what the morning states, over seeded nights.

`python -m tests.bench.morning_truth --nights 100 --from 0`: a table by figure.  The
search's thresholds were chosen on seeds 0 to 59 and 1000 to 1149; score on others.
"""

import argparse
import tempfile
from multiprocessing import Pool
from pathlib import Path

from tests.bench.truth_nights import FIGURES, account_of, hits, truths


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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=100)
    parser.add_argument("--from", type=int, default=2000, dest="first")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.nights)
    with Pool(2) as pool:
        scores = pool.map(score, seeds)
    print(f"{args.nights} nights, seeds {seeds[0]} to {seeds[-1]}; stated: 90 %")
    print(f"{'figure':<20} {'inside':>7}  half width, median")
    for name in FIGURES:
        inside = sum(one[name] for one, _ in scores) / len(scores)
        widths = sorted(one[name] for _, one in scores if name in one)
        middle = widths[len(widths) // 2] if widths else 0.0
        print(f"{name:<20} {100.0 * inside:>6.0f}%  {100.0 * middle:.0f} %")


if __name__ == "__main__":
    main()
