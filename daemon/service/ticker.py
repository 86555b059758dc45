"""The ticker: assesses the air again and again, and shows where it was held up."""

import asyncio
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.service.watcher import Watcher

LATE_S = 2.0
"""A tick later than this is told: the loop was held up."""
TURN_S = 0.1
"""Where steps take longer than a tick, the loop has so long between two of them for all
else: parts, button, signals, asks (our choice: an answer on the ask socket takes some
ten turns of the loop)."""


async def tick(
    watcher: Watcher,
    clock: Clock,
    tick_s: float,
    urgent: asyncio.Event,
    after_tick: Callable[[], None],
    *,
    first_in_s: float | None = None,
) -> None:
    """Assess the air every `tick_s`, and at once where a limit is crossed, for ever.

    However long a step takes, the loop gets its turn before the next.

    Args:
        watcher: holds the core.
        clock: the loop's own.
        tick_s: how often.
        urgent: set by the watcher when a limit is crossed between ticks.
        after_tick: called after each completed step (feeds the watchdog).
        first_in_s: when the first tick is due; None: after `tick_s`.
    """
    due_s = clock.monotonic() + (tick_s if first_in_s is None else first_in_s)
    told = ""
    while True:
        wait_s = due_s - clock.monotonic()
        if wait_s <= 0.0:
            await asyncio.sleep(TURN_S)
        else:
            try:
                async with asyncio.timeout(wait_s):
                    await urgent.wait()
            except TimeoutError:
                pass
        urgent.clear()
        now_s = clock.monotonic()
        late_s = now_s - due_s
        if late_s > LATE_S and told != "held-up":
            told = "held-up"
            text = f"the monitor was delayed for {late_s:.0f} s; check the Pi's load"
            watcher.on_event(SourceFault("loop", "late", text))
        watcher.tick()
        after_tick()
        took_s = clock.monotonic() - now_s
        if took_s > tick_s:
            if told != "slow":
                told = "slow"
                text = (
                    f"evaluating the air takes longer than a tick of {tick_s:g} s; "
                    "check the Pi's load, or give [watch] a longer tick_s"
                )
                watcher.on_event(SourceFault("loop", "late", text))
        elif told and late_s <= LATE_S:
            told = ""
            watcher.on_event(SourceOk("loop"))
        if now_s >= due_s:
            due_s = max(due_s + tick_s, now_s + took_s)


async def keep_watch(
    watcher: Watcher,
    samplers: AbstractAsyncContextManager[object],
    clock: Clock,
    tick_s: float,
    *,
    for_s: float,
    urgent: asyncio.Event,
    after_tick: Callable[[], None] = lambda: None,
) -> None:
    """Watch for so long.

    Args:
        watcher: holds the core.
        samplers: give it readings while the context is entered (`sampling`).
        clock: the loop's own.
        tick_s: how often the air is assessed.
        for_s: how long.
        urgent: set by the watcher when a limit is crossed between ticks.
        after_tick: called after each completed step.
    """
    async with asyncio.TaskGroup() as group, samplers:
        ticking = tick(watcher, clock, tick_s, urgent, after_tick)
        ticker = group.create_task(ticking, name="ticker")
        await asyncio.sleep(for_s)
        ticker.cancel()
