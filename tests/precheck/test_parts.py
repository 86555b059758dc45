"""A part before bed: the worst of what is said of it, in one line."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from cabinvigil.daemon.precheck.findings import WatchStatus
from cabinvigil.daemon.precheck.parts import Part, part_finding
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.kept import Span
from cabinvigil.drivers import part as find_part

NOW = datetime(2026, 10, 20, 21, 0, tzinfo=UTC)


def cell(days_ago: float, mv: float = 11.0) -> Span:
    at = NOW - timedelta(days=days_ago)
    options = {"air_hpa": 1000.0, "air_o2_pct": 20.0}
    return Span("bunk-cell", "o2_cell_ads1115", at, mv, "mV", options=options)


def judged(
    kind: str = "o2_cell_ads1115",
    *spans: Span,
    status: dict[str, Any] | None = None,
    port_mend: str = "",
    **changes: Any,
) -> tuple[str, str]:
    known: dict[str, Any] = {
        "kind": kind,
        "bus": "main",
        "in_service": date(2026, 1, 1),
    }
    info = find_part(kind)
    series = {q: q for q in info.gives}
    settings = PartSettings(**(known | changes))
    part = Part("bunk-cell", settings, info, series, spans, port_mend)
    usual: dict[str, Any] = {
        "readings": {"o2_pct": 20.6, "o2_hpa": 194.0, "co_ppm": 0.4, "co2_ppm": 430.0},
        "doubtful": frozenset(),
        "alarms": {},
        "faults": {},
    }
    found = part_finding(part, WatchStatus(**(usual | (status or {}))), NOW)
    assert found.subject == "bunk-cell"
    return found.word, found.text


def test_a_part_that_is_well_shows_what_it_reads() -> None:
    """Its gas first, and when it was spanned."""
    assert judged("o2_cell_ads1115", cell(3)) == (
        "good",
        "20.6 %, 194.0 hPa; calibrated 3 days ago",
    )
    assert judged("o2_cell_ads1115", cell(0.1))[1].endswith("calibrated today")


@pytest.mark.parametrize(
    ("means", "value", "told"),
    [
        ("smoke", 0.0, "quiet"),
        ("co", 1.0, "sounding"),
        ("door", 1.0, "open"),
        ("bilge", 0.0, "dry"),
    ],
)
def test_a_contact_is_told_in_words(means: str, value: float, told: str) -> None:
    """ "smoke-alarm 0" leaves open whether that is good."""
    known: dict[str, Any] = {"means": means, "bus": None, "in_service": None}
    status = {"readings": {"contact": value}}
    assert told in judged("contact", status=status, **known)[1]


@pytest.mark.parametrize(
    ("o2_hpa", "told"), [(150.4, "like sleeping at 2800 m"), (180.0, "")]
)
def test_thin_air_is_told_as_a_height(o2_hpa: float, told: str) -> None:
    """What a body gets, from where it notices it; it is no fault of the part."""
    status = {"readings": {"o2_pct": 20.6, "o2_hpa": o2_hpa}}
    word, text = judged("o2_cell_ads1115", cell(3), status=status)
    assert word == "good"
    assert told in text
    assert ("sleeping" in text) is bool(told)


@pytest.mark.parametrize(
    ("alarm", "priority", "word"),
    [
        ("sensor-fault/bunk-cell", "fault", "bad"),
        ("sensor-stale/o2_pct", "medium", "bad"),
        ("sensor-stuck/o2_hpa", "fault", "bad"),
        ("sensor-warming/bunk-cell", "fault", "bad"),
        ("sensor-implausible/o2_pct", "low", "mind"),
        ("sensor-fault/another", "fault", "good"),
        ("o2-low", "high", "good"),
    ],
)
def test_an_alarm_on_the_part_is_told_at_it(
    alarm: str, priority: str, word: str
) -> None:
    """By its name or by one of its series; others' are told elsewhere."""
    found = judged(
        "o2_cell_ads1115", cell(3), status={"alarms": {alarm: (priority, "Told.")}}
    )
    assert found[0] == word
    assert ("Told." in found[1]) is (word != "good")


def test_a_fault_that_has_not_rung_yet_is_told_in_the_samplers_words() -> None:
    """Nothing that is known is left out for a delay."""
    status = {"faults": {"bunk-cell": "it does not answer"}, "readings": {}}
    assert judged("o2_cell_ads1115", cell(3), status=status) == (
        "bad",
        "it does not answer",
    )


def test_what_gives_nothing_is_bad() -> None:
    """Named by what is missing, or by the bus that took it along."""
    silent: dict[str, Any] = {"readings": {"o2_pct": 20.6}}
    word, text = judged("o2_cell_ads1115", cell(3), status=silent)
    assert word == "bad"
    assert "no fresh reading of oxygen partial pressure" in text
    stuck = {"readings": {}, "faults": {"main": "stuck"}}
    assert judged("o2_cell_ads1115", cell(3), status=stuck) == (
        "bad",
        "its bus main does not work",
    )


def test_a_doubtful_part_is_bad() -> None:
    """It warms up, or is out of its range: both figures are said."""
    doubt = {"doubtful": frozenset({"o2_pct"})}
    word, text = judged("o2_cell_ads1115", cell(3), status=doubt)
    assert word == "bad"
    assert text.endswith("warms up for 15 min, or is outside -20 to 50 °C")
    wet = {"doubtful": frozenset({"co_ppm"})}
    assert judged("frame9_co", status=wet)[1].endswith(
        "outside -10 to 55 °C or the humidity it is rated for"
    )


@pytest.mark.parametrize(
    ("days", "word"), [(0.0, "good"), (31.0, "good"), (32.0, "mind"), (184.0, "bad")]
)
def test_a_span_grows_old(days: float, word: str) -> None:
    """A month is usual; after half a year a cell may be off by 0.5 % (sensors, 7a)."""
    assert judged("o2_cell_ads1115", cell(days))[0] == word


@pytest.mark.parametrize(
    ("since", "days", "word"),
    [
        (date(2025, 4, 1), 14.0, "good"),  # 567 days in service
        (date(2025, 4, 1), 15.0, "mind"),
        (date(2025, 7, 1), 15.0, "good"),  # 476: not old yet
    ],
)
def test_v14_a_cell_past_18_months_is_spanned_each_fortnight(
    since: date, days: float, word: str
) -> None:
    """It stays flat until three weeks before its end: monthly spans see nothing."""
    found = judged("o2_cell_ads1115", cell(days), in_service=since)
    assert found[0] == word
    assert ("every two weeks" in found[1]) is (word == "mind")
    module = Span("bunk-cell", "frame9_co", NOW - timedelta(days=days), 0.0, "ppm")
    on_port: dict[str, Any] = {"port": "/dev/serial0", "bus": None}
    assert judged("frame9_co", module, in_service=since, **on_port)[0] == "good"


def test_a_cell_that_was_never_spanned_is_bad_and_a_module_is_to_mind() -> None:
    """The one gives nothing, the other its maker's own calibration."""
    assert judged("o2_cell_ads1115")[0] == "bad"
    assert judged("o2_cell_ads1115", options={"air_mv": 11.0})[0] == "mind"
    assert judged("frame9_co", port="/dev/ttyUSB0", bus=None)[0] == "mind"
    assert judged("o2_optical_line", port="/dev/serial0", bus=None)[1].startswith(
        "20.6"
    )


def test_a_port_whose_name_may_move_is_to_mind() -> None:
    """With the name to write instead."""
    moving: dict[str, Any] = {"port": "/dev/ttyUSB0", "bus": None}
    air = {"readings": {"o2_pct": 20.6, "o2_hpa": 194.0, "pressure_hpa": 940.0}}
    assert judged("o2_optical_line", status=air, **moving)[0] == "good"
    word, text = judged(
        "o2_optical_line", status=air, port_mend="write another", **moving
    )
    assert word == "mind"
    assert "/dev/ttyUSB0 may be another adapter's name" in text
    assert "write another" in text


def test_a_span_in_the_future_asks_for_the_clock() -> None:
    """The clock was wrong then, or is now."""
    word, text = judged("o2_cell_ads1115", cell(-40))
    assert word == "mind"
    assert "set the clock" in text


@pytest.mark.parametrize(
    ("since", "word", "part"),
    [
        (date(2026, 1, 1), "good", ""),
        (date(2024, 11, 10), "mind", "21 days of service left"),
        (date(2024, 10, 1), "bad", "past its service life"),
        (None, "mind", "its age is unknown"),
    ],
)
def test_a_part_has_its_life(since: date | None, word: str, part: str) -> None:
    """Two years for a cell (sensors sheet, 7b); what does not wear says nothing."""
    found = judged("o2_cell_ads1115", cell(3), in_service=since)
    assert (found[0], part in found[1]) == (word, True)
    assert judged("scd4x", in_service=None)[1].count("age") == 0


def test_spans_that_fall_tell_a_cells_end() -> None:
    """Worn out by its own spans, though its date is not reached."""
    worn = judged("o2_cell_ads1115", cell(200, 13.0), cell(2, 9.0))
    assert worn[0] == "bad"
    assert "69% of its first: worn out" in worn[1]
    soon = judged("o2_cell_ads1115", cell(200, 13.0), cell(2, 9.4))
    assert soon[0] == "mind"
    assert "by its calibrations it is worn out in" in soon[1]
    weak = judged("o2_cell_ads1115", cell(600, 13.0), cell(2, 10.9))
    assert weak == ("mind", weak[1])
    assert "84% of its first signal: have another ready" in weak[1]
