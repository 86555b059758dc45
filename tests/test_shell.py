"""Help, completion and man page: one text, each command explained by the trailer."""

import re
import shlex
import subprocess
import tomllib

import pytest

from cabinvigil.daemon import cli
from tests.tools import shell


def completed(*words: str) -> set[str]:
    """Ask a real bash what it offers for the last of these words."""
    quoted = " ".join(shlex.quote(word) for word in ("cabinvigil", *words))
    script = (
        f"source {shlex.quote(str(shell.FOLDER / 'cabinvigil'))}\n"
        f"COMP_WORDS=({quoted}); COMP_CWORD={len(words)}\n"
        '_cabinvigil; printf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    ended = subprocess.run(
        ["bash", "-euc", script],
        capture_output=True, text=True, check=True, cwd=shell.ROOT,
    )  # fmt: skip
    return set(ended.stdout.split())


@pytest.mark.parametrize("name", sorted(shell.MADE))
def test_they_are_those_of_the_parsers(name: str) -> None:
    """Else: `python -m tests.tools.shell`."""
    assert (shell.FOLDER / name).read_text(encoding="utf-8") == shell.MADE[name]()


def test_the_wheel_brings_them_to_where_shell_and_man_look() -> None:
    text = (shell.ROOT / "pyproject.toml").read_text(encoding="utf-8")
    brought = tomllib.loads(text)["tool"]["setuptools"]["data-files"]
    units = brought.pop("share/cabinvigil/systemd")
    assert brought == {
        "share/bash-completion/completions": ["config/shell/cabinvigil"],
        "share/man/man1": ["config/shell/cabinvigil.1"],
    }
    found = {file.name for one in units for file in shell.ROOT.glob(one)}
    there = {one.name for one in (shell.ROOT / "systemd").iterdir() if one.is_file()}
    assert found == there, "whoever comes by the wheel has no clone for the units"


def test_bash_completes_commands_options_choices_and_files() -> None:
    assert completed("") == {*cli.COMMANDS, "--help", "--version"}
    assert completed("re") == {"rehearse", "replay"}
    assert completed("show", "--s") == {"--socket"}
    assert {"--json", "--help", "--estimates"} <= completed("replay", "-")
    assert completed("rehearse", "s") == {"shut", "sooty"}
    assert completed("span", "--emulated", "--air", "") == {"fresh", "closed"}
    assert completed("run", "--config", "READ") == {"README.md"}
    assert completed("replay", "hardw") == {"hardware.md"}
    assert completed("plan", "--people", "") == set()
    assert completed("log", "") == {"check", "mend", "csv"}
    assert completed("log", "check", "hardw") == {"hardware.md"}


def test_every_option_is_completed() -> None:
    for word in cli.COMMANDS:
        known = {name for one in shell.actions(word) for name in one.option_strings}
        assert completed(word, "-") == known | {"--help"}


def test_the_man_page_tells_every_command_and_is_sound_roff() -> None:
    """No line of text begins with what roff would take for a request."""
    page = shell.man()
    requests = {line.split()[0] for line in page.splitlines() if line.startswith(".")}
    known = {".TH", ".SH", ".SS", ".PP", ".TP", ".B", ".I", ".nf", ".fi", ".nh", ".hy"}
    assert requests == known | {'.\\"'}
    for word in cli.COMMANDS:
        assert f".SS {word}\n" in page


@pytest.mark.parametrize("word", sorted(cli.COMMANDS))
def test_each_help_shows_the_trailer_and_its_calls_are_understood(word: str) -> None:
    """An example that is refused is worse than none."""
    epilog = cli.parser_of(word).epilog or ""
    assert "Lapwing" in epilog
    joined = epilog.replace("\\\n", " ")
    calls = re.findall(
        r"^  cabinvigil (.+?)(?:  .*| > .*| \(.*)?$", joined, re.MULTILINE
    )
    assert calls
    for call in calls:
        first, *rest = shlex.split(call)
        assert first == word
        cli.parser_of(first).parse_args(rest)


@pytest.mark.parametrize("word", sorted(cli.COMMANDS))
def test_each_option_says_what_it_is_for(word: str) -> None:
    """In words, and with a word for what it takes."""
    for action in shell.actions(word):
        assert re.search(r"[a-z]{3,}", action.help or ""), action.dest
        takes = action.nargs != 0
        assert not takes or action.metavar or action.choices, action.dest
