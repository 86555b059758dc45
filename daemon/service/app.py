"""The one shell: settings -> parts -> core -> outputs, in one task group.

The sounder first: it can sound whatever else does not respond.  How all ends, and in
which order, is in `stopping`.
"""

import asyncio
import signal
import sys
import threading
from collections.abc import Callable, Coroutine, Mapping, Sequence
from contextlib import suppress
from math import isfinite
from pathlib import Path
from typing import Any

from cabinvigil.daemon.ask.limits import MarkLimit
from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.model import (
    Act,
    Alert,
    Priority,
    Record,
    SourceFault,
    SourceOk,
)
from cabinvigil.daemon.core.snapshot import to_plain
from cabinvigil.daemon.outputs.base import Output, Stamp
from cabinvigil.daemon.outputs.signal.button import Button
from cabinvigil.daemon.outputs.state_file import Kept, StateFile, StateSaver
from cabinvigil.daemon.sampling.sampler_pool import SamplerPool, sampling
from cabinvigil.daemon.service.asks import answer_to, serve_asks
from cabinvigil.daemon.service.ends import ends_of
from cabinvigil.daemon.service.host import watch_host
from cabinvigil.daemon.service.host_services import HostServices
from cabinvigil.daemon.service.inbox import Inbox
from cabinvigil.daemon.service.outlets import (
    Outlets,
    make_button,
    make_outlets,
    wiring_of,
)
from cabinvigil.daemon.service.recall import NOTHING, Recall, take_kept
from cabinvigil.daemon.service.reload import ConfigReader, is_rewired, take_config
from cabinvigil.daemon.service.report_due import MorningTold
from cabinvigil.daemon.service.signals import Signals
from cabinvigil.daemon.service.sounder import Sounder
from cabinvigil.daemon.service.stopping import End, Stopping, reason_of, say
from cabinvigil.daemon.service.ticker import tick
from cabinvigil.daemon.service.watchdog import (
    Notifier,
    Watchdog,
    until_it_goes_round,
    watchdog_period_s,
)
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings

STATE_FILE = "state"
TOLD = "stopped on request"

Reply = Callable[[Mapping[str, Any]], None]


class App:
    """One run of the daemon."""

    def __init__(
        self,
        settings: Settings,
        path: Path,
        machine: HostServices,
        sounder: Sounder | None = None,
    ) -> None:
        """Take the sounder over or make it, and nothing else yet: `run` sets up that.

        Args:
            settings: what to watch.
            path: the config file, read again at a reload.
            machine: clock, wires, codecs and pins.
            sounder: one that was started before all this was loaded.
        """
        self.settings = settings
        self._machine = machine
        self._clock = machine.clock
        self._loop = asyncio.get_running_loop()
        self._until = asyncio.Event()
        self._scheduled = asyncio.Event()
        self.reload_asked = asyncio.Event()  # set on the loop: reads the config again
        self._reloading = asyncio.Lock()
        self._watch_ended = threading.Event()
        self._changed = asyncio.Event()
        self._urgent = asyncio.Event()
        self.begun = asyncio.Event()
        """Set once the start is logged and what was kept is taken over."""
        self._inbox, self._marks = Inbox(self._loop), MarkLimit()
        self._notifier = Notifier(machine.environ)
        own = Sounder.taken_over(
            sounder, wiring_of(settings), self._clock, machine.open_line
        )
        self._pins, self._buzzer = own.pins, own.buzzer
        own.faults.pass_to(self.report)
        period_s = watchdog_period_s(machine.environ, machine.pid)
        alive_at_s = self._buzzer.alive_at_s if self._buzzer else None
        self._watchdog = Watchdog(self._notifier, period_s, alive_at_s)
        file = StateFile(Path(settings.watch.state_folder) / STATE_FILE)
        self._recall = Recall(
            file, file.path.parent, machine.codecs, self._clock, self.report
        )
        self._keeper = StateSaver(file, self._clock, self.report)
        self._reader = ConfigReader(path, settings, self._clock)
        self._outlets: Outlets | None = None
        self._button: Button | None = None
        self._morning: MorningTold | None = None
        self._stopping = Stopping(
            self._ends_of,
            self._clock,
            say=say,
            exit_now=machine.exit_now,
        )

    def _prepare(self) -> None:
        """Make the other outputs, and the core."""
        settings, machine = self.settings, self._machine
        self._outlets = make_outlets(
            settings,
            self._clock,
            self.report,
            on_ask=self._from_thread,
            on_refused=self.refused,
            open_line=machine.open_line,
            buzzer=self._buzzer,
            hold=self._pins.held,
        )
        self._button = make_button(
            settings, self._clock, self.report, self.on_button, machine.open_button
        )
        self._morning = MorningTold.of(settings, self._outlets.phone, self.report)
        composed = compose_settings(settings, wall=self._clock.wall())
        button: list[Output] = [] if self._button is None else [self._button]
        self.watcher = Watcher(
            composed,
            self._clock,
            [*self._outlets.all, *button],
            on_change=lambda now: self._keeper.offer(lambda: to_plain(now)),
            on_urgent=self._urgent.set,
        )

    # --- what comes in from other threads -----------------------------------

    def report(self, event: SourceFault | SourceOk) -> None:
        """Take an output's health, from any thread."""
        self._inbox.soon(lambda: self.watcher.on_event(event))

    def refused(self, text: str) -> None:
        """Log an ask that was refused, from any thread."""
        record = Record("fault", {"source": "ask", "kind": "refused", "text": text})
        self._inbox.soon(lambda: self.watcher.hand_out([record], self.watcher.up_s()))

    def _from_thread(self, ask: Ask, reply: Reply) -> None:
        self._inbox.soon(self.answer, ask, reply)

    def on_button(self, act: Act) -> None:
        """Take a press, from the button's thread."""
        self._inbox.soon(self._pressed, act)

    def _pressed(self, act: Act) -> None:
        is_answer = self.watcher.state.sound.pattern != "quiet"
        self.watcher.on_event(act)
        if self._morning is not None and not is_answer:
            self._morning.pressed(self._clock.wall(), self.watcher.up_s())

    def answer(self, ask: Ask, reply: Reply) -> None:
        """Answer an ask, on the loop."""
        wall, marks = self._clock.wall(), self._marks
        reply(answer_to(ask, self.watcher, self.settings, wall, marks=marks))

    def stop(self) -> None:
        """End the run in order; from any thread."""
        self._stopping.begin(TOLD)

    # --- the run --------------------------------------------------------------

    async def run(self) -> None:
        """Watch until told to stop.

        Raises:
            Exception: a bug of ours, or what no part of the monitor is guarded against;
                all has ended by then as after a stop, but for the phone's farewell.
        """
        # The sounder's thread must not wait for the interpreter behind busy ones: at
        # Python's own 5 ms edges slipped by 16 ms in the benchmark, at 1 ms by 7.
        sys.setswitchinterval(0.001)
        acts = {
            signal.SIGTERM: self.stop,
            signal.SIGINT: self.stop,
            signal.SIGHUP: lambda: self._inbox.soon(self.reload_asked.set),
        }
        with Signals(acts):
            try:
                if self._buzzer is not None:
                    self._buzzer.start()
                self._prepare()
                await self._live()
            except BaseException as bug:
                self._stopping.begin(reason_of(bug), is_crash=True)
                raise
            finally:
                self._stopping.begin(TOLD)
                self._watch_ended.set()
                self._stopping.wait()

    async def _live(self) -> None:
        """Start all that is left to start, and watch until told to stop."""
        assert self._outlets is not None
        self._outlets.start()
        if self._button is not None:
            self._button.start()
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(self._recall.read(), name="recall")]
            recalled = await self._recall.first()
            self._begin((recalled or NOTHING).kept)
            if recalled is None:
                self._task(group, tasks, self._take_late(), "recall-late")
            else:
                self._keeper.start()
            make = (recalled or NOTHING).make
            ask, units = self.settings.ask, self.settings.cabin.units
            asks = serve_asks(
                ask, self._clock, self.watcher.on_event, self.answer, self.refused
            )
            host = watch_host(self._clock, self.watcher.on_event, units)
            self._task(group, tasks, asks, "ask-socket")
            self._task(group, tasks, host, "host")
            bridging = self._watchdog.bridge(self._clock.monotonic)
            self._task(group, tasks, bridging, "watchdog")
            self._task(group, tasks, self._say_ready(), "ready")
            self._task(group, tasks, self._reload_when_asked(), "reload")
            wires, settings = self._machine.wires, self.settings
            samplers = sampling(settings, self.watcher, self._clock, wires, make)
            async with samplers as pool:
                try:
                    while not self._until.is_set():
                        await self._pace(group, pool)
                finally:  # before the parts end: callers are hung up on
                    for task in tasks:
                        task.cancel()

    def _task(
        self,
        group: asyncio.TaskGroup,
        tasks: list[asyncio.Task[Any]],
        work: Coroutine[Any, Any, None],
        name: str,
    ) -> None:
        """Begin a task; where it fails the monitor ends at once, whoever else hangs."""

        async def guarded() -> None:
            try:
                await work
            except Exception as bug:
                self._stopping.begin(reason_of(bug), is_crash=True)
                raise

        task = group.create_task(guarded(), name=name)
        # A stop in the same turn ends it before it began: Python would warn of that.
        task.add_done_callback(lambda _: work.close())
        tasks.append(task)

    # --- the start --------------------------------------------------------------

    def _begin(self, kept: Kept) -> None:
        """Log what runs, say what is less strict, and sound what stood before."""
        watcher = self.watcher
        take_kept(watcher, self.settings, kept, self._keeper)
        for text in self.settings.laxer:
            watcher.hand_out([Alert("laxer-limit", Priority.LOW, text)], watcher.up_s())
        self.begun.set()
        self._inbox.open()

    async def _take_late(self) -> None:
        """Take over what was kept, whenever the disk gives it."""
        kept = await self._recall.late()
        if kept.body is not None:
            take_kept(self.watcher, self.settings, kept, self._keeper)
        self._keeper.start()

    async def _say_ready(self) -> None:
        """Notify systemd, once a tick is scheduled and the sounder can sound."""
        await self._scheduled.wait()
        await until_it_goes_round(self._buzzer.alive_at_s if self._buzzer else None)
        self._notifier.ready(f"monitoring {self.settings.cabin.name}")

    # --- the monitor --------------------------------------------------------------

    async def _pace(self, group: asyncio.TaskGroup, pool: SamplerPool) -> None:
        """Watch at one pace, until told to stop or until a reload sets another.

        Reloads that change parts alone are taken here: no tick waits for them.
        """
        tick_s = self.settings.watch.tick_s
        now_s = self._clock.monotonic()
        self._watchdog.begin(now_s, tick_s)
        # From the last tick: reload after reload must not put off the next for ever.
        last_s = self.watcher.ticked_s
        first_in_s = last_s + tick_s - now_s if isfinite(last_s) else tick_s
        ticking = tick(
            self.watcher,
            self._clock,
            tick_s,
            self._urgent,
            self._after_tick,
            first_in_s=first_in_s,
        )
        tasks: list[asyncio.Task[Any]] = []
        self._task(group, tasks, ticking, "ticker")
        self._scheduled.set()
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

    def _after_tick(self) -> None:
        self._watchdog.stepped(self._clock.monotonic())
        if self._morning is not None:
            self._morning.look(self._clock.wall())

    # --- reload ---------------------------------------------------------------

    async def _reload_when_asked(self) -> None:
        while True:
            await self.reload_asked.wait()
            self.reload_asked.clear()
            await self.reload()

    async def reload(self) -> None:
        """Read the config again; a bad one is refused aloud and the old one kept."""
        async with self._reloading:
            self._notifier.reloading(self._clock.monotonic())
            read = await self._reader.read(self.watcher, self.settings)
            if isinstance(read, SourceFault):
                self.watcher.on_event(read)
            else:
                old, self.settings = self.settings, read.used
                take_config(self.watcher, read, self._keeper)
                if is_rewired(old, read.used):
                    self._changed.set()
            self._notifier.ready(f"monitoring {self.settings.cabin.name}")

    # --- the end ----------------------------------------------------------------

    def _ends_of(self) -> Mapping[str, End]:
        """Return who is to be ended now; keys as in `stopping.STAGES`."""
        return {
            "pins": self._lower_pins,
            "watch": self._end_watch,
            "last-words": self._last_words,
            "pins-again": self._pins.release,
            **ends_of(
                self._outlets,
                self._buzzer,
                self._button,
                self._keeper,
                self._morning,
                is_crash=self._stopping.is_crash,
            ),
        }

    def _lower_pins(self, left_s: float) -> Sequence[str]:
        self._notifier.stopping()
        return self._pins.lower(left_s)

    def _end_watch(self, left_s: float) -> Sequence[str]:
        with suppress(RuntimeError):
            self._loop.call_soon_threadsafe(self._until.set)
        return () if self._watch_ended.wait(left_s) else ("the monitor's own loop",)

    def _last_words(self, _left_s: float) -> None:
        """Hand the log its last line, and the state to whoever saves it."""
        if self._outlets is None or not self.begun.is_set():
            return
        record = Record("stop", {"reason": self._stopping.account})
        stamp = Stamp(self.watcher.up_s(), self._clock.wall())
        for output in self._outlets.all:
            output.handle(record, stamp)
        state = self.watcher.state
        self._keeper.offer(lambda: to_plain(state))
