"""`cabinvigil trial` against the real daemon, from the word to the log."""

import asyncio
import json
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import show, trial
from cabinvigil.daemon.core import trial as core
from cabinvigil.daemon.log.runs import read_tape
from tests.commands.calling import call
from tests.review import logs
from tests.running import running


def says(word: str) -> dict[str, object]:
    return {"ask": lambda _question: word}


async def test_it_begins_shows_itself_and_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only once somebody says that nobody is inside, and the parts have warmed up."""
    path = tmp_path / "ask"
    where = ("--socket", str(path))
    begin = ("begin", "roof vent a third open", *where)
    async with running(tmp_path) as watch:
        await watch.until(lambda: "co_ppm" in watch.app.watcher.numbers())
        await watch.until(path.exists)

        async def do(*words: str, **more: object) -> tuple[int, str, str]:
            return await asyncio.to_thread(call, trial, *words, **more)

        refused = await do(*begin, **says("yes"))
        cold = await do(*begin, **says("nobody"))
        monkeypatch.setattr(core, "_why_not_calm", lambda _state: "")
        begun = await do(*begin, "--until", "o2-low", **says(" Nobody "))
        again = await do(*begin, **says("nobody"))
        shown = await asyncio.to_thread(call, show, "--once", *where)
        ended = await do("end", *where)
        none = await do("end", *where)
    assert refused[0] == 2
    assert "not begun" in refused[2]
    assert cold[0] == 2
    assert "is not measured now, so the air is unknown" in cold[2]
    assert begun[0] == 0, begun
    assert "No person and no animal may be in the cabin" in begun[1]
    assert "runs for 3.0 h, or until o2-low" in begun[1]
    assert again[0] == 2
    assert "is open" in again[2]
    assert shown[1].startswith("TRIAL\nStay outside: nobody is to be inside.\n")
    assert ended == (0, "The trial 'roof vent a third open' is over.\n", "")
    assert none[0] == 2
    tape = read_tape(sorted((tmp_path / "log").glob("night-*")))
    events = [one.fields for one in tape.events if one.kind == "trial"]
    assert [(one["state"], one["text"]) for one in events] == [
        ("begun", "roof vent a third open"),
        ("ended", "roof vent a third open"),
    ]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("begin",), "needs a few words"),
        (("begin", "x", "--hours", "13"), "--hours"),
        (("begin", "x", "--until", ""), "--until is empty"),
        (("end", "roof"), "takes no words"),
        (("list", "--until", "o2-low"), "takes no words"),
        (("begin", "x", "--socket", "/nowhere/ask"), "/nowhere/ask"),
    ],
)
def test_a_wrong_call_is_told(words: tuple[str, ...], why: str) -> None:
    code, _, err = call(trial, *words, **says("nobody"))
    assert code in (2, 3)
    assert why in err


def test_what_it_lists_is_also_data(tmp_path: Path) -> None:
    folder = tmp_path / "nights"
    folder.mkdir()
    code, out, err = call(trial, "list", "--json", "--log", folder)
    assert (code, out) == (2, "")
    assert str(folder) in err
    logs.write(folder, logs.begin() + logs.air(logs.still_air(0.0, 600.0)))
    assert json.loads(call(trial, "list", "--json", "--log", folder)[1]) == []
