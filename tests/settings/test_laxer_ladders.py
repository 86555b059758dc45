"""What makes a ladder of limits laxer: some value, or some mean, that rings less."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as tuned
from hypothesis import strategies as st

from cabinvigil.daemon.settings.alarms import Source, build_alarms
from cabinvigil.daemon.settings.registries import Registries
from tests.settings.test_laxer import LIMITS, laxer_texts, step

WORDS = ("low", "medium", "high")
STEPS = st.fixed_dictionaries(
    {
        "at": st.sampled_from([10.0, 20.0, 30.0, 40.0]),
        "priority": st.sampled_from(WORDS),
        "over_s": st.sampled_from([0.0, 3600.0]),
    }
)
LADDERS = st.lists(STEPS, min_size=1, max_size=4)


def reached(steps: list[dict[str, Any]], side: str, value: float, over_s: float) -> int:
    """How grave a ladder says that a value, or a mean of so long, is."""
    return max(
        (
            WORDS.index(step["priority"]) + 1
            for step in steps
            if step["over_s"] == over_s
            and (value <= step["at"] if side == "below" else value >= step["at"])
        ),
        default=0,
    )


@given(LADDERS, LADDERS, st.sampled_from(["below", "above"]))
@tuned(max_examples=300, deadline=None)
def test_a_ladder_is_laxer_where_some_value_rings_less(
    own: list[dict[str, Any]], packaged: list[dict[str, Any]], side: str
) -> None:
    """Whatever its steps, their order and their number."""
    table = {"kind": "level", "quantity": "o2_pct", "side": side, "steps": packaged}
    limits = Source("limits.toml", {"mine": table})
    known = replace(Registries(), rule_names=lambda: ("level",))
    out = build_alarms(limits, Source("own", {"mine": {"steps": own}}), limits, known)
    rings_less = any(
        reached(own, side, value, over_s) < reached(packaged, side, value, over_s)
        for value in (10.0, 20.0, 30.0, 40.0)
        for over_s in (0.0, 3600.0)
    )
    assert bool(out.mistakes) is rings_less


HOURS = [one for one in LIMITS["co-level"]["steps"] if "over_s" in one]
"""What `co-level` has on means."""


@pytest.mark.parametrize(
    ("alarm", "change", "texts"),
    [
        ("o2-low", {}, []),
        ("o2-low", {"steps": [step(19.8, "high"), step(18.5, "high")]}, []),
        (
            "o2-low",
            {"steps": [step(19.0, "high")]},
            ["the high step is at 19, packaged 19.5"],
        ),
        (
            "o2-low",
            {"steps": [step(19.5, "medium"), step(18.0, "medium")]},
            ["the high step at 19.5 is missing", "the high step at 18 is missing"],
        ),
        ("co-level", {"steps": [step(30.0, "high"), *HOURS]}, []),
        (
            "co-level",
            {"steps": [step(31.0, "low"), step(70.0, "high"), *HOURS]},
            ["the low step is at 31, packaged 30"],
        ),
        (
            "co-level",
            {"steps": [step(20.0, "high")]},
            [
                "the low step over 3600 s at 25 is missing",
                "the low step over 28800 s at 8.7 is missing",
                "the medium step over 14400 s at 30 is missing",
                "the medium step over 28800 s at 25 is missing",
            ],
        ),
        (
            "co2-level",
            {"steps": [step(5000.0, "medium"), step(30000.0, "high")]},
            [
                "the medium step over 28800 s at 5000 is missing",
                "the high step over 900 s at 15000 is missing",
            ],
        ),
        (
            "co2-level",
            {"steps": [step(5000.0, "high"), step(6000.0, "high", over_s=28800.0)]},
            [
                "the medium step over 28800 s is at 6000, packaged 5000",
                "the high step over 900 s at 15000 is missing",
            ],
        ),
        (
            "co-dose",
            {"steps": [step(3.0, "low"), step(5.0, "medium")]},
            ["the low step is at 3, packaged 2.5", "the high step at 10 is missing"],
        ),
        ("co-dose", {"steps": [step(2.0, "high")], "standard_priority": "high"}, []),
        ("o2-falling", {"priority": "high", "limit_per_h": 2.0}, []),
    ],
)
def test_what_a_ladder_lost_is_said(
    alarm: str, change: dict[str, Any], texts: list[str]
) -> None:
    """A graver step at the same limit is stricter; a mean is not a value."""
    assert laxer_texts(alarm, change) == texts
