"""The emulated cabin lives by the plan's physics."""

from dataclasses import replace
from typing import Any

import pytest

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.planning.figures import cabin_plan, from_config
from cabinvigil.daemon.planning.scenario import scenarios
from cabinvigil.daemon.planning.settle import settled
from cabinvigil.daemon.rehearsal.cabin import EmulatedCabin
from cabinvigil.daemon.rehearsal.nights import NamedNight, NightChange, NightSetting
from cabinvigil.daemon.settings.values import Cabin

STEADY = NamedNight(
    "steady", "the same all night", NightSetting(burner_kw=1.2), hours=30.0
)
CABINS = {
    "nothing stated": {},
    "the shell stated": {"volume_m3": 9.0, "wall_w_k": 60.0, "leak_per_h": 0.6},
    "a single pane": {"volume_m3": 11.0, "glass_u_w_m2k": 5.8},
    "a hut": {"volume_m3": 40.0, "altitude_m": 1800.0, "outdoor_co2_ppm": 600.0},
    "butane": {"volume_m3": 11.0, "fuel": {"butane": 1.0}, "outside_rh_pct": 60.0},
    "a large hut": {"volume_m3": 80.0, "vent_low_cm2": 90.0, "vent_high_cm2": 300.0},
}


@pytest.mark.parametrize("stated", CABINS.values(), ids=CABINS)
def test_a_long_steady_night_ends_where_the_plan_says(stated: dict[str, Any]) -> None:
    """Air, warmth, pane and wall loss, from what a config states and leaves out."""
    cabin = Cabin(name="steady", **stated)
    emulated = EmulatedCabin(cabin, STEADY)
    emulated.advance(STEADY.hours * 3600.0)
    found = emulated.truth()
    first = STEADY.first
    asked = {
        "burner_kw": first.burner_kw,
        "people": first.people,
        "outside_c": first.outside_c,
        "wind_mps": first.wind_mps,
    }
    way = scenarios(cabin_plan({**from_config(cabin), **asked}))[0]
    plan = settled(way)
    assert emulated.zone == way.zone
    assert found.o2_pct == pytest.approx(readings.o2_pct(plan.state), abs=1e-3)
    assert found.co2_ppm == pytest.approx(readings.co2_ppm(plan.state), abs=1.0)
    assert found.co_ppm == pytest.approx(readings.co_ppm(plan.state), rel=2e-3)
    assert found.temp_c == pytest.approx(plan.state.temp_c, abs=0.02)
    rh = min(readings.rh_pct(way.zone, plan.state), 100.0)
    assert found.rh_pct == pytest.approx(rh, abs=0.2)


def test_its_own_cut_off_puts_the_flame_out() -> None:
    """At 18 %, where a plan's flame goes on: 12.8 to 15 % of dry air."""
    shut = replace(STEADY.first, low_open=0.0, high_open=0.0, burner_kw=1.6)
    emulated = EmulatedCabin(Cabin(name="shut"), replace(STEADY, first=shut))
    emulated.advance(3 * 3600.0)
    assert emulated.truth().burn_kw == 0.0
    assert emulated.truth().o2_pct > 17.5


def test_a_heater_that_cut_off_is_lit_again() -> None:
    """The second trial had no flame: the first had ended at the cut-off."""
    shut = replace(STEADY.first, low_open=0.0, high_open=0.0, burner_kw=1.6)
    off = NightChange(3 * 3600.0, {"burner_kw": 0.0, "low_open": 9.0, "high_open": 9.0})
    again = NightChange(5 * 3600.0, {"burner_kw": 0.8})
    night = replace(STEADY, first=shut, changes=(off, again))
    emulated = EmulatedCabin(Cabin(name="shut"), night)
    emulated.advance(3 * 3600.0 - 60.0)
    assert emulated.truth().burn_kw == 0.0
    emulated.advance(5.2 * 3600.0)
    assert emulated.truth().burn_kw == 0.8
