"""How a fault of each source comes and goes: every one with its own class."""

import asyncio
import errno
import json
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import (
    AlarmState,
    Priority,
    Record,
    Sound,
    SourceFault,
    SourceOk,
    Transition,
)
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.mqtt import broker
from cabinvigil.daemon.outputs.signal import button as button_file
from cabinvigil.daemon.outputs.signal.button import Button
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import EdgeLine, GpioOut, LineError
from cabinvigil.daemon.outputs.signal.light import Light
from cabinvigil.daemon.outputs.state_file import StateSaver
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.service import asks as asks_file
from cabinvigil.daemon.service.host import TOLD_FOR_S, HostLook, HostWatch
from cabinvigil.daemon.service.report_process import MorningCall
from cabinvigil.daemon.service.status import start_fields
from cabinvigil.daemon.settings.values import PartSettings, changed
from cabinvigil.daemon.span.kept import Span, SpansFile, maker
from cabinvigil.drivers import part as find_part
from tests.core.scenario import FailingTrend, Night, co_level
from tests.core.scenario import cabin as scene
from tests.emulation import Fails, live
from tests.faults.outputs.cabin import SETTINGS, FailingFile, FailingNights
from tests.outputs.brokers import mosquitto
from tests.outputs.hands import EVENING, FailingLine, HandClock, Told
from tests.outputs.mqtt.cabin import cabin as phone_beside
from tests.running import HandButton, config, running
from tests.service.test_ticker import watched

Told_ = list[SourceFault | SourceOk]
ENDS: dict[str, Callable[[Path, pytest.MonkeyPatch], Told_]] = {}
"""By source, or by kind of part: what it told, of a fault and of its end."""
NEVER_TOLD = {"phone"}
"""A name that is kept, and of which nothing tells a fault (held below)."""
PARTS = {"i2c": "sht4x", "serial": "frame9_co", "file": "ds18b20", "line": "contact"}
"""A part of each kind of wire."""
URGENT = Record("mark", {"text": "a line", "by": "button"}, urgent=True)


def ends(source: str) -> Callable[[Callable[..., Told_]], Callable[..., Told_]]:
    def keep(play: Callable[..., Told_]) -> Callable[..., Told_]:
        ENDS[source] = play
        return play

    return keep


class LostLine:
    """A line that cannot be taken, and then can."""

    def __init__(self, clock: HandClock) -> None:
        self.clock = clock
        self.is_there = False

    def open(self) -> GpioOut:
        if not self.is_there:
            raise LineError(errno.ENOENT, "there is no such GPIO line")
        return FailingLine(self.clock)


def until(condition: Callable[[], object]) -> None:
    """Wait for a thread.

    Raises:
        AssertionError: it never came true.
    """
    end_s = time.perf_counter() + 20.0
    while not condition():
        assert time.perf_counter() < end_s, "it never came true"
        time.sleep(0.01)


# --- the ways out --------------------------------------------------------------


@ends("log")
def log(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    told, clock = Told(), HandClock()
    nights = FailingNights(folder, keep_days=9, max_bytes=10**9, packed=True)
    log = Recorder(nights, clock, told, inline=True)
    start = Record("start", start_fields(SETTINGS), urgent=True)
    log.handle(start, clock.stamp())
    nights.refuses = errno.ENOSPC
    log.handle(URGENT, clock.stamp())
    nights.refuses, clock.now_s = 0, 60.0
    log.handle(URGENT, clock.stamp())
    return told


@ends("state")
def state(folder: Path, patch: pytest.MonkeyPatch) -> Told_:
    told = Told()
    keeper = StateSaver(FailingFile(folder / "state"), HandClock(), told, inline=True)
    patch.setattr(FailingFile, "refuses", errno.EIO)
    keeper.offer(dict)
    patch.setattr(FailingFile, "refuses", 0)
    keeper.offer(dict)
    return told


@ends("buzzer")
def buzzer(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    told, clock = Told(), HandClock()
    lost = LostLine(clock)
    buzzer = Buzzer(lost.open, clock, told, inline=True)
    for now_s in (0.0, 60.0):
        clock.now_s = now_s
        buzzer.handle(Sound("temporal-four"), clock.stamp())
        buzzer.step(now_s)
        lost.is_there = True
    return told


@ends("second-sounder")
def second_sounder(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    told, clock = Told(), HandClock()
    lost, well = LostLine(clock), LostLine(clock)
    well.is_there = True
    buzzer = Buzzer(well.open, clock, told, open_second=lost.open, inline=True)
    for now_s in (0.0, 60.0):
        clock.now_s = now_s
        buzzer.handle(Sound("temporal-four", louder=True), clock.stamp())
        buzzer.step(now_s)
        lost.is_there = True
    return told


@ends("light")
def light(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    told, clock = Told(), HandClock()
    lost = LostLine(clock)
    light = Light(lost.open, clock, told, inline=True)
    for now_s in (0.0, 60.0):
        clock.now_s = now_s
        unanswered = AlarmState.UNACKNOWLEDGED
        ring = Transition("o2", unanswered, unanswered, Priority.HIGH, "", now_s)
        light.handle(ring, clock.stamp())
        light.step(now_s)
        lost.is_there = True
    return told


@ends("button")
def button(_folder: Path, patch: pytest.MonkeyPatch) -> Told_:
    told, line = Told(), HandButton()
    opened: Iterator[EdgeLine | LineError] = iter([LineError(2, "no line"), line])

    def opener() -> EdgeLine:
        found = next(opened)
        if isinstance(found, LineError):
            raise found
        return found

    patch.setattr(button_file, "RETRY_S", 0.01)
    button = Button(opener, lambda _act: None, told, HandClock())
    button.start()
    until(lambda: told.kinds()[-1:] == ["ok"])
    button.stop(2.0)
    return told


@ends("mqtt")
def mqtt(folder: Path, patch: pytest.MonkeyPatch) -> Told_:
    patch.setattr(broker, "FIRST_WAIT_S", 0.05)
    patch.setattr(broker, "LONGEST_WAIT_S", 0.2)
    with mosquitto(folder / "b") as real:
        real.stop()
        with phone_beside(real.port) as one:
            one.wait(lambda: "out-of-reach" in one.told.kinds())
            real.start()
            one.alert("Alert.")
            one.wait(lambda: one.told.kinds()[-1] == "ok")
    return one.told


@ends("morning")
def morning(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    told, made = Told(), folder / "made"
    code = f"import sys, pathlib; p = pathlib.Path({str(made)!r})\n"
    code += "print(p.read_text()) if p.exists() else sys.exit('not yet')"
    call = MorningCall(
        folder, lambda _: None, told, command=(sys.executable, "-c", code)
    )
    call.begin()
    until(lambda: told)
    made.write_text(json.dumps({"hours": 8.0}))
    until(lambda: (call.begin(), told.kinds()[-1] == "ok")[1])
    return told


# --- the machine, the loop, the config -----------------------------------------


def looked(*seen: tuple[float, float, float, bool]) -> Told_:
    """What is told of looks: (monotonic s, wall s, °C, under-volted)."""
    told = Told()
    watch = HostWatch(told)
    for now_s, wall_s, cpu_c, is_low in seen:
        wall = EVENING + timedelta(seconds=wall_s)
        watch.look(HostLook(now_s, wall, cpu_c, is_low))
    return told


@ends("clock")
def clock(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    over_s = TOLD_FOR_S + 20.0
    return looked(
        (0.0, 0.0, 50.0, False),
        (10.0, 900.0, 50.0, False),
        (over_s, 890.0 + over_s, 50.0, False),
    )


@ends("host")
def host(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    return looked((0.0, 0.0, 83.0, False), (10.0, 10.0, 60.0, False))


@ends("supply")
def supply(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    return looked((0.0, 0.0, 50.0, True), (10.0, 10.0, 50.0, False))


@ends("loop")
def loop(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    return watched(30.0, held_up_s=10.0).events


def by_the_log(folder: Path, source: str) -> Told_:
    """What the running watch was told of a source, by its log."""
    return [
        SourceOk(source)
        if line.fields["kind"] == "ok"
        else SourceFault(source, line.fields["kind"], line.fields["text"])
        for path in sorted((folder / "log").iterdir())
        for line in Logbook(path)
        if line.event == "fault" and line.fields["source"] == source
    ]


@ends("settings")
def settings(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    async def play() -> None:
        async with running(folder) as run:
            (folder / "cabin.toml").write_text("[cabin]\nvolume_ft3 = 300\n")
            await run.app.reload()
            assert "settings" in run.app.watcher.faults
            config(folder)
            await run.app.reload()

    asyncio.run(play())
    return by_the_log(folder, "settings")


@ends("ask")
def ask(folder: Path, patch: pytest.MonkeyPatch) -> Told_:
    patch.setattr(asks_file, "SOCKET_RETRY_S", 0.05)
    (folder / "ask").mkdir()

    async def play() -> None:
        async with running(folder) as run:
            await run.until(lambda: "ask" in run.app.watcher.faults)
            (folder / "ask").rmdir()
            await run.until(lambda: "ask" not in run.app.watcher.faults)

    asyncio.run(play())
    return by_the_log(folder, "ask")


@ends("trend")
def trend(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    broken = FailingTrend()
    night = Night(scene(co_level(), keys=["co_ppm"], trend=broken))
    told: Told_ = []
    for fails in (True, False):
        broken.fails = fails
        night.hold({"co_ppm": 0.0}, 120.0)
        told.append(night.state.history.sources.get("trend", SourceOk("trend")))
    return told


@ends("chattering button")
def chattering_button(_folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    night = Night(scene(co_level(), keys=["co_ppm"]))
    told: Told_ = []
    for presses in (12, 0):
        for _ in range(presses):
            night.act("ack")
        night.hold({"co_ppm": 0.0}, 1.0 if presses else 600.0)
        told.append(night.state.history.sources.get("button", SourceOk("button")))
    return told


@ends("spans")
def spans(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    """A span that suits no such part; a reload then says that the cell is a new one."""
    told, info = Told(), find_part("frame9_co")
    at = datetime(2026, 1, 10, tzinfo=UTC)
    span = Span("co", "frame9_co", at, 0.0, "ppm", options={"zero_ppm": 1e9})
    SpansFile(folder).add([span], at, 0.0)
    make = maker(folder, told)
    part = PartSettings(kind="frame9_co", port="/dev/co")
    make("co", part, info)
    make("co", changed(part, in_service=at.date() + timedelta(days=1)), info)
    return told


# --- parts and buses -------------------------------------------------------------


def of_part(folder: Path, kind: str) -> Told_:
    fault = {"ds18b20": "zeros", "contact": "vanish"}.get(kind, "stall")
    fails = Fails("part", fault, 200.0, 500.0)
    cabin = run_virtual(live(folder, {"part": kind}, 900.0, fails))
    return [event for _, event in cabin.events if event.source == "part"]


@ends("part on i2c")
def part_on_i2c(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    return of_part(folder, PARTS["i2c"])


@ends("part on serial")
def part_on_serial(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    return of_part(folder, PARTS["serial"])


@ends("part on file")
def part_on_file(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    return of_part(folder, PARTS["file"])


@ends("part on line")
def part_on_line(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    return of_part(folder, PARTS["line"])


@ends("bus")
def bus(folder: Path, _patch: pytest.MonkeyPatch) -> Told_:
    kinds = {"air": "sht4x", "baro": "bme280"}
    cabin = run_virtual(live(folder, kinds, 900.0, Fails("bus", "hold", 200.0, 500.0)))
    return [event for _, event in cabin.events if event.source == "main"]
