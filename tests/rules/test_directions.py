"""Which way each number says that it gets laxer, against what the rule then does."""

from collections.abc import Iterator
from typing import Any

import attrs
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon import rules
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.validators import Between, Direction, Finite
from cabinvigil.daemon.settings.laxer import on_side
from tests.core.scenario import Night
from tests.rules.test_rules import NAMES, SETUP

SPANS = {
    "o2_pct__a": (17.0, 24.5),
    "o2_pct__b": (17.0, 24.5),
    "o2_pct_ceiling": (17.0, 24.5),
    "co_ppm": (0.0, 300.0),
    "co2_ppm": (300.0, 35000.0),
    "gas_lel_pct": (0.0, 15.0),
    "temp_c": (-20.0, 40.0),
    "temp_c_outside": (-20.0, 20.0),
    "temp_c_glass": (-20.0, 30.0),
    "rh_pct": (20.0, 100.0),
    "pressure_hpa": (850.0, 1050.0),
    "pm2_5_ugm3": (0.0, 80.0),
    "supply_v": (10.5, 14.5),
}
DRIFTS = st.fixed_dictionaries(
    {
        key: st.tuples(
            st.floats(low, high),
            st.sampled_from([0.0, -0.02, -0.002, 0.002, 0.02]).map(
                lambda share, span=high - low: share * span
            ),
        )
        for key, (low, high) in SPANS.items()
    }
)
"""Where each quantity begins, and what it gains in a minute."""
SUBJECTS = {
    "series": NAMES,
    "channel": NAMES,
    "part": [f"the-{name}" for name in NAMES],
}


def packaged() -> Iterator[tuple[str, Any]]:
    """Kind and settings of each packaged alarm, for each series and part."""
    for spec in SETUP.alarms:
        subjects = SUBJECTS.get(rules.find(spec.kind).PER)
        for subject in subjects or ():
            yield spec.kind, attrs.evolve(spec.params, subject=subject)
        if subjects is None:
            yield spec.kind, spec.params


def loosened(params: Any) -> Iterator[tuple[str, Any]]:
    """The settings with each number, one at a time, moved to its laxer side."""
    side = getattr(params, "side", "")
    for field in attrs.fields(type(params)):
        value, check = getattr(params, field.name), field.validator
        if field.name == "steps":
            laxer = attrs.fields(type(value[0])).at.validator.laxer
            for index, step in enumerate(value):
                steps = list(value)
                steps[index] = attrs.evolve(step, at=moved(step.at, laxer, side))
                yield f"steps[{index}]", attrs.evolve(params, steps=steps)
        elif value is None:
            continue
        elif isinstance(check, Finite) and check.laxer != "either":
            own = moved(value, check.laxer, side)
            if isinstance(check, Between):
                own = min(max(own, check.low), check.high)
            yield field.name, attrs.evolve(params, **{field.name: own})


def moved(value: float, laxer: Direction, side: str) -> float:
    """A good deal further to the laxer side."""
    by = 0.5 * abs(value) + 1.0
    return value + by if on_side(laxer, side) == "higher" else value - by


LOOSENED = [
    (kind, usual, name, laxer)
    for kind, usual in packaged()
    for name, laxer in loosened(usual)
]


def rank(priority: Priority | None) -> int:
    return 0 if priority is None else int(priority)


@settings(max_examples=60, deadline=None)
@given(DRIFTS, st.integers(5, 70), st.integers(0, 30))
def test_what_is_laxer_never_rings_more(
    drifts: dict[str, tuple[float, float]], minutes: int, back: int
) -> None:
    """What rings or stands on by the laxer value does so by the packaged one too.

    An hour's smooth change tells a good third of the directions from their opposites;
    tests/settings/test_laxer.py has them all, written by hand.
    """
    night = Night(SETUP)
    for minute in (*range(minutes), *range(minutes, minutes - back, -1)):
        night.air({key: at + minute * by for key, (at, by) in drifts.items()}, 60.0)
    for kind, usual, name, laxer in LOOSENED:
        judge = rules.find(kind).judge
        by_usual = judge(usual, night.state.history, night.now)
        by_laxer = judge(laxer, night.state.history, night.now)
        if by_usual is None or by_laxer is None:
            assert by_laxer is None or by_laxer.priority is None, (kind, name)
            continue
        assert rank(by_laxer.priority) <= rank(by_usual.priority), (kind, name)
        assert rank(by_laxer.hold) <= rank(by_usual.hold), (kind, name)
