"""A carbon monoxide module that was set to nothing in foul air, heard by the watch."""

from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.model import AlarmState, Command, Priority, Transition
from cabinvigil.daemon.rehearsal.narrator import LineWriter
from cabinvigil.daemon.rehearsal.nights import NIGHTS
from cabinvigil.daemon.rehearsal.play import emulated_night, play
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer


def test_it_is_named_and_nobody_is_woken() -> None:
    """Zeroed at 9 ppm it shows -9 in clean air: its wiring is well."""
    settings = example()
    module = changed(settings.parts["bunk-co"], options={"zero_ppm": 9.0})
    settings = replace(
        settings,
        parts={**settings.parts, "bunk-co": module},
        watch=changed(settings.watch, tick_s=10.0),
    )
    rang: list[Transition] = []

    def write(command: Command, _time_s: float) -> None:
        is_told = isinstance(command, Transition) and "co" in command.alarm
        if is_told and command.state is AlarmState.UNACKNOWLEDGED:
            rang.append(command)

    def outputs(_clock: Any, _report: Any) -> list[Any]:
        return [LineWriter(write)]

    night = emulated_night(settings, renderer("en"), NIGHTS["quiet"], 0.5, seed=1)
    run_virtual(play(night, outputs))
    (only,) = rang
    assert (only.alarm, only.priority) == ("sensor-implausible/co_ppm", Priority.LOW)
    assert "its zero was taken in foul air" in only.text
