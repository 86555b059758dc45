"""The real watch in a world in which anything fails at any moment, seeded.

    python -m tests.soak.chaos [SCENARIOS [SEED]] [--only SEED]

`draw` says what happens, `world` makes it happen on a `broker` and all other things
around the watch, `play` runs the watch in the one virtual time of `shared_time`, and
`judge` holds it to its promises from outside.

Each scenario that broke a promise is printed with it; `--only` plays one again, and
prints all that was drawn for it and its log.
"""

import argparse
import asyncio
import sys
import time

from tests.soak.chaos.draw import Scenario, draw
from tests.soak.chaos.judge import Judgement, judge
from tests.soak.chaos.play import Course, play
from tests.soak.thirty_nights import Left

GROWTH = 1.05
"""Of the memory, from the tenth part of the run on: own choice."""


def told(scenario: Scenario) -> str:
    """Say what was drawn."""
    rows = [f"  {scenario.danger or 'no'} danger at {scenario.danger_s:.1f} s"]
    rows += [f"  stop at {at_s:.1f} s" for at_s in scenario.stops]
    rows += [f"  reload at {at_s:.1f} s: {config}" for at_s, config in scenario.reloads]
    rows += [
        f"  {one.from_s:.1f} to {one.to_s:.1f} s: {one.part} {one.fault}"
        for one in scenario.troubles
    ]
    return "\n".join(rows)


def log_of(course: Course) -> str:
    """Say what the log has of faults and alarms."""
    keys = ("source", "kind", "alarm", "to", "state", "text", "reason")
    rows = []
    for line in course.lines:
        if line.event in ("start", "stop", "fault", "alarm"):
            said = [str(line.fields[key])[:110] for key in keys if key in line.fields]
            rows.append(f"  {line.up_s:8.1f} {line.event:6} {' | '.join(said)}")
    return "\n".join(rows)


def one(seed: int, *, is_told: bool = False) -> tuple[Judgement, float]:
    """Play and judge the scenario of a seed; return its judgement and its length."""
    course = play(draw(seed))
    found = judge(course)
    if found.broken or is_told:
        print(f"--only {seed}: {'; '.join(found.broken) or 'holds'}", flush=True)
    if is_told:
        print(told(course.scenario), log_of(course), sep="\n")
    return found, course.scenario.stops[-1]


async def left() -> Left:
    """What is held; on a loop, whose tasks are counted."""
    return Left.now()


def worst(values: list[float]) -> str:
    return f"{max(values):.1f} s of {len(values)}" if values else "none"


def many(count: int, first: int) -> bool:
    """Play so many; print the figures; return whether all held."""
    began_s = time.perf_counter()
    held: list[Left] = []
    every, played_s, broken = Judgement(), 0.0, 0
    for seed in range(first, first + count):
        found, length_s = one(seed)
        broken += bool(found.broken)
        played_s += length_s
        for danger, sound_s in found.sound_s.items():
            every.sound_s[danger] += sound_s
        every.overstay_s += found.overstay_s
        every.stop_s += found.stop_s
        held.append(asyncio.run(left()))
    early, last = held[len(held) // 10], held[-1]
    growth = last.rss_kb / early.rss_kb
    print(
        f"{count} scenarios from seed {first}, {played_s / 3600.0:.1f} h of theirs in "
        f"{time.perf_counter() - began_s:.0f} s: {broken} broken\n"
        f"worst to the sound: carbon monoxide {worst(every.sound_s['co'])}, oxygen "
        f"{worst(every.sound_s['o2'])}\n"
        f"worst overstay of a fault: {worst(every.overstay_s)}; worst stop: "
        f"{worst(every.stop_s)}\n"
        f"memory {early.rss_kb} kB, then {last.rss_kb} kB ({growth:.3f}); threads "
        f"{early.threads}, then {last.threads}; files {early.files}, then {last.files}"
    )
    is_flat = growth <= GROWTH and last.threads <= early.threads
    return not broken and is_flat and last.files <= early.files


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.soak.chaos")
    parser.add_argument("scenarios", nargs="?", type=int, default=300)
    parser.add_argument("seed", nargs="?", type=int, default=1)
    parser.add_argument("--only", type=int, metavar="SEED")
    args = parser.parse_args()
    if args.only is not None:
        sys.exit(bool(one(args.only, is_told=True)[0].broken))
    sys.exit(not many(args.scenarios, args.seed))


if __name__ == "__main__":
    main()
