"""A line of the log: its moment, its keys, and that one always comes out."""

import json
from collections import namedtuple
from datetime import UTC, datetime
from importlib.util import find_spec

import pytest
import structlog
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.model import (
    AlarmState,
    Alert,
    Command,
    Estimate,
    Priority,
    Record,
    Sound,
    Transition,
)
from cabinvigil.daemon.log.lines import Entry, Renderer, entry_of
from cabinvigil.daemon.outputs.base import Stamp

pytestmark = pytest.mark.made_up("puts into lines whatever a field may hold")

STAMP = Stamp(12.5, datetime(2025, 1, 14, 21, 0, 12, 500_000, UTC))


def rendered(command: Command, stamp: Stamp = STAMP) -> dict[str, object]:
    entry = entry_of(command)
    assert entry is not None
    data = Renderer().render(entry, stamp)
    assert data.endswith(b"\n")
    assert data.count(b"\n") == 1
    return dict(json.loads(data))


def test_a_line_begins_with_its_moment_and_event() -> None:
    line = rendered(Record("air", {"o2_pct": 20.512, "at_least": ["co_ppm"]}))
    assert list(line.items()) == [
        ("t", "2025-01-14T21:00:12.500Z"),
        ("up_s", 12.5),
        ("event", "air"),
        ("o2_pct", 20.512),
        ("at_least", ["co_ppm"]),
    ]


def test_a_transition_becomes_an_alarm_line() -> None:
    change = Transition(
        "o2-low", AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL, Priority.HIGH,
        "Oxygen low: 19.4 %.", 10.0, True, {"o2_pct": 19.4},
    )  # fmt: skip
    line = rendered(change)
    assert {k: v for k, v in line.items() if k not in ("t", "up_s")} == {
        "event": "alarm",
        "alarm": "o2-low",
        "state": "unacknowledged",
        "was": "normal",
        "priority": "high",
        "text": "Oxygen low: 19.4 %.",
        "since_s": 10.0,
        "first_up": True,
        "evidence": {"o2_pct": 19.4},
    }
    entry = entry_of(change)
    assert entry is not None
    assert entry.urgent


def test_estimates_are_lines_and_sounds_and_alerts_are_not() -> None:
    assert rendered(Estimate({"o2_minutes_to_19_5": None}))["event"] == "estimate"
    assert entry_of(Sound("chirp")) is None
    assert entry_of(Alert("o2-low", Priority.HIGH, "x")) is None


def test_structlog_is_imported_as_it_is() -> None:
    """No module is hidden from it while it loads, nor from whoever else uses it."""
    assert (structlog.dev.rich is None) == (find_spec("rich") is None)


def test_floats_come_back_exactly() -> None:
    """A replay must see the very numbers that the night saw."""
    value = 20.1 + 0.2
    assert rendered(Record("air", {"o2_pct": value}))["o2_pct"] == value


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (float("nan"), None),
        ([1.0, float("inf")], [1.0, None]),
        ({"a": {"b": float("-inf")}}, {"a": {"b": None}}),
        (frozenset({"b", "a"}), ["a", "b"]),
        (AlarmState.NORMAL, "AlarmState.NORMAL"),
        ("über\n\udc80", "über\n\udc80"),
        (namedtuple("P", "x")(1), [1]),
    ],
)
def test_whatever_a_field_holds_json_comes_out(value: object, written: object) -> None:
    assert rendered(Record("mark", {"text": value}))["text"] == written


def test_what_cannot_be_written_at_all_is_said_in_its_place() -> None:
    loop: list[object] = []
    loop.append(loop)
    for value in (loop, {(1, 2): 3}):
        line = rendered(Record("mark", {"text": value}))
        assert line["event"] == "mark"
        assert "Error" in str(line["unwritable"])


def test_a_field_cannot_take_the_place_of_the_moment() -> None:
    line = rendered(Record("act", {"event": "x", "t": 1, "up_s": 2}))
    assert line["event"] == "act"
    assert (line["event_"], line["t_"], line["up_s_"]) == ("x", 1, 2)


json_like = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=8,
)


@settings(max_examples=60)
@given(st.dictionaries(st.text(max_size=6), json_like, max_size=5))
def test_a_line_always_comes_out(fields: dict[str, object]) -> None:
    """Any fields give one line that a strict JSON reader takes."""
    data = Renderer().render(Entry("mark", fields, False), STAMP)
    line = json.loads(data, parse_constant=lambda name: pytest.fail(name))
    assert line["event"] == "mark"
    assert data.count(b"\n") == 1
