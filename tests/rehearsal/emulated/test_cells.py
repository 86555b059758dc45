"""Emulated electrochemical cells: what they give at which air."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.rehearsal.emulated.cells import CoCell, GalvanicO2Cell
from tests.rehearsal.emulated.world import World


def test_the_galvanic_cell_follows_partial_pressure_and_settles() -> None:
    """9 to 13 mV in 210 mbar; 90 % of a step within 15 s; 3 % high when fresh."""
    world = World(o2_pct=20.725, pressure_hpa=1013.25, temp_c=20.0)
    cell = world.make(GalvanicO2Cell)
    fresh_mv = cell.volts() * 1000
    world.pass_(1000.0)
    settled_mv = cell.volts() * 1000
    assert settled_mv == pytest.approx(cell.air_mv, abs=0.3)
    assert fresh_mv / settled_mv == pytest.approx(1.03, abs=0.01)
    world.air = replace(world.air, o2_pct=0.0)
    world.pass_(15.0)
    assert cell.volts() * 1000 < 0.1 * settled_mv + 0.25
    cell.is_open = True
    assert abs(cell.volts()) < 1e-4


def test_the_co_cell_gives_the_sheets_current() -> None:
    """35 ppm over 10 kOhm are 183.75 mV at the middle of the band (vector co_cell)."""
    world = World(co_ppm=35.0, temp_c=20.0)
    assert world.make(CoCell).volts() * 1000 == pytest.approx(183.75, rel=0.1)
    assert CoCell.relative(50.0) == pytest.approx(1.175)
    assert CoCell.relative(-60.0) == pytest.approx(0.15)
