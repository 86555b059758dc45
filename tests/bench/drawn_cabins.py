"""Hundreds of drawn cabins, rehearsed: a fault, a gap or a silence in which of them?

Run: `python -m tests.bench.drawn_cabins [FIRST] [LAST]`, some five seconds each.
"""

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from cabinvigil.daemon.commands import precheck
from cabinvigil.daemon.commands.emulated_spans import emulated_spans
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.settings.config import load
from tests.commands.calling import call
from tests.rehearsal.drawn_cabins import crossing_h, drawn, rehearsed


def wrong(seed: int, folder: Path) -> Iterator[str]:
    """Say all that is wrong with one drawn cabin; nothing where all is well."""
    file = folder / f"drawn-{seed}.toml"
    file.write_text(drawn(seed))
    settings = load(file)
    spans = emulated_spans(settings, seed)
    yield from spans.refused
    quiet = rehearsed(settings, spans, "quiet", 1.0, seed)
    yield from (f"quiet: {fault}" for fault in quiet.faults)
    yield from (f"quiet: no {key}" for key in quiet.missing)
    hours = crossing_h(settings, 19.5)
    shut = rehearsed(settings, spans, "shut", min(hours + 0.1, 6.0), seed)
    grave = [one.alarm for _, one in shut.rings if one.priority >= Priority.MEDIUM]
    if not any(alarm.startswith("o2-") for alarm in grave):
        yield f"shut: {hours:.1f} h to 19.5 %, and no oxygen alarm"
    _, out, _ = call(precheck, "--emulated", "--config", file)
    verdict = out.splitlines()[-1]
    if not verdict.startswith("NOT FULLY CHECKED: sounder, phone, log."):
        yield verdict


def main() -> None:
    """Try them."""
    first, last = (int(word) for word in [*sys.argv[1:], "1", "200"][:2])
    bad = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, last + 1):
            found = list(wrong(seed, Path(folder)))
            bad += bool(found)
            for line in found:
                print(f"{seed}  {line}", flush=True)
    print(f"{last - first + 1} drawn cabins, {bad} with something wrong")


if __name__ == "__main__":
    main()
