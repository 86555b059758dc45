"""The running watch: one task a part, one ticker, nothing that can end another."""

import asyncio
from collections.abc import Callable, Sequence

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.sampling.sampler import Sampler
from cabinvigil.daemon.service.watcher import Watcher

START_AGAIN_S = 10.0
"""A sampler that stumbled over a bug of its own is started again after this."""
LATE_S = 2.0
"""A tick later than this is told: the loop was held up."""


async def sample(sampler: Sampler, watcher: Watcher) -> None:
    """Run a part's sampler for ever; its own bug is that part's fault, not the end."""
    while True:
        try:
            await sampler.run()
        except Exception as bug:
            text = (
                f"{sampler.name}: its driver stumbled ({type(bug).__name__}: "
                f"{str(bug)[:80]}); it is started again"
            )
            watcher.on_event(SourceFault(sampler.name, "blocked", text))
        await asyncio.sleep(START_AGAIN_S)


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
    samplers: Sequence[Sampler],
    clock: Clock,
    tick_s: float,
    *,
    urgent: asyncio.Event,
    until: asyncio.Event,
    after_tick: Callable[[], None] = lambda: None,
) -> None:
    """Watch until told to stop.

    Args:
        watcher: holds the core.
        samplers: one a part.
        clock: the loop's own.
        tick_s: how often the air is assessed.
        urgent: set by the watcher when a limit is crossed between ticks.
        until: ends the watch.
        after_tick: called after each completed step (feeds the watchdog).
    """
    async with asyncio.TaskGroup() as group:
        tasks = [
            group.create_task(sample(sampler, watcher), name=f"part-{sampler.name}")
            for sampler in samplers
        ]
        tasks.append(
            group.create_task(
                tick(watcher, clock, tick_s, urgent, after_tick), name="ticker"
            )
        )
        await until.wait()
        for task in tasks:
            task.cancel()
