"""The matrix of faults, played and printed: `python -m tests.faults [WORD...]`.

Each row is a night with one fault, held to what is owed of every way out; with words,
the rows alone whose name has one of them.  Exit code 1 where a row fails.
"""

import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.faults import judged, rows
from tests.faults.daemon import rows as daemon
from tests.faults.outcome import HEAD, Outcome
from tests.faults.outputs import judged as outputs_judged
from tests.faults.outputs import rows as outputs

Play = Callable[[Path], Outcome]


def all_rows() -> Iterator[tuple[str, str, Play]]:
    """Every row: its table, its name and how it is played."""
    for part in rows.ROWS:
        yield "a part fails", part.name, lambda at, row=part: judged.judge(row, at)
    for way in outputs.ROWS:
        yield (
            "a way out or the machine fails (virtual time)",
            way.name,
            lambda at, row=way: outputs_judged.judge(row, at),
        )
    for real in daemon.ROWS:
        yield (
            "the running daemon, on ptys (real time)",
            real.name,
            lambda at, row=real: daemon.judge(row, at),
        )


def main() -> None:
    words = sys.argv[1:]
    title, played, wrong = "", 0, 0
    print(HEAD)
    for table, name, play in all_rows():
        if words and not any(word in name for word in words):
            continue
        if table != title:
            title = table
            print(f"--- {table}")
        played += 1
        with tempfile.TemporaryDirectory() as folder:
            try:
                print(play(Path(folder)).line(), flush=True)
            except AssertionError as error:
                wrong += 1
                print(f"{name:<30} WRONG {error}", flush=True)
    if not played:
        sys.exit(f"no fault's name has one of the words {', '.join(words)}")
    print(f"{played} faults, {played - wrong} as stated")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
