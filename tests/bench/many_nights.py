"""Two thousand nights in a folder: what morning, compare and replay cost there.

    python -m tests.bench.many_nights [2000] [PYTHONPATH-OF-ANOTHER]

Most nights are of an hour, the last thirty of nine, at a reading each two seconds.
Each command is a process of its own.  With the path of another version beside this
one's, both are measured in one run, by turns, and the ratio is printed.
"""

import gzip
import json
import os
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

from tests.review import logs

TRIED = '[alarm.co2-level]\nsteps = [{ at = 1500.0, priority = "low" }]\n'
LAST = 30
BATCH = 256


def lines_of(
    hours: float, every_s: float, seed: int
) -> list[tuple[float, dict[str, float]]]:
    """Air that moves, as parts give it."""
    random = Random(seed)
    rows = []
    co2_ppm = 600.0
    for n in range(round(hours * 3600.0 / every_s)):
        co2_ppm += (1500.0 - co2_ppm) * every_s / 3600.0
        rows.append(
            (
                n * every_s,
                {
                    "o2_pct": round(20.6 + random.gauss(0.0, 0.01), 3),
                    "co_ppm": round(1.0 + random.gauss(0.0, 0.2), 2),
                    "co2_ppm": round(co2_ppm + random.gauss(0.0, 4.0), 1),
                    "temp_c": round(15.0 + random.gauss(0.0, 0.02), 2),
                    "rh_pct": round(60.0 + random.gauss(0.0, 0.1), 2),
                },
            )
        )
    return rows


def written(
    path: Path, number: int, rows: list[tuple[float, dict[str, float]]], start: datetime
) -> None:
    """Write one night as the log does: batch by batch, each a gzip member."""
    head = json.loads(logs.begin(start))
    data = gzip.compress(
        json.dumps({**head, "file_no": number}).encode() + b"\n", 6, mtime=0
    )
    whole = logs.air(rows, start).splitlines(keepends=True)
    whole.append(
        logs.line("stop", rows[-1][0] + 1.0, start, reason="stopped on request")
    )
    for at in range(0, len(whole), BATCH):
        data += gzip.compress(b"".join(whole[at : at + BATCH]), 6, mtime=0)
    path.write_bytes(data)


def filled(folder: Path, count: int) -> None:
    """Write the folder."""
    first = datetime.fromisoformat("2020-01-16T21:00:00+00:00")
    short, long = lines_of(1.0, 30.0, 1), lines_of(9.0, 2.0, 2)
    for n in range(count):
        start = first + timedelta(days=n)
        name = f"night-{start.date()}.jsonl.gz"
        written(folder / name, n + 1, long if n >= count - LAST else short, start)


def call(path: str, *words: object) -> tuple[float, float, int]:
    """Call a command; return seconds of processor, the most memory in MB, lines."""
    script = (
        "import resource, sys; from cabinvigil.daemon.cli import main; "
        "code = main(sys.argv[1:]); "
        "use = resource.getrusage(resource.RUSAGE_SELF); "
        "print(use.ru_utime + use.ru_stime, use.ru_maxrss, file=sys.stderr)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script, *map(str, words)],
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        check=True,
    )
    used_s, most_kb = map(float, ran.stderr.split()[-2:])
    return used_s, most_kb / 1024.0, ran.stdout.count("\n")


def main(words: list[str]) -> None:
    """Fill a folder and measure."""
    count = int(words[0]) if words else 2000
    paths = [os.environ.get("PYTHONPATH", ""), *words[1:2]]
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "nights"
        folder.mkdir()
        began_s = time.perf_counter()
        filled(folder, count)
        nights = sorted(folder.iterdir())
        print(f"{count} nights written in {time.perf_counter() - began_s:.0f} s")
        limits = Path(made) / "limits.toml"
        limits.write_text(TRIED, encoding="utf-8")
        dates = [path.name[6:16] for path in nights]
        calls: dict[str, tuple[object, ...]] = {
            "morning of the last": ("morning", folder),
            "compare of ten": ("compare", *dates[-10:], "--log", folder),
            "compare of thirty": ("compare", *nights[-30:]),
            "replay --limits of one": ("replay", nights[-1], "--limits", limits),
            "replay --limits of thirty": ("replay", *nights[-30:], "--limits", limits),
        }
        for name, wanted in calls.items():
            used = [call(path, *wanted) for path in paths]
            told = " before: ".join(
                f"{s:7.2f} s {mb:4.0f} MB {n:4d} lines" for s, mb, n in used
            )
            ratio = f"  ratio {used[1][0] / used[0][0]:.1f}" if len(used) > 1 else ""
            print(f"{name:<26} {told}{ratio}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
