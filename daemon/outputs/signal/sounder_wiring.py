"""A sounder's lines as a config names them, and the buzzer on these lines.

Apart from the settings, which a slow machine loads and checks for seconds: the sounder
is had before that.
"""

from collections.abc import Callable
from threading import Event
from typing import NamedTuple

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.base import FaultSink
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import GpioOut
from cabinvigil.daemon.outputs.signal.tone import is_tone_name, open_tone

OpenLine = Callable[..., GpioOut]
"""`open_gpio`, or what stands in for it in tests."""
Hold = Callable[[str, Callable[[], GpioOut]], Callable[[], GpioOut]]
"""`Pins.held`, or `unheld`."""


class SounderWiring(NamedTuple):
    """The config's table `[buzzer]`, key by key."""

    line: str
    active_low: bool = False
    second_line: str | None = None
    sense_line: str | None = None
    tone_hz: float | None = None


def unheld(_name: str, open_line: Callable[[], GpioOut]) -> Callable[[], GpioOut]:
    """Hold a line nowhere."""
    return open_line


def make_buzzer(
    wiring: SounderWiring,
    clock: Clock,
    report: FaultSink,
    open_line: OpenLine,
    hold: Hold = unheld,
) -> Buzzer:
    """Make the buzzer; it takes no line before its start.

    Args:
        wiring: its lines.
        clock: for its own threads.
        report: takes its faults, from those threads.
        open_line: takes a GPIO by name.
        hold: put around what opens a line: who ends the monitor holds them all.
    """
    second = wiring.second_line
    return Buzzer(
        hold("sounder's line", _line_of(wiring, open_line)),
        clock,
        report,
        open_second=None
        if second is None
        else hold("second sounder's line", lambda: open_line(second)),
    )


def _line_of(wiring: SounderWiring, open_line: OpenLine) -> Callable[[], GpioOut]:
    if is_tone_name(wiring.line):
        return lambda: open_tone(wiring.line, wiring.tone_hz or 520.0, pause=_pause)
    return lambda: open_line(
        wiring.line, active_low=wiring.active_low, sense=wiring.sense_line or ""
    )


def _pause(for_s: float) -> None:
    Event().wait(for_s)
