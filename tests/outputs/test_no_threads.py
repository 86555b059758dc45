"""No output is lost for the night because the machine gave no thread at the start."""

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import Record, SourceFault, Transition
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import Output
from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.output import Phone
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.outputs.signal.button import Button
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import LineError
from cabinvigil.daemon.outputs.signal.light import Light
from cabinvigil.daemon.outputs.state_file import StateFile, StateSaver
from tests.outputs.hands import HandClock, Told
from tests.recording_line import RecordingLine

pytestmark = pytest.mark.made_up("hands each output one made up reading")
AIR = Record("air", {"o2_pct": 20.5})


def no_button() -> None:
    raise LineError(2, "GPIO line 'GPIO27': no such line")


def buzzer(_folder: Path, clock: HandClock, told: Told) -> Output:
    def line() -> RecordingLine:
        return RecordingLine(clock)

    return Buzzer(line, clock, told, open_second=line)


def light(_folder: Path, clock: HandClock, told: Told) -> Output:
    return Light(lambda: RecordingLine(clock), clock, told)


def button(_folder: Path, clock: HandClock, told: Told) -> Output:
    return Button(no_button, print, told, clock)  # type: ignore[arg-type]


def log(folder: Path, clock: HandClock, told: Told) -> Output:
    nights = Nights(folder, keep_days=9, max_bytes=10**9, packed=True, zone=UTC)
    return Recorder(nights, clock, told)


def phone(_folder: Path, clock: HandClock, told: Told) -> Output:
    desk = Publisher(
        Messages(Topics("lapwing"), run_of(datetime.now(UTC)), UTC),
        heartbeat_s=30.0,
        readings_s=1.0,
    )
    broker = Broker("127.0.0.1", 1, "cabinvigil-lapwing", tls=False)
    return Phone(broker, desk, clock, told, on_ask=print, on_refused=print)


class State:
    """The state's saver, which is offered states instead of commands."""

    name = "state"

    def __init__(self, folder: Path, clock: HandClock, told: Told) -> None:
        self._saver = StateSaver(StateFile(folder / "state"), clock, told)
        self.start, self.stop = self._saver.start, self._saver.stop

    def handle(self, _command: Record | Transition, _stamp: object) -> None:
        self._saver.offer(lambda: {"a": 1})


Make = Callable[[Path, HandClock, Told], Output]
SOURCES = {"buzzer": ("buzzer", "second-sounder")}


@pytest.mark.parametrize("make", [buzzer, light, button, log, phone, State])
def test_a_thread_that_the_machine_does_not_give_is_asked_for_with_each_tick(
    make: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gives = [False]
    real = threading.Thread.start

    def start(thread: threading.Thread) -> None:
        if not gives[0]:
            raise RuntimeError("can't start new thread")
        real(thread)

    monkeypatch.setattr(threading.Thread, "start", start)
    clock, told = HandClock(), Told()
    output = make(tmp_path, clock, told)
    wanted = set(SOURCES.get(output.name, (output.name,)))
    before = threading.active_count()
    output.start()
    output.handle(AIR, clock.stamp())
    assert threading.active_count() == before
    assert {(e.source, getattr(e, "kind", "ok")) for e in told} == {
        (source, "failed") for source in wanted
    }
    gives[0] = True
    output.handle(AIR, clock.stamp())
    until = time.perf_counter() + 10.0
    while {e.source for e in told if not is_failed(e)} != wanted:
        assert time.perf_counter() < until, told
        time.sleep(0.005)
    output.stop(5.0)
    assert threading.active_count() == before


def is_failed(event: object) -> bool:
    return isinstance(event, SourceFault) and event.kind == "failed"
