"""A clock with a cell: there, without its cell, without the time, or not at all."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from cabinvigil.daemon.precheck.clock_chip import ClockChip, clock_chip, clock_chips

NOW = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)


def chip(folder: Path, number: int = 0, **files: str) -> None:
    own = folder / f"rtc{number}"
    own.mkdir(parents=True)
    for name, text in files.items():
        (own / name).write_text(text)


def test_the_kernels_folder_is_read(tmp_path: Path) -> None:
    """A Pi 5 with a DS3231 besides; names as the kernel writes them (from memory)."""
    chip(
        tmp_path,
        name="rpi_rtc soc@107c000000:rpi_rtc\n",
        since_epoch="1768597200\n",
        battery_voltage="3143586\n",  # as a public log of a fresh cell has it
    )
    chip(tmp_path, 1, name="rtc-ds1307 1-0068\n", since_epoch="1768597201\n")
    (tmp_path / "rtc2").mkdir()
    assert clock_chips(tmp_path) == [
        ClockChip("rpi_rtc", NOW, pytest.approx(3.143586)),
        ClockChip("rtc-ds1307", NOW + timedelta(seconds=1)),
        ClockChip("rtc2", None),
    ]
    assert clock_chips(tmp_path / "nowhere") == []


@pytest.mark.parametrize("shows", ["", "never", "9" * 30, "9" * 400, "-99999999999999"])
def test_what_is_no_time_is_none(shows: str, tmp_path: Path) -> None:
    chip(tmp_path, name="rtc-x", since_epoch=shows, battery_voltage="much")
    assert clock_chips(tmp_path) == [ClockChip("rtc-x", None, None)]


def told(*chips: ClockChip, is_set: bool | None = False) -> tuple[str, str]:
    found = clock_chip(chips, NOW, is_synchronised=is_set)
    assert found.subject == "clock chip"
    return found.word, found.text


GOOD = ClockChip("rtc-ds1307", NOW)


def test_none_says_what_follows() -> None:
    word, text = told()
    assert word == "mind"
    assert text.startswith("none: after a power cut the time is wrong until a network")
    assert "no acknowledgement from a phone counts" in text
    assert "hardware.md, The clock" in text


def test_one_that_keeps_the_time_is_good() -> None:
    assert told(GOOD) == ("good", "rtc-ds1307 keeps the time without power")
    with_cell = ClockChip("rpi_rtc", NOW, 3.14)
    assert told(with_cell)[1].endswith(
        "keeps the time without power, its cell has 3.1 V"
    )


@pytest.mark.parametrize(
    ("volts", "word"), [(0.0, "mind"), (1.99, "mind"), (2.0, "good")]
)
def test_the_pis_own_without_a_cell(volts: float, word: str) -> None:
    """It runs while the Pi does, and looks well."""
    found, text = told(ClockChip("rpi_rtc", NOW, volts))
    assert found == word
    if word == "mind":
        assert text.startswith(f"rpi_rtc has no cell, or an empty one ({volts:.1f} V)")


@pytest.mark.parametrize("shows", [None, datetime(2024, 12, 31, tzinfo=UTC)])
def test_one_that_lost_the_time(shows: datetime | None) -> None:
    """Chips refuse to tell it then, or begin anew at the year of their making."""
    word, text = told(ClockChip("rtc-pcf85063", shows))
    assert word == "mind"
    assert text.startswith("rtc-pcf85063 has lost the time: ")
    assert "sudo hwclock -w" in text


@pytest.mark.parametrize("sign", [-1, 1])
def test_one_that_is_off_is_told_where_the_network_vouches(sign: int) -> None:
    """Without a network nobody knows which of the two is right."""
    off = ClockChip("rtc-ds1307", NOW + sign * timedelta(minutes=7))
    assert told(off, is_set=True) == (
        "mind",
        "rtc-ds1307 is 7 min off the network: `sudo hwclock -w`",
    )
    assert told(off, is_set=False)[0] == told(off, is_set=None)[0] == "good"
    near = ClockChip("rtc-ds1307", NOW + sign * timedelta(seconds=60))
    assert told(near, is_set=True)[0] == "good"


def test_one_that_is_well_is_enough() -> None:
    """A Pi 5 without a cell of its own, and a chip on the sensors' bus."""
    bare = ClockChip("rpi_rtc", NOW, 0.1)
    for chips in ((bare, GOOD), (GOOD, bare)):
        assert told(*chips)[1].startswith("rtc-ds1307 keeps the time")
