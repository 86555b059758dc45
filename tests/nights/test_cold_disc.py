"""An optical disc that soaked in the cold, in a room that was heated since."""

from dataclasses import replace
from typing import Any

import pytest

from cabinvigil.daemon.core.model import Command, Transition
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.narrator import LineWriter
from cabinvigil.daemon.rehearsal.play import Rehearsal, play
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer


class Still:
    """Air that does not change."""

    def __init__(self, air: AirNow) -> None:
        self._air = air

    def advance(self, to_s: float) -> None:
        """Nothing happens."""

    def air_now(self) -> AirNow:
        return self._air

    def truth(self) -> None:
        return None


@pytest.mark.hazard("blind-part")
@pytest.mark.parametrize(("disc_c", "is_doubted"), [(4.0, True), (19.0, False)])
def test_it_is_doubted_while_it_is_below_the_dew_point(
    disc_c: float, is_doubted: bool
) -> None:
    """Air of 20 °C and 60 %: the dew point is 12 °C, and no part reads above 99 %."""
    settings = example()
    settings = replace(settings, watch=changed(settings.watch, tick_s=10.0))
    told: list[str] = []

    def write(command: Command, _time_s: float) -> None:
        if isinstance(command, Transition):
            told.append(command.alarm)

    def outputs(_clock: Any, _report: Any) -> list[Any]:
        return [LineWriter(write)]

    air = AirNow(temp_c=20.0, rh_pct=60.0, o2_pct=20.6, cell_c=disc_c)
    run_virtual(play(Rehearsal(settings, renderer("en"), Still(air), 0.3), outputs))
    assert ("sensor-warming/bunk-o2" in told) is is_doubted
