"""How commands end that cannot do what was asked: the whole text, and the exit code."""

from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main

NO_FILE = (
    "none.toml is not there; check the name, or begin with the example: "
    "`cabinvigil config --example > FILE`."
)
NO_FOLDER = (
    "--log good.csv: no log can be kept there (File exists); name a folder that you "
    "may write in"
)
NO_NIGHT = (
    "none.jsonl: not found; give a night's file, a folder of nights, or a date like "
    "2026-01-16"
)
NO_WATCH = (
    "The monitor is not running (nothing listens on none/ask). Check: systemctl "
    "status cabinvigil"
)
NO_STRETCH = (
    "good.csv@x: a stretch is written FILE@MARK..MARK, where a side may be left out, "
    "or NIGHT@trial"
)
ENDINGS = [
    (["run", "--config", "none.toml"], 2, NO_FILE),
    (["parts", "--scan", "--config", "none.toml"], 2, NO_FILE),
    (["span", "--config", "none.toml"], 2, NO_FILE),
    (["precheck", "--config", "none.toml"], 2, NO_FILE),
    (["rehearse", "--config", "none.toml"], 2, NO_FILE),
    (["replay", "good.csv", "--config", "none.toml"], 2, NO_FILE),
    (
        ["morning", "2026-01-16", "--config", "none.toml"],
        2,
        NO_FILE.rstrip(".") + "; or add --log FOLDER, or name a night's file",
    ),
    (["show", "--socket", "none/ask", "--once"], 3, NO_WATCH),
    (["mark", "vent", "--socket", "none/ask"], 3, NO_WATCH),
    (["show", "--every", "0.5"], 2, "--every must lie between 1 and 3600 seconds"),
    (
        ["span", "--emulated", "--minutes", "nan"],
        2,
        "--minutes must lie between 1 and 60",
    ),
    (
        ["span", "--emulated", "--co2-ppm", "90"],
        2,
        "--co2-ppm must lie between 350 and 2000; outdoors it is 425",
    ),
    (
        ["span", "--emulated", "--yes", "no"],
        1,
        ("nothing was calibrated: the sentence was not typed"),
    ),
    (
        ["precheck", "--emulated", "--battery-ah", "0"],
        2,
        "--battery-ah must lie between 0.1 and 10000",
    ),
    (
        ["precheck", "--emulated", "--hours", "169"],
        2,
        "--hours must lie above 0 and up to 168",
    ),
    (["rehearse", "--hours", "0"], 2, "--hours must lie between 0 and 24"),
    (
        ["rehearse", "--pace", "-1"],
        2,
        "--pace must lie between 0 and 1000000; 1 is real time",
    ),
    (
        ["rehearse", "--tick-s", "0.1"],
        2,
        "--tick-s must lie between 0.5 and 60 seconds",
    ),
    (["rehearse", "--log", "good.csv"], 2, NO_FOLDER),
    (["morning", "none.jsonl"], 2, NO_NIGHT),
    (
        ["compare", "good.csv@x"],
        2,
        NO_STRETCH,
    ),
    (
        ["replay", "good.csv", "--limits", "none.toml", "--estimates"],
        2,
        "--limits compares only alarms; leave out --estimates",
    ),
    (["replay", "none.jsonl"], 2, "none.jsonl: not found; give the path of a log"),
]


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one small recording, for relative paths."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.csv").write_text("time_s,o2_pct\n0,20.9\n", encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(("words", "code", "sentence"), ENDINGS)
def test_the_sentence_and_nothing_else(
    words: list[str], code: int, sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """On the error stream, after the program's name."""
    assert main(words) == code
    assert capsys.readouterr().err == f"cabinvigil: {sentence}\n"


def test_plan_says_that_it_is_plan_in_each_line(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A line for each figure that is wrong, and one for a picture."""
    assert main(["plan", "--people", "x", "--burn", "late"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert all(line.startswith("cabinvigil plan: --") for line in lines)
    assert main(["plan", "--picture", "none/x.svg"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == (
        "cabinvigil plan: --picture none/x.svg cannot be written: No such file or "
        "directory; name a file in a folder that exists, and that you may write in\n"
    )


@pytest.mark.parametrize("word", ["plan", "rehearse", "span", "run"])
def test_an_empty_name_of_a_config_is_refused(
    word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--config "$CABIN"` without a CABIN must not mean another cabin."""
    assert main([word, "--config", ""]) == 2
    assert ". is a folder; name the .toml file inside it." in capsys.readouterr().err


def test_no_letter_of_a_name_steers_the_terminal(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Whatever file somebody named."""
    assert main(["replay", "x\x1b[2J\r.csv"]) == 2
    err = capsys.readouterr().err
    assert err.startswith("cabinvigil: x?[2J?.csv: cannot be read")
    assert err.replace("\n", "").isprintable()


def test_who_stops_a_command_gets_130(monkeypatch: pytest.MonkeyPatch) -> None:
    """As a shell expects after Ctrl-C, without a traceback."""

    def stopped(*_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("cabinvigil.daemon.commands.mark.run", stopped)
    assert main(["mark", "vent"]) == 130
