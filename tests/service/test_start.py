"""The start of the real command: the sounder first, whatever else does not answer."""

import asyncio
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinvigil.daemon.ask.socket import ask_watch
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from tests import running as running_module
from tests.running import CONFIG, Air, HandButton, running
from tests.service.life import Life
from tests.service.test_stop import (
    MQTT,
    alive,
    asked,
    logged,
    stopped,
    until,
)
from tests.service.test_watchdog import Systemd

SLOW = CONFIG.replace("tick_s = 0.5", "tick_s = 60\naccept_laxer = true")


def rings(life: Life) -> bool:
    return any(on for _, on in life.levels("GPIO17"))


async def test_a_danger_sounds_though_nothing_that_was_kept_answers(
    tmp_path: Path,
) -> None:
    """State, disk and broker hang from the start: told each, and the gas rings."""
    (tmp_path / "state").mkdir()
    os.mkfifo(tmp_path / "state" / "state")
    (tmp_path / "hang-disk").touch()
    with socket.create_server(("127.0.0.1", 0)) as server:
        more = MQTT.format(port=server.getsockname()[1])
        async with alive(tmp_path, more, Air(AirNow(co_ppm=400.0))) as life:
            await until(lambda: rings(life), "the sounder")
            told = await asked(tmp_path, lambda told: "state" in told["faults"], "it")
            assert "has not responded for 1 s" in told["faults"]["state"]
            took_s, said = await stopped(life)
    assert took_s < 8.0
    assert "Traceback" not in said


async def test_a_state_that_comes_late_is_taken_over(tmp_path: Path) -> None:
    """Who had answered is not woken again, and a replay finds the same."""
    air = Air(AirNow(co_ppm=400.0))
    state, fifo = tmp_path / "kept", tmp_path / "state" / "state"
    async with alive(tmp_path, air=air) as life:
        await until(lambda: rings(life), "the sounder")
        await stopped(life)
    fifo.rename(state)
    (tmp_path / "state" / "state.before").unlink(missing_ok=True)
    os.mkfifo(fifo)
    air.now = AirNow(co_ppm=0.0)
    async with alive(tmp_path, air=air) as life:
        await asked(tmp_path, lambda told: "state" in told["faults"], "the fault")
        await asyncio.to_thread(fifo.write_bytes, state.read_bytes())
        fifo.unlink()
        await asked(
            tmp_path,
            lambda told: any(one["alarm"] == "co-level" for one in told["alarms"]),
            "what stood before",
        )
        # The loop may answer between the two: what stood is taken over, then this told.
        await asked(
            tmp_path,
            lambda told: "responded late" in told["faults"]["state"],
            "the spans that are missing",
        )
        await stopped(life)
    starts = [one for one in logged(tmp_path) if one.event == "start"]
    assert [("kept" in one.fields) for one in starts] == [False, False, True]
    assert fifo.is_file(), "and it is saved again"


async def test_a_state_that_cannot_be_read_is_not_written_over(tmp_path: Path) -> None:
    """And taken over as soon as it can; the older one beside it is not."""
    air = Air(AirNow(co_ppm=400.0))
    state, kept = tmp_path / "state" / "state", tmp_path / "kept"
    async with alive(tmp_path, air=air) as life:
        await until(lambda: rings(life), "the sounder")
        await stopped(life)
    state.rename(kept)
    whole = kept.read_bytes()
    state.mkdir()  # a read fails, root's too
    air.now = AirNow(co_ppm=0.0)
    async with alive(tmp_path, air=air) as life:
        told = await asked(tmp_path, lambda told: "state" in told["faults"], "it")
        assert "cannot be read (state: Is a directory)" in told["faults"]["state"]
        assert "co-level" not in str(told["alarms"])
        state.rmdir()
        kept.rename(state)
        told = await asked(
            tmp_path,
            lambda told: any(one["alarm"] == "co-level" for one in told["alarms"]),
            "what stood before",
        )
        await stopped(life)
    bodies = [one.fields["kept"] for one in logged(tmp_path) if "kept" in one.fields]
    (body,) = bodies
    assert json.dumps(body, separators=(",", ":")).encode() in whole


class Heard:
    """What systemd is told by a watch that may be silent for three seconds."""

    def __init__(self, folder: Path) -> None:
        self._systemd = Systemd(str(folder / "notify"))
        self.environ = {
            "NOTIFY_SOCKET": str(folder / "notify"),
            "WATCHDOG_USEC": "3000000",
        }
        self.words: list[str] = []

    def count(self, word: str) -> int:
        """How often it has said so until now."""
        self.words += self._systemd.heard()
        return sum(word in one for one in self.words)

    def close(self) -> None:
        self._systemd.sock.close()


@pytest.fixture
def heard(tmp_path: Path) -> Iterator[Heard]:
    heard = Heard(tmp_path)
    yield heard
    heard.close()


def paced(folder: Path, tick_s: str) -> None:
    path = folder / "cabin.toml"
    path.write_text(re.sub("tick_s = .*", f"tick_s = {tick_s}", path.read_text()))


async def test_ready_at_once_and_fed_at_the_slowest_pace(
    tmp_path: Path, heard: Heard, monkeypatch: pytest.MonkeyPatch
) -> None:
    """READY waits for the sounder, and not for the first tick, a minute off."""
    monkeypatch.setattr(running_module, "CONFIG", SLOW)
    async with alive(tmp_path, **heard.environ) as life:
        await until(lambda: heard.count("READY=1"), "READY")
        assert life.levels("GPIO17"), "the sounder's line is had by then"
        await until(lambda: heard.count("WATCHDOG=1") >= 5, "fed")
        await asked(tmp_path, lambda told: told["tick_s"] == 60.0, "the pace")
        await stopped(life)
    assert [one for one in logged(tmp_path) if one.event == "air"] == []


async def test_a_reload_to_the_slowest_pace_starves_no_watchdog(
    tmp_path: Path, heard: Heard
) -> None:
    async with alive(tmp_path, **heard.environ) as life:
        await until(lambda: heard.count("WATCHDOG=1"), "fed")
        paced(tmp_path, "60\naccept_laxer = true")
        life.process.send_signal(signal.SIGHUP)
        await asked(tmp_path, lambda told: told["tick_s"] == 60.0, "the pace")
        fed = heard.count("WATCHDOG=1")
        await until(lambda: heard.count("WATCHDOG=1") >= fed + 5, "fed after it")
        await stopped(life)


async def test_a_sounder_that_cannot_sound_is_not_ready(
    tmp_path: Path, heard: Heard
) -> None:
    """Its line hangs as it is opened: systemd gives the start up, and that sounds."""
    (tmp_path / "hang-open-GPIO17").touch()
    async with alive(tmp_path, **heard.environ) as life:
        await asked(tmp_path, lambda told: told["readings"], "the watch itself")
        assert not heard.count("READY=1")
        assert not heard.count("WATCHDOG=1")
        await stopped(life)


@pytest.mark.holds_loop
async def test_where_judging_outlasts_the_tick_all_else_has_its_turn(
    tmp_path: Path,
) -> None:
    """Parts are read, an ask is answered, a press is heard; told, and told as over."""
    button = HandButton()
    more = '[button]\nline = "GPIO27"\n'
    async with running(tmp_path, more, button=button) as run:
        await run.until(lambda: "co_ppm" in run.app.watcher.numbers())
        watcher, judge = run.app.watcher, run.app.watcher.tick

        def slowly() -> None:
            time.sleep(0.7)
            judge()

        watcher.tick = slowly  # type: ignore[method-assign]
        await run.until(lambda: "loop" in watcher.faults, 30.0)
        assert "longer than a tick" in watcher.faults["loop"].text
        run.air.now = AirNow(co_ppm=400.0)
        await run.until(lambda: run.sounds("temporal-four"), 60.0)
        answer = await asyncio.to_thread(
            ask_watch, tmp_path / "ask", {"ask": "mark", "text": "here"}
        )
        assert answer["ok"], answer
        button.press(1.5)
        marks = lambda: [one for one in logged(tmp_path) if one.event == "mark"]  # noqa: E731
        await run.until(lambda: len(marks()) >= 2, 60.0)
        watcher.tick = judge  # type: ignore[method-assign]
        await run.until(lambda: "loop" not in watcher.faults, 30.0)


async def test_a_second_watch_says_on_the_terminal_that_there_is_a_first(
    tmp_path: Path,
) -> None:
    """Started by hand beside the unit's: the one place where its starter looks."""

    def started() -> str:
        command = [sys.executable, "-m", "cabinvigil.daemon", "run", "--config"]
        with subprocess.Popen(
            [*command, str(tmp_path / "cabin.toml")],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        ) as second:  # fmt: skip
            assert second.stdout is not None
            second.stdout.readline()
            while second.poll() is None:
                # Until it hears a stop, a stop ends it at once: either is well.
                second.terminate()
                time.sleep(0.2)
            assert second.stderr is not None
            return second.stderr.read()

    async with running(tmp_path):
        said = await asyncio.to_thread(started)
    assert said.startswith(
        f"cabinvigil: Another monitor listens on {tmp_path}/ask: two "
    )
    assert said.count("\n") == 1, "and of no other trouble"
    said = await asyncio.to_thread(started)
    assert said == "", "alone again"
