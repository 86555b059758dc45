"""A number with its unit, as people type it."""

import pytest
from hypothesis import given
from hypothesis import settings as tuned
from hypothesis import strategies as st

from cabinvigil.daemon.text.units import READ_AS, UNITS, convert
from cabinvigil.daemon.text.units_read import UnitError, said_back, typed
from tests.text.test_units import by_pint

NUMBERS = st.floats(-9999.0, 9999.0).map(lambda one: round(one, 3))


@tuned(max_examples=400)
@given(
    spelling=st.sampled_from(sorted(READ_AS)),
    number=NUMBERS,
    gap=st.sampled_from(["", " ", "  "]),
)
def test_every_spelling_of_every_unit_is_read(
    spelling: str, number: float, gap: str
) -> None:
    """As `pint` converts it; in capitals too, and with or without a space."""
    word = READ_AS[spelling]
    for text in (f"{number}{gap}{spelling}", f" {number}{gap}{spelling.upper()} "):
        read = typed(text, UNITS[word].ours)
        assert read is not None, text
        assert not read.is_bare
        wanted = by_pint(number, word, UNITS[word].ours)
        assert read.value == pytest.approx(wanted, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "ours", "value"),
    [
        ("5000 BTU/h", "kw", 1.46536),
        ("5,000 BTU/h", "kw", 1.46536),
        ("20 F", "c", -6.66667),
        ("-5F", "c", -20.5556),
        ("\u22125 °F", "c", -20.5556),
        ("2 F", "k", 1.11111),
        ("2 °C", "k", 2.0),
        ("210 ft3", "m3", 5.94654),
        ("210 ft^3", "m3", 5.94654),
        ("47 in2", "cm2", 303.225),
        ("3'6\"", "m", 1.0668),
        ("3 ft 6 in", "m", 1.0668),
        ("3' 6.5''", "m", 1.0795),
        ("8000'", "m", 2438.4),
        ('6"', "m", 0.1524),
        ("1,5 m/s", "mps", 1.5),
        ("1,100 ft", "m", 335.28),
        ("1,234,567 l", "m3", 1234.567),
        (".5 kW", "kw", 0.5),
        ("1e3 W", "kw", 1.0),
        ("12", "kw", 12.0),
        ("+12 kW", "kw", 12.0),
        ("2 weeks", "days", 14.0),
        ("1.5 h", "min", 90.0),
    ],
)
def test_numbers_with_units(text: str, ours: str, value: float) -> None:
    read = typed(text, ours)
    assert read is not None
    assert read.value == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "ours", "words"),
    [
        ("5000 BTU", "kw", "no power; write '5000 BTU/h'"),
        ("5,000 W", "kw", "may be 5000 or 5; write 5000 or 5"),
        ("5,000", "kw", "may be 5000 or 5"),
        ("-5,000 m", "m", "may be -5000 or -5"),
        ("11 kg", "m3", "not a number in m³; write the number alone, in m³"),
        ("11 furlongs", "m", "in a unit that is not known"),
        ("300 K", "c", "not a number in °C"),
        ("3 F", "", "not a bare number"),
        ("1 \x1b[2J", "m", "'1 ?[2J'"),
    ],
)
def test_what_is_wrong_or_may_mean_two_things_is_one_sentence(
    text: str, ours: str, words: str
) -> None:
    with pytest.raises(UnitError) as caught:
        typed(text, ours)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.is_doubt == ("may be" in words or "no power" in words)


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Never an endless number, never another exception."""
    for ours in ("kw", "c", ""):
        try:
            read = typed(text, ours)
        except UnitError:
            continue
        assert read is None or abs(read.value) < float("inf")


@pytest.mark.parametrize("text", ["", "BTU/h", "nan kW", "inf", "1..2 kW", "1e999 W"])
def test_no_number_is_none(text: str) -> None:
    assert typed(text, "kw") is None


def test_what_was_read_is_said_back() -> None:
    known = {
        "5000 BTU/h": ("kw", "5,000 BTU/h is 1.47 kW"),
        "20 F": ("c", "20 °F is -6.67 °C"),
        "210 ft3": ("m3", "210 ft³ is 5.95 m³"),
        "47 in2": ("cm2", "47 in² is 303 cm²"),
        "1600 W": ("kw", "1600 W is 1.60 kW"),
        "0.5 h": ("s", "0.5 h is 1800 s"),
        "32 F": ("c", "32 °F is 0 °C"),
    }
    for text, (ours, words) in known.items():
        read = typed(text, ours)
        assert read is not None
        assert said_back(read, ours) == words
    assert convert(1.0, "kw", "btu_h") == pytest.approx(3412.14, abs=0.01)
