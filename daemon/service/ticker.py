"""The ticker: assesses the air again and again, and tells where it was held up."""

import asyncio
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.service.watcher import Watcher

LATE_S = 2.0
"""A tick later than this is told: the loop was held up."""


async def tick(
    watcher: Watcher,
    clock: Clock,
    tick_s: float,
    urgent: asyncio.Event,
    after_tick: Callable[[], None],
) -> None:
    """Assess the air every `tick_s`, and at once where a limit is crossed, for ever.

    Args:
        watcher: holds the core.
        clock: the loop's own.
        tick_s: how often.
        urgent: set by the watcher when a limit is crossed between ticks.
        after_tick: called after each completed step (feeds the watchdog).
    """
    due_s = clock.monotonic() + tick_s
    is_late = False
    while True:
        wait_s = due_s - clock.monotonic()
        if wait_s > 0.0:
            try:
                async with asyncio.timeout(wait_s):
                    await urgent.wait()
            except TimeoutError:
                pass
        urgent.clear()
        now_s = clock.monotonic()
        late_s = now_s - due_s
        if late_s > LATE_S:
            is_late = True
            text = f"the watch was held up for {late_s:.0f} s; look at the Pi's load"
            watcher.on_event(SourceFault("loop", "late", text))
        elif is_late:
            is_late = False
            watcher.on_event(SourceOk("loop"))
        watcher.tick()
        after_tick()
        if now_s >= due_s:
            due_s = max(due_s + tick_s, now_s)


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
