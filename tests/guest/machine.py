"""The guest's machine, seen from outside the watch: pins, unit, log, socket."""

import gzip
import json
import os
import socket
import subprocess
import time
from contextlib import suppress
from pathlib import Path
from threading import Thread
from typing import Any

from checking import CheckError

SIM = Path("/sys/kernel/config/gpio-sim/cabin")
LINES = 28
LOGS = Path("/var/log/cabinvigil")
UNIT = "cabinvigil.service"
AIR = Path("/run/air.json")
CARD = Path("/card")
CONFIG = Path("/etc/cabinvigil/cabin.toml")


def run(
    command: str, *, user: str = "", folder: str = "/", limit_s: float = 900
) -> str:
    """Run a shell command; give what it printed.

    Raises:
        CheckError: it failed.
    """
    words = ["bash", "-ec", command]
    if user:
        words = ["runuser", "-u", user, "--", *words]
    done = subprocess.run(
        words, cwd=folder, capture_output=True, text=True, timeout=limit_s, check=False
    )
    if done.returncode:
        said = (done.stdout + done.stderr).strip()[-400:]
        raise CheckError(f"`{command}` ended with {done.returncode}: {said}")
    return done.stdout


class Pins:
    """A simulated GPIO chip with a Pi's line names; hears the buzzer, presses."""

    def __init__(self) -> None:
        bank = SIM / "bank0"
        bank.mkdir(parents=True)
        (bank / "num_lines").write_text(str(LINES))
        for number in range(LINES):
            line = bank / f"line{number}"
            line.mkdir()
            (line / "name").write_text(f"GPIO{number}")
        (SIM / "live").write_text("1")
        device = (SIM / "dev_name").read_text().strip()
        chip = (bank / "chip_name").read_text().strip()
        self._chip = Path("/sys/devices/platform") / device / chip
        self.button(pressed=False)
        self.edges: list[tuple[float, bool]] = []
        """(monotonic seconds, level) of the buzzer's line."""
        Thread(target=self._hear, daemon=True).start()

    def _hear(self) -> None:
        value = os.open(self._chip / "sim_gpio17" / "value", os.O_RDONLY)
        was = False
        while True:
            level = os.pread(value, 1, 0) == b"1"
            if level != was:
                was = level
                self.edges.append((time.perf_counter(), level))
            time.sleep(0.01)

    def pulses(self, since_s: float) -> list[float]:
        """Give when pulses began, from a moment on."""
        return [at for at, level in list(self.edges) if level and at >= since_s]

    def groups(self, since_s: float) -> list[tuple[float, int]]:
        """Give when each whole group began, and its pulses: four mean fresh air.

        Groups are two seconds apart or more; the last counts once it is over.
        """
        found: list[tuple[float, int]] = []
        last_s = float("-inf")
        for at_s in self.pulses(since_s):
            if at_s - last_s > 2.0:
                found.append((at_s, 0))
            found[-1] = (found[-1][0], found[-1][1] + 1)
            last_s = at_s
        if found and time.perf_counter() - last_s < 2.0:
            found.pop()
        return found

    def button(self, *, pressed: bool) -> None:
        """Press the button on GPIO24, which is active low, or let it go."""
        pull = "pull-down" if pressed else "pull-up"
        (self._chip / "sim_gpio24" / "pull").write_text(pull)

    def press(self) -> None:
        """Press shortly."""
        self.button(pressed=True)
        time.sleep(0.3)
        self.button(pressed=False)


def shown(what: str, unit: str = UNIT) -> str:
    """Give a property of the unit."""
    return run(f"systemctl show --property={what} --value {unit}").strip()


def pid() -> int:
    """Give the watch's process, 0 for none."""
    return int(shown("MainPID"))


def status() -> dict[str, Any]:
    """Ask the watch how it stands; empty where it does not answer."""
    time.sleep(1.0)  # the socket takes one ask a second
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as sock:
            sock.settimeout(10.0)
            sock.connect("/run/cabinvigil/ask")
            sock.sendall(b'{"ask": "status"}\n')
            with sock.makefile("rb") as said:
                answer = json.loads(said.readline())
    except (OSError, ValueError):
        return {}
    return dict(answer) if answer.get("ok") else {}


def logged(event: str) -> list[dict[str, Any]]:
    """Give the log's lines of one event, all nights, as far as they are whole."""
    lines: list[dict[str, Any]] = []
    for file in sorted(LOGS.glob("night-*.jsonl*")):
        opened = gzip.open if file.suffix == ".gz" else open
        with suppress(EOFError, OSError, ValueError), opened(file, "rt") as text:
            for line in text:
                lines.append(json.loads(line))  # noqa: PERF401  # keeps those before a torn one
    return [line for line in lines if line["event"] == event]


def air(**values: float) -> None:
    """Change the air in which the parts hang."""
    AIR.with_suffix(".new").write_text(json.dumps(values))
    AIR.with_suffix(".new").replace(AIR)
