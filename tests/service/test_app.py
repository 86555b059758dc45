"""The whole daemon on real ptys and a real loop.

That the sounder outlives whatever fails is shown in `tests/faults/daemon`.
"""

import json
from pathlib import Path
from typing import Any

from cabinvigil.daemon.ask.socket import ask_watch
from cabinvigil.daemon.core.alarm_status import HEARD_S
from cabinvigil.daemon.core.model import Act, ActKind, SourceFault
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from tests.running import HandButton, Running, config, running

CO_HIGH = AirNow(co_ppm=250.0)


async def _rings_for_co(run: Running) -> None:
    await run.until(lambda: "co_ppm" in run.app.watcher.numbers())
    assert run.app.watcher.state.sound.pattern != "temporal-four"
    run.air.now = CO_HIGH
    await run.until(lambda: run.sounds("temporal-four"), 60.0)


async def _is_heard(run: Running, held_s: float = 0.0) -> None:
    """An answer counts for what had sounded for two seconds when it began."""
    rang_s = max(one.rang_s for one in run.app.watcher.state.standings.values())
    await run.until(lambda: run.app.watcher.up_s() > rang_s + HEARD_S + held_s)


def _lines(folder: Path) -> list[Any]:
    return list(Logbook(*sorted((folder / "log").glob("night-*"))))


async def test_bytes_to_buzzer_and_log(tmp_path: Path) -> None:
    """CO on a wire sounds the buzzer, and the log holds reading and alarm."""
    async with running(tmp_path) as run:
        await _rings_for_co(run)
    events = [line.event for line in _lines(tmp_path)]
    assert events[0] == "start"
    assert events[-1] == "stop"
    alarms = [line.fields for line in _lines(tmp_path) if line.event == "alarm"]
    assert any(
        alarm["alarm"] == "co-level" and alarm["priority"] == "high" for alarm in alarms
    )
    assert run.line.is_closed


async def test_acknowledged_by_socket_and_kept(tmp_path: Path) -> None:
    """An answer quiets the sound; a restart within its quiet time stays quiet."""
    import asyncio

    async with running(tmp_path) as run:
        await _rings_for_co(run)
        await _is_heard(run)
        answer = await asyncio.to_thread(
            ask_watch, tmp_path / "ask", {"ask": "acknowledge"}
        )
        assert answer["ok"], answer
        assert run.app.watcher.state.sound.pattern in ("quiet", "chirp")
    async with running(tmp_path) as run:
        standing = run.app.watcher.state.standings["co-level"]
        assert standing.state.value == "acknowledged"
    async with running(tmp_path) as run:
        await run.until((tmp_path / "ask").is_socket)
        status = await asyncio.to_thread(ask_watch, tmp_path / "ask", {"ask": "status"})
        assert status["cabin"] == "lapwing"
        assert json.dumps(status)


async def test_a_standing_alarm_sounds_at_once_after_a_restart(tmp_path: Path) -> None:
    """What nobody answered rings before the first reading has come."""
    async with running(tmp_path) as run:
        await _rings_for_co(run)
    async with running(tmp_path) as run:
        await run.until(lambda: run.sounds("temporal-four"), 2.0)


async def test_a_bad_reload_keeps_the_old_and_says_so(tmp_path: Path) -> None:
    """The watch never stops; the mend takes effect at the next reload."""
    async with running(tmp_path) as run:
        await run.until(lambda: run.app.watcher.numbers())
        path = tmp_path / "cabin.toml"
        path.write_text("[cabin]\nvolume_ft3 = 300\n", encoding="utf-8")
        await run.app.reload()
        fault = run.app.watcher.state.history.sources["settings"]
        assert "refused" in fault.text
        assert run.app.settings.cabin.volume_m3 is None
        config(tmp_path)
        text = path.read_text(encoding="utf-8")
        path.write_text(
            text.replace('name = "lapwing"', 'name = "lapwing"\nvolume_m3 = 11.0'),
            encoding="utf-8",
        )
        await run.app.reload()
        assert run.app.settings.cabin.volume_m3 == 11.0
        assert "settings" not in run.app.watcher.state.history.sources
        assert run.app.watcher.numbers()


class Told:
    """Stands where the morning's account is asked for."""

    def __init__(self) -> None:
        self.presses, self.looks = 0, 0

    def look(self, wall: Any) -> None:
        self.looks += 1

    def pressed(self, wall: Any, up_s: float) -> None:
        self.presses += 1

    def stop(self) -> None: ...


async def test_a_press_that_answers_no_alarm_is_someone_getting_up(
    tmp_path: Path,
) -> None:
    """The hour is looked at each tick; an answer to a sound asks for no account."""
    async with running(tmp_path) as run:
        run.app._morning = told = Told()  # type: ignore[assignment]
        await run.until(lambda: told.looks)
        press = Act(ActKind.ACKNOWLEDGE)
        run.app.on_button(press)
        await run.until(lambda: told.presses)
        await _rings_for_co(run)
        await _is_heard(run)
        run.app.on_button(press)
        await run.until(lambda: run.app.watcher.state.sound.pattern != "temporal-four")
        assert told.presses == 1


async def test_a_long_press_while_it_sounds_answers_and_marks(tmp_path: Path) -> None:
    """A frightened hand holds on; in silence the same press is a mark alone."""
    button = HandButton()
    more = '[button]\nline = "GPIO27"\n'
    async with running(tmp_path, more, button=button) as run:
        run.app._morning = told = Told()  # type: ignore[assignment]
        await run.until(lambda: told.looks)
        button.press(1.5)
        await run.until(lambda: told.presses)
        await _rings_for_co(run)
        await _is_heard(run, 1.5)
        button.press(1.5)
        await run.until(lambda: run.app.watcher.state.sound.pattern != "temporal-four")
        assert told.presses == 1, "who answers is not up yet"
    acts = [one.fields | {"event": one.event} for one in _lines(tmp_path)]
    kinds = [one["event"] for one in acts if one["event"] in ("act", "mark")]
    assert kinds == ["mark", "mark", "act"]


async def test_a_morning_that_cannot_be_told_is_a_fault_and_no_more(
    tmp_path: Path,
) -> None:
    """It stands as a fault with its own sentence, the watch goes on."""
    async with running(tmp_path) as run:
        text = "The morning's report was not made: it ended with 3."
        run.app.report(SourceFault("morning", "not-made", text))
        await run.until(lambda: "morning" in run.app.watcher.state.history.sources)
        standings = run.app.watcher.state.standings
        assert standings["watch-fault/morning"].state.value != "normal"
        await _rings_for_co(run)
    told = [line.fields for line in _lines(tmp_path) if line.event == "alarm"]
    [fault] = [one for one in told if one["alarm"] == "watch-fault/morning"]
    assert (fault["priority"], fault["text"]) == ("fault", text)
