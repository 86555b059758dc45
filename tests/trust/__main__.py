"""How far the air goes before a wrong part is found out, with and without the tests.

    python -m tests.trust [WORD...]

Each way of `ways` is played with real drivers, span, precheck and rules on emulated
wires in virtual time: a healthy span three weeks before, the evening's fresh air,
breath and test gas, and a night in which oxygen sinks by 1.9 % an hour, or carbon
monoxide climbs by 2 ppm a minute.  The columns say the true gas at the first word and
at the first sound that wakes people; `evening`: it was found before bed.
"""

import sys

from tests.trust.play import GASES, Row, rows

HEAD = f"{'way':<36}{'alone, no test':>18}{'alone, tested':>18}{'beside one more':>18}"


def told(row: Row) -> str:
    """Say one row."""
    cells = [f"{word} / {wake}" for word, wake in row.cells]
    line = f"{row.way.name:<36}" + "".join(f"{one:>18}" for one in cells)
    if row.is_beyond:
        line += f"  beyond: {row.way.why or 'NOTHING SAYS WHY'}"
    return line


def main(words: list[str]) -> int:
    """Play what is asked for, or all; return 1 where a row is beyond without a why."""
    found = []
    for gas, title in GASES.items():
        print(f"\n{title}\n{HEAD}")
        for row in rows(gas, words):
            print(told(row), flush=True)
            found.append(row)
    beyond = [row for row in found if row.is_beyond]
    unsaid = [row for row in beyond if not row.way.why]
    print(
        f"\n{len(found)} ways, {len(beyond)} beyond their limit, {len(unsaid)} unsaid"
    )
    return int(bool(unsaid))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
