"""Slips of a van's config, as real people make them: each told in one sentence.

P7: `config` was silent on a vent of 0.006 cm2, 60 m3 for a van and port 8883 without
TLS.  Conversions by definition: 1 ft = 0.3048 m, 1 mm2 = 0.01 cm2, 1 Btu = 1055.056 J.
"""

import re
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import config as command
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.settings.slips import slips
from cabinvigil.daemon.settings.values import Cabin
from cabinvigil.daemon.text.units_said import US
from tests.commands.calling import call

VAN = """[cabin]
name = "van"
zone = "Europe/Lisbon"
volume_m3 = 6.0
people = 2
altitude_m = 5.0
vent_low_cm2 = 60.0
vent_high_cm2 = 60.0
vent_height_m = 1.2
burner_kw = 1.5
fuel = "propane"
cylinder_kg = 0.45
outside_c = 4.0
[i2c.main]
device = "/dev/i2c-1"
[part.head-o2]
kind = "o2_key_register"
bus = "main"
pressure_from = "baro"
[part.head-co]
kind = "co_cell_ads1115"
bus = "main"
temperature_from = "baro"
humidity_from = "baro"
[part.baro]
kind = "bme280"
bus = "main"
[buzzer]
line = "GPIO17"
[mqtt]
host = "broker.example.org"
"""
WRONG = [
    ("volume_m3 = 6.0", "volume_m3 = 6000", "in litres, write `volume_m3 = 6`"),
    ("burner_kw = 1.5", "burner_kw = 1500", "in watts, write `burner_kw = 1.5`"),
    ("burner_kw = 1.5", "burner_kw = 5000", "in BTU/h, write `burner_kw = 1.47`"),
    ("burner_kw = 1.5", "burner_kw = 110", "in g/h, write `burner_kw = 1.54`"),
    ("altitude_m = 5.0", "altitude_m = 6200", "in feet, write `altitude_m = 1890`"),
    ("vent_height_m = 1.2", "vent_height_m = 120", "cm, write `vent_height_m = 1.2`"),
    ("cylinder_kg = 0.45", "cylinder_kg = 450", "grams, write `cylinder_kg = 0.45`"),
    ("outside_c = 4.0", "outside_c = 50", "Fahrenheit, write `outside_c = 10`"),
    ('fuel = "propane"', 'fuel = "diesel"', "known: propane, butane, isobutane"),
    ("[part.baro]", '[part.baro]\nplace = "window"', "write `glass` if that was meant"),
    ('kind = "o2_key_register"', 'kind = "o2_cell_ads1115"', "as [part.head-o2] does"),
    ('kind = "bme280"\nbus = "main"', 'kind = "bme280"\nbus = "mian"', "write `main`"),
]
"""What must be wrong: refused."""
DOUBTFUL = [
    ("volume_m3 = 6.0", "volume_m3 = 210", "210 cubic feet would be 5.9 m³"),
    ("volume_m3 = 6.0", "volume_m3 = 60", "more air than vans and boats hold"),
    ("people = 2", "people = 0", "people is 0"),
    ("people = 2", "people = 9", "so many cannot lie down in 6 m³"),
    ("altitude_m = 5.0", "altitude_m = 5200", "5200 feet would be 1580 m"),
    ("low_cm2 = 60.0", "low_cm2 = 0.006", "0.006 m² would be 60 cm²"),
    ("low_cm2 = 60.0", "low_cm2 = 6000", "6000 mm2 would be 60 cm²"),
    ("low_cm2 = 60.0", "low_cm2 = 0", "vent_low_cm2 is 0, a vent that is closed"),
    ("burner_kw = 1.5", "burner_kw = 17", "17 thousand BTU/h would be 5 kW"),
    ("burner_kw = 1.5", "burner_kw = 0.0015", "less than any heater burns"),
    ('fuel = "propane"\n', "", "fuel is missing, and propane is taken"),
    ("outside_c = 4.0", "outside_c = 40", "40 degrees Fahrenheit would be 4.4 °C"),
    ("[mqtt]", "[mqtt]\nport = 8883\ntls = false", "port 8883 is the one for TLS"),
    ("[mqtt]", "[mqtt]\nport = 1883", "port 1883 is the one without TLS"),
    ("/dev/i2c-1", "/dev/i2c-0", "on a Pi's header it is /dev/i2c-1"),
]
"""What may be right: minded."""


IN_US = {
    "volume_m3 = 210": 'is 7,416 ft³, more air than vans and boats hold: write "210 f',
    "volume_m3 = 60": 'is 2,119 ft³, more air than vans and boats hold: write "60 ft³"',
    "people = 9": "so many cannot lie down in 212 ft³.",
    "altitude_m = 5200": 'is 17,060 ft, higher than most roads go: write "5200 ft" if',
    "low_cm2 = 0.006": "vent_low_cm2 is 0 in², a hole of a finger's width or less.",
    "low_cm2 = 6000": "vent_low_cm2 is 930 in², a hatch rather than a vent.",
    "burner_kw = 17": "is 58,006 BTU/h, more than portable heaters burn: write "
    '"17000 BTU/h" if that was meant.',
    "burner_kw = 0.0015": "is 5.12 BTU/h, less than any heater burns: give BTU/h.",
    "outside_c = 40": 'is 104 °F, a warm night for a heater: write "40 °F" if that was',
}
"""What is said of them in the other system; conversions by hand (SP 811)."""
SI_SIGNS = re.compile(r"\d (?:m3|cm2|mm2|m2|m|kW|°C)\b")


def told(folder: Path, was: str, written: str, *more: str) -> tuple[int, str, str]:
    assert VAN.count(was) == 1, was
    file = folder / "van.toml"
    file.write_text(VAN.replace(was, written))
    return call(command, file, "--all", *more)


def test_a_van_without_slips_is_not_minded(tmp_path: Path) -> None:
    """Nothing is said where nothing is doubtful."""
    file = tmp_path / "van.toml"
    file.write_text(VAN)
    settings = load(file)
    assert list(slips(settings.cabin, settings.mqtt, settings.i2c)) == []


@pytest.mark.parametrize(("was", "written", "words"), WRONG)
def test_what_must_be_wrong_is_refused(
    was: str, written: str, words: str, tmp_path: Path
) -> None:
    """Exit 2, one mistake, and what was probably meant."""
    code, out, err = told(tmp_path, was, written)
    assert (code, out) == (2, "")
    assert err.startswith("1 mistake; the monitor will not start with this file.\n")
    assert words in err


@pytest.mark.parametrize(("was", "written", "words"), DOUBTFUL)
def test_what_may_be_right_is_minded(
    was: str, written: str, words: str, tmp_path: Path
) -> None:
    """Exit 0, and one sentence more among those to mind."""
    code, out, err = told(tmp_path, was, written)
    assert (code, err) == (0, "")
    minded = out.partition("\nTo check\n")[2].splitlines()
    (line,) = [one for one in minded if words in one]
    assert re.fullmatch(r"  \S.*\.", line)


@pytest.mark.parametrize(
    ("was", "written"), [(was, now) for was, now, _ in DOUBTFUL if now]
)
def test_in_us_units_none_of_ours_is_said(
    was: str, written: str, tmp_path: Path
) -> None:
    """The same doubts, and each value as it is written there."""
    si = told(tmp_path, was, written)[1].partition("\nTo check\n")[2].splitlines()
    code, out, err = told(tmp_path, was, written, "--units", "us")
    assert (code, err) == (0, "")
    minded = out.partition("\nTo check\n")[2]
    assert len(minded.splitlines()) == len(si)
    assert not SI_SIGNS.search(minded)
    assert IN_US.get(written, "") in minded


def test_no_other_unit_is_guessed_where_one_is_written(tmp_path: Path) -> None:
    """Doubtful it stays: 1 500 ft3 are 42.5 m3, whatever the units."""
    for units, said in (
        ("si", "volume_m3 is 42.4753, more"),
        ("us", "is 1,500 ft³, mo"),
    ):
        was, now = "volume_m3 = 6.0", 'volume_m3 = "1500 ft3"'
        _, out, _ = told(tmp_path, was, now, "--units", units)
        assert said in out
        assert "more air than vans and boats hold.\n" in out


def test_both_vents_shut_and_butane_in_the_frost() -> None:
    """Two that need two keys each."""
    shut = Cabin(
        name="van",
        vent_low_cm2=0.0,
        vent_high_cm2=0.0,
        burner_kw=1.5,
        fuel={"butane": 1.0},
        outside_c=-9.0,
    )
    both, frost = slips(shut, None, {})
    assert both.startswith("Both vents are 0 cm², and the heater is lit")
    assert frost.startswith("fuel is butane and outside_c -9: below 0 °C its cylinder")
    both, frost = slips(shut, None, {}, US)
    assert both.startswith("Both vents are 0 in², and the heater is lit")
    assert frost.startswith("fuel is butane and outside_c 15.8 °F: below 32 °F its")
