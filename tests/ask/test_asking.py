"""What a command asks before it takes the parts: a person, and whether a watch runs."""

import errno
import io
from pathlib import Path

import pytest

from cabinvigil.daemon.ask import socket as asking
from cabinvigil.daemon.ask.socket import (
    NOBODY,
    AskError,
    WatchRunsError,
    no_watch,
    typed,
    watch_status,
)
from cabinvigil.daemon.settings.config import Settings, load


def cabin(folder: Path) -> Settings:
    path = folder / "cabin.toml"
    path.write_text(
        f'[cabin]\nname = "lapwing"\n[ask]\nsocket = "{folder}/ask"\n'
        '[part.bunk-co]\nkind = "frame9_co"\nport = "/dev/ttyUSB0"\n',
        encoding="utf-8",
    )
    return load(path)


def test_a_line_is_taken_as_it_was_typed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The prompt is shown; at the input's end nobody is there: no yes, and no Enter."""
    monkeypatch.setattr("sys.stdin", io.StringIO("outside air\n"))
    assert typed("> ") == "outside air"
    assert typed("> ") == NOBODY
    assert capsys.readouterr().out == "> > "


def test_where_no_watch_runs_the_parts_are_free(tmp_path: Path) -> None:
    """No socket: nobody has them."""
    assert watch_status(cabin(tmp_path)) is None
    no_watch(cabin(tmp_path), "span")


def test_a_watch_that_cannot_be_asked_may_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No permission is no 'none runs': the parts are left alone, and it is said."""

    def refused(*_: object) -> None:
        raise AskError(errno.EACCES, "You may not ask; join the socket's group")

    monkeypatch.setattr(asking, "ask_watch", refused)
    with pytest.raises(AskError, match="join the socket's group"):
        no_watch(cabin(tmp_path), "span")


@pytest.mark.parametrize("is_ok", [True, False])
def test_a_watch_that_runs_is_told_with_how_to_stop_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_ok: bool
) -> None:
    """Stop, do it, start: in that order; also where it says nothing more of itself."""
    monkeypatch.setattr(asking, "ask_watch", lambda *_: {"ok": is_ok, "text": "no"})
    with pytest.raises(WatchRunsError, match=r"stop.*cabinvigil span.*start"):
        no_watch(cabin(tmp_path), "span")
