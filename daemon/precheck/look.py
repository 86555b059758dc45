"""Look at the parts through the monitor's own rules, for a minute: no log, no sound."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.engine import State
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.sampling.sampler import WARMING_UP
from cabinvigil.daemon.sampling.sampler_pool import sampling
from cabinvigil.daemon.sampling.wiring import MakeCodec, Wires
from cabinvigil.daemon.service.status import status
from cabinvigil.daemon.service.ticker import keep_watch
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.drivers.kit.steps import Sample

LOOK_S = 60.0


class _Warm:
    """Takes readings for the watcher, and knows that the parts have had their power.

    Samplers count the warm-up from their own start; these parts have been on since
    the machine is.
    """

    def __init__(self, watcher: Watcher, warm_up_s: dict[str, float], up_s: float):
        self._watcher = watcher
        self._is_warm = {name: up_s >= needs_s for name, needs_s in warm_up_s.items()}

    def on_reading(self, part: str, samples: list[Sample], at_s: float) -> None:
        """Hand on what a part gave, without the doubt of a start that was none."""
        if self._is_warm[part]:
            samples = [
                replace(sample, quality="good", reason="")
                if sample.reason == WARMING_UP
                else sample
                for sample in samples
            ]
        self._watcher.on_reading(part, samples, at_s)

    def on_event(self, event: SourceFault | SourceOk) -> None:
        """Hand on a fault."""
        self._watcher.on_event(event)

    @property
    def faults(self) -> Mapping[str, SourceFault]:
        """What is at fault now, by source."""
        return self._watcher.faults

    def lookup(self, part: str, quantity: str, max_age_s: float) -> float | None:
        """Lend a part's value."""
        return self._watcher.lookup(part, quantity, max_age_s)


async def look(
    settings: Settings,
    wires: Wires,
    clock: Clock,
    make: Callable[[Callable[[SourceFault | SourceOk], None]], MakeCodec],
) -> dict[str, Any]:
    """Sample every part and judge it; return what `status` of a monitor would.

    Args:
        settings: whose parts.
        wires: where they hang.
        clock: of those wires.
        make: makes the codecs, told where the kept spans' faults go.
    """
    watcher = Watcher(compose_settings(settings, wall=clock.wall()), clock, ())
    infos = part_infos(settings.parts)
    warm_up_s = {name: info.warm_up_s for name, info in infos.items()}
    taker = _Warm(watcher, warm_up_s, clock.monotonic() + LOOK_S)
    await keep_watch(
        watcher,
        sampling(settings, taker, clock, wires, make(watcher.on_event)),
        clock,
        settings.watch.tick_s,
        for_s=LOOK_S,
        urgent=asyncio.Event(),
    )
    return status(watcher, settings) | {"alarms": standing(watcher.state)}


def standing(state: State) -> list[dict[str, Any]]:
    """Return what every rule says now, its delays left out: a minute is shorter."""
    found = []
    for spec in state.setup.alarms:
        verdict = spec.judge(spec.params, state.history, state.history.now)
        if verdict is None or verdict.priority is None:
            continue
        if any(_stands(state, cause) for cause in spec.suppressed_by):
            continue
        text = state.setup.render(
            spec.id, verdict.priority, verdict.wording, verdict.facts
        )
        found.append(
            {
                "alarm": spec.id,
                "state": "unacknowledged",
                "priority": verdict.priority.word,
                "text": text,
            }
        )
    return found


def _stands(state: State, alarm: str) -> bool:
    return alarm in state.standings and state.standings[alarm].stands
