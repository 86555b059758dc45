"""The one shell: settings -> parts -> core -> outputs, in one task group."""

import asyncio
import signal
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from operator import attrgetter
from pathlib import Path
from typing import Any

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.ask.socket import AskError, AskSocket
from cabinvigil.daemon.compose.compose import CoreBuild
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.engine import State, start
from cabinvigil.daemon.core.model import (
    Act,
    Alert,
    Priority,
    Record,
    SourceFault,
    SourceOk,
)
from cabinvigil.daemon.core.snapshot import carry_over, restore, resume, to_plain
from cabinvigil.daemon.outputs.base import FaultLatch, Output
from cabinvigil.daemon.outputs.signal.button import Button
from cabinvigil.daemon.outputs.state_file import StateFile, StateSaver
from cabinvigil.daemon.sampling.sampler_pool import SamplerPool, sampling
from cabinvigil.daemon.service.asks import answer_to
from cabinvigil.daemon.service.host import (
    EVERY_S,
    HostLook,
    HostWatch,
    cpu_c,
    is_under_volted,
)
from cabinvigil.daemon.service.host_services import HostServices
from cabinvigil.daemon.service.outlets import Outlets, make_outlets
from cabinvigil.daemon.service.report_due import MorningTold
from cabinvigil.daemon.service.status import start_fields
from cabinvigil.daemon.service.ticker import tick
from cabinvigil.daemon.service.watchdog import Notifier, Watchdog, watchdog_period_s
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import ConfigError, Settings, load

STATE_FILE = "state"
STOP_S = 4.0
"""For all outputs to finish; systemd waits 10 s."""
SOCKET_RETRY_S = 30.0
FLOODED = (
    "The ask socket is flooded: who asks more than once a second is not heard; "
    "find out which program asks."
)
FIXED = (
    *("buzzer", "light", "button", "mqtt", "log", "ask"),
    *("cabin.name", "watch.state_folder"),
)
"""What only a restart changes."""

Reply = Callable[[Mapping[str, Any]], None]


class App:
    """One run of the daemon."""

    def __init__(self, settings: Settings, path: Path, machine: HostServices) -> None:
        """Set everything up; nothing runs before `run`.

        Args:
            settings: what to watch.
            path: the config file, read anew at a reload.
            machine: clock, wires, codecs and pins.
        """
        self.settings = settings
        self._path = path
        self._machine = machine
        self._clock = machine.clock
        self._loop = asyncio.get_running_loop()
        self._until = asyncio.Event()
        self._changed = asyncio.Event()
        self._urgent = asyncio.Event()
        self._notifier = Notifier(machine.environ)
        self._is_ready = False
        self._outlets = self._make_outlets(settings)
        self._button = self._make_button(settings)
        file = StateFile(Path(settings.watch.state_folder) / STATE_FILE)
        self._keeper = StateSaver(file, self._clock, self.report)
        self._host = HostWatch(self.report)
        self._host_due_s = self._clock.monotonic()
        self._morning = MorningTold.of(settings, self._outlets.phone, self.report)
        kept = file.load(self._clock.wall(), self._clock.monotonic())
        composed = compose_settings(settings, wall=self._clock.wall())
        state = start(composed.setup, 0.0)
        self._notes = list(kept.notes)
        self._kept = kept
        if kept.body is not None:
            state, lost = restore(composed.setup, kept.body, 0.0, down_s=kept.down_s)
            self._notes += lost
        self.watcher = self._watcher(composed, state)

    def _make_outlets(self, settings: Settings) -> Outlets:
        return make_outlets(
            settings,
            self._clock,
            self.report,
            on_ask=self._from_thread,
            on_refused=self.refused,
            open_line=self._machine.open_line,
        )

    def _make_button(self, settings: Settings) -> Button | None:
        wanted = settings.button
        if wanted is None:
            return None
        return Button(
            lambda: self._machine.open_button(
                wanted.line, active_low=wanted.active_low
            ),
            self.on_button,
            self.report,
            self._clock,
        )

    def _watcher(self, composed: CoreBuild, state: State) -> Watcher:
        button: list[Output] = [] if self._button is None else [self._button]
        return Watcher(
            composed,
            self._clock,
            [*self._outlets.all, *button],
            state=state,
            on_change=lambda now: self._keeper.offer(lambda: to_plain(now)),
            on_urgent=self._urgent.set,
        )

    # --- what comes in from other threads -----------------------------------

    def _soon(self, call: Callable[..., None], *values: Any) -> None:
        """Call on the loop; at the very end there may be no loop any more."""
        with suppress(RuntimeError):
            self._loop.call_soon_threadsafe(call, *values)

    def report(self, event: SourceFault | SourceOk) -> None:
        """Take an output's health, from any thread."""
        self._soon(lambda: self.watcher.on_event(event))

    def refused(self, text: str) -> None:
        """Log an ask that was refused, from any thread."""
        record = Record("fault", {"source": "ask", "kind": "refused", "text": text})
        self._soon(lambda: self.watcher.hand_out([record], self.watcher.up_s()))

    def _from_thread(self, ask: Ask, reply: Reply) -> None:
        self._soon(self.answer, ask, reply)

    def on_button(self, act: Act) -> None:
        """Take a press, from the button's thread."""
        self._soon(self._pressed, act)

    def _pressed(self, act: Act) -> None:
        is_answer = self.watcher.state.sound.pattern != "quiet"
        self.watcher.on_event(act)
        if self._morning is not None and not is_answer:
            self._morning.pressed(self._clock.wall(), self.watcher.up_s())

    def answer(self, ask: Ask, reply: Reply) -> None:
        """Answer an ask, on the loop."""
        reply(answer_to(ask, self.watcher, self.settings, self._clock.wall()))

    def stop(self) -> None:
        """End the run in order."""
        self._until.set()

    # --- the run --------------------------------------------------------------

    async def run(self) -> None:
        """Watch until told to stop."""
        # The sounder's thread must not wait for the interpreter behind busy ones: at
        # Python's own 5 ms edges slipped by 16 ms in the benchmark, at 1 ms by 7.
        sys.setswitchinterval(0.001)
        self._outlets.start()
        self._keeper.start()
        for number, act in (
            (signal.SIGTERM, self.stop),
            (signal.SIGINT, self.stop),
            (signal.SIGHUP, self.reload),
        ):
            self._loop.add_signal_handler(number, act)
        if self._button is not None:
            self._button.start()
        self._begin()
        try:
            await self._watch()
        finally:
            self._notifier.stopping()
            if self._button is not None:
                self._button.stop(1.0)
            now = self.watcher.up_s()
            self.watcher.hand_out([Record("stop", {"reason": "told to stop"})], now)
            state = self.watcher.state
            self._keeper.offer(lambda: to_plain(state))
            self._keeper.stop(STOP_S)
            if self._morning is not None:
                self._morning.stop()
            self._outlets.stop(STOP_S)

    def _begin(self, **more: Any) -> None:
        """Log what runs, say what is laxer, and sound what stood before."""
        fields = start_fields(self.settings) | more
        if self._kept.body is not None:
            fields |= {"kept": self._kept.body, "down_s": self._kept.down_s}
        watcher = self.watcher
        now = watcher.up_s()
        watcher.hand_out([Record("start", fields, urgent=True)], now)
        watcher.hand_out(resume(watcher.state, now), now)
        for text in self._notes:
            self._keeper.note(text)
        for text in self.settings.laxer:
            watcher.hand_out([Alert("laxer-limit", Priority.LOW, text)], now)

    async def _watch(self) -> None:
        """Watch until told to stop."""
        machine, folder = self._machine, Path(self.settings.watch.state_folder)
        make = machine.codecs(folder, self.watcher.on_event)
        samplers = sampling(
            self.settings, self.watcher, self._clock, machine.wires, make
        )
        async with asyncio.TaskGroup() as group, samplers as pool:
            serving = group.create_task(self._serve(), name="ask-socket")
            try:
                while not self._until.is_set():
                    await self._pace(group, pool)
            finally:
                serving.cancel()

    async def _pace(self, group: asyncio.TaskGroup, pool: SamplerPool) -> None:
        """Watch at one pace, until told to stop or until a reload sets another.

        Reloads that change parts alone are taken here: no tick waits for them.
        """
        tick_s = self.settings.watch.tick_s
        watchdog = Watchdog(
            self._notifier,
            watchdog_period_s(self._machine.environ, self._machine.pid),
            tick_s,
            self._outlets.buzzer.alive_at_s if self._outlets.buzzer else None,
        )
        ticking = tick(
            self.watcher,
            self._clock,
            tick_s,
            self._urgent,
            lambda: self._after_tick(watchdog),
        )
        tasks = [
            group.create_task(ticking, name="ticker"),
            group.create_task(self._feed(watchdog), name="watchdog"),
        ]
        while not self._until.is_set() and self.settings.watch.tick_s == tick_s:
            self._changed.clear()
            await pool.apply(self.settings)
            await self._till_told()
        for task in tasks:
            task.cancel()

    async def _till_told(self) -> None:
        """Wait until told to stop, or until a reload has changed parts or pace."""
        waits = [self._until.wait(), self._changed.wait()]
        tasks = [asyncio.ensure_future(wait) for wait in waits]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()

    async def _feed(self, watchdog: Watchdog) -> None:
        """Bridge long ticks: look at the watchdog between them, from this loop."""
        if watchdog.period_s is None:
            return
        while True:
            await asyncio.sleep(watchdog.period_s)
            watchdog.look(self._clock.monotonic())

    async def _serve(self) -> None:
        """Answer on the local socket; without it the watch goes on, and says so."""
        ask = self.settings.ask
        health = FaultLatch("ask", self.watcher.on_event)

        def on_flood(is_flooded: bool) -> None:
            health.fault("babbling", FLOODED) if is_flooded else health.ok()

        while True:
            server = AskSocket(
                Path(ask.socket),
                ask.group,
                self._clock,
                on_ask=self.answer,
                on_refused=self.refused,
                on_flood=on_flood,
            )
            try:
                await server.serve(health.ok)
            except AskError as error:
                health.fault("not-writable", str(error), str(error))
            await asyncio.sleep(SOCKET_RETRY_S)

    def _after_tick(self, watchdog: Watchdog) -> None:
        now_s = self._clock.monotonic()
        watchdog.stepped(now_s)
        if not self._is_ready:
            self._is_ready = True
            self._notifier.ready(f"watching {self.settings.cabin.name}")
        if self._morning is not None:
            self._morning.look(self._clock.wall())
        if now_s >= self._host_due_s:
            self._host_due_s = now_s + EVERY_S
            self._host.look(
                HostLook(now_s, self._clock.wall(), cpu_c(), is_under_volted())
            )

    # --- reload ---------------------------------------------------------------

    def reload(self) -> None:
        """Read the config anew; a bad one is refused aloud and the old one kept."""
        self._notifier.reloading(self._clock.monotonic())
        try:
            settings = load(self._path)
            composed = compose_settings(settings, wall=self._clock.wall())
        except ConfigError as error:
            text = f"the new config is refused, the old one goes on: {error}"
            self.watcher.on_event(SourceFault("settings", "not-taken", text))
        else:
            self._take_over(settings, composed)
        self._notifier.ready(f"watching {self.settings.cabin.name}")

    def _take_over(self, settings: Settings, composed: CoreBuild) -> None:
        old = self.settings
        watcher = self.watcher
        now = watcher.up_s()
        state, lost = carry_over(watcher.state, composed.setup, now)
        self.settings = settings
        watcher.adopt(composed, state)
        fields = start_fields(settings) | {"reload": True}
        watcher.hand_out([Record("start", fields, urgent=True)], now)
        watcher.hand_out(resume(state, now), now)
        watcher.on_event(SourceOk("settings"))
        stays = [n for n in FIXED if attrgetter(n)(old) != attrgetter(n)(settings)]
        for text in lost:
            self._keeper.note(text)
        if stays:
            text = f"{', '.join(stays)} changed: restart the daemon to use them"
            watcher.on_event(SourceFault("settings", "restart-needed", text))
        if (old.parts, old.i2c, old.watch.tick_s) != (
            settings.parts,
            settings.i2c,
            settings.watch.tick_s,
        ):
            self._changed.set()


async def run_app(settings: Settings, path: Path, machine: HostServices) -> None:
    """Run the daemon on the running loop until it is told to stop."""
    await App(settings, path, machine).run()
