"""The fenced blocks of the project's pages, and stand-ins to run their commands.

A block of shell runs in a folder of its own, as a stranger would type it.  What needs
root, a network, a Pi or a person is a stand-in that only notes that it was called; the
program itself is the real one where it can be, and else reads its words.
"""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "DEVELOPERS.md", "hardware.md")
FENCED = re.compile(
    r"^(?:<!-- ([^>\n]+) -->\n)?```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE
)
MACHINES = re.compile(r"(?<![\w.:/])/(etc|opt|usr/local|usr/share|boot)/")
NOTED = (
    *("apt-get", "gpg", "nano", "pip", "pytest", "ruff", "lint-imports", "bash"),
    *("raspi-config", "systemctl", "systemd-sysusers", "systemd-tmpfiles"),
    *("udevadm", "usermod", "wdctl"),
)
"""Programs that a stand-in only notes."""
SUDO = """#!/bin/sh
[ "$1" = -u ] && shift 2
exec "$@"
"""
NOTE = """#!/bin/sh
echo "${0##*/} $*" >> "$NOTES"
"""
PYTHON = """#!/bin/sh
# `-m venv DIR` makes a folder with the programs that a real one would have.
if [ "$2" = venv ]; then mkdir -p "$3/bin"; cp "$STANDINS"/* "$3/bin/"; exit; fi
echo "python $*" >> "$NOTES"
"""
PROGRAM = """#!{python}
import os, sys
from cabinvigil.daemon import cli
words = sys.argv[1:]
if words[0] == "rehearse":
    words += ["--hours", "0.1", "--tick-s", "10"]
if words[0] == "rehearse" or "--example" in words:
    sys.exit(cli.main(words))
cli.parser_of(words[0]).parse_args(words[1:])
print("cabinvigil", *words, file=open(os.environ["NOTES"], "a"))
"""


def blocks(page: str) -> list[tuple[str, str, str]]:
    """Give each fenced block: the comment right above it, its language, its text."""
    text = (ROOT / page).read_text(encoding="utf-8")
    return [(mark, kind, body) for mark, kind, body in FENCED.findall(text)]


def standins(folder: Path) -> Path:
    """Put the stand-ins into a folder."""
    folder.mkdir()
    texts = dict.fromkeys(NOTED, NOTE)
    texts |= {"sudo": SUDO, "python3": PYTHON, "python": PYTHON}
    texts["cabinvigil"] = PROGRAM.format(python=sys.executable)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
        (folder / name).chmod(0o755)
    return folder


def run(body: str, folder: Path) -> tuple[subprocess.CompletedProcess[str], str]:
    """Run a block of shell beneath a folder; give how it ended, and what was noted.

    Whatever names a place of the machine (/etc, /opt, /usr/local) goes beneath the
    folder.
    """
    programs = standins(folder / "programs")
    (folder / "notes").touch()
    for part in ("systemd", "config", "tests"):
        if not (folder / part).exists():
            (folder / part).symlink_to(ROOT / part)
    body = MACHINES.sub(rf"{folder}/\1/", body)
    for place in ("etc/cabinvigil", "etc/default", "opt", "usr/local"):
        (folder / place).mkdir(parents=True, exist_ok=True)
    installed = folder / "opt" / "cabinvigil" / "bin"
    if not installed.exists():
        shutil.copytree(programs, installed)
    ended = subprocess.run(
        ["/bin/bash", "-euc", body],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env={
            **os.environ,
            "PATH": f"{programs}:{os.environ['PATH']}",
            "NOTES": str(folder / "notes"),
            "STANDINS": str(programs),
        },
    )
    return ended, (folder / "notes").read_text(encoding="utf-8")
