"""Keys of a config that are given with their unit, of either system."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as tuned
from hypothesis import strategies as st

from cabinvigil.daemon.settings import values
from cabinvigil.daemon.settings.config import example, from_plain
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.daemon.settings.values import fields_of
from cabinvigil.daemon.settings.with_units import alarm_in_our_units, in_our_units
from cabinvigil.daemon.text.units import READ_AS, UNITS, sign_of, unit_of_key
from tests.known import CABIN, Desk, swap
from tests.text.test_units import by_pint

NUMBERS = st.floats(0.5, 400.0).map(lambda one: round(one, 2))


def keys() -> Iterator[str]:
    """Yield every key that a config may have: tables, parts' options, alarms."""
    for kind in vars(values).values():
        if isinstance(kind, type):
            yield from fields_of(kind)
    known = Registries()
    for name in known.part_names():
        yield from known.part(name).options
    for name in known.rule_names():
        yield from fields_of(known.load_rule(name).Params)


WITH_UNIT = sorted({key for key in keys() if unit_of_key(key)})
SPELLINGS = {
    ours: sorted(word for word, unit in READ_AS.items() if UNITS[unit].ours == ours)
    for ours in {unit.ours for unit in UNITS.values()}
}


def test_the_keys_with_units_are_found() -> None:
    assert {"volume_m3", "tick_s", "cold_c", "temp_offset_c", "shunt_mohm"} <= {
        *WITH_UNIT
    }
    assert len(WITH_UNIT) > 60


@pytest.mark.parametrize("key", WITH_UNIT)
@tuned(max_examples=15)
@given(data=st.data(), number=NUMBERS)
def test_every_key_with_a_unit_takes_a_number_with_any_of_its_units(
    key: str, data: st.DataObject, number: float
) -> None:
    """In a table, in a list, in a table of a list; what it is, is said back."""
    ours = unit_of_key(key)
    spelling = data.draw(st.sampled_from(SPELLINGS[UNITS[ours].ours]))
    unit = READ_AS[spelling]
    if ours == "k" and unit in ("c", "f"):
        unit = {"c": "k", "f": "f_apart"}[unit]
    told: list[str] = []
    text = f"{number} {spelling}"
    plain = {"t": {key: text}, "l": [{key: text}], "other": text}
    found = in_our_units(plain, told)
    wanted = pytest.approx(by_pint(number, unit, ours), rel=1e-6, abs=1e-9)
    assert found["t"][key] == wanted
    assert found["l"][0][key] == wanted
    assert found["other"] == text
    assert len(told) == (0 if unit == ours else 2)
    if told:
        assert told[0].startswith(f"t.{key}: ")
        assert told[0].endswith(f" {sign_of(ours)}")


US = {
    "volume_m3 = 11": 'volume_m3 = "388.461 ft3"',
    "burner_low_kw = 0.8": 'burner_low_kw = "2,729.71 BTU/h"',
    "tick_s = 1": 'tick_s = "1000 ms"',
    "keep_days = 30": 'keep_days = "30 days"',
}


def test_a_whole_config_in_other_units_is_the_same_config(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    text = CABIN
    for ours, theirs in US.items():
        text = swap(ours, theirs, text)
    own, other = desk.load(CABIN), desk.load(text)
    assert other.cabin.volume_m3 == pytest.approx(own.cabin.volume_m3, rel=1e-6)
    assert other.cabin.burner_low_kw == pytest.approx(0.8, rel=1e-5)
    assert other.watch == own.watch
    assert other.log == own.log
    assert own.read_as == ()
    assert other.read_as == (
        "cabin.volume_m3: 388.461 ft³ is 11.0 m³",
        "cabin.burner_low_kw: 2,729.71 BTU/h is 0.800 kW",
        "watch.tick_s: 1000 ms is 1.00 s",
    )


@pytest.mark.parametrize(
    ("line", "at", "dead_band"),
    [
        ('steps = [{ at = "40 F" }]\ndead_band = "1.8 F"', 4.44444, 1.0),
        ('steps = [{ at = "4 °C" }]\ndead_band = "2 C"', 4.0, 2.0),
        ("steps = [{ at = 4 }]\ndead_band = 2", 4.0, 2.0),
    ],
)
def test_a_limit_stands_in_its_quantitys_unit(
    line: str, at: float, dead_band: float
) -> None:
    """The limits file names the quantity, the cabin's own file the limit."""
    cold: dict[str, Any] = {"kind": "level", "quantity": "temp_c", "at": None}
    for name, value in re.findall(r"(at|dead_band) = ([^}\n]+)", line):
        cold[name] = value.strip(' "') if '"' in value else float(value)
    told: list[str] = []
    found = alarm_in_our_units(cold, told, "alarm.cold")
    assert found["at"] == pytest.approx(at, rel=1e-5)
    assert found["dead_band"] == pytest.approx(dead_band, rel=1e-5)
    assert ("alarm.cold.at: 40 °F is 4.44 °C" in told) == ("40 F" in line)


def test_limits_of_every_kind_take_units() -> None:
    told: list[str] = []
    table = {
        "quantity": "o2_pct",
        "limit_per_h": "3 %/h",
        "steps": [{"at": "19.5 %", "over_s": 60.0, "priority": "high"}],
        "towards": "19.5",
        "kind": "rate",
    }
    found = alarm_in_our_units(table, told, "alarm.x")
    assert found["limit_per_h"] == 3.0
    assert found["steps"][0] == {"at": 19.5, "over_s": 60.0, "priority": "high"}
    assert found["towards"] == "19.5"
    assert told == []


def test_a_limit_with_a_unit_is_read_where_its_file_is(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    mistakes = desk.check(CABIN + '\n[alarm.o2-low]\nsteps = [{ at = "20 kg" }]\n')
    assert [one.key for one in mistakes] == ["alarm.o2-low.steps[0].at"]
    desk.load(CABIN + '\n[alarm.o2-low]\nsteps = [{ at = "20 %" }]\n')


def test_units_are_a_key_of_the_cabin(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    us = swap('name = "lapwing"', 'name = "lapwing"\nunits = "us"')
    assert desk.load(us).cabin.units == "us"
    assert desk.load().cabin.units == "si"
    wrong = desk.only(swap('name = "lapwing"', 'name = "lapwing"\nunits = "uk"'))
    assert "known: si, us" in str(wrong)
    old = example().as_plain()
    del old["cabin"]["units"]
    assert from_plain(old).cabin.units == "si"
