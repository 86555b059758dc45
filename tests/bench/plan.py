"""How long `plan` takes to answer, beside the interpreter's own start.

Budget: 1.5 times the interpreter's start plus 150 ms.  Both are whole processes, run in
turn.  The verdict is on processor time, which on an idle machine is the time waited;
the wall's time is told beside it, and on a busy machine measures the neighbours.

    python tests/bench/plan.py [--runs N]
"""

import argparse
import resource
import statistics
import subprocess
import sys
import time

PLAN = [sys.executable, "-m", "cabinvigil.daemon", "plan", "--json"]
FLOOR = [sys.executable, "-c", "pass"]


def seconds(command: list[str]) -> tuple[float, float]:
    """Processor and wall seconds of one process."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begin = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    wall = time.perf_counter() - begin
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return used, wall


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=15)
    runs = parser.parse_args().runs
    floors, plans = [], []
    for _ in range(runs):
        floors.append(seconds(FLOOR))
        plans.append(seconds(PLAN))
    floor, floor_wall = (statistics.median(each) for each in zip(*floors, strict=True))
    plan, plan_wall = (statistics.median(each) for each in zip(*plans, strict=True))
    budget = 1.5 * floor + 0.150
    print(f"median of {runs}         processor      wall")
    print(f"interpreter's start  {1000 * floor:6.0f} ms {1000 * floor_wall:6.0f} ms")
    print(f"plan --json          {1000 * plan:6.0f} ms {1000 * plan_wall:6.0f} ms")
    print(f"budget               {1000 * budget:6.0f} ms  1.5 x start + 150 ms")
    print("within" if plan <= budget else "OVER")
    return 0 if plan <= budget else 1


if __name__ == "__main__":
    sys.exit(main())
