"""What is not known is never called safe."""

from pathlib import Path

import pytest

from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.review.morning import Morning, morning
from tests.review import logs

HOUR = 3600.0
CALM = {"o2_pct": 20.6, "co_ppm": 0.0, "co2_ppm": 900.0}


def night(tmp_path: Path, hours: float = 9.0, **changes: float | None) -> Morning:
    """A calm night; a quantity that is None was measured by nobody."""
    air = {k: v for k, v in (CALM | changes).items() if v is not None}
    rows = [(at_s, air) for at_s in range(0, int(hours * HOUR), 30)]
    data = logs.begin() + logs.air(rows)
    return morning(read_tape([logs.write(tmp_path, data)]))


def test_a_calm_night_that_was_measured_is_safe(tmp_path: Path) -> None:
    found = night(tmp_path)
    assert (found.verdict.word, found.verdict.is_well) == ("safe", True)


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize("missing", ["o2_pct", "co_ppm"])
def test_a_night_without_a_vital_quantity_is_not_safe(
    tmp_path: Path, missing: str
) -> None:
    """Nobody measured oxygen: nobody knows."""
    found = night(tmp_path, **{missing: None})
    assert found.verdict.word == "unknown"
    assert not found.verdict.is_well
    assert "was never measured" in found.verdict.reasons[0]


def test_two_minutes_are_no_night(tmp_path) -> None:
    found = night(tmp_path, hours=0.04)
    assert found.verdict.word == "unknown"
    assert "too short to judge" in found.verdict.reasons[0]


@pytest.mark.hazard("record-comforts")
def test_a_twentieth_of_the_night_unseen_is_not_seen(tmp_path: Path) -> None:
    """Two hours long, seven minutes without oxygen: less than twenty, and too much."""
    rows = [
        (at_s, CALM if not 3000 <= at_s < 3420 else {"co_ppm": 0.0, "co2_ppm": 900.0})
        for at_s in range(0, 7200, 30)
    ]
    data = logs.begin() + logs.air(rows)
    found = morning(read_tape([logs.write(tmp_path, data)]))
    assert found.verdict.word == "not seen"
    assert not found.verdict.is_well


@pytest.mark.hazard("record-comforts")
def test_each_ring_has_its_own_time_and_words(tmp_path: Path) -> None:
    """First 30 ppm before midnight, 250 ppm at five: two lines, each with its own."""
    data = logs.begin()
    rings = {3600: ("low", "30 ppm"), 21_000: ("high", "250 ppm")}
    for at_s in range(0, 30_000, 30):
        data += logs.air([(at_s, CALM)])
        if at_s in rings:
            priority, text = rings[at_s]
            data += logs.line(
                "alarm", at_s, alarm="co-level", state="unacknowledged",
                was="normal" if priority == "low" else "unacknowledged",
                priority=priority, text=text,
            )  # fmt: skip
    found = morning(read_tape([logs.write(tmp_path, data)]))
    (episode,) = found.rang
    assert [(one.at_s, one.priority, one.text) for one in episode.rises] == [
        (3600.0, "low", "30 ppm"),
        (21_000.0, "high", "250 ppm"),
    ]


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize("alarm", ["o2-pressure", "displaced-air", "gas-leak"])
def test_a_limit_of_the_air_that_woke_people_was_no_safe_night(
    tmp_path: Path, alarm: str
) -> None:
    """At 2,900 m oxygen's pressure was short all night, and the night "safe"."""
    data = logs.begin()
    for at_s in range(0, 30_000, 30):
        data += logs.air([(at_s, CALM)])
        if at_s == 3600:
            data += logs.line(
                "alarm", at_s, alarm=alarm, state="unacknowledged", was="normal",
                priority="medium", text="as it was said",
            )  # fmt: skip
    found = morning(read_tape([logs.write(tmp_path, data)]))
    assert found.verdict.word == "dangerous"
    assert "for the height" in found.verdict.reasons[0] or alarm != "o2-pressure"
