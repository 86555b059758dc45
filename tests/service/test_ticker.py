"""The ticker: when the air is assessed, and that samplers live as long as a watch."""

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from itertools import pairwise

import pytest

from cabinvigil.daemon.clock import VirtualClock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.service.ticker import LATE_S, keep_watch
from tests.emulation import START
from tests.tools import slow_callbacks


class Ticked:
    """Stands where the watcher is; notes when it is asked to assess."""

    def __init__(self) -> None:
        self.ticks_s: list[float] = []
        self.events: list[SourceFault | SourceOk] = []
        self.samples_s: list[float] = []

    def tick(self) -> None:
        self.ticks_s.append(asyncio.get_running_loop().time())

    def on_event(self, event: SourceFault | SourceOk) -> None:
        self.events.append(event)

    @asynccontextmanager
    async def samplers(self) -> AsyncIterator[None]:
        now = asyncio.get_running_loop().time
        self.samples_s.append(now())
        try:
            yield
        finally:
            self.samples_s.append(now())


def watched(
    for_s: float, *, urgent_s: float | None = None, held_up_s: float | None = None
) -> Ticked:
    """Watch with a tick each 2 s; a limit may be crossed, the loop be held up."""
    ticked = Ticked()

    async def live() -> None:
        loop = asyncio.get_running_loop()
        urgent = asyncio.Event()
        if urgent_s is not None:
            loop.call_at(urgent_s, urgent.set)
        if held_up_s is not None:
            selector = loop._selector  # type: ignore[attr-defined]

            def hold_up() -> None:
                selector.now_s += LATE_S + 0.5

            loop.call_at(held_up_s, hold_up)
        await keep_watch(
            ticked,  # type: ignore[arg-type]
            ticked.samplers(),
            VirtualClock(loop, START),
            2.0,
            for_s=for_s,
            urgent=urgent,
        )
        assert [t for t in asyncio.all_tasks() if t.get_name() == "ticker"] == []

    run_virtual(live())
    return ticked


def test_the_air_is_assessed_at_each_tick_and_the_samplers_live_as_long() -> None:
    ticked = watched(7.0)
    assert ticked.ticks_s == [2.0, 4.0, 6.0]
    assert ticked.samples_s == [0.0, 7.0]
    assert ticked.events == []


def test_a_crossed_limit_is_assessed_at_once_and_the_pace_goes_on() -> None:
    assert watched(7.0, urgent_s=2.5).ticks_s == [2.0, 2.5, 4.0, 6.0]


def test_a_loop_that_was_held_up_is_told_and_its_end_too() -> None:
    ticked = watched(13.0, held_up_s=3.9)
    fault, ok = ticked.events
    assert isinstance(fault, SourceFault)
    assert (fault.source, fault.kind) == ("loop", "late")
    assert "delayed for 2 s" in fault.text
    assert ok == SourceOk("loop")


def test_a_core_that_fails_ends_the_watch_and_leaves_the_wires() -> None:
    """It is not for the ticker to hide it: the process ends, and is started again."""
    ticked = Ticked()

    def tick() -> None:
        raise ArithmeticError("the core")

    ticked.tick = tick  # type: ignore[method-assign]

    async def live() -> None:
        clock = VirtualClock(asyncio.get_running_loop(), START)
        await keep_watch(
            ticked,  # type: ignore[arg-type]
            ticked.samplers(),
            clock,
            2.0,
            for_s=60.0,
            urgent=asyncio.Event(),
        )

    with pytest.raises(ExceptionGroup) as raised:
        run_virtual(live())
    assert raised.group_contains(ArithmeticError)
    assert ticked.samples_s == [0.0, 2.0]


@pytest.mark.holds_loop
def test_the_alarm_for_slow_callbacks_names_ours(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """`pytest --slow-callbacks` could else pass because it sees nothing."""
    monkeypatch.setattr(slow_callbacks, "_waited_s", lambda: 0.0)
    alarm = slow_callbacks.SlowCallbacks()
    try:
        ticked = Ticked()
        ticked.tick = lambda: time.sleep(0.1)  # type: ignore[method-assign]

        async def live() -> None:
            asyncio.get_running_loop().call_later(0.5, time.sleep, 0.1)
            clock = VirtualClock(asyncio.get_running_loop(), START)
            await keep_watch(
                ticked,  # type: ignore[arg-type]
                ticked.samplers(),
                clock,
                2.0,
                for_s=3.0,
                urgent=asyncio.Event(),
            )

        run_virtual(live())
    finally:
        alarm.remove()
    assert [one.partition(" held")[0] for one in alarm.found] == ["tick (task ticker)"]


class Slow(Ticked):
    """Needs longer to judge than a tick lasts, in the loop's own time."""

    took_s = 3.0

    def tick(self) -> None:
        super().tick()
        asyncio.get_running_loop()._selector.now_s += self.took_s  # type: ignore[attr-defined]


def test_a_step_longer_than_a_tick_is_told_once_and_leaves_the_loop_its_turn() -> None:
    slow, turns_s = Slow(), []

    async def turn() -> None:
        while True:
            await asyncio.sleep(0.01)
            turns_s.append(asyncio.get_running_loop().time())

    async def live() -> None:
        loop = asyncio.get_running_loop()
        loop.call_later(40.0, setattr, slow, "took_s", 0.0)
        async with asyncio.TaskGroup() as group:
            turning = group.create_task(turn())
            await keep_watch(
                slow,  # type: ignore[arg-type]
                slow.samplers(),
                VirtualClock(loop, START),
                2.0,
                for_s=60.0,
                urgent=asyncio.Event(),
            )
            turning.cancel()

    run_virtual(live())
    between = [sum(a < at_s < b for at_s in turns_s) for a, b in pairwise(slow.ticks_s)]
    assert min(between) >= 5, "parts and asks have no turn"
    (fault, ok) = slow.events
    assert isinstance(fault, SourceFault)
    assert "longer than a tick of 2 s" in fault.text
    assert ok == SourceOk("loop")
    assert max(b - a for a, b in pairwise(slow.ticks_s)) < 3.2
