"""Settings that are good: their values, digest, and way through a log; what ships."""

import json
import tomllib
from pathlib import Path
from typing import get_args, get_type_hints

import pytest

from cabinvigil.daemon.planning.figures import ACCEPTED
from cabinvigil.daemon.settings.config import (
    Cabin,
    ConfigError,
    example,
    from_plain,
    standard,
)
from cabinvigil.daemon.settings.parts import TAKEN
from cabinvigil.drivers import part
from tests.known import CABIN, KNOWN, Desk


def test_a_good_file_gives_every_value_in_its_type(tmp_path: Path) -> None:
    """What the file says arrives; what it leaves out is None or the default."""
    desk = Desk(tmp_path)
    got = desk.load()
    assert got.cabin == Cabin(
        name="lapwing",
        volume_m3=11.0,
        people=2,
        burner_kw=1.6,
        burner_low_kw=0.8,
        fuel={"propane": 1.0},
    )
    assert isinstance(got.cabin.volume_m3, float)
    assert got.watch.tick_s == 1.0
    assert got.parts["bunk-o2"].informed_by == {"pressure_hpa": "roof"}
    assert got.parts["bunk-o2"].options == {"span_mv": 11.2}
    assert got.parts["pane"].place == "glass"
    assert got.mqtt is not None
    assert got.mqtt.tls
    assert got.mqtt.real_port == 8883
    assert got.log.keep_days == 30
    assert list(got.alarms) == ["o2-low", "o2-falling"]
    assert [step.at for step in got.alarms["o2-low"].params.steps] == [19.5, 18.0]
    assert got.alarms["o2-falling"].params.limit_per_h == 2.0
    assert got.laxer == ()


def test_a_parts_own_figures_fill_what_the_config_leaves_out(tmp_path: Path) -> None:
    """A start record holds the figures that ran, whatever the registry becomes."""
    desk = Desk(tmp_path)
    parts = desk.load().parts
    assert (parts["bunk-o2"].address, parts["bunk-o2"].interval_s) == (0x48, 2.0)
    assert (parts["roof"].address, parts["roof"].max_age_s) == (0x77, 30.0)
    assert parts["bunk-co"].address is None


def test_settings_are_frozen(tmp_path: Path) -> None:
    """Nothing may change a limit while the watch runs."""
    desk = Desk(tmp_path)
    got = desk.load()
    with pytest.raises(AttributeError):
        got.alarms["o2-low"].ack_s = 9.0  # type: ignore[misc]
    with pytest.raises(TypeError):
        got.alarms["o2-low"] = got.alarms["o2-falling"]  # type: ignore[index]
    with pytest.raises(AttributeError):
        got.cabin.name = "other"  # type: ignore[misc]


def test_the_digest_is_of_the_meaning(tmp_path: Path) -> None:
    """Comments, order and 11 for 11.0 do not change it; any value does."""
    desk = Desk(tmp_path)
    first = desk.load().digest
    assert (
        desk.load("# a comment\n" + CABIN.replace("= 11\n", "= 11.0\n")).digest == first
    )
    assert desk.load(CABIN.replace("tick_s = 1", "tick_s = 2")).digest != first
    assert (
        desk.load(CABIN.replace("limit_per_h = 2.0", "limit_per_h = 2.5")).digest
        != first
    )
    assert len(first) == 64


def test_settings_come_back_from_a_log(tmp_path: Path) -> None:
    """What a start record holds as JSON rebuilds the very settings that ran."""
    desk = Desk(tmp_path)
    text = CABIN + "\n[alarm.o2-low]\nack_s = 400\naccept_laxer = true\n"
    got = desk.load(text)
    plain = json.loads(json.dumps(got.as_plain(), allow_nan=False))
    back = from_plain(plain, known=KNOWN)
    assert back == got
    assert back.digest == got.digest
    assert back.laxer == got.laxer != ()
    plain["strange"] = {}
    notes: list[str] = []
    plain["laxer"] = 3
    with pytest.raises(ConfigError) as caught:
        from_plain(plain, known=KNOWN, note=notes.append)
    assert {one.key for one in caught.value.mistakes} == {"laxer"}
    assert notes == ["it was run with [strange] which this version does not know."]


def test_tomli_reads_as_the_standard_library_does(tmp_path: Path) -> None:
    """An independent reader of TOML sees the same values in the same file."""
    desk = Desk(tmp_path)
    theirs = tomllib.loads(CABIN)
    ours = desk.load().as_plain()
    for table in ("cabin", "log", "mqtt"):
        for key, value in theirs[table].items():
            if key != "fuel":
                assert ours[table][key] == value


def test_the_example_is_the_lapwing_and_has_no_mistake() -> None:
    """design.md, section 2: the figures of the trailer, with real parts and rules."""
    got = example()
    assert got.cabin.name == "lapwing"
    assert (got.cabin.volume_m3, got.cabin.people) == (11.0, 2)
    assert (got.cabin.burner_kw, got.cabin.burner_low_kw) == (1.6, 0.8)
    assert (got.cabin.vent_low_cm2, got.cabin.vent_high_cm2) == (150.0, 150.0)
    assert (got.cabin.vent_height_m, got.cabin.altitude_m) == (1.6, 640.0)
    assert got.cabin.outside_c == -9.0
    assert got.laxer == ()
    assert from_plain(json.loads(json.dumps(got.as_plain()))) == got


def test_b12_each_part_of_the_example_is_told_what_another_there_measures() -> None:
    """Its CO module knew no temperature and humidity, and never "may be blind"."""
    parts = example().parts
    given = {q for one in parts.values() if not one.place for q in part(one.kind).gives}
    for name, one in parts.items():
        wanted = set(part(one.kind).needs) & given - set(part(one.kind).gives)
        assert wanted <= set(one.informed_by), name


def test_every_packaged_alarm_has_a_source() -> None:
    """No limit without its source; and recordings get the same alarms."""
    alarms = standard(Cabin(name="recording")).alarms
    assert all(alarm.source for alarm in alarms.values())
    assert alarms.keys() <= example().alarms.keys()


def test_a_part_may_not_bear_a_name_of_the_watch() -> None:
    """A part called `log` would be taken for the log in every fault."""
    from cabinvigil.daemon.compose import compose

    assert set(compose.WATCH_SOURCES) <= TAKEN


def test_config_and_plan_accept_the_same_figures() -> None:
    """What `cabinvigil config` calls fine, `cabinvigil plan` can plan with."""
    notes = get_type_hints(Cabin, include_extras=True)
    compared = 0
    for key, accepted in ACCEPTED.items():
        name = {"glass_u": "glass_u_w_m2k"}.get(key, key)
        if name in notes:
            within = get_args(get_args(notes[name])[0])[1]
            assert (within.low, within.high) == (accepted.low, accepted.high), key
            compared += 1
    assert compared == len(ACCEPTED) - 1  # the hours in bed are no part of a cabin
