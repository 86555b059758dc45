"""Draws the tables of the start and of the stop into DEVELOPERS.md.

`python -m tests.tools.startstop` draws them anew; a test holds the page to them.  The
stop is drawn from the code.  The start's steps are below, and a test compares them with
the threads and tasks that a real start begins, in their order.
"""

import re
from pathlib import Path

from cabinvigil.daemon.service.recall import RECALL_S
from cabinvigil.daemon.service.stopping import EXIT_S, STAGES, UNIT_S

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
MARKS = re.compile(r"(<!-- drawn: startstop -->\n).*?(<!-- end -->)", re.DOTALL)
RECALL = (
    f"after {RECALL_S:g} s a fault, and the start goes on; a state that comes later is "
    "used, calibrations by the next start; nothing is saved over what is not read yet"
)
KEPT = (
    "the state of the last run and the parts' calibrations, read aside; then the log's "
    "`start`, and what was active before sounds"
)
SOUNDER = (
    "the sounder can sound: only its table of the config is read by then, and nothing "
    "more is loaded"
)
STARTS = (
    # threads and tasks begun, in this order; what is up then; whoever does not answer
    (
        ("buzzer",),
        SOUNDER,
        "its thread waits alone; after 1 s the start goes on, without READY",
    ),
    (("signals",), "a stop is received; before this it ends the process at once", "-"),
    (
        ("light", "log", "mqtt", "button"),
        "light, log, phone and button, each with a thread of its own",
        "its thread waits alone; a fault",
    ),
    (
        ("recall",),
        KEPT,
        RECALL,
    ),
    (("state",), "the state is saved from now on", "its thread waits alone; a fault"),
    (
        ("ask-socket", "host", "watchdog", "ready", "reload"),
        "callers, the Pi's own sensors, systemd's watchdog, SIGHUP",
        "5 s for the socket, 5 s for the sensors, 20 s for a config; a fault each",
    ),
    (("part-*",), "the parts", "each call has a deadline; a fault"),
    (
        ("ticker",),
        "the first tick is scheduled: READY, once the sounder's thread has run once",
        "the watchdog's clock begins here, and again at a reload",
    ),
)


def tables() -> str:
    """Draw both."""
    lines = ["| start | what is up | what does not respond |", "| --- | --- | --- |"]
    for names, what, late in STARTS:
        lines.append(f"| {', '.join(f'`{one}`' for one in names)} | {what} | {late} |")
    lines += [
        "",
        "| stop | what is asked to end | ends at the latest |",
        "| --- | --- | --- |",
    ]
    for stage in STAGES:
        names = ", ".join(f"`{one}`" for one in stage.ends)
        lines.append(f"| {names} | {stage.what} | {stage.by_s:g} s |")
    lines.append(
        f"| the process | whatever still hangs is left behind | {EXIT_S:g} s; systemd "
        f"kills at {UNIT_S:g} s |"
    )
    return "\n".join(lines) + "\n"


def redrawn(text: str) -> str:
    """Return the page with the tables made again."""
    return MARKS.sub(lambda mark: mark[1] + tables() + mark[2], text)


if __name__ == "__main__":
    PAGE.write_text(redrawn(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
