"""A sentence is one line, true, short, whatever facts are there."""

import math
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as tuned
from hypothesis import strategies as st

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.sentences import (
    FACTS,
    LONGEST,
    MADE,
    NO_BREAK,
    MessageCatalog,
    fields_of,
    sentence,
    span,
    unbroken,
    without_act,
)
from tests.tools.sentences import (
    ALL,
    EN,
    WIDEST,
)


def plainly(*args: Any) -> str:
    """Say it with plain spaces, as a test can be read."""
    return sentence(*args).replace(NO_BREAK, " ")


# --- what is said -------------------------------------------------------------


def test_what_threatens_then_number_and_time_then_the_act() -> None:
    """One number, one act; what cannot be forecast is not.  Worked by hand."""
    low = {"o2_pct": 19.43, "rate_pct_per_h": -2.06, "limit": 19.5}
    assert plainly(EN, "o2-low", Priority.HIGH, "", low) == (
        "Too little oxygen: 19.4 %. Get everyone outside now."
    )
    soon = {"o2_pct": 20.06, "rate_pct_per_h": -2.6, "limit": 19.5, "minutes": 12.4}
    assert plainly(EN, "o2-projected", Priority.MEDIUM, "", soon) == (
        "Too little oxygen in 12 minutes: still 20.1 %. Open the door and vents now."
    )
    assert plainly(ALL["de"], "co-level", Priority.HIGH, "", {"co_ppm": 212.4}) == (
        "Viel giftiges Gas: Kohlenmonoxid 210 ppm. Sofort alle ins Freie, Heizung "
        "nur am Weg aus."
    )
    assert plainly(ALL["fr"], "o2-low", Priority.HIGH, "", {"o2_pct": 19.43}) == (
        "Manque d'oxygène : 19,4 %. Sortez tous immédiatement."
    )


def test_the_act_grows_with_the_priority() -> None:
    """30, 70 and 200 ppm ask for a vent, the door, and to get out; the heater off."""
    acts = [
        sentence(EN, "co-level", priority, "", {"co_ppm": 30.0}).split(". ")[1]
        for priority in (Priority.LOW, Priority.MEDIUM, Priority.HIGH)
    ]
    assert acts == [
        "Open a vent.",
        "Heater off, open the door and vents now.",
        "Get everyone outside now, heater off only on the way.",
    ]


@pytest.mark.parametrize(
    ("language", "said"),
    [("en", "12,000 ppm"), ("de", "12.000 ppm"), ("fr", "12\u00a0000 ppm")],
)
def test_five_digits_are_set_apart_and_four_are_not(language: str, said: str) -> None:
    """In sentences, and in a value that a rule names."""
    words = ALL[language]
    air = sentence(words, "co2-level", Priority.HIGH, "", {"co2_ppm": 12_000.0})
    assert said in air.replace(f"{NO_BREAK}ppm", " ppm")
    facts = {"part": "bunk", "unit": "ppm"}
    for value, told in ((12_000.0, said), (5000.0, "5000 ppm")):
        odd = sentence(
            *(words, "sensor-range", Priority.FAULT, ""), {**facts, "value": value}
        )
        assert told in odd.replace(f"{NO_BREAK}ppm", " ppm")


@pytest.mark.parametrize(
    ("fact", "value", "said"),
    [
        ("co2_ppm", 5049.0, "5000"),
        ("co2_ppm", 9960.0, "10,000"),
        ("co2_ppm", 10_047.0, "10,000"),
        ("co2_ppm", 31_600.0, "32,000"),
        ("co_ppm", 69.6, "70"),
        ("co_ppm", 102.0, "100"),
        ("co_ppm", 212.4, "210"),
        ("co_ppm", 1234.0, "1200"),
    ],
)
def test_a_gas_is_rounded_as_people_take_it_in(
    fact: str, value: float, said: str
) -> None:
    """CO2 to hundreds, thousands from 10 000; CO to 1, 5 from 100, 100 from 1 000."""
    alarm = "co-level" if fact == "co_ppm" else "co2-level"
    text = plainly(EN, alarm, Priority.MEDIUM, "", {fact: value})
    assert f" {said} ppm." in text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Too little oxygen: 19.5 %. Go.", "Too little oxygen: 19.5_%. Go."),
        ("Manque : 19,4 %.", "Manque_: 19,4_%."),
        ("For 8 hours: -9 °C (11.7 volts).", "For 8_hours: -9_°C (11.7_volts)."),
        ("Sensor bunk-o2 shows 31. Check it.", "Sensor bunk-o2 shows 31. Check it."),
        ("", ""),
    ],
)
def test_no_line_ends_between_a_number_and_its_unit(text: str, said: str) -> None:
    """A no-break space there, and before a colon that wants one; nowhere else."""
    assert unbroken(text) == said.replace("_", NO_BREAK)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Bad air: 12 ppm. Open it: now.", "Bad air: 12 ppm."),
        ("Gas leak. Get out.", "Gas leak."),
        ("It is good again.", "It is good again."),
        ("bunk-o2 hums at 3.3 V: hold it", "bunk-o2 hums at 3.3 V: hold it"),
        ("", ""),
    ],
)
def test_a_sentence_without_its_act_says_what_is_so(text: str, said: str) -> None:
    """For whoever has another thing to do."""
    assert without_act(text) == said


def test_a_wording_goes_before_a_priority() -> None:
    """`standard-high`, `standard`, `high`, `any`, in that order."""
    standard = sentence(EN, "co-dose", Priority.HIGH, "standard", {"co_ppm": 60.0})
    assert standard.startswith("Poison gas too long: carbon monoxide 60")
    assert "Get everyone outside" in standard
    assert "stops in 1.7 hours" in plainly(
        EN, "supply-low", Priority.FAULT, "hours", {"supply_v": 11.9, "hours": 1.7}
    )
    unknown = plainly(EN, "o2-low", Priority.HIGH, "no such", {"o2_pct": 19.0})
    assert unknown.startswith("Too little oxygen: 19.0 %")


def test_a_trend_is_said_as_it_goes() -> None:
    """A file of one's own may tell it: rising is never said as falling."""
    lines = ("falls {fall_pct_per_h:.1f} %", "rises {rise_pct_per_h:.1f} %", "stands")
    own = replace(EN, alarms={"o2-low": {"any": lines}})
    told = ((-3.0, "Falls 3.0 %"), (3.0, "Rises 3.0 %"), (0.6, "Rises 0.6 %"))
    for rate, words in (*told, (0.02, "Stands")):
        facts = {"o2_pct": 19.0, "rate_pct_per_h": rate}
        assert plainly(own, "o2-low", Priority.HIGH, "", facts) == words


def test_a_forecast_is_told_in_whole_minutes_and_never_as_none() -> None:
    """Three quarters of an hour are 45 minutes; under one, a minute."""
    for minutes, words in ((45.0, "45 minutes"), (44.6, "45 minutes"), (0.2, "1 minu")):
        facts = {"o2_pct": 20.0, "minutes": minutes, "limit": 19.5}
        assert words in plainly(EN, "o2-projected", Priority.MEDIUM, "", facts)
    for hours, words in ((0.0, "1 minute."), (0.24, "14 minutes"), (2.0, "2 hours")):
        facts = {"supply_v": 11.0, "hours": hours}
        assert words in plainly(EN, "supply-low", Priority.FAULT, "hours", facts)


@given(st.floats(0.0, 1440.0), st.floats(19.56, 21.0))
def test_no_forecast_is_of_no_time(minutes: float, o2_pct: float) -> None:
    """`in 0 minutes` would say that it is past."""
    facts = {"o2_pct": o2_pct, "limit": 19.5, "minutes": minutes}
    for words in ALL.values():
        for priority in (Priority.MEDIUM, Priority.HIGH):
            said = plainly(words, "o2-projected", priority, "", facts)
            assert not re.search(r"(?<![\d.,])0(?![\d.,])", said), said


def test_past_the_limit_nothing_is_forecast() -> None:
    """What is so is said as it is, with the act of the sound."""
    facts = {"o2_pct": 19.48, "limit": 19.5, "minutes": 0.0, "settles_pct": 19.45}
    assert plainly(EN, "o2-projected", Priority.HIGH, "past", facts) == (
        "Too little oxygen: 19.5 %. Get everyone outside now."
    )
    assert plainly(EN, "o2-projected", Priority.MEDIUM, "past", facts) == (
        "Too little oxygen: 19.5 %. Open the door and vents now."
    )


def test_an_instance_is_said_with_its_subject() -> None:
    """The part behind the slash is named where the rule does not name it."""
    said = sentence(EN, "sensor-stale/bunk-o2", Priority.FAULT, "", {})
    assert said == "No reading from bunk-o2. Check its plug and cable."
    watch = sentence(EN, "watch-fault/log", Priority.FAULT, "not-writable", {})
    assert watch == "Nothing is recorded: the log cannot be written. Check the card."


def test_a_fault_of_a_new_kind_is_told_in_its_own_words() -> None:
    """A kind without words says its ready sentence, and a too long one is not cut."""
    text = "bunk-o2 hums: hold it"
    kind = {"part": "bunk-o2", "text": text}
    assert sentence(EN, "sensor-fault", Priority.FAULT, "hums", kind) == (
        "Bunk-o2 hums: hold it"
    )
    assert sentence(
        EN, "sensor-fault", Priority.FAULT, "hums", kind | {"text": "x" * 141}
    ) == ("Sensor bunk-o2 has a fault. Check its plug and cable.")


def test_terms_are_said_in_the_language() -> None:
    """What rules say in English is not left in a German sentence."""
    facts = {"part": "bunk-o2", "seconds": 150.0, "text": "oxygen"}
    assert plainly(ALL["de"], "sensor-stale", Priority.MEDIUM, "alone", facts) == (
        "Sauerstoff wird nicht gemessen: kein Messwert von bunk-o2 seit 2 Minuten. "
        "Jetzt eine Lüftungsklappe öffnen."
    )


def test_an_alarm_of_ones_own_has_a_general_sentence() -> None:
    """An id that no words know is still told with its priority's act."""
    said = sentence(EN, "my-own", Priority.HIGH, "", {"o2_pct": 19.0})
    assert said == "Danger in the cabin: my-own. Get everyone outside now."


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.0, "1 second"),
        (1.0, "1 second"),
        (59.6, "60 seconds"),
        (60.0, "1 minute"),
        (119.0, "119 seconds"),
        (120.0, "2 minutes"),
        (3600.0, "1 hour"),
        (5340.0, "89 minutes"),
        (5400.0, "1.5 hours"),
        (28_800.0, "8 hours"),
        (86_400.0, "24 hours"),
    ],
)
def test_a_length_of_time_is_in_the_unit_people_choose(
    seconds: float, said: str
) -> None:
    """Seconds below two minutes, minutes below an hour and a half, then hours."""
    assert span(EN, seconds) == said


@pytest.mark.parametrize(
    ("language", "seconds", "said"),
    [
        ("fr", 5760.0, "1,6 heure"),  # CLDR: the plural begins at two
        ("fr", 7200.0, "2 heures"),
        ("de", 5760.0, "1,6 Stunden"),
    ],
)
def test_a_part_more_than_one_is_one_in_french(
    language: str, seconds: float, said: str
) -> None:
    """Agreement, as a reader of the language expects it."""
    assert span(ALL[language], seconds) == said


def test_nothing_below_zero_is_shown_as_minus_zero() -> None:
    """-0.4 degrees rounds to 0, not -0."""
    said = plainly(EN, "cold", Priority.LOW, "", {"temp_c": -0.4})
    assert said.startswith("Cold at the bunk: 0 °C")


# --- whatever is handed in --------------------------------------------------------

VALUES = st.one_of(
    st.floats(), st.integers(), st.booleans(), st.none(), st.text(max_size=150)
)


@given(
    st.one_of(st.sampled_from(sorted(EN.alarms)), st.text(max_size=60)),
    st.sampled_from(Priority),
    st.one_of(st.sampled_from(["", "standard", "alone", "deep"]), st.text(max_size=9)),
    st.dictionaries(
        st.one_of(st.sampled_from(sorted(FACTS | MADE)), st.text(max_size=9)), VALUES
    ),
    st.sampled_from(sorted(ALL)),
)
@tuned(max_examples=200, deadline=None)
def test_any_facts_give_one_short_line(
    alarm: str, priority: Priority, wording: str, facts: dict[str, Any], language: str
) -> None:
    """Total: never an error, an empty text, two lines, or over 140 characters."""
    said = sentence(ALL[language], alarm, priority, wording, facts)
    assert 0 < len(said) <= LONGEST
    assert said.replace(NO_BREAK, " ").isprintable()
    assert "nan" not in said.lower().split()


@given(st.sets(st.sampled_from(sorted(FACTS))))
@tuned(max_examples=100, deadline=None)
def test_a_missing_fact_leaves_no_hole(kept: set[str]) -> None:
    """Whatever is missing, no brace, no doubled space, and still an act at the end."""
    facts = {key: WIDEST[key] for key in kept if key != "text"}
    for alarm, table in EN.alarms.items():
        for case in table:
            wording, _, _ = case.partition("-high")
            said = sentence(EN, alarm, Priority.HIGH, wording, facts)
            assert "{" not in said
            assert "  " not in said
            assert said.endswith(".")


def test_values_that_are_no_numbers_are_left_out() -> None:
    """Not a number, endless, true, or a text: the shorter sentence."""
    for bad in (math.nan, math.inf, True, "19.4", 1e12, None):
        said = sentence(EN, "o2-low", Priority.HIGH, "", {"o2_pct": bad})
        assert said == "Too little oxygen. Get everyone outside now."
    for below in (-0.5, math.nan):
        facts = {"part": "cell", "seconds": below, "text": "oxygen"}
        bare = sentence(EN, "sensor-stale", Priority.MEDIUM, "alone", facts)
        assert "second" not in bare


def test_a_message_file_without_a_bare_sentence_still_says_something() -> None:
    """Words that name nothing: the id and the priority, never silence."""
    bare = MessageCatalog("xx", ".", EN.spans, {}, {})
    assert sentence(bare, "o2-low", Priority.HIGH, "", {}) == "o2-low (high)"
    assert sentence(bare, "\n", Priority.LOW, "", {}) == "alarm (low)"


@pytest.mark.parametrize(
    "bad",
    ["{o2_pct!r}", "{co2}", "{o2_pct:{limit}}", "{", "{o2_pct:q}", "{part.x}", "{}"],
)
def test_a_field_reaches_nothing_but_facts(bad: str) -> None:
    """A message file can name facts and formats, nothing else."""
    with pytest.raises(ValueError, match=r"field|fact|format|brace|'}'"):
        fields_of(bad)
