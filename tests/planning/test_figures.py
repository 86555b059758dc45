"""What a plan is made from, and how a figure that cannot be is refused."""

import math

import pytest

from cabinvigil.daemon.air.combustion import PROPANE
from cabinvigil.daemon.air.figures import wall_loss_w_k
from cabinvigil.daemon.planning.figures import (
    ACCEPTED,
    BurnWindow,
    CabinPlan,
    PlanError,
    burn_window,
    cabin_plan,
    from_config,
)

BAD = [
    ("volume_m3", "11 kg"),
    ("volume_m3", "0"),
    ("volume_m3", "-3"),
    ("vent_low_cm2", "40 %"),
    ("vent_high_cm2", "-1"),
    ("outside_c", "300"),
    ("outside_rh_pct", "130"),
    ("burner_kw", "nan"),
    ("burner_kw", "inf"),
    ("people", "two"),
    ("hours", "0"),
    ("glass_u", ""),
    ("altitude_m", "9000"),
    ("cylinder_kg", "0"),
    ("wind_mps", "1,5"),
    ("leak_per_h", "-0.1"),
]


@pytest.mark.parametrize(("key", "typed"), BAD)
def test_a_figure_that_cannot_be_is_refused_with_what_is_accepted(key, typed):
    """One sentence: which option, what was typed, the range and the unit."""
    with pytest.raises(PlanError) as caught:
        cabin_plan({key: typed}, options=frozenset({key}))
    (sentence,) = caught.value.sentences
    accepted = ACCEPTED[key]
    assert "--" + key.replace("_", "-") in sentence
    assert f"from {accepted.low:g} to {accepted.high:g}" in sentence
    assert accepted.unit in sentence
    assert "\n" not in sentence


def test_every_mistake_is_told_at_once():
    """Two wrong figures, two sentences; a config's key is told by its own name."""
    with pytest.raises(PlanError) as caught:
        cabin_plan({"volume_m3": "x", "hours": 99}, options=frozenset({"hours"}))
    assert len(caught.value.sentences) == 2
    assert caught.value.sentences[0].startswith("volume_m3 ")


def test_more_people_than_fit_are_refused():
    """A cubic metre a sleeper, and the sentence says how many fit."""
    with pytest.raises(PlanError, match="do not fit into 4 m³: give 0 to 4"):
        cabin_plan({"volume_m3": 4, "people": 5})
    assert cabin_plan({"volume_m3": 4, "people": 4}).people == 4


def test_nothing_given_is_the_lapwing():
    """11 m3, two berths, 1.6 kW, 150 and 150 cm2 1.6 m apart, 640 m, -9 C."""
    lapwing = cabin_plan({})
    assert lapwing == CabinPlan()
    assert (lapwing.volume_m3, lapwing.people, lapwing.burner_kw) == (11.0, 2.0, 1.6)
    assert (lapwing.vent_low_cm2, lapwing.vent_height_m) == (150.0, 1.6)
    assert (lapwing.altitude_m, lapwing.outside_c) == (640.0, -9.0)
    assert lapwing.gas.hhv_mj_kg == pytest.approx(PROPANE.hhv_mj_kg)


def test_with_another_volume_walls_and_leak_are_no_longer_the_lapwings():
    """28 W/K and 0.15 changes an hour are hers alone; of 11 m3 nobody knows more."""
    assert (CabinPlan().loss_w_k, CabinPlan().leak_per_h) == (28.0, 0.15)
    other = cabin_plan({"volume_m3": 11.0})
    assert (other.wall_w_k, other.leak_per_h) == (None, None)
    assert other.loss_w_k == wall_loss_w_k(11.0)
    stated = cabin_plan({"volume_m3": 40.0, "wall_w_k": 70.0, "leak_per_h": 0.5})
    assert (stated.loss_w_k, stated.leak_per_h) == (70.0, 0.5)
    colder = cabin_plan({"outside_c": -20.0})
    assert (colder.loss_w_k, colder.leak_per_h) == (28.0, 0.15)


def test_a_configs_cabin_gives_the_same_names():
    """Keys of [cabin], None for unknown; the pane's key is spelled longer there."""

    class Cabin:
        name = "lapwing"
        volume_m3 = 9.5
        people = None
        glass_u_w_m2k = 5.8
        vent_height_m = 1.4
        fuel = {"propane": 0.7, "butane": 0.3}  # noqa: RUF012

    given = from_config(Cabin())
    cabin = cabin_plan(given)
    assert (cabin.volume_m3, cabin.people, cabin.glass_u) == (9.5, 2.0, 5.8)
    assert cabin.vent_height_m == 1.4
    assert sum(cabin.liquid.values()) == pytest.approx(1.0)
    assert cabin.liquid["propane"] > 0.7  # by mole: it is the lighter one
    assert from_config({"volume_m3": 7.0}) == {"volume_m3": 7.0, "altitude_m": 0.0}
    assert cabin_plan({"fuel": "butane"}).liquid == {"butane": 1.0}


@pytest.mark.parametrize(
    ("words", "window"),
    [
        ("20:00-22:00", BurnWindow(8.0, 10.0)),
        ("22:30-06:15", BurnWindow(10.5, 18.25)),
        ("06:00-07:00", BurnWindow(18.0, 19.0)),
        ("11:00-12:00", BurnWindow(23.0, 24.0)),
        ("23:00-00:00", BurnWindow(11.0, 12.0)),
    ],
)
def test_burner_times_run_from_noon_to_noon(words, window):
    """A night belongs to one evening and the next morning."""
    read = burn_window(words)
    assert math.isclose(read.from_h, window.from_h)
    assert math.isclose(read.to_h, window.to_h)


@pytest.mark.parametrize(
    "words",
    [
        "",
        "8xm-10pm",
        "13pm-2am",
        "0am-2am",
        "22-23",
        "22:00",
        "22:00-21:00",
        "11:00-13:00",
        "25:00-1:00",
    ],
)
def test_burner_times_that_cannot_be_are_refused(words):
    """One sentence that shows how to write them."""
    with pytest.raises(PlanError, match="20:00-22:00"):
        burn_window(words)
