"""Draws the house from the code's own imports, into DEVELOPERS.md.

`python -m tests.tools.house` draws it anew; a test holds the page to it.  An arrow
says that something in the one imports something of the other; arrows that follow from
others are left out.
"""

import re
from collections.abc import Iterator, Mapping
from graphlib import TopologicalSorter
from pathlib import Path

import grimp

from cabinvigil.daemon import cli

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
MARKS = re.compile(r"(<!-- drawn: house -->\n).*?(<!-- end -->)", re.DOTALL)
ROOMS = {
    # room: (what stands on its door, the modules of daemon/ that are in it)
    "commands": (
        "one command a file: daemon/commands/, cli.py",
        r"cli|__main__|commands",
    ),
    "phone": ("the other end, a process of its own: daemon/phone/", r"phone"),
    "precheck": ("before bed, the watch: daemon/precheck/", r"precheck"),
    "rehearsal": ("emulated cabin and parts: daemon/rehearsal/", r"rehearsal"),
    "service": ("the running watch: daemon/service/", r"service"),
    "planning": ("before bed, the night: daemon/planning/", r"planning"),
    "replay": ("nights through the rules: daemon/replay/", r"replay"),
    "report": ("the account shown: daemon/report/", r"report"),
    "review": ("the account of a night: daemon/review/", r"review"),
    "log": ("the night's log, both ends: daemon/log/", r"log"),
    "parts": ("which parts answer: daemon/parts/", r"parts"),
    "span": ("in fresh air: daemon/span/", r"span"),
    "sampling": ("wires to samples: daemon/sampling/", r"sampling"),
    "outputs": ("sounder, light, phone: daemon/outputs/", r"outputs"),
    "compose": ("settings to core: daemon/compose/", r"compose"),
    "ask": ("what a person asks: daemon/ask/", r"ask"),
    "settings": ("config to values: daemon/settings/", r"settings"),
    "threads": ("blocking calls off the loop: daemon/threads/", r"threads"),
    "text": ("numbers, moments, charts: daemon/text/", r"text"),
    "rules": ("pure, one rule a file: daemon/rules/", r"rules"),
    "core": ("pure: step(state, event, now): daemon/core/", r"core"),
    "trend": ("pure: rate, filter, projection: daemon/trend/", r"trend"),
    "air": ("pure science: daemon/air/", r"air"),
    "clock": ("the one reader of time: daemon/clock.py", r"clock"),
    "drivers": ("one part a file: drivers/", ""),
    "kit": ("quantities, steps, frames: drivers/kit/", ""),
}
Uses = Mapping[str, set[str]]


def room_of(module: str) -> str | None:
    """Say in which room a module is; None: it is a root that holds nothing."""
    _, root, *rest = module.split(".")
    if root == "drivers":
        return "kit" if rest[:1] == ["kit"] else "drivers"
    if not rest:
        return None
    return next(room for room, (_, own) in ROOMS.items() if re.fullmatch(own, rest[0]))


def uses() -> Uses:
    """Read from the code which room uses which; the commands are loaded by name."""
    graph = grimp.build_graph("cabinvigil.daemon", "cabinvigil.drivers", cache_dir=None)
    found: dict[str, set[str]] = {room: set() for room in ROOMS}
    for module in graph.modules:
        for used in graph.find_modules_directly_imported_by(module):
            here, there = room_of(module), room_of(used)
            if here and there and here != there:
                found[here].add(there)
    loaded = {room_of(f"cabinvigil.daemon.{name}") for name, _ in cli.COMMANDS.values()}
    found["commands"] |= {room for room in loaded if room} - {"commands"}
    return found


def reached(found: Uses) -> Uses:
    """Return all that each room uses, at whatever remove.

    Raises:
        CycleError: rooms use each other in a ring.
    """
    whole: dict[str, set[str]] = {}
    for room in TopologicalSorter(found).static_order():
        whole[room] = found[room].union(*(whole[near] for near in found[room]))
    return whole


def needed(found: Uses) -> Iterator[tuple[str, str]]:
    """Give the arrows that do not follow from others."""
    whole = reached(found)
    for room, used in found.items():
        others = {far for near in used for far in whole[near]}
        yield from ((room, one) for one in ROOMS if one in used - others)


def picture() -> str:
    """Draw it as a Mermaid flowchart, which pages of code show as a picture."""
    lines = ["```mermaid", "flowchart TD"]
    for room, (door, _) in ROOMS.items():
        lines.append(f'    {room}["<b>{room}</b><br>{door}"]')
    lines += [f"    {one} --> {other}" for one, other in needed(uses())]
    return "\n".join([*lines, "```"]) + "\n"


def redrawn(text: str) -> str:
    """Return the page with the picture made anew."""
    return MARKS.sub(lambda mark: mark[1] + picture() + mark[2], text)


if __name__ == "__main__":
    PAGE.write_text(redrawn(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
