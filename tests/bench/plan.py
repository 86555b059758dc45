"""How long `plan` takes to answer, beside the interpreter's own start.

Budget: 1.5 times the interpreter's start plus 150 ms.  Both are whole processes, run in
turn, so that a busy machine slows both; the median of several is told.

    python tests/bench/plan.py [--runs N]
"""

import argparse
import statistics
import subprocess
import sys
import time

PLAN = [sys.executable, "-m", "cabinvigil.daemon", "plan", "--json"]
FLOOR = [sys.executable, "-c", "pass"]


def seconds(command: list[str]) -> float:
    begin = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - begin


def measure(runs: int) -> tuple[float, float]:
    """Median seconds of the interpreter's start, and of a plan."""
    pairs = [(seconds(FLOOR), seconds(PLAN)) for _ in range(runs)]
    floor, plan = zip(*pairs, strict=True)
    return statistics.median(floor), statistics.median(plan)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=15)
    runs = parser.parse_args().runs
    floor, plan = measure(runs)
    budget = 1.5 * floor + 0.150
    print(f"interpreter's start  {1000 * floor:6.0f} ms  (median of {runs})")
    print(f"plan --json          {1000 * plan:6.0f} ms")
    print(f"budget               {1000 * budget:6.0f} ms  1.5 x start + 150 ms")
    print("within" if plan <= budget else "OVER")
    return 0 if plan <= budget else 1


if __name__ == "__main__":
    sys.exit(main())
