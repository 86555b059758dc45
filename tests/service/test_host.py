"""The machine under the watch: steps of the clock, heat, a sagging supply."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.service.host import HostLook, HostWatch, cpu_c, is_under_volted

START = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)


class Told:
    def __init__(self) -> None:
        self.all: list[Any] = []
        self.watch = HostWatch(self.all.append)

    def look(self, at_s: float, **changes: Any) -> list[Any]:
        self.all.clear()
        seen = {
            "wall": START + timedelta(seconds=at_s),
            "cpu_c": 50.0,
            "is_under_volted": False,
        }
        self.watch.look(HostLook(at_s, **(seen | changes)))
        return list(self.all)


def test_a_clock_that_runs_on_is_no_step() -> None:
    """Slewing by a second in a minute is what time daemons do."""
    told = Told()
    told.look(0.0)
    assert told.look(60.0, wall=START + timedelta(seconds=61.0)) == []


@pytest.mark.parametrize(
    ("step_s", "words"),
    [
        (900 * 86400.0, "forward by 900 days"),
        (86400.0, "forward by 24 hours"),
        (-3600.0, "back by 60 minutes"),
        (2.0, "forward by 2 s"),
    ],
)
def test_a_step_is_told_with_its_size_and_ends(step_s: float, words: str) -> None:
    """Years or seconds, both ways; after a minute it is no news."""
    told = Told()
    told.look(0.0)
    moved = timedelta(seconds=step_s)
    (fault,) = told.look(10.0, wall=START + timedelta(seconds=10.0) + moved)
    assert isinstance(fault, SourceFault)
    assert (fault.source, fault.kind) == ("clock", "clock-stepped")
    assert words in fault.text
    assert told.look(20.0, wall=START + timedelta(seconds=20.0) + moved) == []
    (over,) = told.look(60.0, wall=START + timedelta(seconds=60.0) + moved)
    assert over == SourceOk("clock")
    assert told.look(70.0, wall=START + timedelta(seconds=70.0) + moved) == []


def test_heat_has_a_dead_band() -> None:
    """Told at 80 degrees, over at 75."""
    told = Told()
    (fault,) = told.look(0.0, cpu_c=80.0)
    assert fault.kind == "too-hot"
    assert told.look(10.0, cpu_c=78.0) == []
    assert told.look(20.0, cpu_c=81.0) == []
    assert told.look(30.0, cpu_c=75.0) == [SourceOk("host")]


def test_a_sagging_supply_is_told_once() -> None:
    """And its end; a machine without a monitor says nothing."""
    told = Told()
    (fault,) = told.look(0.0, is_under_volted=True)
    assert (fault.source, fault.kind) == ("supply", "under-volted")
    assert told.look(10.0, is_under_volted=True) == []
    assert told.look(20.0, is_under_volted=None, cpu_c=None) == []
    assert told.look(30.0) == [SourceOk("supply")]


def test_what_the_kernel_shows(tmp_path: Path) -> None:
    """Millidegrees, and the alarm of the Pi's own voltage monitor."""
    temp = tmp_path / "temp"
    assert cpu_c(temp) is None
    temp.write_text("61234\n", encoding="ascii")
    assert cpu_c(temp) == 61.234
    temp.write_text("hot\n", encoding="ascii")
    assert cpu_c(temp) is None
    hwmon = tmp_path / "hwmon"
    assert is_under_volted(hwmon) is None
    for number, name in enumerate(("cpu_thermal", "rpi_volt")):
        folder = hwmon / f"hwmon{number}"
        folder.mkdir(parents=True)
        (folder / "name").write_text(name + "\n", encoding="ascii")
    assert is_under_volted(hwmon) is None
    (hwmon / "hwmon1" / "in0_lcrit_alarm").write_text("1\n", encoding="ascii")
    assert is_under_volted(hwmon) is True
