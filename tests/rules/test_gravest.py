"""No rule ever says more than it said it could: who may put an alarm aside hangs on it.

Over random histories of a whole cabin, with doubtful and saturated values, silence,
faults of parts and of the watch, and with ladders of any priorities.
"""

from functools import cache
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon import rules
from cabinvigil.daemon.compose.compose import compose
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    AlarmState,
    Priority,
    SourceFault,
    SourceOk,
)
from cabinvigil.daemon.core.setup import Setup
from cabinvigil.daemon.rules import dose, level, rate
from cabinvigil.daemon.sampling.wiring import part_infos
from cabinvigil.daemon.settings.config import Settings, example
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer
from tests.core.scenario import Night

WORDS = st.sampled_from(["low", "medium", "high"])
RANGES = {
    "o2_pct": (0.0, 31.0),
    "o2_hpa": (0.0, 300.0),
    "co_ppm": (-5.0, 600.0),
    "co2_ppm": (200.0, 50_000.0),
    "gas_lel_pct": (-1.0, 60.0),
    "temp_c": (-30.0, 50.0),
    "rh_pct": (0.0, 100.0),
    "pressure_hpa": (850.0, 1050.0),
    "pm2_5_ugm3": (0.0, 900.0),
    "supply_v": (9.0, 15.0),
    "supply_a": (-10.0, 20.0),
}
KINDS = ("absent", "checksum", "late")


@cache
def trailer() -> Settings:
    return example()


@st.composite
def setups(draw: st.DrawFn) -> Setup:
    """The trailer's own core, its ladders with any priorities."""
    cabin = trailer()
    alarms = dict(cabin.alarms)
    for name, alarm in alarms.items():
        params: Any = alarm.params
        if isinstance(params, level.Params | dose.Params):
            steps: Any = [
                attrs.evolve(step, priority=draw(WORDS)) for step in params.steps
            ]
            params = attrs.evolve(params, steps=steps)
        elif isinstance(params, rate.Params):
            params = attrs.evolve(params, priority=draw(WORDS))
        alarms[name] = changed(alarm, params=params)
    parts = dict(cabin.parts)
    if draw(st.booleans()):
        parts["roof-o2"] = changed(parts["bunk-o2"], place="ceiling")
    infos = part_infos(parts)
    return compose(cabin.cabin, parts, infos, alarms, renderer("en")).setup


def _ticks(draw: st.DrawFn, setup: Setup, night: Night) -> None:
    keys = sorted(setup.layout.series)
    levels = {
        key: draw(st.floats(*RANGES[next(q for q in RANGES if key.startswith(q))]))
        for key in keys
    }
    rng = draw(st.randoms(use_true_random=False))
    some = st.sets(st.sampled_from(keys), max_size=len(keys))
    doubtful, still = draw(some), draw(some)
    for _ in range(draw(st.integers(1, 15))):
        quiet = set(draw(st.sets(st.sampled_from(keys), max_size=6)))
        values = {
            key: round(value * (1.0 if key in still else rng.uniform(0.9, 1.1)), 1)
            for key, value in levels.items()
            if key not in quiet
        }
        at_least = draw(st.sets(st.sampled_from(keys), max_size=2))
        after_s = draw(st.sampled_from([1.0, 4.0, 60.0, 600.0]))
        night.air(values, after_s, doubtful=doubtful, at_least=at_least)
        source = draw(st.sampled_from(["bunk-o2", "bunk-co", "log", "mqtt"]))
        if draw(st.booleans()):
            night.take(SourceFault(source, draw(st.sampled_from(KINDS)), "a text"))
        else:
            night.take(SourceOk(source))
    for _ in range(draw(st.sampled_from([0, 200]))):  # long enough to be stuck, or cold
        values = {key: levels[key] + 0.01 * rng.random() for key in keys}
        values |= {key: levels[key] for key in still}
        night.air(values, 4.0, doubtful=doubtful)


@given(st.data())
@settings(max_examples=20, deadline=None)
def test_no_verdict_is_graver_than_its_rule_can_be(data: st.DataObject) -> None:
    """Raised or held; an alarm's own stand is bounded by it too."""
    setup = data.draw(setups())
    night = Night(setup)
    _ticks(data.draw, setup, night)
    for spec in setup.alarms:
        verdict = spec.judge(spec.params, night.state.history, night.now)
        if verdict is not None:
            for said in (verdict.priority, verdict.hold):
                assert said is None or said <= spec.gravest, spec.id
    for one in night.transitions():
        by_id = {spec.id: spec.gravest for spec in setup.alarms}
        assert one.state is AlarmState.NORMAL or one.priority <= by_id[one.alarm]


@pytest.mark.hazard("silenced-by-shelving")
@given(st.data())
@settings(max_examples=6, deadline=None)
def test_what_can_wake_is_put_aside_by_nobody(data: st.DataObject) -> None:
    """Standing or not, from the phone or from the bunk, with an end or without."""
    setup = data.draw(setups())
    night = Night(setup)
    _ticks(data.draw, setup, night)
    for kind in (ActKind.SHELVE, ActKind.OUT_OF_SERVICE):
        for by in ("phone", "socket", "button"):
            for spec in setup.alarms:
                night.take(Act(kind, spec.id, by, for_s=3600.0), 3.0)
    for spec in setup.alarms:
        if spec.gravest >= Priority.MEDIUM:
            state = night.standing(spec.id).state
            assert state not in (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)


@pytest.mark.parametrize("kind", rules.kinds())
def test_every_rule_says_how_grave_it_can_be(kind: str) -> None:
    """Left unsaid it is high: nobody could put it aside."""
    has_one = callable(getattr(rules.find(kind), "gravest", None))
    assert has_one, f"daemon/rules/{kind}.py lacks gravest(params)"
