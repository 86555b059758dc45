"""A reload of the running daemon: what it leaves alone goes on without a pause."""

import asyncio
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.sampling.stream_sampler import OpenPort
from cabinvigil.daemon.sampling.wiring import REAL, Wires
from cabinvigil.daemon.service.status import status
from cabinvigil.daemon.settings.values import PartSettings
from tests.running import Running, running

ABSENT = '[part.bunk-co2]\nkind = "frame9_co2"\nport = "{folder}/nobody"\n'
TICK_S = 0.5
BUSY_S = 1.0
"""A machine that also does other work may be late by so much."""


class Counted:
    """Wires that count how often each part's port is made."""

    def __init__(self) -> None:
        self.made: Counter[str] = Counter()

    def wires(self) -> Wires:
        def serial(name: str, part: PartSettings, baud: int) -> OpenPort:
            self.made[name] += 1
            return REAL.serial(name, part, baud)

        return replace(REAL, serial=serial)


async def edit(run: Running, folder: Path, old: str, new: str) -> None:
    """Change the config and reload it."""
    path = folder / "cabin.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")
    await run.app.reload()


def logged(folder: Path) -> list[LogLine]:
    return [line for path in (folder / "log").iterdir() for line in Logbook(path)]


def longest_s(lines: list[LogLine], key: str) -> float:
    """The longest time between two ticks that have a value of this series."""
    times = [one.up_s for one in lines if one.event == "air" and key in one.fields]
    return max(b - a for a, b in pairwise(times))


def at_work() -> set[str]:
    """The tasks of parts."""
    names = (task.get_name() for task in asyncio.all_tasks())
    return {name.removeprefix("part-") for name in names if name.startswith("part-")}


async def test_a_part_more_or_less_leaves_the_others_at_work(tmp_path: Path) -> None:
    """No port is opened anew but the changed part's; gas that comes meanwhile rings."""
    counted = Counted()
    more = ABSENT.format(folder=tmp_path)
    async with running(tmp_path, wires=counted.wires()) as run:
        await run.until(lambda: "co_ppm" in run.app.watcher.numbers())
        run.air.now = AirNow(co_ppm=400.0)
        await edit(run, tmp_path, "[log]", more + "[log]")
        await run.until(lambda: run.sounds("temporal-four"))
        await run.until(lambda: at_work() == {"bunk-o2", "bunk-co", "bunk-co2"})
        await edit(run, tmp_path, more, "")
        await run.until(lambda: at_work() == {"bunk-o2", "bunk-co"})
    assert counted.made == {"bunk-o2": 1, "bunk-co": 1, "bunk-co2": 1}
    lines = logged(tmp_path)
    assert sum(one.event == "start" for one in lines) == 3
    assert longest_s(lines, "co_ppm") <= TICK_S + BUSY_S


async def test_another_pace_is_taken_without_a_part_begun_anew(tmp_path: Path) -> None:
    """Ticks come as the new config says, and the parts hear nothing of it."""
    counted = Counted()
    async with running(tmp_path, wires=counted.wires()) as run:
        await run.until(lambda: "co_ppm" in run.app.watcher.numbers())
        changed_s = run.app.watcher.up_s()
        await edit(run, tmp_path, "tick_s = 0.5", "tick_s = 1.2")
        await asyncio.sleep(3.0)
    assert counted.made == {"bunk-o2": 1, "bunk-co": 1}
    ticks = [one.up_s for one in logged(tmp_path) if one.event == "air"]
    after = [b - a for a, b in pairwise(ticks) if a > changed_s]
    assert after
    assert min(after) > 1.0


async def test_a_fault_ends_with_the_config_that_had_it(tmp_path: Path) -> None:
    """The wrong port is put right: told over, though the sampler is another one."""
    async with running(tmp_path) as run:
        watcher = run.app.watcher
        await run.until(lambda: "co_ppm" in watcher.numbers())
        await edit(run, tmp_path, f"{tmp_path}/bunk-co", f"{tmp_path}/nobody")
        await run.until(lambda: "bunk-co" in watcher.state.history.sources, 20.0)
        await edit(run, tmp_path, f"{tmp_path}/nobody", f"{tmp_path}/bunk-co")
        await run.until(lambda: "bunk-co" not in watcher.state.history.sources)
        await run.until(lambda: "co_ppm" in watcher.numbers())


@pytest.mark.parametrize(
    ("old", "new", "name"),
    [
        ('name = "lapwing"', 'name = "teal"', "cabin.name"),
        ('line = "GPIO17"', 'line = "GPIO27"', "buzzer"),
        ('/state"', '/other"', "watch.state_folder"),
    ],
)
async def test_what_only_a_restart_changes_is_said(
    tmp_path: Path, old: str, new: str, name: str
) -> None:
    """Else somebody would believe that the new pin or name is in use."""
    async with running(tmp_path) as run:
        await edit(run, tmp_path, old, new)
        fault = run.app.watcher.state.history.sources["settings"]
        assert fault.text == (
            f"New in the config: {name}; the old one stays in use until "
            f"`systemctl restart cabinvigil`."
        )
        # What answers on the socket, and the log, go by what is in use too.
        told = status(run.app.watcher, run.app.settings)
        assert told["cabin"] == "lapwing"
        await run.app.reload()
        again = run.app.watcher.state.history.sources.get("settings")
        assert again == fault, "nothing was restarted"
        await edit(run, tmp_path, new, old)
    starts = [one.fields for one in logged(tmp_path) if one.event == "start"]
    assert len(starts) == 4
    assert all(one["config"] == starts[0]["config"] for one in starts)


@pytest.mark.hazard("silenced-by-reload")
async def test_an_alarm_whose_part_a_reload_takes_away_is_at_fault_till_it_is_back(
    tmp_path: Path,
) -> None:
    """The watch says that nothing measures it, whatever else the reload changes."""
    part = f'[part.bunk-co]\nkind = "frame9_co"\nport = "{tmp_path}/bunk-co"\n'
    old, new = 'line = "GPIO17"', 'line = "GPIO27"'
    async with running(tmp_path) as run:
        await run.until(lambda: "co_ppm" in run.app.watcher.numbers())
        run.air.now = AirNow(co_ppm=400.0)
        await run.until(lambda: run.sounds("temporal-four"))
        await edit(run, tmp_path, part, "")
        for _ in range(2):
            assert run.app.watcher.faults["settings"].kind == "unwatched"
            await run.app.reload()
        await edit(run, tmp_path, old, new)
        text = run.app.watcher.faults["settings"].text
        assert "measures carbon monoxide any more" in text
        assert "restart cabinvigil" in text
        await edit(run, tmp_path, new, f"{old}\n{part}")
        assert "settings" not in run.app.watcher.faults
    kinds = [
        line.fields["kind"]
        for line in logged(tmp_path)
        if line.event == "fault" and line.fields["source"] == "settings"
    ]
    assert "unwatched" in kinds
