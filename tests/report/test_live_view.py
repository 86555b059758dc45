"""The air as it is now, 40 columns wide, and marks: over a real socket."""

import io
import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.commands import mark as mark_command
from cabinvigil.daemon.commands import show as show_command
from cabinvigil.daemon.report.live_view import COLUMNS, PastLooks, frame, trend_words
from cabinvigil.daemon.text.terminal import stay, told
from tests.commands.calling import call
from tests.outputs.hands import HandClock

STATUS: dict[str, Any] = {
    "ok": True,
    "cabin": "lapwing",
    "up_s": 11520.0,
    "readings": {
        "o2_pct": 19.62,
        "o2_pct_ceiling": 19.1,
        "o2_pct_outside": 5.0,
        "co2_ppm": 4210.0,
        "co_ppm": 7.0,
        "temp_c__bunk-air": 12.0,
        "rh_pct__bunk-air": 60.0,
        "temp_c_glass": 4.4,
        "supply_v": 12.41,
    },
    "supply_hours": 31.0,
    "alarms": [
        {
            "alarm": "cold",
            "state": "unacknowledged",
            "priority": "low",
            "text": "Cold at the bunk: 3 °C. Take another blanket.",
        },
        {
            "alarm": "o2-projected",
            "state": "unacknowledged",
            "priority": "medium",
            "text": "Too little oxygen in 16 minutes: still 19.6 %. Open the door now.",
        },
        {"alarm": "x", "state": "suppressed", "priority": "fault", "text": ""},
    ],
    "faults": {"mqtt": "The broker is out of reach."},
    "estimate": {
        "o2_rate_pct_per_h": [-0.6, -0.5, -0.4],
        "o2_minutes_to_19_5": [12.0, 16.0, None],
        "o2_settles_pct": [18.9, 19.2, 19.4],
        "air_changes_per_h": [0.6, 0.7, 0.9],
    },
    "laxer": [],
}


@contextmanager
def watch(
    folder: Path, answer: dict[str, Any], *more: dict[str, Any]
) -> Iterator[tuple[Path, list[Any]]]:
    """A watch that answers so many asks, on a real Unix socket."""
    path, asked = folder / "ask", []
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    listener.bind(str(path))
    listener.listen()

    def serve() -> None:
        for each in (answer, *more):
            caller, _ = listener.accept()
            with caller, caller.makefile("rwb") as file:
                asked.append(json.loads(file.readline()))
                file.write(json.dumps(each).encode() + b"\n")

    server = Thread(target=serve, daemon=True)
    server.start()
    try:
        yield path, asked
    finally:
        server.join(5.0)
        listener.close()


def test_it_fits_a_phone_and_says_it_in_words() -> None:
    """What rings first; the worst oxygen that is breathed; what is ahead; faults."""
    text = frame(STATUS, PastLooks(), 0.0, is_whole=True)
    lines = text.splitlines()
    assert max(len(line) for line in lines) <= COLUMNS
    assert lines[:3] == ["WAKE", "Open the door now.", ""]
    assert lines[3].startswith("wake: Too little oxygen in 16")
    assert lines[-1] == "lapwing, monitored for 3.2 h"
    assert "oxygen          19.1 %    falling" in lines
    assert "carbon dioxide  4210 ppm" in lines
    assert "battery         12.4 V  lasts 31 h" in lines
    assert any(line.startswith("wet below       4 °C, window 4 °C") for line in lines)
    assert "air changes 0.70 (0.60 to 0.90) an hour" in lines
    assert lines[-2].startswith("fault: The broker")


def test_a_gauge_s_charge_is_shown() -> None:
    readings = {**STATUS["readings"], "charge_pct": 62.4}
    text = frame({**STATUS, "readings": readings}, PastLooks(), 0.0)
    assert "\ncharge          62 %\n" in text


def test_one_order_is_given_that_of_the_gravest() -> None:
    """The others say what is so: nobody does three things at once."""
    text = " ".join(frame(STATUS, PastLooks(), 0.0).split())
    assert (
        "WAKE Open the door now. wake: Too little oxygen in 16 minutes: still 19.6 %."
        in (text)
    )
    assert text.count("Open the door") == 1
    assert "note: Cold at the bunk: 3 °C. 1 more, set aside" in text
    assert "blanket" not in text
    for word in ("high", "medium", "low:", "projected"):
        assert word not in text


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        ([12.0, 16.0, None], "19.5 % oxygen in 16 min (12 min at worst)"),
        ([16.2, 16.4, 20.0], "19.5 % oxygen in 16 min"),
        ([0.0, 0.3, 2.0], "19.5 % oxygen in 1 min"),
        ([8.6, None, None], "19.5 % oxygen not expected (9 min at worst)"),
        ([None, None, None], "19.5 % oxygen not expected"),
        (None, "19.5 % oxygen not expected"),
    ],
)
def test_what_is_ahead_is_said_with_its_worst(minutes: Any, words: str) -> None:
    """Never a flat all-is-well where the low end is minutes away."""
    readings = {"o2_pct": 20.0}
    status = STATUS | {
        "readings": readings,
        "estimate": {"o2_minutes_to_19_5": minutes},
    }
    lines = frame(status, PastLooks(), 0.0).splitlines()
    said = " ".join(" ".join(lines).split())
    assert words in said
    assert f"{words} (" not in said
    assert all(len(line) <= COLUMNS for line in lines)


@given(st.lists(st.floats(0.0, 1440.0), min_size=3, max_size=3), st.integers(0, 3))
def test_what_is_ahead_is_never_in_no_time(times: list[float], known: int) -> None:
    """Any triple: nobody is told `in 0 min`, nor `0 min at worst`."""
    triple = [*sorted(times)[:known], *(None,) * (3 - known)]
    estimate = {"o2_minutes_to_19_5": triple}
    status = STATUS | {"readings": {"o2_pct": 20.0}, "estimate": estimate}
    said = " ".join(frame(status, PastLooks(), 0.0).split())
    assert " 0 min" not in said
    assert "(0 min" not in said


def test_at_the_limit_nothing_is_ahead() -> None:
    """What is so needs no forecast, and what is not known has none."""
    past = STATUS | {"readings": {"o2_pct": 19.5}}
    assert "% oxygen" not in " ".join(frame(past, PastLooks(), 0.0).split())
    unknown = STATUS | {"estimate": {"air_changes_per_h": [0.6, 0.7, 0.9]}}
    assert "expected" not in frame(unknown, PastLooks(), 0.0)


def test_a_pane_just_below_freezing_is_at_nought() -> None:
    """A negative nothing is nothing."""
    readings = {**STATUS["readings"], "temp_c_glass": -0.3}
    text = frame({**STATUS, "readings": readings}, PastLooks(), 0.0)
    assert ", window 0 °C\n" in text


def test_trends_are_plain_words() -> None:
    """Never codes, nor arrows."""
    words = [trend_words(one, 0.15) for one in (None, 0.1, -0.2, -0.5, 0.5, -2.0)]
    assert words == [
        "",
        "steady",
        "falling slowly",
        "falling",
        "rising",
        "falling fast",
    ]


def test_a_trend_comes_from_what_was_seen() -> None:
    """Two minutes at least; then 60 ppm a minute is 3 600 an hour."""
    seen = PastLooks()
    rates = [seen.look("co2_ppm", 1000.0 + 10.0 * n, 10.0 * n) for n in range(20)]
    assert rates[:12] == [None] * 12
    assert rates[-1] == pytest.approx(3600.0, rel=0.01)
    assert len(seen.past["co2_ppm"]) == 20
    seen.look("co2_ppm", 1000.0, 10_000.0)
    assert len(seen.past["co2_ppm"]) == 1


@pytest.mark.parametrize(
    "odd",
    [{}, {"readings": 3, "alarms": "x", "faults": [], "estimate": 1, "up_s": None}],
)
def test_an_odd_answer_makes_no_trouble_and_is_no_good_news(
    odd: dict[str, Any],
) -> None:
    """A watch of another version."""
    text = frame(odd, PastLooks(), 0.0)
    assert "No alarm." not in text
    assert "It does not say which alarms are on." in text


def test_where_nothing_rings_it_says_so() -> None:
    assert "No alarm." in frame({"alarms": []}, PastLooks(), 0.0)


REFUSED = {"ok": False, "text": "too many callers at once; try again"}


@pytest.mark.parametrize("option", ["--once", "--json"])
def test_a_refusal_is_an_error_and_no_status(tmp_path: Path, option: str) -> None:
    """Never "No alarm.", whatever rings."""
    with watch(tmp_path, REFUSED) as (path, _):
        code, out, err = call(show_command, option, "--socket", str(path))
    assert (code, out) == (3, "")
    assert "too many callers at once" in err
    assert err.count("\n") == 1


def test_while_the_watch_does_not_say_the_last_look_stays_and_is_marked_old(
    tmp_path: Path,
) -> None:
    """With the alarm that it showed, and why there is no newer one; then as before."""
    clock = HandClock()

    def frames(path: Path) -> Iterator[str]:
        for text in show_command._frames(path, clock):
            yield text
            clock.now_s += 2.0
            if clock.now_s >= 8.0:
                return

    with watch(tmp_path, STATUS, REFUSED, REFUSED, STATUS) as (path, _):
        first, second, third, fourth = frames(path)
    assert first.startswith("WAKE\n")
    assert second.startswith("OLD: 2 s ago. The monitor runs")
    assert third.startswith("OLD: 4 s ago.")
    assert " ".join(second.split()).count("too many callers at once") == 1
    for text in (second, third):
        assert text.endswith(first)
        assert max(len(line) for line in text.splitlines()) <= COLUMNS
    assert "OLD" not in fourth


def test_a_watch_that_went_away_is_told_on_the_screen(tmp_path: Path) -> None:
    """What it last said stays; whoever looks away must not take it for now."""
    clock = HandClock()
    with watch(tmp_path, STATUS) as (path, _):
        frames = show_command._frames(path, clock)
        first = next(frames)
    path.unlink()
    clock.now_s += 60.0
    gone = next(frames)
    assert " ".join(gone.split()).startswith(
        "OLD: 60 s ago. The monitor is not running"
    )
    assert gone.endswith(first)


@pytest.mark.parametrize(
    ("airing", "words"),
    [
        (None, ""),
        (
            {"all_clear_in_s": None, "can_be_told": True},
            "STAY OUT: the air is still bad or not known, or",
        ),
        ({"all_clear_in_s": 240.0, "can_be_told": True}, "STAY OUT: 4 min more"),
        ({"all_clear_in_s": 3.0, "can_be_told": True}, "STAY OUT: 1 min more"),
        ({"all_clear_in_s": None, "can_be_told": False}, "no sensor can show"),
        (
            {"all_clear_in_s": 240.0, "can_be_told": True, "sent_out": False},
            "No all-clear yet: 4 min more",
        ),
    ],
)
def test_who_is_out_is_told_whether_to_go_back_in(
    airing: dict[str, Any] | None, words: str
) -> None:
    """On the phone over ssh, from outside: not yet, or how long still."""
    text = frame(STATUS | {"airing": airing}, PastLooks(), 0.0)
    said = " ".join(text.split())
    was_sent = airing is not None and airing.get("sent_out", True)
    assert ("STAY OUT: " in said) is was_sent
    assert words in said
    assert all(len(line) <= COLUMNS for line in text.splitlines())


def test_once_shows_it_once(tmp_path: Path) -> None:
    """The same frame, and the end."""
    with watch(tmp_path, STATUS) as (path, asked):
        code, out, _ = call(show_command, "--once", "--socket", str(path))
    assert (code, asked) == (0, [{"ask": "status"}])
    assert out.startswith("WAKE\n")


@pytest.mark.made_up("a short status stands for a whole one")
def test_json_is_what_the_watch_said(tmp_path: Path) -> None:
    """One object, for programs."""
    with watch(tmp_path, STATUS) as (path, _):
        code, out, _ = call(show_command, "--json", "--socket", str(path))
    assert code == 0
    assert json.loads(out) == STATUS


def test_a_mark_goes_to_the_watch(tmp_path: Path) -> None:
    """Its words, and a confirmation of them."""
    with watch(tmp_path, {"ok": True, "text": "noted"}) as (path, asked):
        words = ("roof", "vent  open", "--socket", str(path))
        code, out, _ = call(mark_command, *words)
    assert code == 0
    assert asked == [{"ask": "mark", "text": "roof vent  open"}]
    assert out == "Marked: roof vent open\n"


def test_a_refused_mark_says_why(tmp_path: Path) -> None:
    """The watch's own sentence, and exit code 2."""
    with watch(tmp_path, {"ok": False, "text": "too long"}) as (path, _):
        code, out, err = call(mark_command, "x", "--socket", str(path))
    assert (code, out) == (2, "")
    assert "too long" in err


@pytest.mark.parametrize("command", [show_command, mark_command])
def test_without_a_watch_the_machine_failed(
    tmp_path: Path, command: ModuleType
) -> None:
    """Exit code 3, one sentence with the remedy."""
    words = ["x"] if command is mark_command else []
    code, out, err = call(command, *words, "--socket", str(tmp_path / "none"))
    assert (code, out) == (3, "")
    assert "systemctl status cabinvigil" in err
    assert err.count("\n") == 1


def test_the_socket_comes_from_the_config(tmp_path: Path) -> None:
    """Or is the usual one, where there is no config."""
    _, _, err = call(show_command, "--once", "--config", str(tmp_path / "none.toml"))
    assert "/run/cabinvigil/ask" in err


def test_too_quick_a_look_is_refused() -> None:
    """The socket takes one ask a second."""
    code, _, err = call(show_command, "--every", "0.2")
    assert code == 2
    assert "between 1 and 3600" in err


def test_frames_stay_in_place_until_they_end() -> None:
    """Every frame is shown, with a rest after each."""
    out, rests = io.StringIO(), []
    stay(["one", "two"], out, lambda: rests.append(1), COLUMNS)
    assert "two" in out.getvalue()
    assert len(rests) == 2


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_is_shown_on_a_terminal_alone() -> None:
    """A pipe gets nothing; a terminal sees how far it is."""
    pipe, terminal = io.StringIO(), Terminal()
    assert list(told([1, 2], 2, "reading", pipe)) == [1, 2]
    assert pipe.getvalue() == ""
    assert list(told([1, 2], 2, "reading", terminal)) == [1, 2]
    assert "reading" in terminal.getvalue()


def test_without_rich_it_goes_on_plainly(monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra is not needed to see the air."""
    for name in ("rich.console", "rich.progress", "rich.live"):
        monkeypatch.setitem(__import__("sys").modules, name, None)
    out = io.StringIO()
    stay(["one", "two"], out, lambda: None, COLUMNS)
    assert out.getvalue() == "one\ntwo\n"
    terminal = Terminal()
    assert list(told([1, 2], 2, "reading", terminal)) == [1, 2]
    assert terminal.getvalue() == ""
