"""Play the named nights on this Python, and hold another to them, to the last digit.

    python -m tests.tools.two_pythons PYTHON [NIGHT...]

PYTHON is another interpreter with the package installed, such as the one in an
environment of `tests/all.sh`.  Here each night is played, and its log kept; both then
replay the logs, and work out the same figures: each night's account, the plan, and what
the trend tells of nights of every kind.  Whatever differs is printed, and the exit code
is 1.

Both interpreters must be of one machine: another machine's exponential may end in
another digit.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from itertools import zip_longest
from pathlib import Path
from typing import Any

from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.rehearsal.nights import NIGHTS
from cabinvigil.daemon.replay.json_lines import spell
from cabinvigil.daemon.replay.replay import replay_log
from cabinvigil.daemon.settings.words import renderer
from tests.nights.played import HOURS, play_night
from tests.tools import told_nights
from tests.tools.printed import called

ROOT = Path(__file__).parents[2]
MOST_SHOWN = 5


def transitions(log: Path) -> list[dict[str, Any]]:
    """Replay a log, and return its transitions."""
    return [
        line
        for time_s, commands in replay_log(Logbook(log), None, renderer("en"), log)
        for command in commands
        if (line := spell(command, time_s, estimates=False)) is not None
    ]


def worked_out(folder: Path) -> dict[str, Any]:
    """Work out everything that is compared: of the logs beneath, and the figures."""
    found: dict[str, Any] = {}
    for night in sorted(path for path in folder.iterdir() if path.is_dir()):
        (log,) = night.glob("*.jsonl*")
        found[f"alarms of {night.name}"] = transitions(log)
        found[f"account of {night.name}"] = json.loads(
            called(f"morning {night} --json")
        )
    found["plan"] = json.loads(called("plan --json"))
    for name in told_nights.NIGHTS:
        found[f"trend of {name}"] = told_nights.told(name)
    return found


def differences(ours: Any, theirs: Any, place: str = "") -> Iterator[str]:
    """Yield each place where two figures, lists or tables are not the same."""
    if isinstance(ours, Mapping) and isinstance(theirs, Mapping):
        for key in {**ours, **theirs}:
            yield from differences(
                ours.get(key, "nothing"), theirs.get(key, "nothing"), f"{place}/{key}"
            )
    elif isinstance(ours, list) and isinstance(theirs, list):
        for number, (one, other) in enumerate(
            zip_longest(ours, theirs, fillvalue="nothing")
        ):
            yield from differences(one, other, f"{place}/{number}")
    elif ours != theirs:
        yield f"{place}: here {ours!r}, there {theirs!r}"


def there(python: str, folder: Path) -> tuple[str, dict[str, Any]]:
    """Have the other interpreter work it out; return its version and what it found."""
    call = [python, "-m", "tests.tools.two_pythons", "--of", str(folder)]
    ended = subprocess.run(call, cwd=ROOT, check=True, stdout=subprocess.PIPE)
    told = json.loads(ended.stdout)
    return told["python"], told["found"]


def compare(python: str, names: list[str], folder: Path) -> bool:
    """Play, replay on both, and print what differs; return whether nothing does."""
    played = {}
    for name in names:
        night = play_night(name, folder / name, hours=HOURS[name])
        played[f"alarms of {name}"] = night.alarms
        print(f"{name}: {len(night.alarms)} transitions", flush=True)
    # By way of JSON, as the other's come.
    ours = json.loads(json.dumps(worked_out(folder)))
    version, theirs = there(python, folder)
    told = [
        *differences(json.loads(json.dumps(played)), {k: ours[k] for k in played}),
        *differences(ours, theirs),
    ]
    for line in told[:MOST_SHOWN]:
        print(line)
    count = sum(map(len, played.values()))
    print(
        f"{sys.version.split()[0]} and {version}: {len(names)} nights, {count} "
        f"transitions, {len(list(figures(ours)))} figures; {len(told)} differ"
    )
    return not told


def figures(found: Any) -> Iterator[float]:
    """Yield each number of what was found."""
    if isinstance(found, Mapping):
        found = list(found.values())
    if isinstance(found, list):
        for one in found:
            yield from figures(one)
    elif isinstance(found, float):
        yield found


def main() -> int:
    """Compare two interpreters, or be the other one."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", 1)[0])
    parser.add_argument("python", nargs="?", help="the other interpreter")
    parser.add_argument(
        "nights", nargs="*", metavar="night", help="by default all eight"
    )
    parser.add_argument("--of", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.of is not None:
        told = {"python": sys.version.split()[0], "found": worked_out(args.of)}
        json.dump(told, sys.stdout)
        return 0
    if args.python is None:
        parser.error("name the other interpreter, such as .venv-tests/3.13/bin/python")
    if unknown := set(args.nights) - set(NIGHTS):
        parser.error(f"no night {min(unknown)}: one of {', '.join(NIGHTS)}")
    with tempfile.TemporaryDirectory() as folder:
        return (
            0 if compare(args.python, args.nights or list(NIGHTS), Path(folder)) else 1
        )


if __name__ == "__main__":
    sys.exit(main())
