"""`cabinvigil rehearse --log`: one folder holds one rehearsal of a date."""

import errno
import re
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

import pytest

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.commands import morning, rehearse
from cabinvigil.daemon.log.folder import OpenNight
from cabinvigil.daemon.settings.registries import packaged
from tests.commands.calling import call
from tests.review import logs

QUICK = ("quiet", "--hours", "0.02", "--tick-s", "10", "--log")


def test_a_second_night_of_a_date_is_refused(tmp_path: Path) -> None:
    """R5: README's own call, typed twice, told of 4.0 h below 19.5 % for 2.0."""
    folder = tmp_path / "quiet"
    assert call(rehearse, *QUICK, folder)[0] == 0
    before = {one.name: one.read_bytes() for one in folder.iterdir()}
    code, out, err = call(rehearse, *QUICK, folder)
    assert (code, out) == (2, "")
    assert err == (
        f"cabinvigil: --log {folder}: holds a night of 2026-01-16 already "
        "(night-2026-01-16.jsonl); name another folder, or move "
        "that file away\n"
    )
    assert {one.name: one.read_bytes() for one in folder.iterdir()} == before


def test_nights_of_other_dates_are_no_reason(tmp_path: Path) -> None:
    """The watch's own nights, packed or not, are of other dates."""
    logs.write(tmp_path, logs.begin(), "night-2026-01-15.jsonl.gz")
    assert call(rehearse, *QUICK, tmp_path)[0] == 0


def stands_in(folder: Path, zone: str) -> Path:
    """Write the example's config with a zone; return its path."""
    text = packaged("cabin.toml").read_text(encoding="utf-8")
    file = folder / "zoned.toml"
    text = text.replace("[cabin]\n", f'[cabin]\nzone = "{zone}"\n', 1)
    file.write_text(text, encoding="utf-8")
    return file


def test_it_is_played_and_told_in_its_configs_zone(tmp_path: Path) -> None:
    """At 22:00 there: the terminal, the log's first line and the morning agree."""
    config, nights = stands_in(tmp_path, "America/Denver"), tmp_path / "nights"
    words = ("quiet", "--config", config, "--hours", "0.1", "--tick-s", "30")
    code, _, err = call(rehearse, *words, "--log", nights)
    assert (code, err) == (0, "")
    _, told, _ = call(morning, nights)
    assert "16 January 2026, 22:00 to 22:06 MST, emulated sensors" in told


def test_vents_that_are_too_small_are_named_where_a_quiet_night_sounds(
    tmp_path: Path,
) -> None:
    config = stands_in(tmp_path, "Europe/Oslo")
    text = config.read_text(encoding="utf-8")
    text = re.sub(r"(?m)^(vent_(?:low|high)_cm2 = ).*$", r"\g<1>10.0", text)
    config.write_text(text, encoding="utf-8")
    words = ("quiet", "--config", config, "--hours", "2", "--tick-s", "30")
    _, out, _ = call(rehearse, *words)
    assert "these vents are too small for the heater on low. Open more vent: " in (
        " ".join(out.split())
    )


def test_a_live_one_is_of_today(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The night in which the cabin is now: half past noon its is another."""
    now = datetime(2026, 3, 5, 11, 30, tzinfo=UTC)
    monkeypatch.setattr(SystemClock, "wall", lambda _: now)
    logs.write(tmp_path, logs.begin(), "night-2026-03-05.jsonl.gz")
    words = ("--live", "--config", stands_in(tmp_path, "Europe/Oslo"))
    code, _, err = call(rehearse, *words, *QUICK, tmp_path)
    assert code == 2
    assert "holds a night of 2026-03-05 already (night-2026-03-05.jsonl.gz)" in err


def fill_disk(monkeypatch: pytest.MonkeyPatch, is_full: Callable[[int], bool]) -> None:
    """Refuse some of what is written to a log, by its number from 1."""
    numbers, append = count(1), OpenNight.append

    def refuse_some(night: OpenNight, data: bytes) -> None:
        if is_full(next(numbers)):
            raise OSError(errno.ENOSPC, "No space left on device")
        append(night, data)

    monkeypatch.setattr(OpenNight, "append", refuse_some)


@pytest.mark.parametrize("json", [(), ("--json",)])
def test_a_log_that_the_disk_refused_is_no_success(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, json: tuple[str, ...]
) -> None:
    """It ended with 0, with half a night in the folder."""
    fill_disk(monkeypatch, lambda number: number > 2)
    code, out, err = call(rehearse, *json, *QUICK, tmp_path)
    assert code == 3
    assert out, "what was rehearsed is shown all the same"
    assert err.endswith(
        f"cabinvigil: --log {tmp_path}: the log of this rehearsal ends too early. The "
        f"log cannot be written to {tmp_path}; the disk is full: make room.\n"
    )


def test_a_disk_that_took_it_later_is_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill_disk(monkeypatch, lambda number: number == 2)
    code, _, err = call(rehearse, *QUICK, tmp_path)
    assert (code, err) == (0, "")
