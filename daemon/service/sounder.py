"""The sounder with what holds its pins: had before the rest of the monitor is loaded.

On a slow machine loading the rest takes many seconds.  Of the config this needs the one
table `[buzzer]`, and it drives no level but silence until the monitor takes it over.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from threading import Event, Lock
from typing import Any

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs.base import FaultSink
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.sounder_wiring import (
    OpenLine,
    SounderWiring,
    make_buzzer,
)
from cabinvigil.daemon.outputs.signal.tone import HIGHEST_HZ, LOWEST_HZ, is_tone_name
from cabinvigil.daemon.service.pins import Pins
from cabinvigil.daemon.settings.errors import ConfigError
from cabinvigil.daemon.settings.read import read_toml
from cabinvigil.daemon.settings.with_units import in_our_units

FIRST_ROUND_S = 1.0
"""So long the rest waits for the sounder's thread, lest it takes the processor from it:
our choice, half of what the sounder may take."""
LOOK_S = 0.005
END_S = 1.0
_NAME = re.compile(r"[A-Za-z0-9_./-]{1,32}")


class HeldFaults:
    """Keeps what the sounder tells of itself until there is a monitor to tell."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._kept: list[SourceFault | SourceOk] = []
        self._sink: FaultSink | None = None

    def __call__(self, event: SourceFault | SourceOk) -> None:
        """Take an event, from the sounder's threads."""
        with self._lock:
            if self._sink is None:
                self._kept.append(event)
                return
        self._sink(event)

    def pass_to(self, sink: FaultSink) -> None:
        """Hand on what was kept, and from now on all that comes, at once."""
        with self._lock:
            for event in self._kept:
                sink(event)
            self._kept.clear()
            self._sink = sink


@dataclass(frozen=True)
class Sounder:
    """The buzzer, the pins that are held, and its faults."""

    wiring: SounderWiring | None
    """None: the config has no buzzer."""
    buzzer: Buzzer | None
    pins: Pins
    faults: HeldFaults

    @classmethod
    def make(
        cls, wiring: SounderWiring | None, clock: Clock, open_line: OpenLine
    ) -> "Sounder":
        """Make it; no line is taken before the buzzer's start."""
        pins, faults = Pins(clock), HeldFaults()
        buzzer = (
            None
            if wiring is None
            else make_buzzer(wiring, clock, faults, open_line, pins.held)
        )
        return cls(wiring, buzzer, pins, faults)

    @classmethod
    def taken_over(
        cls,
        early: "Sounder | None",
        wiring: SounderWiring | None,
        clock: Clock,
        open_line: OpenLine,
    ) -> "Sounder":
        """Return the one that was started early, or one with the checked wiring."""
        if early is not None and early.wiring == wiring:
            return early
        if early is not None:
            early.end()  # the config was written again in between
        return cls.make(wiring, clock, open_line)

    def end(self) -> None:
        """Fall silent and let the lines go, where no monitor took it over."""
        if self.buzzer is not None:
            self.buzzer.stop(END_S)


def start_early(path: Path, clock: Clock, open_line: OpenLine) -> Sounder | None:
    """Start the sounder of a config that nobody has checked yet.

    Returns:
        None where there is none, or where anything about it is wrong: what, is for the
        checked settings to say.
    """
    try:
        wiring = wiring_in(in_our_units(read_toml(path), []))
    except ConfigError:
        return None
    if wiring is None:
        return None
    sounder = Sounder.make(wiring, clock, open_line)
    assert sounder.buzzer is not None
    sounder.buzzer.start()
    until_s = clock.monotonic() + FIRST_ROUND_S
    while not isfinite(sounder.buzzer.alive_at_s()) and clock.monotonic() < until_s:
        Event().wait(LOOK_S)
    return sounder


def wiring_in(tables: Mapping[str, Any]) -> SounderWiring | None:
    """Return the sounder's lines, where the settings' own checks would take them."""
    table = tables.get("buzzer")
    if not isinstance(table, dict) or not {"line"} <= set(table) <= set(_FIELDS):
        return None
    wiring = SounderWiring(**table)
    names = [wiring.line, wiring.second_line, wiring.sense_line]
    others = [tables.get(name) for name in ("light", "button")]
    lines: list[Any] = [name for name in names if name is not None]
    lines += [other.get("line") for other in others if isinstance(other, dict)]
    has_tone = wiring.tone_hz is not None
    is_good = (
        all(isinstance(name, str) and _NAME.fullmatch(name) for name in lines)
        and len(set(lines)) == len(lines)
        and isinstance(wiring.active_low, bool)
        and has_tone == is_tone_name(wiring.line)
        and (not has_tone or _is_pitch(wiring.tone_hz))
    )
    return wiring if is_good else None


def _is_pitch(value: Any) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return is_number and LOWEST_HZ <= value <= HIGHEST_HZ


_FIELDS = SounderWiring._fields
