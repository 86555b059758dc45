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
PAGES = ("README.md", "daemon/README.md", "DEVELOPERS.md", "hardware.md")
FENCED = re.compile(
    r"^(?:<!-- ([^>\n]+) -->\n)?```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE
)
MACHINES = re.compile(r"(?<![\w.:/])/(etc|opt|usr/local|usr/share|boot|run/systemd)/")
NOTED = (
    *("apt-get", "gpg", "nano", "pip", "pytest", "ruff", "lint-imports", "bash"),
    *("raspi-config", "systemctl", "systemd-sysusers", "systemd-tmpfiles"),
    *("udevadm", "usermod", "wdctl", "nmcli"),
    *("chgrp", "chown", "mosquitto_passwd", "mosquitto_sub"),
)
"""Programs that a stand-in only notes."""
SUDO = """#!/bin/sh
[ "$1" = -u ] && shift 2
exec "$@"
"""
INSTALL = """#!/bin/bash
# Owners are the machine's; what is put where is the page's.
words=()
while [ $# -gt 0 ]; do
    case $1 in -o | -g) shift ;; *) words+=("$1") ;; esac
    shift
done
exec /usr/bin/install "${words[@]}"
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
if words[0] == "rehearse" and "--live" not in words:
    words += ["--hours", "0.1", "--tick-s", "10"]
if words[0] == "rehearse" and "--live" not in words or "--example" in words:
    sys.exit(cli.main(words))
cli.parser_of(words[0]).parse_args(words[1:])
print("cabinvigil", *words, file=open(os.environ["NOTES"], "a"))
"""


PLACES = (
    *("etc/cabinvigil", "etc/default", "opt", "usr/local"),
    *(
        "etc/mosquitto/certs",
        "etc/mosquitto/conf.d",
        "etc/mosquitto/cabinvigil-secrets",
    ),
)
"""Folders that a package has made by then."""
FILES = {
    "usr/share/doc/cabinvigil/examples/phone.toml": "config/phone.toml",
    "etc/mosquitto/cabinvigil-secrets/ana": "config/phone.toml",
    "run/systemd/system/cabinvigil.service.d/proof.conf": "config/phone.toml",
}
"""Files that the package, or an earlier block, has made by then; any text will do."""


def blocks(page: str) -> list[tuple[str, str, str]]:
    """Give each fenced block: the comment right above it, its language, its text."""
    text = (ROOT / page).read_text(encoding="utf-8")
    return [(mark, kind, body) for mark, kind, body in FENCED.findall(text)]


def standins(folder: Path) -> Path:
    """Put the stand-ins into a folder."""
    folder.mkdir()
    texts = dict.fromkeys(NOTED, NOTE)
    texts |= {"sudo": SUDO, "install": INSTALL, "python3": PYTHON, "python": PYTHON}
    texts["cabinvigil"] = PROGRAM.format(python=sys.executable)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
        (folder / name).chmod(0o755)
    return folder


def run(body: str, folder: Path) -> tuple[subprocess.CompletedProcess[str], str]:
    """Run a block of shell beneath a folder; give how it ended, and what was noted.

    Whatever names a place of the machine (/etc, /opt, /run/systemd) goes beneath the
    folder.
    """
    programs = standins(folder / "programs")
    (folder / "notes").touch()
    for part in ("systemd", "config", "tests"):
        if not (folder / part).exists():
            (folder / part).symlink_to(ROOT / part)
    for file in (ROOT / "systemd").glob("mosquitto-*"):
        if not (folder / file.name).exists():
            (folder / file.name).symlink_to(file)
    body = MACHINES.sub(rf"{folder}/\1/", body)
    for place in PLACES:
        (folder / place).mkdir(parents=True, exist_ok=True)
    for place, source in FILES.items():
        is_copied = rf"^.*install -m \d+ [^|]*{place} "
        is_removed = rf"^sudo rm {re.escape(str(folder / place))}$"
        if re.search(f"{is_copied}|{is_removed}", body, re.MULTILINE):
            (folder / place).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / source, folder / place)
    for place in ("opt/cabinvigil/bin", ".venv/bin"):
        if not (folder / place).exists():
            shutil.copytree(programs, folder / place)
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
