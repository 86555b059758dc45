"""From config to core: which series there are, and which alarms watch them."""

import datetime as dt
from dataclasses import replace

import attrs
import pytest

from cabinvigil.daemon.compose import compose as composing
from cabinvigil.daemon.compose.compose import compose, compose_columns, series_keys
from cabinvigil.daemon.core.engine import start, step
from cabinvigil.daemon.core.model import Air, Priority, Transition
from cabinvigil.daemon.settings.config import Cabin, Settings, example, standard
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.values import PartSettings, changed
from cabinvigil.daemon.settings.words import renderer


@pytest.fixture(scope="module")
def settings() -> Settings:
    return example()


def test_the_trailers_series(settings: Settings) -> None:
    """A CO2 part that warms itself does not serve temperature where others do.

    Two parts made for it at one place each have a series of their own.
    """
    keys = series_keys(settings.parts, part_infos(settings.parts))
    assert keys["bunk-o2", "o2_pct"] == "o2_pct"
    assert keys["bunk-co2", "co2_ppm"] == "co2_ppm"
    assert ("bunk-co2", "temp_c") not in keys
    assert keys["bunk-air", "rh_pct"] == "rh_pct__bunk-air"
    assert keys["baro", "rh_pct"] == "rh_pct__baro"
    assert keys["pane", "temp_c"] == "temp_c_glass"


def test_a_part_that_warms_itself_serves_where_no_other_does(
    settings: Settings,
) -> None:
    """Better a warm thermometer than none."""
    alone = {"bunk-co2": changed(settings.parts["bunk-co2"], leave_out=())}
    assert series_keys(alone, part_infos(alone))["bunk-co2", "temp_c"] == "temp_c"


def test_what_a_part_is_said_not_to_give_is_not_waited_for(
    settings: Settings,
) -> None:
    """An optical oxygen part without a pressure cell is no stale pressure sensor."""
    part = changed(settings.parts["bunk-o2"], leave_out=("pressure_hpa",))
    parts = dict(settings.parts) | {"bunk-o2": part}
    keys = series_keys(parts, part_infos(parts))
    assert ("bunk-o2", "pressure_hpa") not in keys
    assert keys["baro", "pressure_hpa"] == "pressure_hpa"


def _compose(settings: Settings, today: dt.date | None = None) -> composing.CoreBuild:
    return compose(
        settings.cabin,
        settings.parts,
        part_infos(settings.parts),
        settings.alarms,
        renderer("en"),
        buses=tuple(settings.i2c),
        today=today,
    )


def test_a_cell_that_gives_the_share_is_not_waited_for_its_pressure(
    settings: Settings,
) -> None:
    """Its partial pressure is worked out of the air's, as of any part without one."""
    cell = PartSettings(kind="o2_cell_ads1115", bus="main")
    behind = {"bunk-o2": changed(cell, options={"barrier": "capillary"})}
    assert ("bunk-o2", "o2_hpa") in series_keys(
        {"bunk-o2": cell}, part_infos({"bunk-o2": cell})
    )
    assert ("bunk-o2", "o2_hpa") not in series_keys(behind, part_infos(behind))
    parts = {**settings.parts, **behind}
    built = compose(
        settings.cabin, parts, part_infos(parts), settings.alarms, lambda *_: ""
    )
    assert built.setup.layout.series["o2_hpa"].made_of == "o2_pct"


@pytest.mark.parametrize(
    ("named", "warmth"),
    [(None, "temp_c__baro"), ("bunk-air", "temp_c__bunk-air")],
)
def test_a_cells_warmth_is_its_sources_or_its_places(
    settings: Settings, named: str | None, warmth: str
) -> None:
    """What it is corrected by tells how its temperature ran; 1.25 % a K/min."""
    cell = PartSettings(kind="o2_cell_ads1115", bus="main", temperature_from=named)
    parts = {**settings.parts, "bunk-o2": cell}
    built = _compose(replace(settings, parts=parts))
    told = built.setup.layout.series["o2_pct"]
    assert (told.warmth, told.off_per_k_min) == (warmth, 1.25)


def test_faults_are_watched_for_each_thing_they_are_about(settings: Settings) -> None:
    """Part, series, shared channel, bus: each has its alarm, none is left out."""
    ids = {spec.id for spec in _compose(settings).setup.alarms}
    assert {f"sensor-fault/{name}" for name in settings.parts} <= ids
    series = _compose(settings).setup.layout.series
    assert {f"sensor-stale/{key}" for key in series} <= ids
    assert "sensors-disagree/rh_pct" in ids
    assert "watch-fault/main" in ids
    assert "watch-fault/log" in ids
    assert {"o2-low", "o2-projected", "co-dose", "displaced-air"} <= ids


def test_service_life_is_counted_from_the_day_it_began(settings: Settings) -> None:
    """Where the clock cannot be believed, nothing is claimed."""
    day = settings.parts["bunk-co"].in_service
    assert day is not None
    facts = _compose(settings, day).setup.layout.part_facts["bunk-co"]
    years = part_infos(settings.parts)["bunk-co"].service_years
    assert facts["service_left_s"] / 86400 / 365.25 == pytest.approx(years, abs=0.01)
    assert "service_left_s" not in _compose(settings).setup.layout.part_facts["bunk-co"]


def test_every_step_of_every_level_is_urgent(settings: Settings) -> None:
    """What may not wait for the tick; of oxygen on both sides."""
    urgent = _compose(settings).urgent
    o2 = [("below", 19.5), ("below", 18.0), ("above", 23.5)]
    assert set(urgent["o2_pct"]) == set(o2)
    assert {("above", 30.0), ("above", 70.0), ("above", 200.0)} <= set(urgent["co_ppm"])


def test_what_a_long_mean_is_taken_of_outlives_a_restart(settings: Settings) -> None:
    """CO2 over eight hours, as the packaged limits ask; oxygen over none."""
    series = _compose(settings).setup.layout.series
    assert series["co2_ppm"].mean_s == 28_800.0
    assert series["o2_pct"].mean_s == 0.0
    cabin = Cabin(name="lapwing")
    columns = ("pm2_5_ugm3", "o2_pct")
    made = compose_columns(columns, 1.0, cabin, standard(cabin).alarms, renderer("en"))
    assert made.setup.layout.series["pm2_5_ugm3"].mean_s == 3_600.0
    assert made.setup.layout.series["o2_pct"].mean_s == 0.0


def test_columns_have_limits_and_no_parts() -> None:
    """A recording's series take their age from its own step."""
    cabin = Cabin(name="lapwing")
    found = compose_columns(
        ("o2_pct",), 60.0, cabin, standard(cabin).alarms, renderer("en")
    )
    assert found.setup.layout.series["o2_pct"].max_age_s == 210.0
    quick = compose_columns(
        ("o2_pct",), 1.0, cabin, standard(cabin).alarms, renderer("en")
    )
    assert quick.setup.layout.series["o2_pct"].max_age_s == 30.0
    with pytest.raises(ValueError, match="is not a channel"):
        compose_columns(("oxygen",), 1.0, cabin, {}, renderer("en"))


def test_children_smokers_and_the_unborn_of_the_cabin_are_counted() -> None:
    """Each that is named and there; nobody is the usual."""
    for cabin, names in (
        (Cabin(name="lapwing"), set()),
        (Cabin(name="lapwing", children=2, smokers=0, pregnant=1), {"child", "unborn"}),
    ):
        made = compose_columns(("co_ppm",), 1.0, cabin, {}, renderer("en"))
        assert made.setup.layout.surroundings.others.keys() == names


@pytest.mark.parametrize(
    ("columns", "altitude_m", "made"),
    [
        (("o2_pct", "pressure_hpa"), None, {"o2_hpa": "o2_pct"}),
        (("o2_pct",), 2500.0, {"o2_hpa": "o2_pct"}),
        (
            ("o2_pct__a", "o2_pct_ceiling"),
            0.0,
            {
                "o2_hpa__a": "o2_pct__a",
                "o2_hpa_ceiling": "o2_pct_ceiling",
            },
        ),
        (("o2_pct", "o2_hpa", "pressure_hpa"), 0.0, {}),
        (("o2_pct",), None, {}),
        (("co_ppm",), 0.0, {}),
    ],
)
def test_what_no_part_gives_of_oxygens_pressure_is_made(
    columns: tuple[str, ...], altitude_m: float | None, made: dict[str, str]
) -> None:
    """Where its percent and a pressure are known; it is no part's fault of its own."""
    cabin = Cabin(name="lapwing", altitude_m=altitude_m)
    found = compose_columns(
        columns, 1.0, cabin, standard(cabin).alarms, renderer("en")
    ).setup
    assert made == {
        key: spec.made_of for key, spec in found.layout.series.items() if spec.made_of
    }
    subjects = {spec.id.partition("/")[2] for spec in found.alarms}
    assert not subjects & made.keys()


def test_a_rule_that_stumbles_rings_and_the_others_go_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The bug wakes people: a guard that is gone is a danger; no other guard ends."""
    from cabinvigil.daemon.rules import rate

    def bug(*_: object) -> None:
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr(rate, "judge", bug)
    cabin = Cabin(name="lapwing")
    setup = compose_columns(
        ("o2_pct", "co_ppm"), 1.0, cabin, standard(cabin).alarms, renderer("en")
    ).setup
    state, commands = step(start(setup, 0.0), Air({"o2_pct": 20.9}), 1.0)
    for at_s in (2.0, 3.0):
        state, more = step(state, Air({"o2_pct": 20.9, "co_ppm": 250.0}), at_s)
        commands += more
    rung = {c.alarm: c for c in commands if isinstance(c, Transition)}
    broken = rung["o2-falling"]
    assert broken.priority is Priority.MEDIUM
    assert broken.text == ("An alarm has stopped working: o2-falling. Open a vent now.")
    assert "ZeroDivisionError" in broken.evidence["bug"]
    assert rung["co-level"].priority is Priority.HIGH


def test_a_broken_guard_that_never_wakes_chirps(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A dew-point rule that stumbles gets nobody up."""
    from cabinvigil.daemon.rules import condensing

    monkeypatch.setattr(condensing, "judge", lambda *_: 1 // 0)
    cabin = Cabin(name="lapwing")
    alarms = standard(cabin).alarms
    build = compose_columns(("o2_pct",), 1.0, cabin, alarms, renderer("en"))
    state, commands = start(build.setup, 0.0), []
    for at_s in (1.0, 400.0):
        state, more = step(state, Air({"o2_pct": 20.9}), at_s)
        commands += more
    rung = {c.alarm: c for c in commands if isinstance(c, Transition)}
    assert rung["condensing"].priority is Priority.FAULT


def test_every_series_knows_how_often_it_comes_and_where_it_ends(
    settings: Settings,
) -> None:
    """The part's own figures, or the config's."""
    parts = dict(settings.parts)
    parts["bunk-co2"] = changed(parts["bunk-co2"], interval_s=30.0)
    infos = part_infos(parts)
    build = compose(settings.cabin, parts, infos, settings.alarms, renderer("en"))
    series = build.setup.layout.series
    assert series["o2_pct"].interval_s == infos["bunk-o2"].interval_s
    assert series["co2_ppm"].interval_s == 30.0
    assert series["co2_ppm"].top == 40_000.0
    assert series["rh_pct__bunk-air"].top == 100.0
    assert not series["rh_pct__bunk-air"].is_at_least_at_top


def test_what_can_wake_is_known_of_every_alarm(settings: Settings) -> None:
    """By its limits, not by how it stands: nobody shelves it beforehand."""
    wakes = {
        spec.id.partition("/")[0]
        for spec in _compose(settings).setup.alarms
        if spec.gravest >= Priority.MEDIUM
    }
    assert wakes == {
        *("o2-low", "o2-projected", "o2-falling", "o2-high", "co-level", "co-dose"),
        *("o2-pressure", "co2-level", "co2-projected", "gas-leak", "displaced-air"),
        *("hot", "contact-smoke", "contact-gas", "contact-co", "contact-bilge"),
        *("sensor-stale", "sensor-range", "sensor-stuck", "sensor-implausible"),
        "sensor-warming",
    }
    by_id = {spec.id: spec.gravest for spec in _compose(settings).setup.alarms}
    assert by_id["sensor-warming/bunk-o2"] is Priority.MEDIUM
    assert by_id["sensor-warming/baro"] is Priority.FAULT
    assert by_id["sensor-stale/o2_pct"] is Priority.MEDIUM
    assert by_id["sensor-stale/co2_ppm"] is Priority.FAULT
    assert by_id["supply-low"] is Priority.FAULT
    assert by_id["contact-co"] is by_id["contact-smoke"] is Priority.HIGH
    assert by_id["contact-gas"] is Priority.HIGH
    assert by_id["contact-bilge"] is Priority.MEDIUM
    assert by_id["fine-dust"] is by_id["cold"] is by_id["condensing"] is Priority.LOW


def test_parameters_of_one_alarm_are_not_anothers(settings: Settings) -> None:
    """Instances share a table and differ in their subject alone."""
    alarm = settings.alarms["sensor-stale"]
    assert attrs.evolve(alarm.params, subject="x") != alarm.params
    assert replace(settings, alarms={}).alarms == {}
    assert changed(settings.watch, tick_s=2.0).tick_s == 2.0
