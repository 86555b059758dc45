"""The real command `run` as a process, on lines and a kernel that can be made to hang.

    python -m tests.service.life CONFIG FOLDER

What hangs is named by empty files in FOLDER, looked for at each call, so that a test
can have it so from the start or later.  The levels of each line go to `LINE.levels`.
"""

import os
import subprocess
import sys
import threading
from argparse import Namespace
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cabinvigil.daemon.cli import exit_code_of
from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.commands import run
from cabinvigil.daemon.outputs.signal.gpio import LineCheck

if TYPE_CHECKING:
    from cabinvigil.daemon.service.host_services import HostServices
    from cabinvigil.daemon.service.watcher import Watcher

CLOCK = SystemClock()


class Knobs:
    """What a test asks of the process, by files."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def is_set(self, name: str) -> bool:
        return (self.folder / name).exists()

    def hang(self, name: str) -> None:
        """Never return, where that is asked for."""
        if self.is_set(name):
            threading.Event().wait()


class FileLine:
    """A line whose levels can be seen from outside."""

    def __init__(self, name: str, knobs: Knobs) -> None:
        self.name, self._knobs = name, knobs
        with suppress(ImportError):
            import gpiod  # noqa: F401  the real line costs that
        knobs.hang(f"hang-open-{name}")
        self._file = (knobs.folder / f"{name}.levels").open("a", buffering=1)
        self._write(0)

    def _write(self, level: int) -> None:
        self._file.write(f"{CLOCK.monotonic()} {level}\n")

    def set(self, *, on: bool) -> None:
        self._knobs.hang(f"hang-set-{self.name}")
        self._write(int(on))

    def self_test(self) -> LineCheck:
        self._knobs.hang(f"hang-proof-{self.name}")
        return LineCheck.DRIVEN

    def close(self) -> None:
        if not self._file.closed:
            self._write(0)
            self._file.close()


def _hanging(knobs: Knobs, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
    def call(*args: Any, **kwargs: Any) -> Any:
        knobs.hang(name)
        return real(*args, **kwargs)

    return call


def _tick(
    knobs: Knobs, real: Callable[["Watcher"], None]
) -> Callable[["Watcher"], None]:
    def tick(watcher: "Watcher") -> None:
        knobs.hang("hang-loop")
        if knobs.is_set("crash"):
            raise ArithmeticError("the core")
        real(watcher)

    return tick


class _DeadBus:
    """An adapter that takes every call and never comes back."""

    def i2c_rdwr(self, *_: Any) -> None:
        threading.Event().wait()

    def close(self) -> None: ...


def main(config: Path, folder: Path) -> int:
    """Run; return the exit code."""
    knobs = Knobs(folder)
    os.fsync = _hanging(knobs, "hang-disk", os.fsync)
    run.open_gpio = lambda name, **_: FileLine(name, knobs)  # type: ignore[assignment]
    real = run.host_services

    def host_services() -> "HostServices":
        # As late as `run` loads it: the sounder is had before.
        from cabinvigil.daemon.sampling.buses import I2cBus
        from cabinvigil.daemon.sampling.wiring import REAL
        from cabinvigil.daemon.service.watcher import Watcher

        Watcher.tick = _tick(knobs, Watcher.tick)  # type: ignore[method-assign]
        knobs.hang("hang-load")
        wires = replace(
            REAL,
            i2c=lambda name, dev: I2cBus(name, dev, open_smbus=lambda _: _DeadBus()),
        )
        return replace(real(), wires=wires)

    run.host_services = host_services
    args = Namespace(config=config)
    return exit_code_of(lambda: run.run(args, sys.stdout, sys.stderr), sys.stderr)


class Life:
    """One such process, as a test sees it."""

    def __init__(self, config: Path, folder: Path, **environ: str) -> None:
        self.folder, self._said = folder, ""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.service.life", str(config), str(folder)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env=os.environ | {"PYTHONWARNINGS": ""} | environ,
        )

    def ask(self, knob: str) -> None:
        (self.folder / knob).touch()

    def levels(self, line: str) -> list[tuple[float, int]]:
        """(monotonic seconds, level) of a line, from its opening on."""
        try:
            text = (self.folder / f"{line}.levels").read_text()
        except FileNotFoundError:
            return []
        rows = (row.split() for row in text.splitlines() if " " in row)
        return [(float(at_s), int(level)) for at_s, level in rows]

    def kill(self) -> str:
        """End it whatever it does; return what it had to say."""
        if self.process.poll() is None:
            self.process.kill()
        if not self._said:
            self._said = self.process.communicate()[1].decode() or " "
        return self._said


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
