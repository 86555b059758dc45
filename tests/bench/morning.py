"""What the morning costs beside its floor, and what damaged logs do to it.

`python -m tests.bench.morning`: the account of nine hours at one tick a second with
ten quantities, beside `json.loads` over the same lines, each in a fresh interpreter
with the same libraries; and the memory of one night beside thirty.
`python -m tests.bench.morning --mutants 10000`: damaged logs, none may raise.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
import tracemalloc
from multiprocessing import Pool
from pathlib import Path
from random import Random

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import NightError, files
from cabinvigil.daemon.report.json import as_json
from cabinvigil.daemon.report.text import account
from tests.bench.truth_nights import draw, live
from tests.review import logs, named

SEED = 3
IMPORTS = "import json, cabinvigil.daemon.commands.morning as m; "
LOADS = IMPORTS + "[json.loads(one) and None for one in open({path!r}, 'rb')]"
MORNING = IMPORTS + (
    "import argparse, sys; p = argparse.ArgumentParser(); m.add_arguments(p); "
    "m.run(p.parse_args([{path!r}]), sys.stdout, sys.stderr)"
)


def night(folder: Path, hours: float = 9.0) -> Path:
    """A line a second, ten quantities, an estimate a minute."""
    rows, _ = live(draw(SEED), SEED)
    random, lines = Random(SEED), [logs.begin()]
    for n in range(int(hours * 3600)):
        _, row = rows[n // 10]
        more = {
            "pressure_hpa": 938.6,
            "supply_v": 12.75,
            "supply_a": -0.35,
            "pm2_5_ugm3": 6.0,
        }
        told = {
            key: round(one + random.gauss(0.0, 0.001 * abs(one)), 2)
            for key, one in {**row, **more}.items()
        }
        lines.append(logs.line("air", float(n), **told))
        if n % 60 == 0:
            changes = [1.0, 2.0, 3.0]
            lines.append(logs.line("estimate", float(n), air_changes_per_h=changes))
    return logs.write(folder, b"".join(lines))


def best_s(code: str, tries: int = 5) -> float:
    """Seconds of processor time of a fresh interpreter, the best of some."""
    times = []
    for _ in range(tries):
        words = (
            "import resource, subprocess, sys; "
            f"subprocess.run([sys.executable, '-c', {code!r}], "
            "stdout=subprocess.DEVNULL); "
            "u = resource.getrusage(resource.RUSAGE_CHILDREN); "
            "print(u.ru_utime + u.ru_stime)"
        )
        told = subprocess.run(
            [sys.executable, "-c", words], capture_output=True, text=True, check=True
        )
        times.append(float(told.stdout))
    return min(times)


def cost() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = str(night(Path(folder)))
        imports = best_s(IMPORTS)
        loads, whole = (
            best_s(LOADS.format(path=path)),
            best_s(MORNING.format(path=path)),
        )
    print(
        f"imports {imports:.3f} s; with json.loads {loads:.3f} s; morning {whole:.3f} s"
    )
    print(f"morning / (json.loads and imports): {whole / loads:.2f} (at most 1.5)")


def memory() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = night(Path(folder), 1.0)
        give_account(files(path))
        for count in (1, 30):
            tracemalloc.start()
            for _ in range(count):
                give_account(files(path))
            peak_mb = tracemalloc.get_traced_memory()[1] / 1e6
            print(f"{count} nights: peak {peak_mb:.1f} MB")
            tracemalloc.stop()


def mutant(seed: int) -> tuple[int, str]:
    """Give account of a damaged log; the error's text where one was raised."""
    whole, _ = named.night("leak")
    log = b"".join(whole.splitlines(keepends=True)[:150])
    log += logs.line("estimate", 10.0, o2_minutes_to_19_5=[1.0, 2.0, None])
    with tempfile.TemporaryDirectory() as folder:
        path = logs.write(Path(folder), logs.mutated(log, Random(seed)))
        try:
            found = give_account(files(path))
            json.dumps(as_json(found), allow_nan=False)
            account(found)
        except NightError:
            return seed, ""
        except Exception as error:  # what this looks for
            return seed, f"{type(error).__name__}: {error}"
    return seed, ""


def mutants(count: int) -> None:
    begin_s = time.perf_counter()
    with Pool(2) as pool:
        raised = [one for one in pool.map(mutant, range(count), 50) if one[1]]
    took_s = time.perf_counter() - begin_s
    print(f"{count} damaged logs in {took_s:.0f} s: {len(raised)} raised")
    for seed, text in raised[:10]:
        print(f"  seed {seed}: {text}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mutants", type=int, default=0)
    args = parser.parse_args()
    if args.mutants:
        mutants(args.mutants)
    else:
        cost()
        memory()


if __name__ == "__main__":
    main()
