"""Every number says which way it gets laxer, and what is laxer is refused or said."""

import json
import math
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any, get_args, get_type_hints

import attrs
import pytest
from hypothesis import given
from hypothesis import settings as tuned
from hypothesis import strategies as st

from cabinvigil.daemon import rules
from cabinvigil.daemon.core.validators import NO_BOUND, Between, Finite
from cabinvigil.daemon.settings.alarms import Alarms, Source, build_alarms
from cabinvigil.daemon.settings.checks import Laxer, Within
from cabinvigil.daemon.settings.laxer import NO_LIMITS
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.daemon.settings.values import AlarmCommon

LIMITS: dict[str, dict[str, Any]] = tomllib.loads(
    (resources.files("cabinvigil.config") / "limits.toml").read_text(encoding="utf-8")
)["alarm"]


def built(alarm: str, change: dict[str, Any]) -> Alarms:
    """Read one packaged alarm as a cabin's file changes it."""
    table = LIMITS[alarm]
    packaged = Source("limits.toml", {alarm: {**table, "suppressed_by": []}})
    known = replace(Registries(), rule_names=lambda: (table["kind"],))
    return build_alarms(
        packaged, Source("cabin.toml", {alarm: change}), packaged, known
    )


def laxer_texts(alarm: str, change: dict[str, Any]) -> list[str]:
    """What is said of a change that is accepted; else it is refused for the same.

    Of what nobody may accept, what it is refused for.
    """
    fixed = getattr(rules.find(LIMITS[alarm]["kind"]), "FIXED", ())
    if not change.keys().isdisjoint(fixed):
        refused = built(alarm, {**change, "accept_laxer": True})
        assert refused.laxer == []
        said = [one.what for one in refused.mistakes]
        assert said == [one.what for one in built(alarm, change).mistakes]
        return [text.partition("alarm's word: ")[2] for text in said]
    accepted = built(alarm, {**change, "accept_laxer": True})
    assert accepted.mistakes == []
    refused = built(alarm, change)
    assert refused.laxer == []
    texts = [text.removeprefix(f"{alarm}: ") for text in accepted.laxer]
    assert len(texts) == len(refused.mistakes)
    for text, mistake in zip(texts, refused.mistakes, strict=True):
        assert mistake.file == "cabin.toml"
        assert mistake.key == f"alarm.{alarm}"
        assert mistake.what == f"is less strict than the packaged limits: {text}"
        assert mistake.mend.endswith(", or set `accept_laxer = true` beside it")
    return texts


# --- every number states its direction ------------------------------------------------


def number_fields(kind: type) -> Iterator[tuple[str, Any, Any]]:
    """Name, type and validator of each number, in the members of lists too."""
    hints = get_type_hints(kind, include_extras=True)
    for field in attrs.fields(kind):
        hint = hints[field.name]
        bare = {hint, *get_args(hint)} - {type(None)}
        if bare & {float, int, bool}:
            yield field.name, hint, field.validator
        for inside in filter(attrs.has, bare):
            yield from number_fields(inside)


@pytest.mark.parametrize("kind", rules.kinds())
def test_each_number_of_a_rule_says_beside_its_bounds_which_way_is_laxer(
    kind: str,
) -> None:
    """What says nothing would be taken for laxer whichever way it goes."""
    for name, _, validator in number_fields(rules.find(kind).Params):
        assert isinstance(validator, Finite), f"{kind}.{name}"


@pytest.mark.hazard("silenced-by-config")
def test_each_common_key_says_which_way_is_laxer() -> None:
    """Delays, quiet times and the switches that every alarm has."""
    hints = get_type_hints(AlarmCommon, include_extras=True)
    for name in {field.name for field in attrs.fields(AlarmCommon)} - NO_LIMITS:
        notes = getattr(hints[name], "__metadata__", ())
        assert any(isinstance(note, Laxer) for note in notes), name


# --- each of them: laxer is refused, stricter is free ---------------------------------


@dataclass(frozen=True)
class Number:
    """One number of one packaged alarm."""

    alarm: str
    key: str
    value: float
    low: float
    high: float
    laxer: str

    def is_laxer(self, value: float) -> bool:
        if self.laxer == "either":
            return value != self.value
        return value > self.value if self.laxer == "higher" else value < self.value


def resolved(laxer: str, side: str) -> str:
    ways = {"outward": ("lower", "higher"), "inward": ("higher", "lower")}
    return ways[laxer][side == "above"] if laxer in ways else laxer


def numbers() -> Iterator[Number]:
    for alarm in LIMITS:
        read = built(alarm, {}).alarms[alarm]
        side = getattr(read.params, "side", "")
        for name, hint, _ in number_fields(AlarmCommon):
            notes = {type(note): note for note in getattr(hint, "__metadata__", ())}
            if Within in notes:
                within, laxer = notes[Within], notes[Laxer].laxer
                value = getattr(read, name)
                yield Number(alarm, name, value, within.low, within.high, laxer)
        for field in attrs.fields(type(read.params)):
            check = field.validator
            if isinstance(check, Finite):
                low, high = -NO_BOUND, NO_BOUND
                if isinstance(check, Between):
                    low, high = check.low, check.high
                value = getattr(read.params, field.name)
                if value is None:
                    continue
                laxer = resolved(check.laxer, side)
                yield Number(alarm, field.name, value, low, high, laxer)


NUMBERS = list(numbers())


@pytest.mark.hazard("silenced-by-config")
@pytest.mark.parametrize("number", NUMBERS, ids=lambda one: f"{one.alarm}.{one.key}")
def test_the_least_step_to_the_laxer_side_is_refused(number: Number) -> None:
    """And so is the furthest; the same value and any stricter one are free."""
    value = number.value
    tried = [value, number.low, number.high]
    tried += [math.nextafter(value, end) for end in (-math.inf, math.inf)]
    for own in tried:
        if number.low <= own <= number.high:
            assert bool(laxer_texts(number.alarm, {number.key: own})) is (
                number.is_laxer(own)
            )


@given(st.data())
@tuned(max_examples=150, deadline=None)
def test_a_change_is_laxer_on_one_side_alone(data: st.DataObject) -> None:
    number = data.draw(st.sampled_from(NUMBERS))
    own = data.draw(st.floats(number.low, number.high))
    said = laxer_texts(number.alarm, {number.key: own})
    assert len(said) == number.is_laxer(own)
    assert all(text.startswith(f"its {number.key} is ") for text in said)


# --- what is said ---------------------------------------------------------------------

LAXER: dict[str, dict[str, float | bool | str]] = {
    "o2-low": {
        "on_delay_s": 6.0,
        "off_delay_s": 50.0,
        "ack_s": 400.0,
        "again_step": 1.0,
        "shelve_s": 7200.0,
        "latch": False,
        "removable": True,
        "quantity": "o2_hpa",
        "side": "above",
        "dead_band": 0.1,
        "place": "roof",
        "before": 20.9,
    },
    "co-level": {"no_quiet_at": 400.0},
    "co2-level": {"before": 0.0, "dead_band": 100.0, "place": ""},
    "co-dose": {
        "ahead_s": 600.0,
        "dead_band_pct": 0.1,
        "clear_below_ppm": 50.0,
        "clean_below_ppm": 20.0,
        "standard_priority": "medium",
    },
    "o2-projected": {
        "limit": 19.0,
        "horizon_s": 600.0,
        "probability": 0.985,
        "soon_s": 60.0,
        "soon_probability": 0.6,
        "high_probability": 0.9,
        "margin": 0.0,
        "least_fall_pct": 0.3,
        "near_pct": 0.1,
    },
    "co2-projected": {"limit": 40000.0},
    "o2-falling": {
        "side": "above",
        "limit_per_h": 4.0,
        "towards": 19.0,
        "within_s": 600.0,
        "window_s": 400.0,
        "priority": "low",
    },
    "displaced-air": {"least_pct": 0.5, "z": 6.0},
    "condensing": {"ahead_s": 600.0, "slope_s": 600.0, "dead_band_c": 0.5},
    "supply-low": {
        "low_v": 11.0,
        "empty_v": 10.5,
        "hours": 1.0,
        "dead_band_v": 0.0,
        "window_s": 1800.0,
        "low_pct": 10.0,
        "empty_pct": 1.0,
        "dead_band_pct": 1.0,
    },
    "sensor-stale": {"start_grace_s": 600.0, "retry_s": 30.0},
    "sensor-range": {"retry_s": 30.0},
    "sensor-stuck": {
        "lively_s": 900.0,
        "lively_intervals": 200.0,
        "moved_s": 900.0,
        "coarse_s": 7200.0,
        "patience": 20.0,
    },
    "sensor-implausible": {
        "rich_pct": 2.0,
        "pressure_pct": 1.0,
        "altitude_hpa": 90.0,
        "baseline_ppm": 300.0,
        "cold_c": -30.0,
        "zero_ppm": -5.0,
        "hydrogen_ppm": 1.0,
        "gassing_v": 12.0,
        "charging_a": 2.0,
    },
    "sensor-warming": {"factor": 5.0, "alone_s": 800.0},
    "sensors-disagree": {"factor": 3.0},
    "gases-disagree": {"z": 6.0},
}
"""A laxer value for each key, written by hand: what the code states is held to it."""


def test_each_number_of_each_kind_has_a_laxer_value_here() -> None:
    """A new rule's numbers are thought of twice."""
    by_kind: dict[str, set[str]] = {}
    for alarm, keys in LAXER.items():
        by_kind.setdefault(LIMITS[alarm]["kind"], set()).update(keys)
    for number in NUMBERS:
        keys = by_kind.get(LIMITS[number.alarm]["kind"], set()) | LAXER["o2-low"].keys()
        where = f"LAXER in {__file__}: a less strict value of"
        assert number.key in keys, f"{where} {number.key} of {number.alarm}"


def shown(value: object) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return value if isinstance(value, str) and value else json.dumps(value)


@pytest.mark.parametrize(
    ("alarm", "key", "value"),
    [(alarm, key, value) for alarm in LAXER for key, value in LAXER[alarm].items()],
)
def test_each_laxer_value_is_said_with_the_packaged_one(
    alarm: str, key: str, value: float | bool | str
) -> None:
    (text,) = laxer_texts(alarm, {key: value})
    said = re.escape(f"its {key} is {shown(value)}")
    assert re.match(rf"{said}(?: (?:°C|K|hPa))?, packaged ", text)


def test_all_that_is_laxer_is_said_at_once() -> None:
    texts = laxer_texts("supply-low", {"low_v": 11.0, "empty_v": 11.5, "hours": 1.0})
    assert texts == ["its low_v is 11, packaged 11.8", "its hours is 1, packaged 2"]


def step(at: float, priority: str, **more: float) -> dict[str, Any]:
    return {"at": at, "priority": priority, **more}


@pytest.mark.parametrize(
    ("alarm", "change", "mend"),
    [
        ("o2-low", {"ack_s": 400.0}, "give 300 or lower"),
        ("o2-low", {"dead_band": 0.1}, "give 0.2 or higher"),
        ("o2-low", {"place": ""}, "remove it"),
        ("o2-falling", {"priority": "low"}, "give medium or higher"),
        ("o2-falling", {"window_s": 400.0}, "give 600"),
        ("o2-low", {"latch": False}, "give true"),
        ("o2-low", {"steps": [step(19.0, "high")]}, "put a step as strict back"),
    ],
)
def test_the_mend_says_which_way_is_free(
    alarm: str, change: dict[str, Any], mend: str
) -> None:
    (mistake,) = built(alarm, change).mistakes
    assert mistake.mend == f"{mend}, or set `accept_laxer = true` beside it"


def test_a_limit_that_is_absent_is_the_laxest() -> None:
    """A limits file of one's own without `again_step` never rings anew."""
    table = LIMITS["o2-low"]
    less = {key: value for key, value in table.items() if key != "again_step"}
    known = replace(Registries(), rule_names=lambda: ("level",))
    packaged, own = (Source(n, {"o2-low": t}) for n, t in (("p", table), ("l", less)))
    out = build_alarms(own, Source("cabin.toml", {}), packaged, known)
    (mistake,) = out.mistakes
    assert mistake.file == "l"
    assert "its again_step is not given, packaged 0.5" in mistake.what
