"""Rules are found by their files' names, and keep to one form."""

import inspect
import math
import tomllib
from importlib import resources
from types import ModuleType
from typing import Any, get_args, get_type_hints

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon import rules
from cabinvigil.daemon.core.layout import SeriesSpec, Surroundings
from cabinvigil.daemon.core.model import Air, Priority, SourceFault, Verdict
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from tests.core.scenario import Night, cabin, series

PERS = {"once", "part", "series", "channel", "quantity", "source"}
LIMITS: dict[str, dict[str, Any]] = tomllib.loads(
    (resources.files("cabinvigil.config") / "limits.toml").read_text(encoding="utf-8")
)["alarm"]
KEYS: list[str | SeriesSpec] = [
    series("o2_pct__a", jump_per_s=1.0),
    series("o2_pct__b", stuck_s=60.0),
    series("o2_pct_ceiling", warm_up_s=20.0),
    *("co_ppm", "co2_ppm", "gas_lel_pct", "temp_c", "temp_c_outside", "temp_c_glass"),
    *("rh_pct", "pressure_hpa", "pm2_5_ugm3", "supply_v"),
]


def params_of(module: ModuleType, table: dict[str, Any]) -> Any:
    """Make a rule's settings from a table of the limits file."""
    names = {one.name for one in attrs.fields(module.Params)}
    values = {key: value for key, value in table.items() if key in names}
    if "steps" in values:
        (step_type,) = get_args(get_type_hints(module.Params)["steps"])
        values["steps"] = [step_type(**step) for step in values["steps"]]
    return module.Params(**values)


def packaged() -> tuple[AlarmSpec, ...]:
    """Every packaged alarm whose rule there is, one instance each."""
    specs = []
    for name, table in LIMITS.items():
        if table["kind"] not in rules.kinds():
            continue
        module = rules.find(table["kind"])
        params = params_of(module, table)
        subject = {
            "part": "the-co_ppm",
            "series": "o2_pct__a",
            "channel": "o2_pct",
            "quantity": "o2_pct",
            "source": "log",
        }.get(module.PER)
        if subject:
            params = attrs.evolve(params, subject=subject)
        specs.append(
            AlarmSpec(
                name,
                table["kind"],
                params,
                module.judge,
                on_delay_s=table.get("on_delay_s", 0.0),
                off_delay_s=table.get("off_delay_s", 0.0),
                ack_s=table.get("ack_s", 300.0),
                again_step=table.get("again_step", math.inf),
            )
        )
    return tuple(specs)


SETUP: Setup = cabin(
    *packaged(),
    keys=KEYS,
    surroundings=Surroundings(640.0, -9.0, 5.0),
    part_facts={"the-co_ppm": {"service_left_s": 100.0}},
)


@pytest.mark.parametrize("kind", rules.kinds())
def test_every_rule_keeps_to_the_form(kind: str) -> None:
    """`Params`, `judge(params, history, now)` and `PER`; a subject where it has one."""
    module = rules.find(kind)
    assert list(inspect.signature(module.judge).parameters) == [
        "params",
        "history",
        "now",
    ]
    assert get_type_hints(module.judge)["return"] == Verdict | None
    assert module.PER in PERS
    fields = {one.name for one in attrs.fields(module.Params)}
    assert ("subject" in fields) is (module.PER != "once")
    assert isinstance(getattr(module, "ABOUT_AIR", True), bool)


def test_an_unknown_rule_stops_with_the_list_of_those_there_are() -> None:
    """A misspelt kind is never passed over."""
    told = r"no rule 'levle'; known: .*condensing"
    with pytest.raises(rules.UnknownRuleError, match=told):
        rules.find("levle")


def test_every_rule_is_named_in_the_packaged_limits() -> None:
    """A rule that no alarm names would never ring."""
    assert {table["kind"] for table in LIMITS.values()} >= set(rules.kinds())


def limit(alarm: str, step: int = 0) -> float:
    return float(LIMITS[alarm]["steps"][step]["at"])


def test_the_packaged_limits_are_no_laxer_than_the_published() -> None:
    """29 CFR 1910.146(b), EN 50291, UL 2034, NIOSH (check values, section 1 to 3)."""
    assert limit("o2-low") >= 19.5  # o2_osha_deficient
    assert limit("o2-high") <= 23.5  # o2_osha_enriched
    assert limit("gas-leak") <= 10.0  # o2_osha_flammable_lel_fraction
    assert limit("co-level") <= 30.0  # co_en50291: where its table begins
    assert limit("co-level", 1) <= 70.0  # co_ul2034: where its table rings
    assert limit("co-dose", 2) <= 10.0  # co_ul2034: about 10 % COHb
    assert limit("co2-level", 3) <= 40000.0  # co2_occupational: IDLH
    assert limit("co2-level", 1) <= 5000.0  # co2_occupational: eight hours' mean
    steps = LIMITS["co2-level"]["steps"]
    assert steps[1]["over_s"] == 8 * 3600.0


def test_the_ladders_climb() -> None:
    """Graver steps lie further out; every oxygen step above the first harm.

    `o2_effects_cga_style`: 15 to 19 % already brings early symptoms in the ill.
    """
    for table in LIMITS.values():
        now = [s for s in table.get("steps", []) if not s.get("over_s")]
        order = [Priority[s["priority"].upper()] for s in now]
        assert order == sorted(order)
        ats = [s["at"] for s in now]
        assert ats == sorted(ats, reverse=table.get("side") == "below")


def test_no_grave_gas_waits_longer_than_a_breath() -> None:
    """Delays of what can be `high`: under the 15 s that alarm tables start from.

    `alarm_delay_deadband` (from memory): 15 to 60 s; a gas that kills gets less.
    """
    for name in ("o2-low", "co-level", "co-dose", "gas-leak", "displaced-air"):
        assert LIMITS[name].get("on_delay_s", 0.0) <= 15.0


@pytest.mark.parametrize(
    ("co2_ppm", "within_s"), [(50000.0, 30 * 60.0), (70000.0, 60.0)]
)
def test_carbon_dioxide_wakes_people_in_time(co2_ppm: float, within_s: float) -> None:
    """30 min at 50 000 ppm intoxicate; 70 000 is minutes (`co2_effects_niosh`)."""
    night = Night(SETUP)
    night.hold({"co2_ppm": 800.0}, 30.0)
    began_s = night.now
    night.hold({"co2_ppm": co2_ppm}, within_s)
    standing = night.standing("co2-level")
    assert standing.priority is Priority.HIGH
    assert standing.stands
    assert standing.since_s - began_s <= 60.0


WILD = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([20.9, 19.4, 0.0, -3.0, 35.0, 210.0, 5000.0, 30000.0, 12.1, 99.9]),
)
NAMES = [key if isinstance(key, str) else key.key for key in KEYS]
TICKS = st.lists(
    st.tuples(
        st.sampled_from([0.0, 1.0, 10.0, 60.0, 61.0, 300.0, 3600.0]),
        st.dictionaries(st.sampled_from(NAMES), WILD, max_size=8),
        st.frozensets(st.sampled_from(NAMES), max_size=4),
        st.frozensets(st.sampled_from(NAMES), max_size=2),
    ),
    max_size=25,
)


@settings(max_examples=120, deadline=None)
@given(TICKS)
def test_no_reading_breaks_any_rule(
    ticks: list[tuple[float, dict[str, float], frozenset[str], frozenset[str]]],
) -> None:
    """Any numbers, any gaps, any marks: every rule of the package says something."""
    night = Night(SETUP)
    night.take(SourceFault("log", "not-writable", "full"))
    for gap_s, values, doubtful, at_least in ticks:
        night.take(Air(values, at_least, doubtful), gap_s)
        for spec in SETUP.alarms:
            verdict = spec.judge(spec.params, night.state.history, night.now)
            if verdict is None:
                continue
            assert not math.isnan(verdict.severity)
            if verdict.priority is not None and verdict.hold is not None:
                assert verdict.hold >= verdict.priority
            for value in verdict.facts.values():
                assert isinstance(value, str) or math.isfinite(value)


def test_the_ladder_words_are_the_priorities() -> None:
    """`low medium high` in the limits file are the core's own words."""
    for kind in ("level", "dose"):
        (step_type,) = get_args(get_type_hints(rules.find(kind).Params)["steps"])
        hints = get_type_hints(step_type)
        assert set(get_args(hints["priority"])) <= {one.word for one in Priority}
