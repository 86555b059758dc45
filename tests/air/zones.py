"""Cabins for the tests of the zone: one of every kind, and the project's own."""

from hypothesis import strategies as st

from cabinvigil.daemon.air.atmosphere import OutsideAir, pressure_hpa
from cabinvigil.daemon.air.combustion import FUELS
from cabinvigil.daemon.air.zone import (
    Inputs,
    People,
    Surface,
    Zone,
    ZoneState,
    moles,
    outdoor_state,
)

GASES = ("n2", "o2", "co2", "co", "h2o", "fuel")
TWO = People(3.6e-4, 3.07e-4, 9.2e-4, 124.0)
"""Two sleepers, near breathing.together(2, Person())."""
SHELL = (Surface(1.2, 5.7), Surface(28.0, 1.3))
LAPWING = Zone(11.0, 45.0, 360e3, pressure_hpa(640), SHELL)
BARE = Zone(11.0, 45.0, 360e3, pressure_hpa(640))


def people(count):
    return People(*(count * x for x in (1.8e-4, 1.5e-4, 4.6e-4, 62.0)))


def fractions(state: ZoneState) -> list[float]:
    return [getattr(state, gas) for gas in GASES]


@st.composite
def cabins(draw, surfaces=False, sealed=True):
    shell = ()
    if surfaces:
        shell = (
            Surface(draw(st.floats(0.1, 5)), draw(st.floats(1, 6))),
            Surface(draw(st.floats(1, 40)), draw(st.floats(0.3, 2))),
        )
    volume = draw(st.floats(2, 60))
    zone = Zone(
        volume,
        draw(st.floats(5, 200)),
        draw(st.floats(20e3, 2e6)),
        draw(st.floats(600, 1050)),
        shell,
    )
    outside = OutsideAir(
        draw(st.floats(-35, 25)), draw(st.floats(1, 100)), draw(st.floats(350, 1500))
    )
    inputs = Inputs(
        outside,
        draw(st.floats(0.0 if sealed else 0.002, 0.1)),
        draw(st.floats(0, 0.3)) * volume,
        draw(st.sampled_from(list(FUELS.values()))),
        draw(st.floats(0, 0.2)),
        draw(st.floats(0, 1e-3)),
        people(draw(st.floats(0, 4))),
    )
    return zone, inputs, outdoor_state(zone, outside, draw(st.floats(-20, 30)))


def water(zone, state):
    held = 0.018015 * state.h2o * moles(zone, state.temp_c)
    return held, sum(state.film_kg) + state.drained_kg
