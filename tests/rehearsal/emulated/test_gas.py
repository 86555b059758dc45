"""Emulated parts for unburnt gas: what they say at which air."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.rehearsal.emulated.gas import EmulatedFrame9Gas, GasBeads
from tests.rehearsal.emulated.world import World, word

ASK = bytes.fromhex("ff 01 86 00 00 00 00 00 79")
"""Data sheet MH-441D, section 6.2."""


def test_the_module_answers_a_count_for_each_percent() -> None:
    """20 % LEL at the sea: 20 counts, give or take its gain; nothing unasked."""
    world = World(gas_lel_pct=20.0, pressure_hpa=1013.25)
    part = world.make(EmulatedFrame9Gas)
    assert part.due_s() is None
    world.pass_(60.0)
    answer = part.receive(ASK)
    assert answer[:2] == b"\xff\x86"
    assert -sum(answer[1:8]) & 0xFF == answer[8]
    assert word(answer[2:]) == pytest.approx(20, abs=2)
    assert part.receive(bytes.fromhex("ff 01 87 00 00 00 00 00 78")) == b""


def test_the_module_lags_and_ends_at_its_range() -> None:
    """90 % within 30 s; beyond its range it stands at it."""
    world = World(pressure_hpa=1013.25)
    part = world.make(EmulatedFrame9Gas, answer_lel_pct=0.5, full_scale_lel_pct=50.0)
    world.pass_(60.0)
    assert word(part.receive(ASK)[2:]) <= 2
    world.air = replace(world.air, gas_lel_pct=40.0)
    world.pass_(30.0)
    assert word(part.receive(ASK)[2:]) == pytest.approx(0.9 * 80, abs=5)
    world.air = replace(world.air, gas_lel_pct=300.0)
    world.pass_(60.0)
    assert word(part.receive(ASK)[2:]) == 100


def test_thin_air_holds_less_of_it() -> None:
    """A share at 795 hPa is a fifth fewer molecules in the light."""
    counts = []
    for hpa in (1013.25, 795.0):
        world = World(gas_lel_pct=80.0, pressure_hpa=hpa)
        part = world.make(EmulatedFrame9Gas)
        world.pass_(60.0)
        counts.append(word(part.receive(ASK)[2:]))
    assert counts[1] / counts[0] == pytest.approx(795.0 / 1013.25, abs=0.02)


def test_the_beads_give_the_sheets_millivolts() -> None:
    """45 mV for 1 % of propane (MC113), whose limit is 1.7 %: 7.65 mV at 10 %."""
    world = World(gas_lel_pct=10.0)
    beads = world.make(GasBeads)
    world.pass_(90.0)
    assert (beads.plus() - beads.minus()) * 1000 == pytest.approx(7.65, rel=0.15)
    assert beads.minus() == pytest.approx(1.4)


def test_rich_air_and_air_without_oxygen_burn_less_on_a_bead() -> None:
    """Its signal falls back to nothing past what burns completely."""

    def mv(**air: float) -> float:
        world = World(**air)
        beads = world.make(GasBeads)
        world.pass_(90.0)
        return float(beads.plus() - beads.minus()) * 1000

    most = mv(gas_lel_pct=250.0)
    assert mv(gas_lel_pct=400.0) == pytest.approx(0.4 * most, rel=0.05)
    assert mv(gas_lel_pct=600.0) == pytest.approx(0.0, abs=0.1)
    assert mv(gas_lel_pct=250.0, o2_pct=5.0) == pytest.approx(0.5 * most, rel=0.05)


def test_a_bridge_without_power_gives_nothing_at_all() -> None:
    """Neither side has a volt, and their difference is that of clean air."""
    beads = World(gas_lel_pct=50.0).make(GasBeads)
    beads.is_dark = True
    assert (beads.plus(), beads.minus()) == (0.0, 0.0)
