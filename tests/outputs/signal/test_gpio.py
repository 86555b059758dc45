"""GPIO lines, against a stand-in for the kernel and the real package's interface."""

import inspect
import sys
from types import SimpleNamespace
from typing import Any

import pytest

from cabinvigil.daemon.outputs.signal import gpio as lines
from cabinvigil.daemon.outputs.signal.gpio import (
    LineCheck,
    LineError,
    open_button,
    open_gpio,
)
from tests.outputs.hands import HandClock
from tests.recording_line import RecordingLine

PIN, SENSE = "GPIO17", "GPIO27"


class Kernel:
    """Two chips; the header's lines are on the second, as on some Pis."""

    def __init__(self) -> None:
        self.names = {"/dev/gpiochip0": {"ETH_RST": 0}, "/dev/gpiochip4": {PIN: 17}}
        self.names["/dev/gpiochip4"][SENSE] = 27
        self.levels: dict[str, int] = {}
        self.settings: dict[str, Any] = {}
        self.refuses: dict[str, OSError] = {}
        self.released: list[str] = []
        self.events: list[Any] = []
        self.gpiod = self._package()

    def _package(self) -> SimpleNamespace:
        line = SimpleNamespace(
            Value=SimpleNamespace(ACTIVE=1, INACTIVE=0),
            Direction=SimpleNamespace(OUTPUT="out", INPUT="in"),
            Edge=SimpleNamespace(BOTH="both"),
            Bias=SimpleNamespace(PULL_UP="up", PULL_DOWN="down"),
        )
        kernel = self

        class Chip:
            def __init__(self, path: str) -> None:
                kernel.refuse("open")
                self.path = path

            def __enter__(self) -> "Chip":
                return self

            def __exit__(self, *_: object) -> None:
                return

            def line_offset_from_id(self, name: str) -> int:
                if name not in kernel.names[self.path]:
                    raise FileNotFoundError(2, "no such line")
                return kernel.names[self.path][name]

        class Request:
            def __init__(self, name: str) -> None:
                self.name = name

            def set_value(self, name: str, value: int) -> None:
                kernel.refuse("set")
                assert name == self.name
                kernel.levels[name] = value

            def get_value(self, name: str) -> int:
                kernel.refuse("get")
                return kernel.levels[name]

            def release(self) -> None:
                kernel.released.append(self.name)
                kernel.refuse("release")

            def wait_edge_events(self, timeout: float) -> bool:
                kernel.refuse("wait")
                return bool(kernel.events)

            def read_edge_events(self) -> list[Any]:
                got, kernel.events = kernel.events, []
                return got

        def request_lines(path: str, config: dict[str, Any], consumer: str) -> Request:
            kernel.refuse("request")
            ((name, settings),) = config.items()
            assert name in kernel.names[path]
            kernel.settings[name] = settings
            kernel.levels[name] = settings.get("output_value", 0)
            return Request(name)

        return SimpleNamespace(
            line=line,
            Chip=Chip,
            request_lines=request_lines,
            LineSettings=lambda **settings: settings,
            EdgeEvent=SimpleNamespace(Type=SimpleNamespace(RISING_EDGE=1)),
        )

    def refuse(self, what: str) -> None:
        if what in self.refuses:
            raise self.refuses[what]


@pytest.fixture
def kernel(monkeypatch: pytest.MonkeyPatch) -> Kernel:
    kernel = Kernel()
    monkeypatch.setitem(sys.modules, "gpiod", kernel.gpiod)
    monkeypatch.setattr(
        lines.glob, "glob", lambda pattern: list(kernel.names) if kernel.names else []
    )
    return kernel


def test_a_line_is_found_by_name_on_whichever_chip(kernel: Kernel) -> None:
    """The header of one Pi sits on another chip than that of the next."""
    line = open_gpio(PIN, active_low=True)
    assert kernel.settings[PIN]["active_low"] is True
    assert kernel.levels[PIN] == 0
    line.set(on=True)
    assert kernel.levels[PIN] == 1


def test_closing_leaves_the_pin_inactive_and_released(kernel: Kernel) -> None:
    """The safe state at exit, however often it is closed."""
    line = open_gpio(PIN, sense=SENSE)
    line.set(on=True)
    line.close()
    line.close()
    assert kernel.levels[PIN] == 0
    assert kernel.released == [PIN, SENSE]


def test_closing_a_pin_that_is_gone_is_no_error(kernel: Kernel) -> None:
    line = open_gpio(PIN)
    kernel.refuses = {"set": OSError(19, "gone"), "release": OSError(19, "gone")}
    line.close()
    assert kernel.released == [PIN]


def test_the_sense_line_says_what_is_heard(kernel: Kernel) -> None:
    line = open_gpio(PIN, sense=SENSE)
    line.set(on=True)
    assert line.self_test() is LineCheck.NOT_HEARD
    kernel.levels[SENSE] = 1
    assert line.self_test() is LineCheck.HEARD
    line.set(on=False)
    assert line.self_test() is LineCheck.NOT_HEARD


def test_without_a_sense_line_the_pin_itself_is_read_back(kernel: Kernel) -> None:
    """A pin shorted to ground reads low though it was set high."""
    line = open_gpio(PIN)
    line.set(on=True)
    assert line.self_test() is LineCheck.DRIVEN
    kernel.levels[PIN] = 0
    assert line.self_test() is LineCheck.NOT_DRIVEN


@pytest.mark.parametrize(
    ("where", "error", "word"),
    [
        ("open", OSError(13, "Permission denied"), "group 'gpio'"),
        ("request", OSError(16, "Device or resource busy"), "another program"),
        ("request", OSError(1, "Operation not permitted"), "DeviceAllow"),
        ("request", OSError(5, "Input/output error"), "wiring"),
    ],
)
def test_each_refusal_names_the_line_and_the_remedy(
    kernel: Kernel, where: str, error: OSError, word: str
) -> None:
    kernel.refuses = {where: error}
    with pytest.raises(LineError, match=PIN) as caught:
        open_gpio(PIN)
    assert word in str(caught.value)
    assert "Errno" not in str(caught.value)
    assert caught.value.errno == error.errno


def test_an_unknown_name_says_how_to_list_names(kernel: Kernel) -> None:
    with pytest.raises(LineError, match="gpioinfo"):
        open_gpio("GPIO99")


def test_a_machine_without_gpio_says_so(kernel: Kernel) -> None:
    kernel.names = {}
    with pytest.raises(LineError, match="is it a Pi"):
        open_gpio(PIN)


def test_a_missing_sense_line_releases_the_pin(kernel: Kernel) -> None:
    with pytest.raises(LineError, match="GPIO98"):
        open_gpio(PIN, sense="GPIO98")
    assert kernel.released == [PIN]


def test_a_missing_package_names_the_install_command(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "gpiod", None)
    with pytest.raises(LineError, match=f"{sys.prefix}/bin/pip install 'gpiod"):
        open_gpio(PIN)


@pytest.mark.parametrize("step", ["set", "get"])
def test_a_pin_that_fails_later_is_a_named_error(kernel: Kernel, step: str) -> None:
    line = open_gpio(PIN)
    kernel.refuses = {step: OSError(5, "Input/output error")}
    with pytest.raises(LineError, match=PIN):
        line.set(on=True) if step == "set" else line.self_test()


def test_the_button_gives_presses_with_the_kernels_time(kernel: Kernel) -> None:
    button = open_button(SENSE)
    assert kernel.settings[SENSE]["bias"] == "up"
    assert button.wait(0.0) == ()
    kernel.events = [
        SimpleNamespace(event_type=1, timestamp_ns=1_500_000_000),
        SimpleNamespace(event_type=2, timestamp_ns=1_700_000_000),
    ]
    assert button.wait(0.0) == [(True, 1.5), (False, 1.7)]
    kernel.refuses = {"wait": OSError(19, "No such device")}
    with pytest.raises(LineError, match=SENSE):
        button.wait(0.0)
    kernel.refuses = {"release": OSError(19, "No such device")}
    button.close()


def test_a_recording_is_driven_and_bounded() -> None:
    """What stands for the line in other tests does what a line does."""
    clock = HandClock()
    recording = RecordingLine(clock, bound=10)
    for number in range(25):
        clock.now_s = float(number)
        recording.set(on=number % 2 == 0)
    assert len(recording.changes) <= 10
    assert recording.changes[-1] == (24.0, True)
    assert recording.self_test().is_good
    recording.close()
    assert recording.changes[-1] == (24.0, False)


def test_the_real_package_has_every_call_we_make() -> None:
    """The stand-in above is only as good as its likeness to gpiod itself."""
    gpiod = pytest.importorskip("gpiod", reason="the extra 'pi' is not installed")
    settings = inspect.signature(gpiod.LineSettings).parameters
    assert {
        "direction", "edge_detection", "bias", "active_low", "output_value",
    } <= set(settings)  # fmt: skip
    assert "path" in inspect.signature(gpiod.request_lines).parameters
    # It hands the rest on to the chip; gpiod 2.1 does not name it before.
    asked = inspect.signature(gpiod.Chip.request_lines).parameters
    assert {"config", "consumer"} <= set(asked)
    for name in (
        "set_value", "get_value", "release", "wait_edge_events", "read_edge_events",
    ):  # fmt: skip
        assert callable(getattr(gpiod.LineRequest, name))
    assert callable(gpiod.Chip.line_offset_from_id)
    assert gpiod.line.Value.ACTIVE != gpiod.line.Value.INACTIVE
    assert gpiod.line.Direction.OUTPUT != gpiod.line.Direction.INPUT
    assert gpiod.line.Bias.PULL_UP != gpiod.line.Bias.PULL_DOWN
    assert gpiod.line.Edge.BOTH
    assert gpiod.EdgeEvent.Type.RISING_EDGE
    gpiod.LineSettings(
        direction=gpiod.line.Direction.OUTPUT,
        active_low=True,
        output_value=gpiod.line.Value.INACTIVE,
    )
