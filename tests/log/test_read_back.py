"""Whatever cuts a night's record, it is read back as one night, and as no other."""

import time
from datetime import datetime
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.commands import morning
from tests.commands import calling
from tests.log import read_back
from tests.log.cut_courses import Course, Cut, draw
from tests.review import logs

HOUR = 3600.0


@pytest.mark.parametrize("seed", range(9_001, 9_017))
def test_a_cut_night_is_read_as_the_uncut_one(seed: int, tmp_path: Path) -> None:
    """Verdict, closest, hours, what rang and when, gas and air; by date and as last."""
    assert read_back.check(draw(Random(seed)), tmp_path) == []


def course(zone: str, begins: str, *cuts: Cut, **more: object) -> Course:
    """Give a course by its first cut and the others."""
    first, *rest = cuts
    at = datetime.fromisoformat(begins)
    return Course(zone, at, 8.0, first, tuple(rest), **more)  # type: ignore[arg-type]


RIGHT = Cut(0.0, 0.0, "right", 0.0, None)
NAMED = {
    # R1: the clock stands where the last night ended, and is set at half past twelve.
    "no battery clock": course(
        "Europe/Oslo", "2026-01-16T20:00+00:00",
        Cut(0.0, 0.0, "saved", 0.0, 3.5 * HOUR), air="shut",
    ),
    "1970": course(
        "Europe/Oslo", "2026-01-16T20:00+00:00",
        Cut(0.0, 0.0, "1970", 0.0, 3.5 * HOUR), air="shut", is_before_another=True,
    ),
    # R3: the Pi is on UTC, and the night is a Californian's: noon falls at four.
    "on UTC": course("UTC", "2026-01-17T06:00+00:00", RIGHT, air="shut"),
    "on UTC, cut at noon": course(
        "UTC", "2026-01-17T06:00+00:00", RIGHT,
        Cut(5.9 * HOUR, 900.0, "right", 0.0, None), air="shut",
    ),
    # The first boot never learnt the time, and the second did.
    "two boots": course(
        "Pacific/Chatham", "2026-01-16T09:00+00:00",
        Cut(0.0, 0.0, "saved", 0.0, None), Cut(2 * HOUR, 600.0, "saved", 0.0, HOUR),
        air="shut",
    ),
    "four months ahead": course(
        "America/Los_Angeles", "2026-01-17T04:00+00:00",
        Cut(0.0, 0.0, "ahead", 120 * 24 * HOUR, 2 * HOUR), air="shut",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NAMED)
def test_the_clocks_of_a_pi_move_no_hour_to_another_night(
    name: str, tmp_path: Path
) -> None:
    """Each that was found, as it was found: the night before is not this one."""
    assert read_back.check(NAMED[name], tmp_path) == []


def test_a_log_is_told_in_the_cabins_zone_wherever_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """R3: by its start line; a log of before that, in the reader's."""
    begins = datetime.fromisoformat("2026-01-16T16:30+00:00")
    air = logs.air(logs.still_air(0.0, 2 * HOUR, 60.0), begins)
    told = []
    for head in ({"zone": "Asia/Kolkata"}, {}):
        path = logs.write(tmp_path, logs.begin(begins, **head) + air)
        for here in ("America/Los_Angeles", "Pacific/Chatham"):
            monkeypatch.setenv("TZ", here)
            time.tzset()
            told.append(calling.call(morning, path)[1].partition("\n\n")[2])
    monkeypatch.undo()
    time.tzset()
    first, second, third, fourth = told
    assert first == second
    assert "22:00 to 23:59 IST" in first
    assert third != fourth
