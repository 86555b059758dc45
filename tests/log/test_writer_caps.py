"""The rolling log's caps: which nights go by size and by age, and which never."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from cabinvigil.daemon.clock import EARLIEST
from tests.log.writing import Bench
from tests.outputs.hands import EVENING

pytestmark = [
    pytest.mark.made_up("counts its lines by a field of its own"),
    pytest.mark.usefixtures("nothing_synced"),
]


HOUR = timedelta(hours=1)


def fill(bench: Bench, nights: int) -> None:
    for _ in range(nights):
        bench.air(20, step_s=1.0)
        bench.clock.now_s += 86_400.0 - 20
    bench.air(1)


def test_the_oldest_go_when_the_folder_is_over_its_size(tmp_path: Path) -> None:
    bench = Bench(tmp_path, max_bytes=2_500, keep_days=1e4).begin()
    fill(bench, 12)
    files = bench.nights.files()
    assert sum(f.size for f in files) <= 2_500 + 600
    assert files[-1].night == date(2025, 1, 26)
    assert files[0].night > date(2025, 1, 14)


def test_the_running_night_and_the_last_are_never_deleted(tmp_path: Path) -> None:
    """R6, R17: nobody may have read the last one yet."""
    bench = Bench(tmp_path, max_bytes=1, keep_days=0.0).begin()
    fill(bench, 3)
    bench.air(730, step_s=10.0)
    nights = [f.night for f in bench.nights.files()]
    assert nights == [date(2025, 1, 16), date(2025, 1, 17)]


def test_old_nights_go_by_age(tmp_path: Path) -> None:
    bench = Bench(tmp_path, keep_days=5.0).begin()
    fill(bench, 12)
    assert bench.nights.files()[0].night == date(2025, 1, 26 - 5)


@pytest.mark.parametrize("wrong", [timedelta(days=-9000), timedelta(days=27_000)])
def test_a_clock_that_cannot_be_right_deletes_nothing_by_age(
    tmp_path: Path, wrong: timedelta
) -> None:
    """1970, or 2099: neither is a reason to think a winter's nights too old."""
    bench = Bench(tmp_path, keep_days=10.0).begin()
    fill(bench, 8)
    bench.recorder.stop(1.0)
    before = {f.path.name for f in bench.nights.files()}
    later = Bench(tmp_path, keep_days=10.0, start=EVENING + wrong).begin()
    later.air(1_440, step_s=10.0)
    later.recorder.stop(1.0)
    assert before <= {f.path.name for f in later.nights.files()}


def test_a_clock_that_lies_for_days_empties_the_folder_slowly(tmp_path: Path) -> None:
    """Once nights of the wrong date stand, age takes two a noon and no more."""
    bench = Bench(tmp_path, keep_days=10.0).begin()
    fill(bench, 9)
    bench.recorder.stop(1.0)
    wrong = Bench(tmp_path, keep_days=10.0, start=EVENING + timedelta(days=27_000))
    fill(wrong.begin(), 2)
    left = [f for f in wrong.nights.files() if f.night < date(2026, 1, 1)]
    assert len(left) >= 10 - 2 * 2


def test_size_holds_though_the_clock_is_wrong(tmp_path: Path) -> None:
    """By the true order, not the dates: a night of '1970' is not the oldest."""
    bench = Bench(tmp_path, keep_days=1e4).begin()
    fill(bench, 4)
    bench.recorder.stop(1.0)
    lost = Bench(
        tmp_path,
        max_bytes=1_800,
        keep_days=1e4,
        start=EARLIEST - timedelta(days=20_000),
    ).begin()
    fill(lost, 2)
    nights = [f.night for f in lost.nights.files()]
    assert nights[-1].year < 1975
    assert date(2025, 1, 14) not in nights


def test_foreign_files_are_left_alone(tmp_path: Path) -> None:
    for name in ("night-notes.jsonl", "night-2025-99-99.jsonl", "mine.txt"):
        (tmp_path / name).write_text("keep me")
    bench = Bench(tmp_path, max_bytes=1, keep_days=0.0).begin()
    fill(bench, 3)
    assert {"night-notes.jsonl", "night-2025-99-99.jsonl", "mine.txt"} <= set(
        bench.names()
    )


def test_no_part_of_the_running_night_goes_for_size(tmp_path: Path) -> None:
    """R6: a second part began, and the first was deleted under the sleeper."""
    bench = Bench(tmp_path, max_bytes=1, keep_days=1e4).begin()
    bench.air(20, step_s=1.0)
    bench.recorder.stop(1.0)
    first = bench.nights.files()[0].path
    second = Bench(tmp_path, max_bytes=1, keep_days=1e4, start=EVENING - HOUR).begin()
    second.air(730, step_s=10.0)
    names = [f.path.name for f in second.nights.files()]
    assert len(names) == 2
    assert first.name.removesuffix(".gz") in {one.removesuffix(".gz") for one in names}


def test_an_odd_entry_stops_no_cap(tmp_path: Path) -> None:
    """R6: a folder named like a night, and what a cut left of packing."""
    (tmp_path / "night-2025-01-02.jsonl").mkdir()
    (tmp_path / "night-2025-01-03.jsonl.gz.part").write_bytes(b"x" * 5_000)
    bench = Bench(tmp_path, max_bytes=2_500, keep_days=1e4).begin()
    fill(bench, 12)
    files = bench.nights.files()
    assert sum(f.size for f in files) <= 2_500 + 600
    assert not list(tmp_path.glob("*.part"))
    assert (tmp_path / "night-2025-01-02.jsonl").is_dir()


def test_one_file_that_cannot_be_deleted_keeps_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told, and what can go goes."""
    real = Path.unlink

    def unlink(path: Path, missing_ok: bool = False) -> None:
        if "01-14" in path.name:
            raise PermissionError(13, "Permission denied")
        real(path, missing_ok=missing_ok)

    monkeypatch.setattr(Path, "unlink", unlink)
    bench = Bench(tmp_path, max_bytes=2_500, keep_days=1e4).begin()
    fill(bench, 12)
    nights = [f.night for f in bench.nights.files()]
    assert nights[0] == date(2025, 1, 14)
    assert nights[1] > date(2025, 1, 16)


def test_what_is_deleted_for_size_is_told_in_the_log(tmp_path: Path) -> None:
    """R8: older nights went within a week, and nobody knew."""
    bench = Bench(tmp_path, max_bytes=2_500, keep_days=1e4).begin()
    fill(bench, 12)
    bench.recorder.stop(1.0)
    told = [line.fields for line in bench.on_disk() if line.event == "deleted"]
    nights = [night for fields in told for night in fields["nights"]]
    there = {str(f.night) for f in bench.nights.files()}
    assert nights
    assert all(fields["why"] == "size" for fields in told)
    assert not there & set(nights)


def test_what_a_cut_left_counts_with_the_nights(tmp_path: Path) -> None:
    """R6: leftovers that cannot be cleared away take room too."""
    bench = Bench(tmp_path, max_bytes=6_000, keep_days=1e4).begin()
    (tmp_path / "night-2025-01-03.jsonl.gz.part.kept").write_bytes(b"x" * 4_000)
    fill(bench, 12)
    assert sum(f.size for f in bench.nights.files()) <= 2_000 + 600


def test_a_newest_night_that_cannot_be_read_is_not_the_first_to_go(
    tmp_path: Path,
) -> None:
    """R17: without a number it was taken for the oldest, and gone on with."""
    bench = Bench(tmp_path, max_bytes=10**6, keep_days=1e4).begin()
    fill(bench, 3)
    bench.recorder.stop(1.0)
    newest = bench.nights.files()[-1].path
    damaged = b"?" * 3_000
    newest.write_bytes(damaged)
    later = Bench(
        tmp_path, max_bytes=1, keep_days=1e4, start=EVENING + timedelta(days=3, hours=1)
    ).begin()
    later.air(800, step_s=10.0)
    later.recorder.stop(1.0)
    assert newest.read_bytes() == damaged
    names = [f.path.name for f in later.nights.files()]
    assert names[-2:] == [newest.name, newest.name.replace(".jsonl", ".2.jsonl")]


@pytest.mark.parametrize("restarts", [1, 12])
def test_a_clock_months_ahead_deletes_a_few_nights_a_day(
    tmp_path: Path, restarts: int
) -> None:
    """R18: forty in a day, two each hour, though it was the clock that was wrong."""
    bench = Bench(tmp_path, keep_days=10.0).begin()
    fill(bench, 9)
    bench.recorder.stop(1.0)
    ahead = EVENING + timedelta(days=120)
    for n in range(restarts):
        each = Bench(tmp_path, keep_days=10.0, start=ahead + n * 24 * HOUR / restarts)
        each.begin().air(round(24 * 360 / restarts), step_s=10.0)
        each.recorder.stop(1.0)
    left = [f for f in bench.nights.files() if f.night < date(2025, 3, 1)]
    assert len(left) >= 10 - 2 * 3


def test_a_night_without_a_date_to_believe_never_goes_by_age(tmp_path: Path) -> None:
    lost = Bench(tmp_path, keep_days=10.0, start=EARLIEST - timedelta(days=20_000))
    lost.begin().recorder.stop(1.0)
    name = lost.nights.files()[0].path.name
    bench = Bench(tmp_path, keep_days=10.0).begin()
    fill(bench, 30)
    assert name in bench.names()
