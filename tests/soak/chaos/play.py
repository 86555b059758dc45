"""Plays a scenario with the real watch, and keeps what could be seen from outside."""

import asyncio
import contextlib
import io
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.service.app import App
from cabinvigil.daemon.service.host_services import HostServices
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.span.kept import maker
from tests.soak.chaos.draw import Config, Scenario, text_of
from tests.soak.chaos.shared_time import SharedTime, shared
from tests.soak.chaos.turn_loop import TurnLoop
from tests.soak.chaos.world import Pin, World

DOWN_S = 3.0
"""Between two lives of the process: about systemd's own pause."""
LOST_S = 30.0
"""A stop that takes so long is told as one that never ends."""


@dataclass
class Life:
    """One process."""

    start_s: float
    asked_s: float = float("inf")
    """When it was told to stop."""
    ended_s: float = float("inf")
    high: tuple[str, ...] = ()
    """The lines that were left high."""
    threads: tuple[str, ...] = ()
    """Their names, just before the stop."""


@dataclass
class Course:
    """What was seen of a scenario."""

    scenario: Scenario
    lives: list[Life] = field(default_factory=list)
    pins: dict[str, Pin] = field(default_factory=dict)
    lines: list[LogLine] = field(default_factory=list)
    bugs: list[str] = field(default_factory=list)
    """Whatever ended a thread or a task, or was written to the journal as a bug."""
    texts: list[tuple[float, str, bytes]] = field(default_factory=list)
    """What the broker got."""


async def _live(
    world: World, wires: Wires, path: Path, course: Course, until_s: float
) -> None:
    """Run the watch from now until it was told to stop, and has."""
    time = world.time
    services = HostServices(
        maker,
        clock=time,
        wires=wires,
        open_line=world.open_line,
        open_button=world.open_button,  # type: ignore[arg-type]
    )
    life = Life(time.now_s)
    course.lives.append(life)
    app = App(load(path), path, services)
    task = asyncio.ensure_future(app.run())
    reloading = asyncio.ensure_future(_reload(world, app, path))
    await asyncio.wait({task}, timeout=until_s - time.now_s)
    life.asked_s = time.now_s
    life.threads = tuple(sorted(seat.name for seat in time.living))
    reloading.cancel()
    app.stop()
    await asyncio.wait({task}, timeout=LOST_S)
    if task.done():
        life.ended_s = time.now_s
        if task.exception() is not None:
            course.bugs.append(f"the watch crashed: {task.exception()!r}")
    else:
        task.cancel()
    life.high = tuple(name for name, pin in world.pins.items() if pin.level)
    world.life += 1
    time.kill()
    world.close_files()
    for pin in world.pins.values():  # the kernel takes the lines of a process back
        pin.level = False


async def _reload(world: World, app: App, path: Path) -> None:
    for at_s, config in world.scenario.reloads:
        if at_s < world.time.now_s:
            continue
        await asyncio.sleep(at_s - world.time.now_s)
        _write(world, config, path)
        app.reload_asked.set()


def _write(world: World, config: Config, path: Path) -> None:
    path.write_text(
        text_of(world.scenario, config, world.folder),
        encoding="utf-8",
    )


async def _play(
    scenario: Scenario, time: SharedTime, folder: Path, course: Course
) -> None:
    def unheard(_loop: Any, context: dict[str, Any]) -> None:
        course.bugs.append(f"{context['message']}: {context.get('exception')!r}")

    asyncio.get_running_loop().set_exception_handler(unheard)
    world = World(folder, scenario, time)
    course.pins, course.texts = world.pins, world.broker.got
    path = folder / "cabin.toml"
    _write(world, Config(), path)
    with world.around():
        wires = world.attach(load(path))
        world.keep_time()
        try:
            for until_s in scenario.stops:
                if until_s <= time.now_s:
                    continue
                done = [one for at_s, one in scenario.reloads if at_s < time.now_s]
                _write(
                    world, next((c for c in done[::-1] if c.is_good), Config()), path
                )
                await _live(world, wires, path, course, until_s)
                await asyncio.sleep(DOWN_S)
        finally:
            world.close()
    course.bugs += time.died


def play(scenario: Scenario) -> Course:
    """Play one."""
    course, said = Course(scenario), io.StringIO()
    with (
        tempfile.TemporaryDirectory(prefix="chaos-") as folder,
        contextlib.redirect_stderr(said),
        shared() as time,
        asyncio.Runner(loop_factory=lambda: TurnLoop(time)) as runner,
    ):
        try:
            runner.run(_play(scenario, time, Path(folder), course))
        except Exception as bug:
            course.bugs.append(f"not played to its end: {bug!r}")
        files = [list(Logbook(path)) for path in (Path(folder) / "log").glob("night-*")]
        files.sort(key=lambda lines: str(lines[0].wall) if lines else "")
        course.lines = [line for lines in files for line in lines]
    if "Traceback" in said.getvalue():
        course.bugs.append(said.getvalue())
    return course


def twice(names: tuple[str, ...]) -> list[str]:
    """Return the threads that there are several of."""
    return sorted(name for name, count in Counter(names).items() if count > 1)
