"""`mark` and `show` against the real daemon, and the mark in the morning's account."""

import asyncio
from dataclasses import replace
from pathlib import Path

from cabinvigil.daemon.commands import mark, show
from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.model import AlarmState, Priority
from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.service.status import status
from tests.commands.calling import call
from tests.running import running


async def test_many_look_beside_idle_callers_and_none_is_refused(
    tmp_path: Path,
) -> None:
    """Eight connections that say nothing, and whoever looks sees the air."""
    path = tmp_path / "ask"
    async with running(tmp_path) as watch:
        await watch.until(lambda: "o2_pct" in watch.app.watcher.numbers())
        await watch.until(path.exists)
        idle = [await asyncio.open_unix_connection(path) for _ in range(8)]
        words = ("--once", "--socket", str(path))
        shown = [await asyncio.to_thread(call, show, *words) for _ in range(8)]
        for _, writer in idle:
            writer.close()
    assert [code for code, _, _ in shown] == [0] * 8
    assert all("oxygen          20." in out for _, out, _ in shown)


async def test_without_a_terminal_it_looks_once_and_ends(tmp_path: Path) -> None:
    """`show > file` and `show | grep oxygen` never came to an end."""
    path = tmp_path / "ask"
    async with running(tmp_path) as watch:
        await watch.until(lambda: "o2_pct" in watch.app.watcher.numbers())
        await watch.until(path.exists)
        code, out, _ = await asyncio.to_thread(call, show, "--socket", str(path))
    assert code == 0
    assert out.count("oxygen          20.") == 1


async def test_a_mark_is_taken_shown_and_read_in_the_morning(tmp_path: Path) -> None:
    """From the command to the log and back, through the daemon's own socket."""
    socket = str(tmp_path / "ask")
    async with running(tmp_path) as watch:
        await watch.until(lambda: "o2_pct" in watch.app.watcher.numbers())
        await watch.until((tmp_path / "ask").exists)
        words = ("roof vent open 2 cm", "--socket", socket)
        marked = await asyncio.to_thread(call, mark, *words)
        shown = await asyncio.to_thread(call, show, "--once", "--socket", socket)
        long = await asyncio.to_thread(call, mark, "x" * 500, "--socket", socket)
    assert marked == (0, "Marked: roof vent open 2 cm\n", "")
    assert shown[0] == 0
    assert shown[1].endswith("lapwing, monitored for 0 min\n")
    assert "oxygen          20." in shown[1]
    assert long[0] == 2
    assert "at most 200" in long[2]
    tape = read_tape(sorted((tmp_path / "log").glob("night-*")))
    assert [one.fields["text"] for one in tape.events if one.kind == "mark"] == [
        "roof vent open 2 cm"
    ]


async def test_a_look_has_the_numbers_of_now_in_its_sentences(tmp_path: Path) -> None:
    """They stand beside the table, and one of minutes ago contradicts it."""
    async with running(tmp_path) as watch:
        await watch.until(lambda: "o2_pct" in watch.app.watcher.numbers())
        state = watch.app.watcher.state
        old = AlarmStatus(AlarmState.UNACKNOWLEDGED, Priority.LOW, text="Old.")
        watch.app.watcher.state = replace(
            state, standings={**state.standings, "o2-low": old}
        )
        told = status(watch.app.watcher, watch.app.settings)
        watch.app.watcher.state = state
    (one,) = [one for one in told["alarms"] if one["alarm"] == "o2-low"]
    assert one["text"] != "Old."


async def test_a_part_that_warms_up_is_named(tmp_path: Path) -> None:
    """It is fitted and shows a value: "nothing here measures it" is not so."""
    async with running(tmp_path) as watch:
        await watch.until(lambda: "co_ppm" in watch.app.watcher.numbers())
        told = status(watch.app.watcher, watch.app.settings)
    assert told["warming_up"].keys() == set(told["doubtful"])
    assert told["doubtful"], "this cabin's parts have just been switched on"
