"""The verdict on trials and nights in one sentence, over every combination of ranks."""

from collections.abc import Mapping
from dataclasses import replace
from itertools import product
from types import SimpleNamespace
from typing import cast

import pytest

from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.report.compare_text import table
from cabinvigil.daemon.report.compare_verdict import (
    NO,
    NOT_KNOWN,
    YES,
    enough,
    sentence,
)
from cabinvigil.daemon.review import trial_figures
from cabinvigil.daemon.review.compare import Sheet, ranks, too_short
from cabinvigil.daemon.review.trial_figures import TrialFigures
from tests.report.test_compare_text import a_sheet

PAST = "air past a waking limit"
DOES = {
    # what is better, unsure, worse, or not known: of the first, against `a_sheet`
    "safe": {
        1: {"margin": 0.9},
        0: {"margin": 0.51},
        -1: {"margin": 0.2},
        None: {"margin": None},
    },
    "dry": {
        1: {"wet_h": 0.0, "water_left_kg": (0.0, 0.0, 0.0)},
        0: {},
        -1: {"wet_h": 4.0},
        None: {"wet_h": None},
    },
    "cheap": {
        1: {"w_per_k": (10.0, 12.0, 14.0)},
        0: {},
        -1: {"w_per_k": (60.0, 66.0, 72.0)},
        None: {"w_per_k": None},
    },
}
WORDS = {"safe": "safer", "dry": "drier", "cheap": "cheaper"}
WORSE = {"safe": "less safe", "dry": "wetter", "cheap": "dearer for the warmth kept"}


def figures(**more: object) -> TrialFigures:
    plain = TrialFigures(
        o2_minutes=(None, None, None),
        least_o2_pct=20.2,
        settles_pct=(20.0, 20.1, 20.2),
        wet_from_min=None,
        is_wet_known=True,
        gas_kg_per_h=(0.05, 0.06, 0.07),
        begins_c=5.0,
        gained_k=8.0,
        power_kw=(0.7, 0.8, 0.9),
        outside_c=-5.0,
        outside_is_measured=True,
        wind_mps=1.0,
        people=0.0,
    )
    return replace(plain, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("ranks", list(product((1, 0, -1, None), repeat=3)))
def test_every_combination_of_ranks_is_told_as_it_is(
    ranks: tuple[int | None, ...],
) -> None:
    """Who is better is named first; what is not sure or not known is said to be so."""
    one = a_sheet("one")
    for kind, rank in zip(DOES, ranks, strict=True):
        one = replace(one, **DOES[kind][rank])  # type: ignore[arg-type]
    text = sentence([one, a_sheet("two")])
    assert text.endswith(".")
    assert text.count(".") == 1
    before = text.rpartition(";")[0]
    told = dict(zip(DOES, ranks, strict=True))
    surely = [rank for rank in ranks if rank]
    lead = surely[0] if surely else 0
    if lead:
        winner, other = ("one", "two") if lead > 0 else ("two", "one")
        said = before.lower().partition(f"{winner} was ")[2]
        better, _, rest = said.partition(f" than {other}")
        for kind, rank in told.items():
            assert (WORDS[kind] in better) == (rank == lead), (kind, text)
            assert (WORSE[kind] in rest.partition(";")[0]) == (rank == -lead)
    else:
        assert " than " not in text
    for kind, rank in told.items():
        unsure = [one for one in before.lower().split(";") if "not sure" in one]
        unknown = [one for one in before.lower().split(";") if "not known" in one]
        assert any(WORDS[kind] in one for one in unsure) == (rank == 0)
        assert any(WORDS[kind] in one for one in unknown) == (rank is None)
    if told["safe"] in (0, None):
        assert text.startswith("Which was safer"), "what is not sure comes first"


def past(name: str, margin: float = -0.4) -> Sheet:
    return replace(a_sheet(name), margin=margin, beyond_min=40.0, past=PAST)


def test_the_sentence_of_the_trials_that_the_report_was_drawn_from() -> None:
    """Better air for more gas, and neither enough."""
    floor = past("floor vent alone", -0.9)
    floor = replace(floor, wet_h=3.0, gas_kwh=(2.0, 2.1, 2.2), is_trial=True)
    roof = past("roof vent a third open", -0.1)
    roof = replace(roof, wet_h=0.5, gas_kwh=(3.1, 3.2, 3.3), is_trial=True)
    assert sentence([floor, roof]) == (
        "'roof vent a third open' was safer and drier than 'floor vent alone', for "
        "1.1 kWh more; neither was enough to sleep by."
    )


def test_gas_of_unlike_lengths_is_told_by_the_hour() -> None:
    """A longer trial burns more, and is no dearer for that."""
    short = replace(a_sheet("short"), hours=2.0, gas_kwh=(1.9, 2.0, 2.1), wet_h=0.2)
    long = replace(a_sheet("long"), margin=0.9, gas_kwh=(17.9, 18.0, 18.1))
    assert "for 1.0 kWh an hour more" in sentence([short, long])
    alike = replace(long, gas_kwh=(8.9, 9.0, 9.1))
    assert "kWh" not in sentence([short, alike])


def test_hours_of_wet_glass_are_compared_by_the_hour() -> None:
    """Two wet hours of two are not drier than four of nine."""
    short = replace(a_sheet("short"), hours=2.0, wet_h=2.0, water_left_kg=None)
    long = replace(a_sheet("long"), hours=9.0, wet_h=4.0, water_left_kg=None)
    assert "long was drier than short" in sentence([short, long])
    driest = ranks([short, long])[1]
    assert (driest.order, driest.is_sure) == ((1, 0), (True,)), "the ranks agree"


ENOUGH = {
    YES: {},
    NO: {"past": PAST, "margin": -0.4},
    NOT_KNOWN: {"unseen_min": 63.0},
}


@pytest.mark.parametrize("words", list(product(ENOUGH, repeat=3)))
def test_what_was_enough_is_told_of_each(words: tuple[str, ...]) -> None:
    """All 27 of three: no doubt is a yes, and none is left out."""
    sheets = [
        replace(a_sheet(name), **ENOUGH[word])  # type: ignore[arg-type]
        for name, word in zip(("ash", "elm", "oak"), words, strict=True)
    ]
    assert [enough(one).word for one in sheets] == list(words)
    last = sentence(sheets).rpartition(";")[2].lower()
    assert ("none was enough" in last) == (set(words) == {NO})
    assert ("all were enough" in last) == (set(words) == {YES})
    if len(set(words)) == 1:
        return
    ahead, _, behind = last.partition(", and whether ")
    for name, word in zip(("ash", "elm", "oak"), words, strict=True):
        if word == NOT_KNOWN:
            assert name in behind
            assert "not known" in behind
        elif word == YES:
            assert name in ahead
            assert " not enough" not in ahead
    if YES in words and NOT_KNOWN not in words:
        assert last.strip().startswith("only ")


@pytest.mark.parametrize(
    ("told", "word", "why"),
    [
        ({}, YES, ""),
        ({"margin": 0.05, "margin_sd": 0.05}, NOT_KNOWN, "nearer"),
        ({"margin": None}, NOT_KNOWN, "no gas"),
        ({"unseen_min": 28.0}, NOT_KNOWN, "28 min without"),
        ({"hours": 2.0, "unseen_min": 7.0}, NOT_KNOWN, "7 min without"),
        ({"hours": 0.4}, NOT_KNOWN, "too short"),
        ({"verdict": "not seen"}, NOT_KNOWN, "monitored"),
        ({"verdict": "dangerous"}, NO, "not safe"),
        ({"past": PAST}, NO, PAST),
        ({"past": "gas-leak rang", "margin": 0.9}, NO, "gas-leak rang"),
    ],
)
def test_a_doubt_is_no_yes(told: dict[str, object], word: str, why: str) -> None:
    """Whatever hides what was in the air is named."""
    found = enough(replace(a_sheet("a"), **told))  # type: ignore[arg-type]
    assert found.word == word
    assert why in found.why


def test_a_trial_must_settle_above_the_limit() -> None:
    """Somebody ended it; the sleeper's night would have gone on."""
    ended = replace(a_sheet("a"), is_trial=True, figures=figures())
    assert enough(ended).word == YES
    assert "with nobody in it" in sentence([ended, past("b")])
    for settles in ((19.4, 19.8, 20.0), None):
        falling = replace(ended, figures=figures(settles_pct=settles))
        assert enough(falling).why == "oxygen might have fallen further"


def trial(name: str, **more: object) -> Sheet:
    plain = replace(a_sheet(name), is_trial=True, verdict=None, figures=figures())
    return replace(plain, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("more", "lacks"),
    [
        ({}, ""),
        ({"hours": 0.4}, "it lasted 24 min, and 30 min are the least"),
        ({"hours": 0.4, "is_trial": False}, "it lasted 24 min"),
        ({"hours": 0.2, "past": PAST, "margin": -0.4}, ""),
        (
            {"figures": figures(settles_pct=(19.6, 19.9, 20.1)), "hours": 1.0},
            "oxygen was at 20.2 %, and might have fallen to 19.6: 60 min more would do",
        ),
        ({"figures": figures(settles_pct=(19.95, 20.1, 20.2))}, ""),
        ({"figures": figures(settles_pct=None), "hours": 9.0}, ""),
        (
            {"figures": figures(settles_pct=None), "hours": 1.0},
            "nothing shows that its air had settled: 60 min more would do",
        ),
        (
            {"figures": figures(settles_pct=None), "air_changes_per_h": None},
            "nothing shows that its air had settled",
        ),
        ({"figures": figures(least_o2_pct=None)}, ""),
    ],
)
def test_what_never_settled_is_not_compared(
    more: dict[str, object], lacks: str
) -> None:
    """A cabin that is shut for ten minutes has good air; what is missing is said."""
    one = trial("shut for ten minutes", air_changes_per_h=(0.8, 1.0, 1.2))
    one = replace(one, **more)  # type: ignore[arg-type]
    other = trial("open", margin=0.2)
    assert too_short(one).startswith(lacks)
    assert bool(too_short(one)) is bool(lacks)
    text, order = sentence([one, other]), ranks([one, other])
    if not lacks:
        return
    assert enough(one).word == NOT_KNOWN
    assert "safer" not in text
    assert text.startswith(
        "'shut for ten minutes' was too short to judge, so nothing is compared; "
    )
    assert all(0 not in rank.order for rank in order)
    told = " ".join(table([one, other], order).split())
    head = "too short to judge, or without a flame, and not ranked: "
    assert f"{head}shut for ten minutes: " in told
    assert " ".join(too_short(one).split()) in told
    three = sentence([one, other, trial("wide open", margin=0.9)])
    assert three.startswith("'shut for ten minutes' was too short to judge; 'wide op")


@pytest.mark.parametrize("count", range(2, 11))
def test_two_to_ten_are_one_sentence(count: int) -> None:
    """The best of many is named where it is surely best, and counted else."""
    sheets = [past(f"vent {n} cm", -0.1 * (count - n)) for n in range(count - 1)]
    sheets.append(replace(a_sheet("both open"), margin=0.8, wet_h=0.0))
    text = sentence(sheets)
    assert text.count(".") == 1
    assert len(text) < 400
    assert "nly 'both open' was enough to sleep by" in text
    assert "'both open' was" in text
    if count > 2:
        assert f"f {count}, 'both open' was the safest" in text


def test_of_equal_ones_none_is_named_the_safest() -> None:
    """Three alike differ by chance."""
    text = sentence([a_sheet("a"), a_sheet("b"), a_sheet("c")])
    assert text == (
        "Which was safest, driest or cheapest is not sure; all were enough to sleep by."
    )


def test_a_trial_without_a_flame_is_neither_ranked_nor_enough() -> None:
    """Fresh air in a cabin where nothing burnt shows nothing of its vents."""
    dark = trial("vent open", figures=figures(power_kw=None, least_o2_pct=20.8))
    lit = trial("vent shut")
    told = sentence([lit, dark])
    assert "In 'vent open' no flame was seen to burn, so nothing is compared" in told
    assert all(1 not in rank.order for rank in ranks([lit, dark]))
    assert enough(dark).word == NOT_KNOWN
    weak = trial("weak", figures=figures(power_kw=None, least_o2_pct=20.2))
    assert enough(weak).word == YES, "what took oxygen was judged as ever"


def test_where_it_settles_is_not_known_once_it_was_lower() -> None:
    """A flame that went out leaves a projection of air that gets better."""

    class Told:
        at_s = 600.0
        fields: Mapping[str, object] = {"o2_settles_pct": [18.3, 19.3, 20.9]}

    tape = cast(NightSeries, SimpleNamespace(estimates=[Told()]))
    assert trial_figures._settles(tape, 0.0, 900.0, 19.2) == (18.3, 19.3, 20.9)
    assert trial_figures._settles(tape, 0.0, 900.0, 17.9) is None
    assert trial_figures._settles(tape, 0.0, 900.0, None) == (18.3, 19.3, 20.9)
