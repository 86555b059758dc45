"""The order of start and stop, and one deadline for all that ends."""

import asyncio
import gc
import re
import signal
import threading
from collections.abc import Callable
from pathlib import Path
from threading import Event
from typing import Any

import pytest

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.outputs.signal.gpio import LineError
from cabinvigil.daemon.service import stopping
from cabinvigil.daemon.service.app import App
from cabinvigil.daemon.service.pins import Pins
from cabinvigil.daemon.service.signals import Signals
from cabinvigil.daemon.service.stopping import (
    EXIT_S,
    STAGES,
    UNIT_S,
    End,
    Stopping,
    StopStage,
    reason_of,
)
from tests.outputs.brokers import free_port
from tests.recording_line import RecordingLine
from tests.running import HandButton, running
from tests.service.test_stop import LINES, MQTT
from tests.tools.startstop import STARTS

UNITS = Path(__file__).parents[2] / "systemd"
QUICK = (
    StopStage(0.2, ("first",), ""),
    StopStage(0.4, ("second",), ""),
    StopStage(0.6, ("third",), ""),
)
CLOCK = SystemClock()


def hangs(_left_s: float) -> None:
    Event().wait()


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stopping, "STAGES", QUICK)
    monkeypatch.setattr(stopping, "TELL_S", 0.01)
    monkeypatch.setattr(stopping, "EXIT_S", 5.0)


def end(ends: dict[str, End], **more: Any) -> tuple[Stopping, list[str]]:
    """Stop these and wait; also what was said."""
    said: list[str] = []
    one = Stopping(lambda: ends, CLOCK, say=said.append, **more)
    one.begin("stopped on request")
    one.begin("crashed: too late", is_crash=True)
    one.wait()
    return one, said


@pytest.mark.usefixtures("quick")
def test_all_end_in_order_and_nothing_is_said() -> None:
    asked: list[str] = []

    def noted(name: str) -> End:
        return lambda left_s: asked.append(f"{name} {left_s < 0.6}")

    one, said = end({"third": noted("3"), "first": noted("1"), "second/a": noted("2")})
    assert asked == ["1 True", "2 True", "3 True"]
    assert (one.unended, said, one.account) == ([], [], "stopped on request")
    assert not one.is_crash, "whoever comes first says why"


@pytest.mark.usefixtures("quick")
def test_who_hangs_or_stumbles_is_named_and_holds_up_nobody() -> None:
    asked: list[str] = []

    def stumbles(_left_s: float) -> None:
        raise OSError(5, "the disk")

    ends: dict[str, End] = {
        "first": hangs,
        "second/log": hangs,
        "second/mqtt": stumbles,
        "second/slate": lambda _left_s: asked.append("slate"),
        "third": lambda _left_s: ("the sounder's line",),
    }
    one, said = end(ends)
    assert asked == ["slate"]
    names = "first, log, mqtt (OSError: [Errno 5] the disk), the sounder's line"
    assert one.account == f"stopped on request; no end in time: {names}"
    assert said == [f"stopped; no end in time: {names}"]


@pytest.mark.usefixtures("quick")
def test_the_process_ends_though_all_has_ended_and_it_does_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A loop, or the interpreter's own end, may hang after the last stage."""
    monkeypatch.setattr(stopping, "EXIT_S", 0.7)
    codes: list[int] = []
    exited = Event()

    def exit_now(code: int) -> None:
        codes.append(code)
        exited.set()

    end({}, exit_now=exit_now)
    assert exited.wait(10.0)
    assert codes == [0]


def test_all_stages_fit_into_what_systemd_and_the_page_allow() -> None:
    unit = (UNITS / "cabinvigil.service").read_text()
    assert float(re.findall(r"^TimeoutStopSec=(\d+)$", unit, re.MULTILINE)[0]) == UNIT_S
    by_s = [stage.by_s for stage in STAGES]
    assert by_s == sorted(by_s)
    assert by_s[-1] < EXIT_S < 8.0 < UNIT_S
    assert STAGES[0].ends == ("pins",)
    assert STAGES[-1].ends == ("pins-again",)


def test_a_crash_is_named_by_what_it_began_with() -> None:
    bug = ExceptionGroup("x", [ExceptionGroup("y", [ArithmeticError("the\ncore")])])
    assert reason_of(bug) == "crashed: ArithmeticError: the core"


async def test_the_start_begins_what_the_page_says_in_its_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Threads and tasks of a real start, by their names."""
    begun: list[str] = []
    begin_thread = threading.Thread.start
    begin_task = asyncio.TaskGroup.create_task

    def start(thread: threading.Thread) -> None:
        begun.append(thread.name)
        begin_thread(thread)

    def create_task(group: Any, work: Any, *, name: str = "", **more: Any) -> Any:
        begun.append(name)
        return begin_task(group, work, name=name, **more)

    more = MQTT.format(port=free_port()) + LINES + '[button]\nline = "GPIO27"\n'
    monkeypatch.setattr(threading.Thread, "start", start)
    monkeypatch.setattr(asyncio.TaskGroup, "create_task", create_task)
    async with running(tmp_path, more, button=HandButton()) as run:
        await run.until(lambda: "ticker" in begun)
        seen = list(begun)
    told = [name for names, _, _ in STARTS for name in names]
    known = ["part-*" if one.startswith("part-") else one for one in seen]
    order = list(dict.fromkeys(one for one in known if one in told))
    assert order == told
    ends = set(run.app._ends_of())
    stages = {name for stage in STAGES for name in stage.ends}
    assert {key.partition("/")[0] for key in ends} == stages
    threads = {"log", "mqtt", "state", "light", "button", "buzzer"}
    assert {key.partition("/")[2] for key in ends if "/" in key} >= threads


async def test_work_that_ends_before_it_began_leaves_no_warning(
    recwarn: pytest.WarningsRecorder,
) -> None:
    """Python told the starter's terminal of work that nobody had awaited."""

    async def work() -> None:
        raise AssertionError("it never begins")

    app = App.__new__(App)
    tasks: list[asyncio.Task[Any]] = []
    async with asyncio.TaskGroup() as group:
        app._task(group, tasks, work(), "work")
        tasks.pop().cancel()
    gc.collect()
    assert [one for one in recwarn if "never awaited" in str(one.message)] == []


class Stubborn(RecordingLine):
    """A line that hangs, or refuses, or stands open."""

    def __init__(self, how: str = "") -> None:
        super().__init__(CLOCK)
        self.how = how

    def set(self, *, on: bool) -> None:
        if self.how == "hangs":
            Event().wait()
        if self.how == "refuses":
            raise LineError(5, "gone")
        super().set(on=on)


def test_pins_are_low_whoever_hangs_and_nobody_raises_them_again() -> None:
    pins = Pins(CLOCK)
    lines = {how: Stubborn() for how in ("well", "hangs", "refuses")}
    held = {how: pins.held(how, lambda one=one: one)() for how, one in lines.items()}
    for one in held.values():
        one.set(on=True)
    for how, one in lines.items():
        one.how = how
    assert pins.lower(0.3) == ["hangs", "refuses"]
    assert not lines["well"].is_on
    held["well"].set(on=True)
    held["well"].close()
    assert not lines["well"].is_on
    assert not lines["well"].is_closed, "held low until the very end"
    late = Stubborn()
    pins.held("late", lambda: late)().set(on=True)
    assert not late.is_on, "one that was being opened meanwhile"
    pins.release(0.3)
    assert lines["well"].is_closed
    assert late.is_closed


def test_a_line_that_its_owner_lets_go_is_let_go() -> None:
    """It is taken anew a few seconds later; the kernel must have it back."""
    pins, line = Pins(CLOCK), Stubborn()
    held = pins.held("one", lambda: line)()
    held.set(on=True)
    held.close()
    assert line.is_closed
    assert pins.lower(0.3) == []


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_is_heard_though_the_main_thread_stands_still(
    number: signal.Signals,
) -> None:
    heard = Event()
    before = signal.getsignal(number)
    acts: dict[signal.Signals, Callable[[], None]] = {number: heard.set}
    with Signals(acts):
        signal.raise_signal(number)
        assert heard.wait(10.0)
    assert signal.getsignal(number) == before
    assert [one for one in threading.enumerate() if one.name == "signals"] == []
