"""GPIO lines, against a stand-in for the kernel and the real package's interface."""

import inspect
import sys
from types import SimpleNamespace

import pytest

from cabinvigil.daemon.outputs.signal.gpio import (
    LineCheck,
    LineError,
    open_button,
    open_gpio,
)
from tests.outputs.hands import HandClock
from tests.outputs.signal.kernel import PIN, SENSE, Kernel
from tests.recording_line import RecordingLine


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


def test_a_missing_sense_line_takes_nothing_from_the_pin(kernel: Kernel) -> None:
    """A proof that cannot be had is told by whoever asks for it."""
    line = open_gpio(PIN, sense="GPIO98")
    line.set(on=True)
    assert kernel.levels[PIN] == 1
    with pytest.raises(LineError, match="GPIO98"):
        line.self_test()
    line.close()
    assert kernel.released == [PIN]


def test_a_sense_line_that_fails_is_let_go_and_taken_anew(kernel: Kernel) -> None:
    line = open_gpio(PIN, sense=SENSE)
    kernel.refuses = {f"get {SENSE}": OSError(5, "Input/output error")}
    with pytest.raises(LineError, match=SENSE):
        line.self_test()
    assert kernel.released == [SENSE]
    kernel.refuses = {}
    assert line.self_test() is LineCheck.HEARD
    line.close()
    assert kernel.released == [SENSE, PIN, SENSE]


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
