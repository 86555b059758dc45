"""A folder that lost a clock, a file or a zone never makes a bad night a good one."""

import gzip
import json
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from cabinvigil.daemon.commands.morning import give_account, read
from cabinvigil.daemon.log import find
from cabinvigil.daemon.log.earlier_part import spared
from cabinvigil.daemon.log.find import NightError, all_nights, chosen
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.mend import mend
from cabinvigil.daemon.review.morning import Morning
from tests.log.read_back import Writer

GOOD = {"o2_pct": 20.6, "co2_ppm": 900.0, "co_ppm": 1.0}
BAD = {"o2_pct": 17.2, "co2_ppm": 21_000.0, "co_ppm": 60.0}
EVERY_S = 30.0


def run(
    writer: Writer,
    wall: str | datetime,
    hours: float,
    air: dict[str, float],
    *,
    is_set: bool = True,
    stop: str = "SIGTERM",
    down_s: float | None = None,
) -> None:
    """Write one run of the watch."""
    at = datetime.fromisoformat(wall) if isinstance(wall, str) else wall
    is_first = not any(writer.folder.iterdir())
    writer.begin(at, is_first=is_first, is_set=is_set, down_s=down_s)
    breathe(writer, hours, air)
    writer.end(stop)


def breathe(writer: Writer, hours: float, air: dict[str, float]) -> None:
    """Write air that flickers."""
    for n in range(round(hours * 3600.0 / EVERY_S)):
        writer.live(EVERY_S)
        values = {key: one * (1.0 + 1e-4 * (n % 7)) for key, one in air.items()}
        writer.put("air", values, urgent=False)


def last(folder: Path) -> Morning:
    return give_account(chosen(None, folder))


def of(folder: Path, night: str) -> Morning:
    return give_account(chosen(night, folder))


def readings(folder: Path) -> int:
    """Count the half minutes that all nights of a folder tell of."""
    count = 0
    for one in all_nights(folder):
        try:
            told = read(one).tape().series["o2_pct"]
        except NightError:
            continue
        count += sum(value is not None for value in told)
    return count


def test_after_a_power_cut_a_clock_that_nobody_sets_hides_no_danger(
    tmp_path: Path,
) -> None:
    """Bad till three, good after it: the morning told of the hours after it alone."""
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "2026-01-15T21:00+00:00", 7.0, GOOD)
    run(writer, "2026-01-16T21:00+00:00", 5.0, BAD, stop="")
    run(writer, "1970-01-01T00:00:20+00:00", 5.0, GOOD, is_set=False)
    for found in (last(tmp_path), of(tmp_path, "2026-01-16")):
        assert str(found.tape.night) == "2026-01-16"
        assert found.verdict.word == "dangerous"
        assert found.hours == pytest.approx(10.0, abs=0.3)
    assert of(tmp_path, "2026-01-15").verdict.word == "safe"
    assert readings(tmp_path) == 17 * 120  # none twice


def test_a_watch_that_was_put_out_leaves_its_night_to_no_other(tmp_path: Path) -> None:
    """Then it was the evening after, and each is told by itself."""
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "2026-01-15T21:00+00:00", 7.0, GOOD)
    run(writer, "1970-01-01T00:00:20+00:00", 7.0, BAD, is_set=False)
    assert last(tmp_path).verdict.word == "dangerous"
    assert last(tmp_path).hours == pytest.approx(7.0, abs=0.1)
    assert of(tmp_path, "2026-01-15").verdict.word == "safe"
    assert readings(tmp_path) == 14 * 120


def test_a_guessed_noon_cuts_no_night(tmp_path: Path) -> None:
    """Ten hours before the cut and eleven after it: more than a night, and one."""
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "2026-01-16T20:00+00:00", 10.0, GOOD, stop="")
    run(writer, "1970-01-01T00:00:20+00:00", 3.0, BAD, is_set=False, stop="")
    run(writer, "1970-01-01T00:00:20+00:00", 8.0, GOOD, is_set=False)
    assert last(tmp_path).verdict.word == "dangerous"


def test_runs_that_a_later_clock_dates_are_of_its_night_alone(tmp_path: Path) -> None:
    """The rows of a run without a clock stood in the CSV twice."""
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "2026-01-15T21:00+00:00", 7.0, GOOD)
    run(writer, "1970-01-01T00:00:20+00:00", 2.0, BAD, is_set=False, stop="")
    run(writer, "2026-01-16T23:10+00:00", 5.0, GOOD)
    assert last(tmp_path).verdict.word == "dangerous"
    assert of(tmp_path, "2026-01-15").verdict.word == "safe"
    assert readings(tmp_path) == 14 * 120


def test_a_restart_whose_file_before_is_gone_says_so(tmp_path: Path) -> None:
    """The clock was behind, so the run after the cut has a file of its own."""
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "2026-01-15T21:00+00:00", 1.0, GOOD)
    run(writer, "2026-01-16T21:00+00:00", 1.0, BAD, stop="")
    run(writer, "2026-01-16T21:40+00:00", 1.0, GOOD, down_s=None)
    assert last(tmp_path).verdict.word == "dangerous"
    assert last(tmp_path).tape.missing == ()
    (tmp_path / "night-2026-01-16.jsonl.gz").unlink()
    for found in (last(tmp_path), of(tmp_path, "2026-01-16")):
        assert not found.verdict.is_well
        assert found.tape.missing == (find.HEADLESS,)


def test_a_night_before_that_somebody_deleted_is_no_part_of_this_one(
    tmp_path: Path,
) -> None:
    """The start says how long nobody had watched: all day."""
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "2026-01-14T21:00+00:00", 1.0, GOOD)
    run(writer, "2026-01-15T21:00+00:00", 1.0, GOOD, down_s=23 * 3600.0)
    run(writer, "2026-01-16T21:00+00:00", 1.0, GOOD, down_s=23 * 3600.0)
    (tmp_path / "night-2026-01-15.jsonl.gz").unlink()
    assert last(tmp_path).verdict.word == "safe"
    assert last(tmp_path).tape.missing == ()


def test_a_short_part_that_is_gone_from_the_middle_is_told(tmp_path: Path) -> None:
    """Ten minutes of bad air, and the gap alone was too short to be minded."""
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "2026-01-16T21:00+00:00", 1.0, GOOD, stop="")
    run(writer, "2026-01-16T21:57+00:00", 0.1, BAD, stop="")
    run(writer, "2026-01-16T22:00+00:00", 1.0, GOOD)
    (tmp_path / "night-2026-01-16.2.jsonl.gz").unlink()
    for found in (last(tmp_path), of(tmp_path, "2026-01-16")):
        assert not found.verdict.is_well
        assert found.tape.missing == (find.HOLED,)


ELSEWHERE = (
    # where it was written, the hour of UTC at which they went to bed, where it is read
    ("Pacific/Auckland", 7.0, "UTC"),
    ("America/Los_Angeles", 30.0, "Asia/Tokyo"),
    ("UTC", 22.0, "Pacific/Auckland"),
)


@pytest.mark.parametrize("name", [None, "Mars/Olympus"])
@pytest.mark.parametrize(("zone", "hour", "reader"), ELSEWHERE)
def test_a_log_without_a_zone_is_told_by_the_names_of_its_files(
    zone: str,
    hour: float,
    reader: str,
    name: str | None,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The first version wrote none; elsewhere, a bad night was told as the next."""
    writer = Writer(tmp_path, zone)
    for day, air in ((14, BAD), (15, GOOD), (16, BAD)):
        begins = datetime(2026, 1, day, tzinfo=UTC) + timedelta(hours=hour)
        run(writer, begins, 5.0, air)
    for path in sorted(tmp_path.iterdir()):
        first, *rest = gzip.decompress(path.read_bytes()).splitlines()
        head = json.loads(first)
        del head["zone"], head["run"]
        if name is not None:
            head["zone"] = name
        data = b"\n".join([json.dumps(head).encode(), *rest, b""])
        path.write_bytes(gzip.compress(data, mtime=0))
    monkeypatch.setenv("TZ", reader)
    time.tzset()
    try:
        for day, word in ((14, "dangerous"), (15, "safe"), (16, "dangerous")):
            found = of(tmp_path, f"2026-01-{day}")
            assert found.verdict.word == word
            assert str(found.tape.night) == f"2026-01-{day}"
        assert last(tmp_path).verdict.word == "dangerous"
        assert str(last(tmp_path).tape.night) == "2026-01-16"
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize(
    ("clock", "is_cut"),
    [
        ("1970-01-01T00:00:20+00:00", True),
        ("1970-01-01T00:00:20+00:00", False),
        ("saved", False),
    ],
)
def test_the_caps_take_no_part_of_the_last_night(
    clock: str, is_cut: bool, tmp_path: Path
) -> None:
    """Its first hours, in a file of another date, were deleted: the rest was 'Safe.'"""
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "2026-01-14T21:00+00:00", 0.2, GOOD)
    run(writer, "2026-01-15T21:00+00:00", 0.2, GOOD, down_s=23 * 3600.0)
    wall = writer.saved if clock == "saved" else datetime.fromisoformat(clock)
    writer.begin(wall, is_first=False, is_set=False)
    breathe(writer, 0.6, BAD)
    if is_cut:
        writer.end()
        writer.begin(datetime(2026, 1, 16, 22, tzinfo=UTC), is_first=False, is_set=True)
    writer.wall = datetime(2026, 1, 16, 22, tzinfo=UTC)
    breathe(writer, 0.6, GOOD)
    writer.end("SIGTERM")
    run(writer, "2026-01-17T21:00+00:00", 0.2, GOOD, down_s=22 * 3600.0)
    zone = ZoneInfo("Europe/Oslo")
    nights = Nights(tmp_path, keep_days=400.0, max_bytes=1, packed=True, zone=zone)
    nights.tidy(nights.files()[-1].path, datetime(2026, 1, 17, 23, tzinfo=UTC), spared)
    assert of(tmp_path, "2026-01-16").verdict.word == "dangerous"
    assert date(2026, 1, 14) not in {one.night for one in nights.files()}


def test_a_first_part_that_was_deleted_is_said_though_none_is_before_it(
    tmp_path: Path,
) -> None:
    writer = Writer(tmp_path, "Europe/Oslo")
    run(writer, "1970-01-01T00:00:20+00:00", 1.0, BAD, is_set=False, stop="")
    run(writer, "2026-01-16T22:00+00:00", 1.0, GOOD)
    (tmp_path / "night-1969-12-31.jsonl.gz").unlink()
    assert last(tmp_path).tape.missing == (find.HEADLESS,)
    assert not last(tmp_path).verdict.is_well


@pytest.mark.parametrize("size", [1, 3, 4096])
@pytest.mark.parametrize("hurt", [b"\0", b"\xff", b""])
def test_a_packed_night_whose_first_bytes_are_gone_is_read_on(
    hurt: bytes, size: int, tmp_path: Path
) -> None:
    """A lost block, or one flipped bit, at the top took the whole night."""
    writer = Writer(tmp_path, "UTC")
    run(writer, "2026-01-16T21:00+00:00", 2.0, BAD)
    path = tmp_path / "night-2026-01-16.jsonl.gz"
    data = path.read_bytes()
    path.write_bytes(hurt * size + data[size:])
    for found in (last(tmp_path), of(tmp_path, "2026-01-16")):
        assert not found.verdict.is_well  # with its start, its limits are lost
        assert min(one for one in found.tape.series["o2_pct"] if one) < 18.0
        assert found.hours > 0.5
        assert found.tape.damaged
    survey = mend(path, tmp_path / "mended")
    assert survey.is_damaged
    assert survey.lines > 60
