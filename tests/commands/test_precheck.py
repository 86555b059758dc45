"""`precheck` as it is met: one screen, one verdict; on emulated wires, on a watch."""

import asyncio
import json
from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import precheck as command
from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.precheck.findings import Finding
from cabinvigil.daemon.review.alarm_episodes import alarm_episodes
from cabinvigil.daemon.span.kept import SpansFile
from tests.commands.calling import call
from tests.running import config, running


def called(*words: str, answer: str = "yes") -> tuple[int, str, str]:
    return call(command, *words, ask=lambda _prompt: answer)


def test_the_emulated_trailer_is_not_fully_checked() -> None:
    """Every part has its line; what emulation cannot show is no READY."""
    code, out, err = called("--emulated")
    assert (code, err) == (1, "")
    _, verdict, *lines = out.splitlines()
    assert lines[0] == "lapwing, before bed"
    for name in (
        "bunk-o2",
        "bunk-co",
        "bunk-co2",
        "baro",
        "bunk-air",
        "pane",
        "battery",
    ):
        assert any(f" {name} " in line for line in lines)
    assert verdict.startswith("NOT FULLY CHECKED: sounder, phone, log.")


def test_it_is_one_screen() -> None:
    """At most 24 lines of 88 columns, the trailer's seven parts included."""
    _, out, _ = called("--emulated", "--failing", "bunk-co=stall")
    lines = out.splitlines()
    assert len(lines) <= 24
    assert all(len(line) <= command.COLUMNS for line in lines)


@pytest.mark.parametrize(
    ("failing", "subject", "words"),
    [
        ("bunk-co=stall", "bunk-co", "does not respond"),
        ("bunk-o2=babble", "bunk-o2", "Sensor bunk-o2"),
        ("baro=identity", "baro", "not the kind that the config names"),
        ("pane=ones", "pane", "Sensor pane"),
        ("bus=hold", "main", "stuck"),
    ],
)
def test_a_part_that_fails_makes_it_not_ready(
    failing: str, subject: str, words: str
) -> None:
    """Exit 1; the verdict names it, its line says what to do."""
    code, out, _ = called("--emulated", "--failing", failing, "--json")
    told = json.loads(out)
    assert code == 1
    assert told["ready"] is False
    assert subject in told["verdict"]
    (line,) = [one for one in told["findings"] if one["subject"] == subject]
    assert line["word"] == "bad"
    assert words in line["text"]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--emulated", "--failing", "roof=stall"], "there is no sensor 'roof'"),
        (["--failing", "bunk-co=stall"], "add --emulated"),
        (["--emulated", "--hours", "0"], "--hours must lie above 0"),
        (["--emulated", "--battery-ah", "0"], "--battery-ah must lie between"),
        (["--gas", "5"], "--gas must lie between"),
        (["--gas", "100", "--breath"], "one after the other"),
        (["--breath", "--no-key"], "--breath needs a person: leave out --no-key"),
        (["--gas", "100", "--json"], "--gas needs a person: leave out --json"),
        (["--lel", "10"], "--lel must lie between 15 and 60 %"),
        (["--lel", "50", "--gas", "100"], "--gas and --lel are two tests: one after"),
        (["--lel", "50", "--no-key"], "--lel needs a person: leave out --no-key"),
    ],
)
def test_a_wrong_call_is_told_in_one_sentence(words: list[str], why: str) -> None:
    """Exit 2."""
    code, _, err = called(*words)
    assert code == 2
    assert why in err


def test_an_unknown_fault_is_told(tmp_path: Path) -> None:
    """With the words that there are for that wire."""
    code, _, err = called("--emulated", "--failing", "bunk-co=explode")
    assert code == 2
    assert "--failing bunk-co=explode: bunk-co can have babble, drop" in err


async def test_the_running_watch_is_asked(tmp_path: Path) -> None:
    """Over its socket, by the real answer: its parts, its sounder, its limits."""
    async with running(tmp_path) as run:
        await run.until(lambda: len(run.app.watcher.numbers()) >= 4)
        path = str(config(tmp_path))
        words = ("--config", path, "--no-phone", "--json")
        code, out, err = await asyncio.to_thread(called, *words)
        # The key in this test is quicker than any ear: the sound may yet be coming.
        await run.until(lambda: any(level for _, level in run.line.changes))
    told = {one["subject"]: one for one in json.loads(out)["findings"]}
    assert err == ""
    assert told["buzzer"]["text"] == "you heard it"
    assert told["phone"]["word"] == "not checked"
    assert "20." in told["bunk-o2"]["text"]
    # Started a moment ago: both modules warm up, and that is not ready.
    assert told["bunk-co"]["word"] == "bad"
    assert code == 1


async def test_test_gas_is_kept_and_is_no_night(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Over the socket, on ptys: it sounds, is kept, and the night has none of it."""
    monkeypatch.setattr("cabinvigil.daemon.precheck.bump_test.LOOK_EVERY_S", 0.2)
    # What it rang is answered by then; that it is over takes minutes more.
    monkeypatch.setattr("cabinvigil.daemon.precheck.bump_test.BUMP_S", 15.0)
    async with running(tmp_path) as run, asyncio.TaskGroup() as group:
        await run.until(lambda: len(run.app.watcher.numbers()) >= 4)
        fresh = run.air.now = replace(run.air.now, o2_pct=20.7)

        def ask(prompt: str) -> str:
            if "test gas" in prompt:
                run.air.now = replace(fresh, co_ppm=150.0)
                return ""
            return "y"

        async def take_it_away() -> None:
            await run.until(lambda: run.sounds("three-pulse"), within_s=60.0)
            await asyncio.sleep(3.0)  # the command looks once a second
            run.air.now = fresh

        words = ("--config", str(config(tmp_path)), "--no-phone", "--gas", "150")
        calling = asyncio.to_thread(call, command, *words, ask=ask)
        task = group.create_task(calling)
        await take_it_away()
        code, out, err = await task
        assert not run.app.watcher.state.told.waiting
        assert not run.app.watcher.state.all_clear_owed
    assert (code, err) == (1, ""), "the modules warm up"
    assert "seen by bunk-co carbon monoxide in" in out
    kept = SpansFile(tmp_path / "state").proofs()
    assert [(one.part, one.by, one.failed) for one in kept] == [("bunk-co", "gas", "")]
    (night,) = (tmp_path / "log").glob("night-*")
    tape = read_tape([night])
    assert [one.fields["state"] for one in tape.events if one.kind == "bump-test"] == [
        "begun",
        "ended",
    ]
    assert alarm_episodes(tape.events) == []
    shown = [one for one in tape.series.get("co_ppm", ()) if one is not None]
    assert max(shown, default=0.0) < 5.0


def test_no_watch_is_not_ready(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """L1: stop, span, and the start forgotten."""
    monkeypatch.setattr("cabinvigil.daemon.precheck.look.LOOK_S", 0.5)
    code, out, _ = called("--config", str(config(tmp_path)), "--no-phone", "--breath")
    assert code == 1
    assert "BAD    monitor" in out
    assert "sudo systemctl start cabinvigil" in " ".join(out.split())
    assert "no monitor runs that would show it" in out


def test_a_watch_that_refuses_is_not_called_another_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It runs and does not say how it stands: exit 3, with what to do."""
    refused = {"ok": False, "text": "too many callers at once; try again"}
    monkeypatch.setattr("cabinvigil.daemon.ask.socket.ask_watch", lambda *_: refused)
    code, out, err = called("--config", str(config(tmp_path)), "--no-key", "--no-phone")
    assert (code, out) == (3, "")
    assert "too many callers at once" in err
    assert "wait a moment" in err
    assert "another version" not in err


def test_a_status_that_cannot_be_read_is_of_another_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    odd = {"ok": True, "alarms": "none"}
    monkeypatch.setattr("cabinvigil.daemon.ask.socket.ask_watch", lambda *_: odd)
    code, _, err = called("--config", str(config(tmp_path)), "--no-key", "--no-phone")
    assert code == 3
    assert "another version: restart it" in err


async def test_a_script_asks_nobody(tmp_path: Path) -> None:
    """Without key and phone nothing sounds, and both are said as not checked."""
    async with running(tmp_path) as run:
        await run.until(lambda: len(run.app.watcher.numbers()) >= 4)
        words = ("--config", str(config(tmp_path)), "--no-key", "--no-phone")
        _, out, _ = await asyncio.to_thread(called, *words)
        assert not any(level for _, level in run.line.changes)
    verdict = out.splitlines()[0]
    assert "hecked: air, sounder" in verdict, "a moment after its start"


def test_what_the_watch_knows_to_fail_is_bad_though_nobody_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither sounded nor called, and known all the same."""
    faults = {"buzzer": "The sounder's line is taken.", "mqtt": "Out of reach."}
    answer = {"ok": True, "alarms": [], "readings": {}, "faults": faults}
    monkeypatch.setattr("cabinvigil.daemon.ask.socket.ask_watch", lambda *_: answer)
    path = config(tmp_path, '[mqtt]\nhost = "127.0.0.1"\ntls = false')
    words = ("--config", str(path), "--no-key", "--no-phone", "--json")
    code, out, _ = called(*words)
    told = {
        one["subject"]: (one["word"], one["text"])
        for one in json.loads(out)["findings"]
    }
    assert told["buzzer"] == ("bad", faults["buzzer"])
    assert told["phone"] == ("bad", faults["mqtt"])
    assert code == 1


def test_a_long_line_goes_on_below_itself() -> None:
    """Nothing that is said is cut."""
    text = "word " * 40
    lines = list(command.screen("lapwing", [Finding("a", "bad", text)]))
    assert " ".join(lines).split().count("word") == 40
    assert lines[0] == "NOT READY: a."
    assert lines[3].startswith(" " * 12 + "word")
