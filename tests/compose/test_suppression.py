"""Whole alarms named in a config cover each other on the same thing alone."""

import pytest

from cabinvigil.daemon.compose.compose import CoreBuild, compose
from cabinvigil.daemon.core.engine import start, step
from cabinvigil.daemon.core.model import Air, AlarmState, SourceFault
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer

TRAILER = example()


def composed(alarm: str, *covers: str) -> CoreBuild:
    """Compose the trailer with one alarm that others cover."""
    settings = TRAILER
    covered = changed(settings.alarms[alarm], suppressed_by=covers)
    return compose(
        settings.cabin,
        settings.parts,
        part_infos(settings.parts),
        {**settings.alarms, alarm: covered},
        renderer("en"),
        buses=tuple(settings.i2c),
    )


def covers(alarm: str, instance: str, *named: str) -> set[str]:
    specs = {spec.id: spec for spec in composed(alarm, *named).setup.alarms}
    return set(specs[instance].suppressed_by)


@pytest.mark.parametrize(
    ("alarm", "instance", "named", "found"),
    [
        # A series is covered by its part's fault, and by no other part's.
        (
            "sensor-range", "sensor-range/co_ppm", "sensor-fault",
            {"sensor-fault/bunk-co"},
        ),
        # Two parts give humidity at the bunk: each series has its own.
        (
            "sensor-stuck", "sensor-stuck/rh_pct__baro", "sensor-fault",
            {"sensor-fault/baro"},
        ),
        # A bus is about the parts that hang on it.
        (
            "sensor-range", "sensor-range/co2_ppm", "watch-fault",
            {"watch-fault/main"},
        ),
        ("sensor-range", "sensor-range/co_ppm", "watch-fault", set()),
        # From the part to what it gives.
        (
            "sensor-service", "sensor-service/bunk-co", "sensor-stale",
            {"sensor-stale/co_ppm"},
        ),
        # A channel that two parts feed.
        (
            "sensors-disagree", "sensors-disagree/rh_pct", "sensor-fault",
            {"sensor-fault/baro", "sensor-fault/bunk-air"},
        ),
        # A quantity at several places.
        (
            "stratified", "stratified/temp_c", "sensor-stale",
            {"sensor-stale/temp_c__baro", "sensor-stale/temp_c__bunk-air",
             "sensor-stale/temp_c_glass"},
        ),
        # An alarm that there is once is its own instance.
        ("sensor-range", "sensor-range/co_ppm", "o2-low", {"o2-low"}),
    ],
)  # fmt: skip
def test_a_name_stands_for_its_instances_on_the_same_thing(
    alarm: str, instance: str, named: str, found: set[str]
) -> None:
    """A dead CO part does not explain what is wrong with the oxygen part."""
    assert covers(alarm, instance, named) == found


def test_an_alarm_on_the_whole_cabin_takes_every_instance() -> None:
    """Oxygen against carbon dioxide: a fault of any part may be the reason."""
    found = covers("gases-disagree", "gases-disagree", "sensor-fault")
    assert found == {f"sensor-fault/{part}" for part in TRAILER.parts}


def test_what_the_design_covers_is_covered_still() -> None:
    """The packaged silence of a part whose fault is told, a config's word beside it."""
    found = covers("sensor-stale", "sensor-stale/co2_ppm", "sensor-stuck")
    assert found == {
        "sensor-fault/bunk-co2", "watch-fault/main", "sensor-stuck/co2_ppm",
    }  # fmt: skip


def test_one_cause_is_told_once_where_a_config_says_so() -> None:
    """The part answers nothing sensible: its fault is told, its range is not."""
    what = composed("sensor-jump", "sensor-fault")
    state = start(what.setup, 0.0)
    air = {"co_ppm": 0.0, "o2_pct": 20.6}
    state, _ = step(state, Air(air), 1.0)
    state, _ = step(state, SourceFault("bunk-co", "checksum", "garbled"), 2.0)
    state, _ = step(state, Air({"co_ppm": 4000.0, "o2_pct": 20.6}), 3.0)
    specs = {spec.id for spec in what.setup.alarms if spec.suppressed_by}
    assert "sensor-jump/co_ppm" in specs
    standing = state.standings["sensor-jump/co_ppm"]
    assert standing.state is AlarmState.SUPPRESSED
    assert standing.priority_while_shelved is not None, (
        "aside, it is judged all the same"
    )
