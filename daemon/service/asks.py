"""What is asked from outside, taken to the watcher, and what became of it.

The core bounds what every act may do; here is what needs a clock or the config.
"""

import asyncio
from collections.abc import Callable, Mapping
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

from cabinvigil.daemon.ask.limits import MarkLimit
from cabinvigil.daemon.ask.outcome import NOTHING, outcome
from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.ask.socket import AskError, AskSocket, Reply
from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink
from cabinvigil.daemon.service.status import status
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.values import AskSettings
from cabinvigil.daemon.text.time_zones import zone_or_system
from cabinvigil.daemon.threads.worker import OverdueError, Worker

DAY_BEGINS_H, DAY_ENDS_H = 8, 20
"""When a phone may sound the test, which wakes whoever sleeps (our choice)."""
SOCKET_RETRY_S = 30.0
SOCKET_S = 5.0
"""For the socket to be made: a folder in memory takes a thousandth (our choice)."""
FLOODED = (
    "The ask socket is flooded: more than one request a second is ignored; find the "
    "program that asks."
)


async def serve_asks(
    ask: AskSettings,
    clock: Clock,
    tell: FaultSink,
    on_ask: Callable[[Ask, Reply], None],
    on_refused: Callable[[str], None],
) -> None:
    """Answer on the local socket; without it the monitor goes on, and says so.

    Args:
        ask: where the socket is, and whose.
        clock: for the limits.
        tell: takes faults, on the loop.
        on_ask: answers, on the loop.
        on_refused: told a sentence for what is refused.
    """
    health = FaultLatch("ask", tell)
    worker = Worker("ask-socket")
    path = Path(ask.socket)

    def on_flood(is_flooded: bool) -> None:
        health.fault("babbling", FLOODED) if is_flooded else health.ok()

    while True:
        server = AskSocket(
            path,
            ask.group,
            clock,
            on_ask=on_ask,
            on_refused=on_refused,
            on_flood=on_flood,
            off_loop=lambda work: worker.call(work, SOCKET_S),
        )
        try:
            await server.serve(health.ok)
        except AskError as error:
            health.fault("not-writable", str(error), str(error))
        except OverdueError:
            text = (
                f"The folder of the socket {path} does not respond: nobody can connect"
            )
            health.fault("blocked", f"{text}, by `show` or `mark`; restart the Pi.")
        await asyncio.sleep(SOCKET_RETRY_S)


def answer_to(
    ask: Ask,
    watcher: Watcher,
    settings: Settings,
    wall: datetime,
    zone: tzinfo | None = None,
    *,
    marks: MarkLimit,
) -> Mapping[str, Any]:
    """Do what is asked; return the answer's keys.

    Args:
        ask: well formed.
        watcher: of the cabin.
        settings: as they are now.
        wall: now.
        zone: of the cabin's hours; None is that of the config, or the machine's own.
        marks: how often phones may mark.
    """
    if ask.act is None:
        return {"ok": True, **status(watcher, settings)}
    zone = zone or zone_or_system(settings.cabin.zone)
    why = _why_no_test(ask.act, settings, wall, zone)
    if ask.act.kind is ActKind.MARK and ask.act.is_outside:
        why = marks.why_not(watcher.up_s())
        if not why:
            marks.count(watcher.up_s())
    if why:
        return {"ok": False, "changed": 0, "text": NOTHING + why}
    before = watcher.state
    watcher.on_event(ask.act)
    return outcome(before, watcher.state, ask.act).body()


def _why_no_test(
    act: Act, settings: Settings, wall: datetime, zone: tzinfo | None
) -> str:
    """Return why the sounder is not tested; '' where nothing is against it."""
    if act.kind is not ActKind.TEST:
        return ""
    if settings.buzzer is None:
        return "there is no [buzzer], so nothing sounds."
    if not act.is_outside or (settings.mqtt and settings.mqtt.test_at_night):
        return ""
    hours = f"{DAY_BEGINS_H:02}:00 to {DAY_ENDS_H:02}:00"
    if wall < EARLIEST:
        return (
            f"a phone may test the sounder from {hours} alone, and the cabin's clock "
            f"is not set."
        )
    local = wall.astimezone(zone)
    if DAY_BEGINS_H <= local.hour < DAY_ENDS_H:
        return ""
    return (
        f"a phone may test the sounder from {hours} alone, and it is {local:%H:%M} in "
        f"the cabin (test_at_night in [mqtt] allows more)."
    )
