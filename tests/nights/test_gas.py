"""Unburnt gas in the night: told as what it is, long before the air it displaces."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import Alert, Command, Priority, Sound, Transition
from cabinvigil.daemon.rehearsal.cabin import Truth
from cabinvigil.daemon.rehearsal.narrator import LineWriter
from cabinvigil.daemon.rehearsal.nights import NIGHTS
from cabinvigil.daemon.rehearsal.play import emulated_night, play
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer

MODULE = """
[part.floor-gas]
kind = "frame9_gas"
port = "/dev/serial/by-path/usb-7"
place = "floor"
pressure_from = "baro"
temperature_from = "bunk-air"
humidity_from = "bunk-air"
in_service = 2026-01-01
options = { answer_lel_pct = 1.0 }
"""
BEADS = """
[part.floor-gas]
kind = "gas_bead_ads1115"
bus = "main"
address = 0x4b
place = "floor"
temperature_from = "bunk-air"
humidity_from = "bunk-air"
in_service = 2026-01-01
options = { mv_per_lel_pct = 0.765 }
"""
HOURS = 3.4
LEAK_S = 3.0 * 3600.0
LIMIT_PCT, NO_QUIET_PCT = 10.0, 20.0
"""29 CFR 1910.146(b); EN 50194-1 (from memory)."""
LATE_S = 60.0
"""A module's lag of 13 s, its class and half a tick: own figure."""


class Night:
    """The leak, with one gas part more in the Lapwing."""

    def __init__(self, part: str, folder: Path) -> None:
        path = folder / "cabin.toml"
        path.write_text(packaged("cabin.toml").read_text("utf-8") + part, "utf-8")
        settings = load(path)
        settings = replace(settings, watch=changed(settings.watch, tick_s=5.0))
        self.commands: list[tuple[float, Command]] = []
        self.truths: list[Truth] = []
        night = emulated_night(settings, renderer("en"), NIGHTS["leak"], HOURS, seed=1)

        def write(command: Command, time_s: float) -> None:
            self.commands.append((time_s, command))

        def outputs(_clock: Any, _report: Any) -> list[Any]:
            return [LineWriter(write)]

        run_virtual(play(night, outputs, self.truths.append))

    def raised(self, alarm: str) -> list[tuple[float, Transition]]:
        return [
            (at_s, one)
            for at_s, one in self.commands
            if isinstance(one, Transition)
            and one.alarm == alarm
            and one.state.value == "unacknowledged"
        ]

    def crossing_s(self, lel_pct: float) -> float:
        """When there truly was so much gas, between two minutes."""
        for before, after in zip(self.truths, self.truths[1:], strict=False):
            if before.gas_lel_pct < lel_pct <= after.gas_lel_pct:
                share = (lel_pct - before.gas_lel_pct) / (
                    after.gas_lel_pct - before.gas_lel_pct
                )
                return before.time_s + share * (after.time_s - before.time_s)
        raise AssertionError(lel_pct)


@pytest.fixture(
    scope="module",
    params=[
        # A night is played once, by one worker.
        pytest.param(MODULE, id="module", marks=pytest.mark.xdist_group("gas-module")),
        pytest.param(BEADS, id="beads", marks=pytest.mark.xdist_group("gas-beads")),
    ],
)
def night(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Night:
    """Each is played once for all tests of this file."""
    return Night(request.param, tmp_path_factory.mktemp("gas"))


def test_gas_rings_at_a_tenth_of_the_limit_and_not_before(night: Night) -> None:
    """At most a minute after the truth, a tenth of the way to what can burn."""
    (first_s, first), *_ = night.raised("gas-leak")
    crossed_s = night.crossing_s(LIMIT_PCT)
    assert LEAK_S < first_s <= crossed_s + LATE_S
    assert first_s >= night.crossing_s(0.7 * LIMIT_PCT)
    assert first.priority is Priority.HIGH


def test_it_rings_before_the_air_that_it_displaces(night: Night) -> None:
    """By minutes: 0.7 % of the air is four times the tenth of propane's 1.7 %."""
    gas_s = night.raised("gas-leak")[0][0]
    displaced = night.raised("displaced-air")
    assert displaced
    assert displaced[0][0] - gas_s > 60.0


def test_its_act_is_no_flame_no_switch_and_out(night: Night) -> None:
    """To the phone as to the log; nobody is told to go to the heater."""
    (first_s, first), *_ = night.raised("gas-leak")
    said = "Get everyone outside now: no flames, no switches."
    assert first.text.endswith(said)
    texts = [
        one.text
        for at_s, one in night.commands
        if isinstance(one, Alert) and at_s == first_s
    ]
    assert any(text.endswith(said) for text in texts)
    sounds = [
        one.pattern
        for at_s, one in night.commands
        if isinstance(one, Sound) and at_s >= first_s
    ]
    assert sounds[0] not in ("quiet", "chirp")


def test_nothing_rings_for_gas_before_the_hose_comes_off(night: Night) -> None:
    """Three hours of clean air, heater and all."""
    of_gas = ("gas-leak", "displaced-air")
    early = [
        one.alarm
        for at_s, one in night.commands
        if isinstance(one, Transition) and at_s < LEAK_S
    ]
    assert not set(early) & {*of_gas, "sensor-fault/floor-gas"}


def test_past_a_fifth_of_the_limit_no_answer_quiets_it(tmp_path: Path) -> None:
    """The limit that a gas alarm for homes has to ring by (EN 50194-1)."""
    path = tmp_path / "cabin.toml"
    path.write_text(packaged("cabin.toml").read_text("utf-8") + MODULE, "utf-8")
    params = load(path).alarms["gas-leak"].params
    assert [step.at for step in params.steps] == [LIMIT_PCT]
    assert params.no_quiet_at == NO_QUIET_PCT
