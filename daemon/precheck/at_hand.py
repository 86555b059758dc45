"""The monitor at hand for the test at the parts: the running one, or one on a stage."""

import asyncio
import errno
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import asynccontextmanager
from pathlib import Path
from threading import Event
from typing import Any, TypeVar

from cabinvigil.daemon.ask.outcome import outcome
from cabinvigil.daemon.ask.socket import AskError, ask_status, ask_watch
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.alarm import IN_ALARM, SOUNDING
from cabinvigil.daemon.core.model import Act, ActKind, Priority
from cabinvigil.daemon.outputs.base import Output
from cabinvigil.daemon.precheck.bump_test import OpenAlarm, WatchLook
from cabinvigil.daemon.sampling.sampler_pool import sampling
from cabinvigil.daemon.sampling.wiring import MakeCodec, Wires, from_config
from cabinvigil.daemon.service.ticker import keep_watch
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings

T = TypeVar("T")
EVER_S = 1e9
PATIENCE, PATIENCE_STEP_S = 10, 1.0
"""Who asks beside it has run dry, or been let in, by then (our choice)."""
_SOUNDING = frozenset(one.value for one in SOUNDING)
_OPEN = _SOUNDING | {one.value for one in IN_ALARM}
_WAKING = frozenset(one.word for one in Priority if one >= Priority.MEDIUM)


def run_through(work: Coroutine[Any, Any, T]) -> T:
    """Run what waits for nothing but the machine itself, without a loop.

    A loop would take the first Ctrl-C for itself while a person is asked for a key.
    """
    try:
        work.send(None)
    except StopIteration as done:
        value: T = done.value
        return value
    work.close()
    raise RuntimeError("it waits for a loop")


class SocketWatch:
    """The monitor that runs on this machine."""

    def __init__(self, socket: Path, clock: Clock) -> None:
        """Name its socket."""
        self._socket = socket
        self._clock = clock

    async def look(self) -> WatchLook:
        """Return what it shows now.

        Raises:
            AskError: it is gone, or cannot be asked, or says something else.
        """
        answer = self._patiently(lambda: ask_status(self._socket))
        try:
            return WatchLook(
                {str(key): float(one) for key, one in answer["readings"].items()},
                {
                    str(one["alarm"]): OpenAlarm(
                        one["state"] in _SOUNDING, one["priority"] in _WAKING
                    )
                    for one in answer["alarms"]
                    if one["state"] in _OPEN
                },
                frozenset(map(str, answer.get("at_least", ()))),
            )
        except (AttributeError, KeyError, TypeError, ValueError) as error:
            text = "The running monitor is of another version: restart it"
            raise AskError(errno.EPROTO, text) from error

    async def ask(self, verb: str, alarm: str = "", text: str = "") -> str:
        """Have it do something; return why it did not, '' where it did."""
        more = {"alarm": alarm, "text": text}
        fields = {"ask": verb, **{key: one for key, one in more.items() if one}}

        def ask() -> dict[str, Any]:
            answer = ask_watch(self._socket, fields)
            if not answer.get("ok") and "answer" not in answer:  # not by the core
                raise AskError(errno.EBUSY, str(answer.get("text", "it is busy")))
            return answer

        answer = self._patiently(ask)
        return "" if answer.get("ok") else str(answer.get("text", "it does not say"))

    def _patiently(self, ask: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        """Ask again where others ask too much, for a few seconds."""
        for _ in range(PATIENCE):
            try:
                return ask()
            except AskError as error:
                if error.errno != errno.EBUSY:
                    raise
            Event().wait(PATIENCE_STEP_S)
        return ask()

    async def wait(self, for_s: float) -> None:
        """Wait."""
        Event().wait(for_s)

    def monotonic(self) -> float:
        """Return seconds."""
        return self._clock.monotonic()


class StagedWatch:
    """A monitor in this process, on emulated wires in virtual time."""

    def __init__(self, watcher: Watcher, clock: Clock) -> None:
        """Take it."""
        self.watcher = watcher
        self._clock = clock

    async def look(self) -> WatchLook:
        """Return what it shows now."""
        return WatchLook(
            self.watcher.numbers(),
            {
                alarm: OpenAlarm(one.sounds, one.wakes)
                for alarm, one in self.watcher.state.standings.items()
                if one.is_open
            },
            frozenset(self.watcher.lower_bounds()),
        )

    async def ask(self, verb: str, alarm: str = "", text: str = "") -> str:
        """Have it do something; return why it did not, '' where it did."""
        act, before = (
            Act(ActKind(verb), alarm, by="socket", text=text),
            self.watcher.state,
        )
        self.watcher.on_event(act)
        came = outcome(before, self.watcher.state, act)
        return "" if came.is_done else came.text

    async def wait(self, for_s: float) -> None:
        """Wait."""
        await asyncio.sleep(for_s)

    def monotonic(self) -> float:
        """Return seconds."""
        return self._clock.monotonic()


@asynccontextmanager
async def staged(
    settings: Settings,
    wires: Wires,
    clock: Clock,
    outputs: tuple[Output, ...] = (),
    make: Callable[[Watcher], MakeCodec] = lambda _watcher: from_config,
) -> AsyncIterator[StagedWatch]:
    """Keep a watch on these wires for as long as the context is entered.

    Args:
        settings: whose parts.
        wires: where they hang.
        clock: of those wires.
        outputs: hear what the monitor says.
        make: makes the codecs.
    """
    watcher = Watcher(compose_settings(settings, wall=clock.wall()), clock, outputs)
    async with asyncio.TaskGroup() as group:
        watching = group.create_task(
            keep_watch(
                watcher,
                sampling(settings, watcher, clock, wires, make(watcher)),
                clock,
                settings.watch.tick_s,
                for_s=EVER_S,
                urgent=asyncio.Event(),
            ),
            name="watch",
        )
        try:
            yield StagedWatch(watcher, clock)
        finally:
            watching.cancel()
