"""How far long work is: on a terminal alone, never in the way of what is printed."""

import io
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import morning, rehearse, replay
from cabinvigil.daemon.commands.base import make_parser
from cabinvigil.daemon.text.terminal import progress, stay
from tests.review import logs


class Terminal(io.StringIO):
    """What both streams of a terminal come to."""

    def isatty(self) -> bool:
        return True


def shown(word: str, command: object, *words: object) -> tuple[str, str]:
    """Run a command whose notes go to a terminal; return its answer and those."""
    args = make_parser(word, command).parse_args([str(one) for one in words])  # type: ignore[arg-type]
    out, err = io.StringIO(), Terminal()
    command.run(args, out, err)  # type: ignore[attr-defined]
    return out.getvalue(), err.getvalue()


def test_what_is_printed_beside_it_stands_on_lines_of_its_own() -> None:
    """The bar is taken away before, and comes back after."""
    one = Terminal()
    with progress(2.0, "working", one) as bar:
        bar(1.0)
        with bar.aside():
            one.write("a line\n")
        bar(1.0)
    text = one.getvalue()
    assert "working" in text
    before = text.partition("a line\n")[0]
    assert before.endswith("\x1b[2K"), "the bar's line was not erased"


def test_each_long_command_shows_how_far_it_is(tmp_path: Path) -> None:
    """A rehearsed night, its replay and its page take longer than three seconds."""
    folder = tmp_path / "nights"
    words = ("quiet", "--hours", "0.1", "--tick-s", "30", "--log", folder)
    out, err = shown("rehearse", rehearse, *words)
    assert "rehearsing" in err
    assert "100%" in err
    assert "rehearsing" not in out
    (log,) = folder.glob("*.jsonl")
    out, err = shown("replay", replay, log)
    assert out == "No alarm sounded.\n"
    assert "replaying" in err
    assert "100%" in err
    page = tmp_path / "page.html"
    out, err = shown("morning", morning, log, "--page", page)
    assert "reading the night" in err
    assert page.is_file()


@pytest.mark.parametrize("word", ["replay", "morning"])
def test_a_pipe_gets_nothing(tmp_path: Path, word: str) -> None:
    path = logs.write(tmp_path, logs.begin() + logs.air(logs.still_air(0.0, 600.0)))
    command = {"replay": replay, "morning": morning}[word]
    args = make_parser(word, command).parse_args([str(path)])
    err = io.StringIO()
    command.run(args, io.StringIO(), err)
    assert err.getvalue() == ""


def test_a_view_stands_below_the_one_before_where_none_can_stay_in_place(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each is out before the next is waited for: the view of a night has no last."""
    monkeypatch.delenv("FORCE_COLOR", raising=False)
    monkeypatch.delenv("TTY_COMPATIBLE", raising=False)
    monkeypatch.setenv("TERM", "dumb")
    for out in (io.StringIO(), Terminal()):
        seen: list[str] = []
        stay(iter("ab"), out, lambda: seen.append(out.getvalue()), 40)  # noqa: B023
        assert seen == ["a\n", "a\nb\n"]
