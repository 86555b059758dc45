"""Dust and vapours of a night: when they rose, and what rose with them."""

from pathlib import Path

import pytest

from cabinvigil.daemon.review.other_air import (
    APART_S,
    LEAST_RISE_UGM3,
    USUAL_INDEX,
    DustCourse,
    other_air,
)
from tests.review import logs
from tests.review.other_nights import account, night

HOUR = 3600.0


def dust(path: Path) -> DustCourse:
    found = account(path).other.dust
    assert found is not None
    return found


def test_a_quiet_night_has_no_rise(tmp_path: Path) -> None:
    found = dust(night(tmp_path))
    assert (found.mean_ugm3, found.most_ugm3) == (pytest.approx(8.0), 8.0)
    assert found.rises == []
    assert [one.is_raised for one in account(night(tmp_path)).other.indices] == [
        False,
        False,
    ]


def test_nothing_measured_is_nothing_said(tmp_path: Path) -> None:
    rows = logs.still_air(0.0, HOUR)
    path = logs.write(tmp_path, logs.begin() + logs.air(rows))
    assert account(path).other.dust is None
    assert account(path).other.indices == []


@pytest.mark.parametrize(
    ("co", "rh_pct", "meaning", "up_ppm"),
    [
        # A flame short of air makes soot and CO together (incomplete combustion);
        # frying makes dust by the hundred ug/m3 and hardly CO (common practice, no
        # source).
        ((1.0, 9.0), 60.0, "with-co", 8.0),
        ((1.0, 1.0), 60.0, "without-co", 0.0),
        ((1.0, 3.5), 60.0, "without-co", 2.5),
        (None, 60.0, "co-unknown", None),
        # Above 90 % humidity mist counts as dust (drivers/kit/dust.py) ...
        ((1.0, 1.0), 95.0, "damp", 0.0),
        (None, 95.0, "damp", None),
        # ... but mist makes no carbon monoxide.
        ((1.0, 9.0), 95.0, "with-co", 8.0),
    ],
)
def test_what_rose_with_it_says_where_it_came_from(
    tmp_path: Path,
    co: tuple[float, float] | None,
    rh_pct: float,
    meaning: str,
    up_ppm: float | None,
) -> None:
    (rise,) = dust(night(tmp_path, dust=(8.0, 64.0), co=co, rh_pct=rh_pct)).rises
    assert (rise.from_s, rise.to_s) == (2.0 * HOUR, 2.5 * HOUR)
    assert (rise.most_ugm3, rise.at_s) == (64.0, 2.0 * HOUR)
    assert rise.meaning == meaning
    assert rise.co_up_ppm == (None if up_ppm is None else pytest.approx(up_ppm))


def test_how_much_is_a_rise(tmp_path: Path) -> None:
    """Twice what the part may be off, or twice what is usual, whichever is more."""
    assert len(dust(night(tmp_path, dust=(8.0, 8.0 + LEAST_RISE_UGM3))).rises) == 1
    assert dust(night(tmp_path, dust=(8.0, 27.9))).rises == []
    assert dust(night(tmp_path, dust=(60.0, 100.0))).rises == []
    assert len(dust(night(tmp_path, dust=(60.0, 120.0))).rises) == 1


def test_a_blanket_shaken_is_no_rise(tmp_path: Path) -> None:
    """A minute and a half of it; two minutes are one."""
    short = night(tmp_path, dust=(8.0, 90.0), at_h=(2.0, 2.0 + 90.0 / HOUR))
    assert dust(short).rises == []
    long = night(tmp_path, dust=(8.0, 90.0), at_h=(2.0, 2.0 + 121.0 / HOUR))
    assert len(dust(long).rises) == 1


def test_a_rise_for_most_of_the_night_is_not_the_usual(tmp_path: Path) -> None:
    """Soot that comes at midnight and stays: the fifth before it is the usual."""
    (rise,) = dust(night(tmp_path, dust=(8.0, 70.0), at_h=(2.0, 8.0))).rises
    assert rise.to_s - rise.from_s == 6.0 * HOUR


def test_rises_near_to_each_other_are_one(tmp_path: Path) -> None:
    """With eight minutes of quiet between them, and not with eleven."""
    for quiet_s, count in ((APART_S - 60.0, 1), (APART_S + 60.0, 2)):
        rows: list[logs.Row] = []
        for at_s, values in logs.still_air(0.0, 4.0 * HOUR, 30.0):
            is_up = HOUR <= at_s < HOUR + 600.0
            is_up |= HOUR + 600.0 + quiet_s <= at_s < HOUR + 1200.0 + quiet_s
            rows.append((at_s, {**values, "pm2_5_ugm3": 64.0 if is_up else 8.0}))
        path = logs.write(tmp_path, logs.begin() + logs.air(rows))
        assert len(dust(path).rises) == count


def test_the_highest_index_and_its_moment(tmp_path: Path) -> None:
    """100 and 1 are the usual air (the published method's offsets, 3.2)."""
    path = night(tmp_path, voc=(100.0, 312.0), nox=(1.0, 30.0), at_h=(3.0, 3.5))
    voc, nox = account(path).other.indices
    assert USUAL_INDEX == {"voc_index": 100.0, "nox_index": 1.0}
    assert (voc.quantity, voc.most, voc.most_s) == ("voc_index", 312.0, 3.0 * HOUR)
    assert (nox.quantity, nox.most, nox.usual) == ("nox_index", 30.0, 1.0)
    assert voc.is_raised
    assert nox.is_raised


def test_a_stretch_of_a_night_is_looked_at_alone(tmp_path: Path) -> None:
    """As `compare` asks: moments stay the night's."""
    tape = account(night(tmp_path, dust=(8.0, 64.0), co=(1.0, 9.0))).tape
    before = other_air(tape, 0.0, HOUR).dust
    within = other_air(tape, HOUR, 4.0 * HOUR).dust
    assert before is not None
    assert before.rises == []
    assert within is not None
    (rise,) = within.rises
    assert (rise.from_s, rise.meaning) == (2.0 * HOUR, "with-co")
    assert other_air(tape, 20.0 * HOUR, 21.0 * HOUR).dust is None
