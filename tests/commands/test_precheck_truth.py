"""The test of the parts in `precheck`, on a played watch: all that can go wrong."""

import errno
import io
import os
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.ask.socket import NOBODY, AskError, typed
from cabinvigil.daemon.commands import precheck as command
from cabinvigil.daemon.span.kept import SpansFile
from tests.commands.calling import call
from tests.running import config

FRESH = {"o2_pct": 20.7, "co_ppm": 0.0}
BREATH = {"o2_pct": 17.0, "co_ppm": 0.0}
BAG_LOOKS = 3
O2, CO = "o2-low", "co-level"
Alarms = dict[str, str]
"""The states of those that are not normal; all are high."""


@dataclass
class PlayedWatch:
    """Answers as the watch does: fresh air, a bag for a few looks, fresh air."""

    cabin: Mapping[str, float] = field(default_factory=lambda: FRESH)
    """What comes after the bag."""
    before: Mapping[str, float] = field(default_factory=lambda: FRESH)
    alarms: Alarms = field(default_factory=dict)
    at_look: Callable[["PlayedWatch", int], None] = lambda _watch, _look: None
    """Told each look since the test began, counted from 1."""
    asked: list[str] = field(default_factory=list)
    looks: int = 0
    bag: Mapping[str, float] = field(default_factory=lambda: BREATH)
    busy: int = 0
    """So many acts are turned away at the door."""

    def __call__(
        self, _path: Path, fields: Mapping[str, Any], _deadline_s: float = 0.0
    ) -> dict[str, Any]:
        verb = fields["ask"]
        if verb != "status":
            if self.busy:
                self.busy -= 1
                return {"ok": False, "text": "too many requests; wait a second"}
            self.asked.append(verb)
            if verb == "acknowledge":
                named = fields.get("alarm")
                for alarm in [named] if named else list(self.alarms):
                    self.alarms[alarm] = "acknowledged"
            return {"ok": True, "text": ""}
        readings = dict(self.before)
        if self.asked[-1:] == ["bump-end"]:
            readings = dict(self.cabin)
        elif "bump-test" in self.asked:
            self.looks += 1
            is_bag = self.looks <= BAG_LOOKS
            readings = {**self.cabin, **self.bag} if is_bag else dict(self.cabin)
            if self.looks == 1:
                self.alarms[O2] = "unacknowledged"
            elif not is_bag and self.alarms.get(O2) == "acknowledged":
                del self.alarms[O2]
            self.at_look(self, self.looks)
        return {
            "ok": True,
            "readings": readings,
            "alarms": [
                {"alarm": alarm, "state": state, "priority": "high", "text": alarm}
                for alarm, state in self.alarms.items()
            ],
            "faults": {},
        }


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    module = "cabinvigil.daemon.precheck.bump_test"
    for name in ("LOOK_EVERY_S", "STEP_S", "ANSWER_EVERY_S"):
        monkeypatch.setattr(f"{module}.{name}", 0.001)
    monkeypatch.setattr(f"{module}.BUMP_S", 0.5)
    monkeypatch.setattr("cabinvigil.daemon.precheck.at_hand.PATIENCE_STEP_S", 0.001)


def called(
    watch: PlayedWatch,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    ask: Callable[[str], str] = lambda prompt: "" if "bag" in prompt else "y",
    *words: str,
) -> str:
    """Call it with a breath; return what it printed."""
    for module in ("ask.socket", "precheck.at_hand", "precheck.ways"):
        monkeypatch.setattr(f"cabinvigil.daemon.{module}.ask_watch", watch)
    given = words or ("--breath",)
    path = config(folder)
    _, out, err = call(command, "--config", path, "--no-phone", *given, ask=ask)
    assert err == ""
    return out


def kept(folder: Path) -> list[str]:
    return [one.failed for one in SpansFile(folder / "state").proofs()]


def test_a_breath_is_asked_for_taken_answered_and_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    watch = PlayedWatch()
    out = called(watch, tmp_path, monkeypatch)
    assert "good   breath" in out
    assert "good   air " in out, "what the bag rang is no finding"
    assert watch.asked == ["bump-test", "acknowledge", "bump-end", "test"]
    assert kept(tmp_path) == [""]


@pytest.mark.hazard("silenced-by-test")
def test_a_danger_since_the_test_is_on_the_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It showed the alarms of before the test: READY beside a danger that sounds."""

    def rings(watch: PlayedWatch, look: int) -> None:
        if look == BAG_LOOKS + 1:
            watch.alarms[CO] = "unacknowledged"

    cabin = {**FRESH, "co_ppm": 250.0}
    watch = PlayedWatch(cabin, at_look=rings)
    out = called(watch, tmp_path, monkeypatch)
    assert "BAD    co-level" in out
    assert "250.0 ppm" in out
    assert watch.alarms[CO] == "unacknowledged", "nobody has answered it"
    assert "NOT READY" in out.split("lapwing, before bed")[0].splitlines()[-1]


@pytest.mark.hazard("silenced-by-test")
def test_a_danger_that_somebody_answered_in_the_test_is_on_the_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the button, and taken for the bag's."""

    def answers(watch: PlayedWatch, _look: int) -> None:
        watch.alarms[CO] = "acknowledged"

    cabin = {**FRESH, "co_ppm": 250.0}
    out = called(PlayedWatch(cabin, at_look=answers), tmp_path, monkeypatch)
    assert "BAD    co-level" in out


def test_a_watch_that_goes_away_breaks_it_off_and_keeps_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed, or stopped: the rest is checked all the same."""

    def gone(_watch: PlayedWatch, look: int) -> None:
        if look == 2:
            raise AskError(errno.ENOENT, "The monitor is not running")

    out = called(PlayedWatch(at_look=gone), tmp_path, monkeypatch)
    assert "BAD    breath" in out
    assert "interrupted, test again: The monitor is not running" in out
    assert " clock " in out
    assert kept(tmp_path) == []


@pytest.fixture
def usual_signals() -> Iterator[None]:
    """The suite itself may have been started by nohup(1), or behind a shell's `&`."""
    numbers = (signal.SIGHUP, signal.SIGTERM, signal.SIGINT)
    before = [signal.getsignal(one) for one in numbers]
    for one in numbers:
        signal.signal(one, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    for one, was in zip(numbers, before, strict=True):
        signal.signal(one, was)


@pytest.mark.usefixtures("usual_signals")
@pytest.mark.hazard("silenced-by-test")
@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM, signal.SIGINT])
def test_a_connection_that_drops_ends_it_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: signal.Signals
) -> None:
    """The ssh session went, and no phone was told of anything for five minutes."""
    before = [signal.getsignal(one) for one in (signal.SIGHUP, signal.SIGTERM)]

    def drops(_watch: PlayedWatch, look: int) -> None:
        if look == 2:
            os.kill(os.getpid(), number)

    watch = PlayedWatch(at_look=drops)
    with pytest.raises(KeyboardInterrupt):
        called(watch, tmp_path, monkeypatch)
    assert watch.asked == ["bump-test", "bump-end"]
    assert kept(tmp_path) == []
    assert before == [signal.getsignal(one) for one in (signal.SIGHUP, signal.SIGTERM)]


@pytest.mark.usefixtures("usual_signals")
def test_a_second_signal_does_not_keep_it_from_ending(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The terminal goes, and its session is stopped: both come at once."""

    class Twice(PlayedWatch):
        def __call__(self, *args: Any, **more: Any) -> dict[str, Any]:
            if args[1]["ask"] == "bump-end":
                os.kill(os.getpid(), signal.SIGTERM)
            return super().__call__(*args, **more)

    def drops(_watch: PlayedWatch, look: int) -> None:
        if look == 2:
            os.kill(os.getpid(), signal.SIGHUP)

    watch = Twice(at_look=drops)
    with pytest.raises(KeyboardInterrupt):
        called(watch, tmp_path, monkeypatch)
    assert watch.asked == ["bump-test", "bump-end"]


def test_who_asked_to_outlive_the_terminal_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`nohup`."""
    was = signal.signal(signal.SIGHUP, signal.SIG_IGN)

    def drops(_watch: PlayedWatch, _look: int) -> None:
        os.kill(os.getpid(), signal.SIGHUP)

    try:
        out = called(PlayedWatch(at_look=drops), tmp_path, monkeypatch)
    finally:
        signal.signal(signal.SIGHUP, was)
    assert "good   breath" in out


def test_others_who_ask_too_much_break_nothing_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The end of the test least of all: no phone would be told for minutes."""
    refused: list[int] = []

    def flooded(watch: PlayedWatch, look: int) -> None:
        if look in (2, 5):
            watch.busy = 2
            refused.append(look)
            raise AskError(errno.EBUSY, "too many requests; wait a second")

    watch = PlayedWatch(at_look=flooded, busy=2)
    out = called(watch, tmp_path, monkeypatch)
    assert refused == [2, 5]
    assert watch.asked == ["bump-test", "acknowledge", "bump-end", "test"]
    assert "good   breath" in out
    assert kept(tmp_path) == [""]


def test_nobody_at_the_keyboard_is_no_bag_over_the_parts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-D, or a pipe that ended: it was taken for Enter, and the part failed."""
    watch = PlayedWatch()
    monkeypatch.setattr(sys, "stdin", io.StringIO("y\n"))
    out = called(watch, tmp_path, monkeypatch, typed)
    assert "----   breath" in out
    assert "bump-test" not in watch.asked
    assert kept(tmp_path) == []
    assert typed("> ") == NOBODY


@pytest.mark.parametrize("words", [("--breath",), ("--gas", "100"), ("--hours", "9")])
def test_what_could_not_be_kept_is_told_before_anybody_breathes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    """Where it is due, too: a user who may ask the watch, and may not write for it."""
    monkeypatch.setattr(os, "access", lambda *_, **__: False)
    (tmp_path / "state").mkdir()
    asked: list[str] = []

    def ask(prompt: str) -> str:
        asked.append(prompt)
        return "y"

    watch = PlayedWatch()
    out = " ".join(called(watch, tmp_path, monkeypatch, ask, *words).split())
    assert "may not write; run this by `sudo -u" in out
    assert not any("bag" in one or "Doors open" in one for one in asked)
    assert "bump-test" not in watch.asked


def test_a_new_cell_is_due_though_the_old_one_passed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    called(PlayedWatch(), tmp_path, monkeypatch)
    ask: list[str] = []

    def asked(prompt: str) -> str:
        ask.append(prompt)
        return "no"

    called(PlayedWatch(), tmp_path, monkeypatch, asked, "--hours", "9")
    assert not any("Doors open" in one for one in ask), "it passed today"
    path = config(tmp_path)
    text = path.read_text(encoding="utf-8")
    text = text.replace("[part.bunk-co]", "in_service = 2199-01-01\n[part.bunk-co]")
    monkeypatch.setattr("tests.commands.test_precheck_truth.config", lambda _: path)
    path.write_text(text, encoding="utf-8")
    called(PlayedWatch(), tmp_path, monkeypatch, asked, "--hours", "9")
    assert any("Doors open" in one for one in ask)


def test_each_place_has_a_bag_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One bag covers no two places: the part at the other one failed each time."""
    both = {**FRESH, "o2_pct_door": 20.7}
    watch = PlayedWatch(both, both)
    bags = {"At the bunk": "o2_pct", "At door": "o2_pct_door"}
    asked: list[str] = []

    def ask(prompt: str) -> str:
        where = prompt.split(":")[0]
        if where not in bags:
            return "y"
        asked.append(where)
        watch.bag, watch.looks = {bags[where]: 17.0}, 0
        return ""

    door = f"""
        [part.door-o2]
        kind = "o2_optical_line"
        port = "{tmp_path}/door-o2"
        place = "door"
    """
    path = config(tmp_path, door)
    monkeypatch.setattr("tests.commands.test_precheck_truth.config", lambda _: path)
    out = called(watch, tmp_path, monkeypatch, ask)
    assert asked == ["At the bunk", "At door"]
    assert watch.asked.count("bump-test") == watch.asked.count("bump-end") == 2
    proofs = SpansFile(tmp_path / "state").proofs()
    assert [(one.part, one.failed) for one in proofs] == [
        ("bunk-o2", ""),
        ("door-o2", ""),
    ]
    assert out.count("good   breath") == 2
    assert "nothing sounded" not in out


def test_no_bag_is_filled_beside_an_alarm_that_wakes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def ask(prompt: str) -> str:
        asked.append(prompt)
        return "y"

    watch = PlayedWatch(alarms={"sensor-stale/co_ppm": "acknowledged"})
    out = called(watch, tmp_path, monkeypatch, ask)
    assert "sensor-stale/co_ppm is open" in out
    assert not any("bag" in one for one in asked)
