"""The sentences of alarms in both systems of units."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import settings as tuned
from hypothesis import strategies as st

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.sentences import LONGEST, NO_BREAK, sentence
from cabinvigil.daemon.text.units_said import US
from tests.text.test_units import by_pint
from tests.tools.sentences import ALL, EN, every_sentence, variants
from tests.two_systems import differences

OTHERS = ("°C", "hPa", "hectopascals", "Hektopascal", "metres", "Metern", "mètres")
MEASURED = {"value": 941.3, "unit": "hPa", "temp_c": 36.04, "surface_c": -3.2}


@pytest.mark.parametrize("language", sorted(ALL))
def test_no_sentence_speaks_the_other_system(language: str) -> None:
    """Whatever the unit of the value is, and however long the sentence gets."""
    us = replace(ALL[language], units=US)
    for unit in ("hPa", "°C", "%"):
        for _, said in every_sentence(us, **{**MEASURED, "unit": unit}):
            assert not any(other in said for other in OTHERS), said
            assert len(said) <= LONGEST
    said = [text for _, text in every_sentence(us, **MEASURED)]
    assert sum("°F" in one for one in said) >= 4


def test_both_systems_say_the_same() -> None:
    for unit in ("hPa", "°C", "%", "ppm"):
        facts = {**MEASURED, "unit": unit, "apart": 4.5}
        pairs = zip(
            every_sentence(EN, **facts),
            every_sentence(replace(EN, units=US), **facts),
            strict=True,
        )
        for (alarm, si), (_, us) in pairs:
            if alarm in ("sensors-disagree", "stratified") and unit == "°C":
                continue  # a difference, below
            assert list(differences(si, us)) == [], (si, us)


@tuned(max_examples=100)
@given(temp_c=st.floats(-60.0, 84.0), apart_k=st.floats(0.0, 40.0))
def test_a_temperature_is_converted_once_and_a_difference_without_its_zero(
    temp_c: float, apart_k: float
) -> None:
    words = replace(EN, units=US)
    hot = sentence(words, "hot", Priority.MEDIUM, "", {"temp_c": temp_c})
    (told,) = re.findall(rf"(-?\d+){NO_BREAK}°F", hot)
    assert abs(float(told) - by_pint(temp_c, "c", "f")) <= 0.5 + 1e-6
    facts = {"part": "a", "other": "b", "text": "temperature"}
    two = sentence(
        *(words, "sensors-disagree", Priority.FAULT, ""),
        {**facts, "apart": apart_k, "unit": "°C"},
    )
    (told,) = re.findall(rf"by (\d[\d.]*){NO_BREAK}°F", two)
    assert abs(float(told) - 1.8 * apart_k) <= 0.05 + 1e-6


@pytest.mark.parametrize(
    ("language", "height", "pressure"),
    [
        ("en", "10,499 feet", "27.8 inches of mercury"),
        ("de", "10.499 Fuß", "27,8 Zoll Quecksilbersäule"),
        ("fr", "10 499 pieds", "27,8 pouces de mercure"),
    ],
)
def test_units_are_words_of_the_language(
    language: str, height: str, pressure: str
) -> None:
    words = replace(ALL[language], units=US)
    facts = {"height_m": 3200.0, "part": "roof", "value": 941.3, "unit": "hPa"}
    high = sentence(words, "o2-pressure", Priority.HIGH, "", facts)
    assert height in high.replace(NO_BREAK, " ")
    odd = sentence(words, "sensor-implausible", Priority.FAULT, "altitude", facts)
    assert pressure in odd.replace(NO_BREAK, " ")


def test_a_message_file_of_ones_own_says_what_it_says() -> None:
    """`{temp_c}` stays degrees Celsius, whatever stands behind it in the file."""
    own = replace(EN, units=US, alarms={"hot": {"any": ("Hot: {temp_c:.0f} °C.",)}})
    said = sentence(own, "hot", Priority.MEDIUM, "", {"temp_c": 36.0})
    assert said == f"Hot: 36{NO_BREAK}°C."


def test_no_packaged_sentence_has_a_unit_of_its_own() -> None:
    """A unit that stands in the file would stay, whatever its number is in."""
    for words in ALL.values():
        for alarm, _, _, line in variants(words):
            assert not re.search(r"°C|\{(temp|surface|dew_point)_c|height_m", line), (
                alarm
            )
