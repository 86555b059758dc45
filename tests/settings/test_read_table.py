"""Every mistake of a config: one sentence each, all at once."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as tuned
from hypothesis import strategies as st

from cabinvigil.daemon.settings.config import (
    ConfigError,
    from_plain,
)
from tests.known import CABIN, KNOWN, Desk, swap

# (what is replaced, by what, the key told, words of the sentence)
WRONG = [
    ('name = "lapwing"', "", "cabin.name", ["is missing", "name = ..."]),
    ('name = "lapwing"', 'name = "Lap wing"', "cabin.name", ["small letters"]),
    ('name = "lapwing"', 'name = "a/b"', "cabin.name", ["small letters"]),
    ('name = "lapwing"', f'name = "{"a" * 41}"', "cabin.name", ["40 at most"]),
    ('name = "lapwing"', "name = 7", "cabin.name", ["the number 7", "double quotes"]),
    ("volume_m3 = 11", "volume_ft3 = 388", "cabin.volume_ft3", ["ft3", "10.98"]),
    ("volume_m3 = 11", 'volume_ft3 = "x"', "cabin.volume_ft3", ["volume_m3"]),
    ("volume_m3 = 11", "volume = 11", "cabin.volume", ["write `volume_m3`"]),
    ("volume_m3 = 11", 'volume_m3 = "11"', "cabin.volume_m3", ["volume_m3 = 11`"]),
    ("volume_m3 = 11", 'volume_m3 = "11,5"', "cabin.volume_m3", ["= 11.5`"]),
    ("volume_m3 = 11", 'volume_m3 = "3 kegs"', "cabin.volume_m3", ["m³ or ft³"]),
    ("volume_m3 = 11", 'volume_m3 = "1,100 l"', "cabin.volume_m3", ["1100 or 1.1"]),
    ("burner_kw = 1.6", 'burner_kw = "5 BTU"', "cabin.burner_kw", ["'5 BTU/h'"]),
    ("volume_m3 = 11", 'volume_m3 = "5 kg"', "cabin.volume_m3", ["alone, in m³"]),
    ("volume_m3 = 11", 'volume_m3 = "big"', "cabin.volume_m3", ["'big'", "number"]),
    ("volume_m3 = 11", "volume_m3 = true", "cabin.volume_m3", ["true or false"]),
    ("volume_m3 = 11", "volume_m3 = [11]", "cabin.volume_m3", ["a list"]),
    ("volume_m3 = 11", "volume_m3 = -3", "cabin.volume_m3", ["-3", "1 to 500"]),
    ("volume_m3 = 11", "volume_m3 = nan", "cabin.volume_m3", ["finite"]),
    ("volume_m3 = 11", "volume_m3 = inf", "cabin.volume_m3", ["finite"]),
    ("people = 2", "people = 2.5", "cabin.people", ["whole number"]),
    ("people = 2", "people = 200", "cabin.people", ["0 to 20"]),
    ("people = 2", "people = 2\nsmokers = 3", "cabin.smokers", ["than the 2"]),
    ("people = 2", "people = 2\nchildren = true", "cabin.children", ["true"]),
    ("burner_low_kw = 0.8", "burner_low_kw = 2.0", "cabin.burner_low_kw", ["1.6"]),
    ("burner_low_kw = 0.8", "burner_low_w = 800", "cabin.burner_low_w", ["= 0.8`"]),
    ('fuel = "propane"', 'fuel = "propan"', "cabin.fuel", ["`propane`", "isobutane"]),
    ('fuel = "propane"', "fuel = {}", "cabin.fuel", ["propane"]),
    ('fuel = "propane"', "fuel = 3", "cabin.fuel", ["the number 3"]),
    (
        'fuel = "propane"',
        "fuel = { propane = 0.5, butane = 0.3 }",
        "cabin.fuel",
        ["adds up to 0.8"],
    ),
    ('fuel = "propane"', "fuel = { propane = 2 }", "cabin.fuel", ["0 to 1"]),
    ('fuel = "propane"', 'fuel = { propane = "1" }', "cabin.fuel", ["text '1'"]),
    ("tick_s = 1", "tick_s = 0.4", "watch.tick_s", ["0.5 to 60"]),
    ("tick_s = 1", "tick_s = 61", "watch.tick_s", ["0.5 to 60"]),
    ("tick_s = 1", "tick_ms = 500", "watch.tick_ms", ["in ms", "tick_s = 0.5`"]),
    ("tick_s = 1", "tick_ms = inf", "watch.tick_ms", ["give it as `tick_s`, in s"]),
    ("tick_s = 1", f"tick_ms = 1{'0' * 400}", "watch.tick_ms", ["as `tick_s`, in s"]),
    ("tick_s = 1", 'language = "xx"', "watch.language", ["de", "en", "fr"]),
    ("tick_s = 1", 'state_folder = "var"', "watch.state_folder", ["root"]),
    ("tick_s = 1", 'words = "none.toml"', "", ["none.toml", "is not there"]),
    ('device = "/dev/i2c-1"', "", "i2c.main.device", ["is missing"]),
    ('kind = "cell"', 'kind = "sell"', "part.bunk-o2.kind", ["`cell`", "liner"]),
    ('kind = "cell"', "", "part.bunk-o2.kind", ["is missing"]),
    ('kind = "cell"', 'kind = "CELL"', "part.bunk-o2.kind", ["write `cell`"]),
    ("[part.bunk-co]", "[bunk-co]", "bunk-co", ["[part.bunk-co] if it is a sensor"]),
    ('kind = "liner"', 'kind = "thread"', None, ["does not suit", "path"]),
    ('port = "/dev/ttyUSB0"', "", "part.bunk-co.port", ["is missing", "serial0"]),
    (
        'port = "/dev/ttyUSB0"',
        'port = "/dev/ttyUSB0"\nbus = "main"',
        "part.bunk-co.bus",
        ["does not suit", "port"],
    ),
    (
        'port = "/dev/ttyUSB0"',
        'port = "/dev/ttyUSB0"\naddress = 0x48',
        "part.bunk-co.address",
        ["only a sensor on I2C"],
    ),
    ("address = 0x77", "address = 0x50", "part.roof.address", ["0x50", "0x76, 0x77"]),
    ("address = 0x77", "address = 0x99", "part.roof.address", ["8 to 119"]),
    ("address = 0x77", 'address = "0x77"', "part.roof.address", ["= 0x77`, without"]),
    ('place = "glass"', 'place = "Roof top"', "part.pane.place", ["small letters"]),
    ('pressure_from = "roof"', 'pressure_from = "bunk-co"', None, ["pressure", "roof"]),
    ('pressure_from = "roof"', 'pressure_from = "rof"', None, ["not another sensor"]),
    (
        'pressure_from = "roof"',
        'humidity_from = "bunk-o2"',
        "part.bunk-o2.humidity_from",
        ["the sensor itself", "rh_pct: roof"],
    ),
    ("in_service = 2026-10-01", "in_service = 1026-10-01", None, ["year"]),
    ("in_service = 2026-10-01", "in_service = 26", None, ["2026-10-01"]),
    ("in_service = 2026-10-01", 'in_service = "soon"', None, ["2026-10-01"]),
    ("in_service = 2026-10-01", "interval_s = 10", None, ["max_age_s", "stale"]),
    ("span_mv = 11.2", "span_v = 0.011", "part.bunk-o2.options.span_v", ["span_mv"]),
    ("span_mv = 11.2", "span_mv = -1", "part.bunk-o2.options", ["7 to 14 mV"]),
    ("[part.bunk-o2]", "[part.Bunk_O2]", "part.Bunk_O2", ["small letters"]),
    ("[part.bunk-co]", "[part.mqtt]", "part.mqtt", ["own faults"]),
    ("[part.bunk-co]", "[part.main]", "part.main", ["name of a bus"]),
    ('line = "GPIO17"', "", "buzzer.line", ["is missing"]),
    ('line = "GPIO17"', "line = 17", "buzzer.line", ["double quotes"]),
    ('line = "GPIO17"', 'line = "GPIO23"', "light.line", ["buzzer.line"]),
    ('line = "GPIO24"', 'line = "GPIO27"', "button.line", ["second_line"]),
    ('line = "GPIO17"', 'line = "GPIO17"\ntone_hz = 520', "buzzer.tone_hz", ["PWM"]),
    ('line = "GPIO17"', 'line = "pwmchip0/0"', "buzzer.line", ["tone_hz = 520.0`"]),
    ("keep_days = 30", "keep_weeks = 4", "log.keep_weeks", ["keep_days = 28`"]),
    ("keep_days = 30", "max_mb = 1", "log.max_mb", ["10 to"]),
    ('user = "lapwing"', "", "mqtt.password_file", ["without a user"]),
    # X12: what ends a line or hides would be told, logged and typed as something else.
    ('user = "lapwing"', 'user = "a\\nb"', "mqtt.user", ["cannot be seen"]),
    ('user = "lapwing"', 'user = "a\\u001b[2J"', "mqtt.user", ["cannot be seen"]),
    ('user = "lapwing"', 'user = "a\\u200bb"', "mqtt.user", ["cannot be seen"]),
    ('user = "lapwing"', 'user = "a\\u202eb"', "mqtt.user", ["cannot be seen"]),
    ('user = "lapwing"', 'user = ""', "mqtt.user", ["no spaces"]),
    ('user = "lapwing"', f'user = "{"u" * 65}"', "mqtt.user", ["use 64"]),
    ('user = "lapwing"', 'user = "u"\ntls = "no"', "mqtt.tls", ["true or false"]),
    ('user = "lapwing"', 'user = "u"\nport = 70000', "mqtt.port", ["1 to 65535"]),
    (
        'user = "lapwing"',
        'user = "u"\ntls = false\nca_file = "/ca.pem"',
        "mqtt.ca_file",
        ["tls is false"],
    ),
    ('user = "lapwing"', 'user = "u"\nreadings_s = 600', "mqtt.readings_s", ["ten"]),
    (
        'host = "broker.example"',
        'host = "mqtt://b"',
        "mqtt.host",
        ["without mqtt://"],
    ),
    ('group = "cabinvigil"', f'socket = "/{"a" * 107}"', "ask.socket", ["107"]),
    ("limit_per_h = 2.0", "limit_per_h = -1.0", None, ["above 0"]),
    ("limit_per_h = 2.0", 'limit_per_h = "2 %"', None, ["text '2 %'"]),
    ("limit_per_h = 2.0", "limit_per_min = 2.0", None, ["limit_per_h"]),
    ("limit_per_h = 2.0", 'kind = "limit"', "alarm.o2-falling.kind", ["drop"]),
    ("limit_per_h = 2.0", "published = 1", "alarm.o2-falling.published", ["own file"]),
    ("limit_per_h = 2.0", 'priority = "hihg"', None, ["`high`"]),
    ("limit_per_h = 2.0", 'suppressed_by = ["o2-lwo"]', None, ["`o2-low`"]),
    ("limit_per_h = 2.0", 'subject = "x"', "alarm.o2-falling.subject", ["known key"]),
    ("[alarm.o2-falling]", '[alarm.mine]\nkind = "lmit"', "alarm.mine.kind", ["limit"]),
    ("[alarm.o2-falling]", "[alarm.mine]", "alarm.mine.kind", ["missing; name the"]),
    ("[alarm.o2-falling]", "[alarm.o2-fall]", None, ["[alarm.o2-falling] if that"]),
    ("[alarm.o2-falling]", "[alarm.O2_Falling]", None, ["small letters"]),
    ("[watch]", "[wach]", "wach", ["known table", "`watch`"]),
    ("[watch]\ntick_s = 1", "", None, []),
]


@pytest.mark.parametrize(("old", "new", "key", "words"), WRONG)
def test_each_mistake_is_one_sentence_with_key_and_mend(
    tmp_path: Path, old: str, new: str, key: str | None, words: list[str]
) -> None:
    """What is wrong, where, and how to mend it; and nothing else is called wrong."""
    desk = Desk(tmp_path)
    mistakes = desk.check(swap(old, new))
    if not words:
        assert mistakes == []
        return
    assert len(mistakes) == 1 or key is None, [str(one) for one in mistakes]
    told = " | ".join(str(one) for one in mistakes)
    if key is not None:
        assert mistakes[0].key == key
    for word in words:
        assert word in told
    for one in mistakes:
        assert str(one).endswith(".")
        assert "\n" not in str(one)
        assert str(desk.folder) in one.file or "words" in one.file


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    """A person mends a file once, not once for each mistake."""
    desk = Desk(tmp_path)
    text = CABIN
    for old, new in [
        ("volume_m3 = 11", 'volume_m3 = "11"'),
        ("people = 2", "peple = 2"),
        ("tick_s = 1", "tick_s = 99"),
        ('kind = "thread"', 'kind = "tread"'),
        ("address = 0x77", "address = 0x48"),
        ('host = "broker.example"', "hots = 1"),
        ("limit_per_h = 2.0", "limit_per_h = 0"),
    ]:
        text = swap(old, new, text)
    keys = {one.key for one in desk.check(text)}
    assert keys >= {
        "cabin.volume_m3",
        "cabin.peple",
        "watch.tick_s",
        "part.pane.kind",
        "part.roof.address",
        "mqtt.host",
        "mqtt.hots",
        "alarm.o2-falling",
    }


def test_two_parts_cannot_share_an_address_or_a_wire(tmp_path: Path) -> None:
    """The second of two is told, with the first by name."""
    desk = Desk(tmp_path)
    cell = '[part.second]\nkind = "cell"\nbus = "main"\n'
    mistake = desk.only(CABIN + cell)
    assert mistake.key == "part.second.address"
    assert "0x48" in mistake.what
    assert "bunk-o2" in mistake.what
    port = '[part.second]\nkind = "liner"\nport = "/dev/ttyUSB0"\n'
    assert "[part.bunk-co]" in desk.only(CABIN + port).what
    assert desk.check(CABIN + cell + "address = 0x49\n") == []


def test_two_names_for_one_bus_are_refused(tmp_path: Path) -> None:
    """Two names would be two locks on one wire."""
    desk = Desk(tmp_path)
    text = CABIN + '[i2c.other]\ndevice = "/dev/i2c-1"\n'
    assert desk.only(text).key == "i2c.other.device"


def test_a_part_on_a_bus_that_is_not_there(tmp_path: Path) -> None:
    """The nearest name is offered, and the table that is wanted."""
    desk = Desk(tmp_path)
    text = swap('bus = "main"\npressure_from', 'bus = "mian"\npressure_from')
    mistake = desk.only(text)
    assert mistake.key == "part.bunk-o2.bus"
    assert "`main`" in mistake.mend


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("cabin = 3", ["cabin", "not a table"]),
        ("part = 3", ["part", "named tables"]),
        ("[[part]]\nkind = 'cell'", ["part", "named tables"]),
        ("[part]\nkind = 'cell'", ["part.kind", "not a table"]),
        ("[alarm]\nx = 1", ["alarm.x", "not a table"]),
        ("volume_m3 = 11", ["volume_m3 is outside", "[cabin]"]),
        ("", ["cabin.name is missing", "part names no sensor"]),
    ],
)
def test_tables_that_are_none(tmp_path: Path, text: str, words: list[str]) -> None:
    """A value where a table belongs, or a key above all tables, is told as such."""
    desk = Desk(tmp_path)
    told = " | ".join(str(one) for one in desk.check(text))
    for word in words:
        assert word in told


PIECES = st.one_of(
    st.none().map(lambda _: ""),
    st.text(max_size=8).map(json.dumps),
    st.integers().map(str),
    st.floats(allow_nan=True).map(lambda number: repr(number)),
    st.sampled_from(
        ["true", "[]", "{}", "[1, [2]]", "2026-10-01", "07:32:00", "{a = {}}"]
    ),
)
LINES = [index for index, line in enumerate(CABIN.split("\n")) if " = " in line]


@given(st.lists(st.tuples(st.sampled_from(LINES), PIECES), min_size=1, max_size=4))
@tuned(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_value_anywhere_gives_settings_or_sentences(
    tmp_path: Path, changes: list[tuple[int, str]]
) -> None:
    """No value in any key makes a traceback, or a sentence of more than one line."""
    lines = CABIN.split("\n")
    for index, piece in changes:
        lines[index] = lines[index].split(" = ")[0] + " = " + piece
    for mistake in Desk(tmp_path).check("\n".join(lines)):
        assert str(mistake).isprintable()
        assert len(str(mistake)) < 700


@given(st.binary(max_size=200))
@tuned(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_bytes_give_sentences(tmp_path: Path, data: bytes) -> None:
    """A file of anything is refused with a sentence."""
    mistakes = Desk(tmp_path).check(data)
    assert mistakes
    assert all(str(one).isprintable() for one in mistakes)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    ["cabin", "part", "alarm", "laxer", "name", "kind", "x"]
                ),
                inner,
                max_size=4,
            )
        ),
        max_leaves=12,
    )
)
@tuned(max_examples=60, deadline=None)
def test_any_start_record_gives_settings_or_sentences(plain: Any) -> None:
    """A damaged log never makes a traceback."""
    if not isinstance(plain, dict):
        plain = {"cabin": plain}
    with pytest.raises(ConfigError):
        from_plain(plain, known=KNOWN)
