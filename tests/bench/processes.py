"""Other processes, and what they took: time, processor time, memory."""

import os
import re
import resource
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

LIBRARIES = (
    "import asyncio, gzip, json, attrs, paho.mqtt.client, serial, smbus2, "
    "structlog, tomli"
) + (", gpiod" if find_spec("gpiod") else "")
"""What `run` stands on: its packages, and the heavy ones of Python's own.

Where `rich` is installed, structlog loads it on both sides."""
READY_BY_S = 60.0


def installed() -> dict[str, str]:
    """The environment, with modules compiled beforehand as an installer leaves them."""
    cache = Path(tempfile.gettempdir()) / f"cabinvigil-pyc-{os.getuid()}"
    found = os.environ | {"PYTHONPYCACHEPREFIX": str(cache)}
    found.pop("PYTHONDONTWRITEBYTECODE", None)
    return found


@dataclass(frozen=True)
class Took:
    """What a process took to its end."""

    wall_s: float
    cpu_s: float
    peak_kb: int
    out: str = ""


def ran(words: Sequence[str]) -> Took:
    """Run Python with these words to its end; the child's own figures alone.

    Raises:
        RuntimeError: it failed.
    """
    began_s = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, *words], stdout=subprocess.PIPE, env=installed()
    )
    assert child.stdout is not None
    with child.stdout:
        out = child.stdout.read().decode()
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    wall_s = time.perf_counter() - began_s
    if child.returncode:
        raise RuntimeError(f"{' '.join(words)} ended with {child.returncode}")
    return Took(wall_s, cpu_of(used), used.ru_maxrss, out)


def cpu_of(used: resource.struct_rusage) -> float:
    return used.ru_utime + used.ru_stime


def rss_kb(pid: int) -> int:
    """Resident memory now, as the kernel counts it."""
    text = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"^VmRSS:\s+(\d+) kB", text, re.MULTILINE)
    assert found is not None
    return int(found[1])


def cpu_s(pid: int) -> float:
    """Processor time so far, of a process that still runs."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def idle_rss_kb() -> int:
    """Memory of a process that has imported the libraries and does nothing."""
    words = f"{LIBRARIES}; print('there', flush=True); input()"
    with subprocess.Popen(
        [sys.executable, "-c", words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env=installed(),
    ) as idle:
        assert idle.stdout is not None
        idle.stdout.readline()
        kb = rss_kb(idle.pid)
        idle.communicate(b"\n")
    return kb


class Daemon:
    """`cabinvigil run` as systemd would start it, with a socket for its READY."""

    def __init__(self, config: Path) -> None:
        self._told = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        address = config.with_name("notify")
        address.unlink(missing_ok=True)
        self._told.bind(str(address))
        self._told.settimeout(READY_BY_S)
        self._began_s = time.perf_counter()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "cabinvigil.daemon", "run", "--config", str(config)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=installed() | {"NOTIFY_SOCKET": str(address)},
        )

    def ready(self) -> tuple[float, float]:
        """Wait for the first assessed tick; give seconds and processor seconds."""
        while b"READY=1" not in self._told.recv(4096):
            pass
        wall_s = time.perf_counter() - self._began_s
        return wall_s, cpu_s(self.process.pid)

    def end(self) -> None:
        self.process.terminate()
        self.process.wait()
        self._told.close()
