"""The emulated parts' fixture."""

import time

import adafruit_bme280.basic
import pytest

from tests.rehearsal.emulated.world import World


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> World:
    """A world whose time passes when a library sleeps."""
    world = World(co2_ppm=1523.0, temp_c=16.5, rh_pct=54.8, pressure_hpa=1013.25)
    monkeypatch.setattr(time, "sleep", world.pass_)
    monkeypatch.setattr(adafruit_bme280.basic, "sleep", world.pass_)
    return world
