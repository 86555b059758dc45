"""One night, rehearsed: the daemon's own watch on emulated wires, in virtual time."""

import asyncio
import tempfile
from collections import deque
from collections.abc import Callable, Coroutine, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, Protocol

from cabinvigil.daemon.clock import Clock, TimeSource, VirtualClock
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.model import Record
from cabinvigil.daemon.core.setup import Render
from cabinvigil.daemon.log.moments import played_in
from cabinvigil.daemon.outputs.base import Output
from cabinvigil.daemon.rehearsal.cabin import EmulatedCabin, Truth
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated_wires import EmulatedWires
from cabinvigil.daemon.rehearsal.nights import Failure, NamedNight, NightAct
from cabinvigil.daemon.sampling.sampler_pool import sampling
from cabinvigil.daemon.sampling.wiring import MakeCodec, from_config
from cabinvigil.daemon.service.status import start_fields
from cabinvigil.daemon.service.ticker import keep_watch
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.text.errors import CabinvigilError

START_WALL = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)
"""22:00 where the trailer stands, in January: our own scenario."""
TRUTH_EVERY_S = 60.0


def start_in(zone: tzinfo) -> datetime:
    """Return 22:00 of that evening where a cabin stands."""
    return datetime(2026, 1, 16, 22, 0, tzinfo=zone).astimezone(UTC)


class AirSource(Protocol):
    """What the parts hang in: an emulated cabin, or recorded air."""

    def advance(self, to_s: float) -> None:
        """Live on until `to_s`."""
        ...

    def air_now(self) -> AirNow:
        """Return the air that the parts see."""
        ...

    def truth(self) -> Truth | None:
        """Return what is so, or None where nobody knows."""
        ...


@dataclass(frozen=True)
class Rehearsal:
    """What is to be played."""

    settings: Settings
    render: Render
    cabin: AirSource
    hours: float
    failures: tuple[Failure, ...] = ()
    seed: int = 1
    acts: tuple[NightAct, ...] = ()
    make: MakeCodec = from_config
    """Makes the codecs; `spanned` puts in what a span of these parts found."""


MakeClock = Callable[[TimeSource], Clock]
MakeOutputs = Callable[[Clock, Callable[[Any], None]], Sequence[Output]]
"""Makes the outputs from the clock and from where faults go."""


async def play(
    rehearsal: Rehearsal,
    make_outputs: MakeOutputs,
    on_truth: Callable[[Truth], None] = lambda _truth: None,
    *,
    make_clock: MakeClock | None = None,
    beside: Callable[[Watcher], Coroutine[Any, Any, None]] | None = None,
) -> Watcher:
    """Play a night on the running loop; returns the watcher as it ended.

    Args:
        rehearsal: what is to be played.
        make_outputs: makes what hears the monitor.
        on_truth: told once a minute what is so in the cabin.
        make_clock: makes the monitor's clock from the loop, whose seconds count;
            None is an evening's where the cabin stands.
        beside: runs beside the night, and is cancelled with its end.
    """
    loop = asyncio.get_running_loop()
    begins = start_in(played_in(rehearsal.settings.cabin.zone))
    clock = VirtualClock(loop, begins) if make_clock is None else make_clock(loop)
    origin_s = loop.time()

    def now() -> float:
        return loop.time() - origin_s

    def air() -> AirNow:
        rehearsal.cabin.advance(now())
        return rehearsal.cabin.air_now()

    settings = rehearsal.settings
    with tempfile.TemporaryDirectory(prefix="cabinvigil-") as folder:
        stage = EmulatedWires(
            Path(folder),
            air,
            now,
            lambda at_s, call, *values: loop.call_at(origin_s + at_s, call, *values),
            rehearsal.seed,
            rehearsal.failures,
            is_evening=True,
        )
        stage.attach(settings.parts)
        urgent = asyncio.Event()
        reports: list[Any] = []
        outputs = make_outputs(clock, reports.append)
        watcher = Watcher(
            compose_settings(settings, rehearsal.render),
            clock,
            outputs,
            on_urgent=urgent.set,
        )
        _begin(watcher, settings, outputs)
        told_s = 0.0
        acts = deque(rehearsal.acts)

        def after_tick() -> None:
            nonlocal told_s
            while reports:
                watcher.on_event(reports.pop(0))
            while acts and now() >= acts[0].at_s:
                watcher.on_event(acts.popleft().act)
            if now() >= told_s:
                told_s += TRUTH_EVERY_S
                rehearsal.cabin.advance(now())
                truth = rehearsal.cabin.truth()
                if truth is not None:
                    on_truth(truth)

        async def whole_night() -> None:
            await keep_watch(
                watcher,
                sampling(settings, watcher, clock, stage.wires(), rehearsal.make),
                clock,
                settings.watch.tick_s,
                for_s=rehearsal.hours * 3600.0,
                urgent=urgent,
                after_tick=after_tick,
            )

        reason = "interrupted"
        try:
            if beside is None:
                await whole_night()
            else:
                await _with(beside(watcher), whole_night())
            reason = "end of night"
        finally:
            with suppress(OSError):
                stage.close()
            # One that is cut short says so too: phones would be told that it died.
            watcher.hand_out([Record("stop", {"reason": reason})], watcher.up_s())
            for output in outputs:
                output.stop(5.0)
        return watcher


async def _with(
    beside: Coroutine[Any, Any, None], night: Coroutine[Any, Any, None]
) -> None:
    """Run the one beside the other, and no longer; raise what goes wrong plainly."""
    try:
        async with asyncio.TaskGroup() as group:
            task = group.create_task(beside)
            await night
            task.cancel()
    except* CabinvigilError as errors:
        raise errors.exceptions[0] from None


def _begin(watcher: Watcher, settings: Settings, outputs: Sequence[Output]) -> None:
    for output in outputs:
        output.start()
    record = Record("start", start_fields(settings, emulated=True), urgent=True)
    watcher.hand_out([record], watcher.up_s())


def emulated_night(
    settings: Settings,
    render: Render,
    night: NamedNight,
    hours: float | None,
    seed: int,
    make: MakeCodec = from_config,
) -> Rehearsal:
    """Make a named night ready to be played; arguments as of `Rehearsal`."""
    return Rehearsal(
        settings,
        render,
        EmulatedCabin(settings.cabin, night),
        night.hours if hours is None else hours,
        night.failures,
        seed,
        night.acts,
        make,
    )
