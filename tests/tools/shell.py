"""Makes the man page and the shell completion from the commands' own parsers.

`python -m tests.tools.shell` writes them anew into config/shell/; a test holds them
to the parsers.  Nothing of this runs, or is needed, where the watch runs.
"""

import argparse
from collections.abc import Iterator
from pathlib import Path

from cabinvigil.daemon import cli
from cabinvigil.daemon.commands.base import USUAL_CONFIG
from cabinvigil.daemon.phone.settings import USUAL_PHONE_CONFIG

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "config" / "shell"
EXITS = (cli.__doc__ or "").split("Exit codes:")[1].strip()
FILES = {
    str(USUAL_CONFIG): "the config",
    str(USUAL_PHONE_CONFIG): "what `cabinvigil phone` listens to, and where it sends",
    "/var/log/cabinvigil": "the nights, if the config names no other folder",
    "/var/lib/cabinvigil": "calibrations, and the state of the alarms",
}
MADE_BY = "Made from the program's own parsers by `python -m tests.tools.shell`."
FILE_WORDS = ("FILE", "DIR", "FOLDER", "PATH", "DEV", "NIGHT")
"""What stands for a file in a call: there the shell completes files."""


def actions(word: str) -> list[argparse.Action]:
    """Return a command's options and words, `--help` aside."""
    return [one for one in cli.parser_of(word)._actions if one.dest != "help"]


# --- completion --------------------------------------------------------------------


def _after(action: argparse.Action) -> str:
    """Say in shell what may follow an option, or stand as a word."""
    if action.choices:
        return f'offered="{" ".join(map(str, action.choices))}"'
    if str(action.metavar).split("=")[0] in FILE_WORDS:
        return "files=1"
    return "offered="


def _cases(word: str) -> Iterator[str]:
    """Give one command's lines: what follows each option, then options and words."""
    options = ["--help"]
    yield f"    {word})"
    yield '        case "$before" in'
    words = [_after(one) for one in actions(word) if not one.option_strings]
    stands = words[-1] if words else "offered="
    if len(words) > 1:  # the first chooses what the last is for
        stands = f'if [ "$before" = {word} ]; then {words[0]}; else {stands}; fi'
    for action in actions(word):
        options += action.option_strings
        if not action.option_strings:
            continue
        if action.nargs != 0:
            names = "|".join(action.option_strings)
            yield f"        {names}) {_after(action)} ;;"
    yield '        *) case "$now" in'
    yield f'            -*) offered="{" ".join(options)}" ;;'
    yield f"            *) {stands} ;;"
    yield "        esac ;;"
    yield "        esac ;;"


def completion() -> str:
    """Write the completion for bash; zsh takes it through its bashcompinit."""
    lines = [
        "# Completes cabinvigil's commands and options in bash, and in zsh after",
        "# `autoload -U compinit bashcompinit; compinit; bashcompinit`.",
        f"# {MADE_BY}",
        "_cabinvigil() {",
        '    local now="${COMP_WORDS[COMP_CWORD]}"',
        '    local before="${COMP_WORDS[COMP_CWORD-1]}"',
        "    local offered= files= one",
        "    COMPREPLY=()",
        '    if [ "$COMP_CWORD" -eq 1 ]; then',
        f'        offered="{" ".join(cli.COMMANDS)} --help --version"',
        '    else case "${COMP_WORDS[1]}" in',
    ]
    for word in cli.COMMANDS:
        lines += _cases(word)
    lines += [
        "    esac; fi",
        '    if [ -n "$files" ]; then',
        '        while IFS= read -r one; do COMPREPLY+=("$one"); done \\',
        '            < <(compgen -f -- "$now")',
        "        compopt -o filenames 2>/dev/null || true",
        "    else",
        '        while IFS= read -r one; do COMPREPLY+=("$one"); done \\',
        '            < <(compgen -W "$offered" -- "$now")',
        "    fi",
        "}",
        "complete -F _cabinvigil cabinvigil",
    ]
    return "\n".join(lines) + "\n"


# --- the man page ------------------------------------------------------------------


def roff(text: str) -> str:
    """Write plain text so that roff takes nothing in it for its own."""
    text = text.replace("\\", "\\e").replace("-", "\\-").replace("'", "\\(aq")
    return "\n".join(
        f"\\&{line}" if line.startswith((".", "\\(aq")) else line
        for line in text.split("\n")
    )


def _given(action: argparse.Action) -> str:
    """Name what is given: a word for it, or what there is to choose."""
    return str(action.metavar or "|".join(map(str, action.choices or ())))


def _usage(word: str) -> str:
    """Write how a command is called; argparse's own line differs between Pythons."""
    stands = [one for one in actions(word) if not one.option_strings]
    forms = {"*": "[{}]...", "?": "[{}]", "+": "{}...", "None": "{}"}
    told = [
        forms[str(one.nargs)].format(
            one.metavar or "|".join(map(str, one.choices or ()))
        )
        for one in stands
    ]
    return " ".join(["cabinvigil", word, "[OPTION]...", *told])


def _command(word: str) -> Iterator[str]:
    parser = cli.parser_of(word)
    yield f".SS {roff(word)}"
    yield ".nh"
    yield roff(_usage(word))
    yield ".hy"
    yield ".PP"
    yield roff((parser.description or "").replace("\n", " "))
    for action in actions(word):
        given = _given(action)
        names = ", ".join(action.option_strings) or given
        if action.option_strings and action.nargs != 0:
            names += f" {given}"
        yield ".TP"
        yield f".B {roff(names)}"
        yield roff((action.help or "").replace("%%", "%"))
    yield ".PP"
    yield ".nf"
    yield roff((parser.epilog or "").strip())
    yield ".fi"


def man() -> str:
    """Write the page."""
    lines = [
        f'.\\" {MADE_BY}',
        ".TH CABINVIGIL 1",
        ".SH NAME",
        roff("cabinvigil - monitor the air of a small sleeping space"),
        ".SH SYNOPSIS",
        ".B cabinvigil",
        roff("COMMAND [OPTION]..."),
        ".SH DESCRIPTION",
        roff(cli.NOTE),
        ".SH COMMANDS",
    ]
    for word in cli.COMMANDS:
        lines += _command(word)
    lines += [".SH EXIT STATUS", roff(EXITS.replace("\n", " ")), ".SH FILES"]
    for file, what in FILES.items():
        lines += [".TP", f".I {roff(file)}", roff(what)]
    lines += [
        ".SH SEE ALSO",
        roff(
            "README.md, daemon/README.md, hardware.md and config/asyncapi.yaml of the "
            "project."
        ),
    ]
    return "\n".join(lines) + "\n"


MADE = {"cabinvigil": completion, "cabinvigil.1": man}
"""By the name that the shell and man look for."""


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, make in MADE.items():
        (FOLDER / name).write_text(make(), encoding="utf-8")
