"""Look at the parts for a while, as `span`, `precheck` and `parts --scan` do."""

import asyncio
import tempfile
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Literal, TypeVar

from cabinvigil.daemon.clock import Clock, SystemClock, VirtualClock
from cabinvigil.daemon.commands.base import USUAL_CONFIG
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated_wires import EmulatedWires
from cabinvigil.daemon.rehearsal.faults import FaultSpan
from cabinvigil.daemon.rehearsal.play import START_WALL
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.service.contact_wires import machine_wires
from cabinvigil.daemon.settings.config import Settings, example, load
from cabinvigil.daemon.settings.values import changed

T = TypeVar("T")
Job = Callable[[Wires, Clock], Awaitable[T]]
"""What is done with the wires, real or emulated."""

FRESH = AirNow()
"""Doors open: outdoor air, as the parts of the rehearsal see it."""
BREATH = AirNow(o2_pct=16.6, co2_ppm=38_000.0, temp_c=26.0, rh_pct=92.0)
"""In a bag that somebody has breathed into (`precheck/truth.py`)."""
CLOSED = AirNow(o2_pct=19.6, co2_ppm=4200.0, co_ppm=9.0, temp_c=17.0, rh_pct=88.0)
"""An hour after the doors were shut with the burner on."""


def chosen_settings(
    config: Path | None, *, is_emulated: bool, units: Literal["si", "us"] | None = None
) -> Settings:
    """Read the config that a call means; the example's where parts are emulated.

    Args:
        config: as told.
        is_emulated: parts are emulated.
        units: in place of those of the config, for this call.

    Raises:
        ConfigError: with every mistake of the file.
    """
    is_example = config is None and is_emulated
    settings = example() if is_example else load(config or USUAL_CONFIG)
    cabin = settings.cabin if units is None else changed(settings.cabin, units=units)
    return replace(settings, cabin=cabin)


def run_on_wires(
    job: Job[T],
    settings: Settings,
    emulated: AirNow | Callable[[], AirNow] | None = None,
    *,
    seed: int = 1,
    failures: tuple[FaultSpan, ...] = (),
    is_evening: bool = False,
) -> T:
    """Do something on the real wires, or on emulated ones in virtual time.

    Args:
        job: what is done.
        settings: whose parts are on emulated wires.
        emulated: the air that emulated parts hang in, or what tells it at each moment;
            None takes the real wires.
        seed: of the emulated parts' own errors.
        failures: on emulated wires.
        is_evening: emulated parts have been on for hours; see `EmulatedWires`.

    Raises:
        NotEmulatedError: a kind that cannot be emulated.
    """
    if emulated is None:
        return asyncio.run(_real(job))
    air = emulated
    now = air if callable(air) else lambda: air
    return run_virtual(_staged(job, settings, now, seed, failures, is_evening))


async def _real(job: Job[T]) -> T:
    return await job(machine_wires(), SystemClock())


async def _staged(
    job: Job[T],
    settings: Settings,
    air: Callable[[], AirNow],
    seed: int,
    failures: tuple[FaultSpan, ...],
    is_evening: bool,
) -> T:
    loop = asyncio.get_running_loop()
    clock = VirtualClock(loop, START_WALL)
    with tempfile.TemporaryDirectory(prefix="cabinvigil-") as folder:
        stage = EmulatedWires(
            Path(folder), air, loop.time, loop.call_at, seed, failures, is_evening
        )
        stage.attach(settings.parts)
        try:
            return await job(stage.wires(), clock)
        finally:
            with suppress(OSError):
                stage.close()
