"""Nights cut into files anywhere: the replay of each is what that file says.

    python -m tests.soak.cut_nights [500] [SEED]

Each is a night of its own, of one to four hours at ticks of half a second to a minute,
cut at up to six moments, some beside each other; half of them begin with what a run
before left.  Every file is replayed alone, and its text damaged once.
"""

import os
import sys
import tempfile
from contextlib import suppress
from pathlib import Path
from random import Random

from cabinvigil.daemon.commands.replay import decide
from cabinvigil.daemon.core.model import Transition
from cabinvigil.daemon.core.snapshot import to_plain
from cabinvigil.daemon.text.errors import CabinvigilError
from tests.replay.cutting import Said, any_night, in_file, played, said
from tests.review.logs import mutated


def replayed(path: Path) -> list[Said]:
    """What the replay of a file says rang."""
    return [
        said(time_s, command.spelled())
        for time_s, commands in decide(path, None)
        for command in commands
        if isinstance(command, Transition)
    ]


def look(seed: int, folder: Path) -> tuple[int, int]:
    """Cut one night; return how many files it has, and how many alarms moved."""
    random = Random(seed)
    tick_s = random.choice((0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0))
    hours = random.uniform(1.0, 4.0) * min(1.0, tick_s / 5.0)
    steps = any_night(random, hours, tick_s)
    begin = random.randrange(len(steps))
    near = [at for at, _ in steps[begin : begin + 2]]
    cuts = sorted({*near, *(at for at, _ in random.sample(steps, 4))})
    kept = None
    if random.random() < 0.5:
        kept = kept_of(folder / "before", Random(seed + 1))
    files = played(folder / "cut", steps, cuts, kept=kept)
    moved = 0
    for path in files:
        told = in_file(path)
        assert replayed(path) == told, (seed, path.name)
        moved += len(told)
    harmed = folder / "harmed.jsonl.gz"
    harmed.write_bytes(mutated(random.choice(files).read_bytes(), random))
    with suppress(CabinvigilError):
        replayed(harmed)
    return len(files), moved


def kept_of(folder: Path, random: Random) -> dict[str, object]:
    """What a night leaves for the next."""
    found: list[dict[str, object]] = []
    played(
        folder,
        any_night(random, 0.5),
        at_end=lambda watcher: found.append(to_plain(watcher.state)),
    )
    return found[0]


def main(words: list[str]) -> None:
    """Run them; the first that differs ends it."""
    count = int(words[0]) if words else 500
    seed = int(words[1]) if len(words) > 1 else 1
    os.fsync = lambda fd: None  # type: ignore[assignment]
    files = moved = 0
    for n in range(seed, seed + count):
        with tempfile.TemporaryDirectory() as folder:
            of_night = look(n, Path(folder))
        files, moved = files + of_night[0], moved + of_night[1]
    print(f"{count} nights, {files} files, {moved} moves of alarms: all the same")


if __name__ == "__main__":
    main(sys.argv[1:])
