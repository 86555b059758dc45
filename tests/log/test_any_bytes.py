"""Any bytes for a night's log: no traceback, no memory, a sentence where nothing is."""

import gzip
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

MOST_MB = 100
"""Of the whole process; the interpreter and what it loads are some 25 of it."""

BOMBS: dict[str, Callable[[], bytes]] = {
    "a thousand series": lambda: b"".join(
        _line(n, "air", ",".join(f'"o2_pct__a{n * 500 + k}":20' for k in range(500)))
        for n in range(300)
    ),
    "lists in lists": lambda: _line(1, "mark", f'"text":{"[" * 900}{"]" * 900}') * 2000,
    "lists beside lists": lambda: (
        _line(1, "mark", f'"text":[{"[]," * 300_000}[]]') * 20
    ),
    "the same in the air": lambda: _line(1, "air", f'"x":[{"[]," * 300_000}[]]') * 40,
    "starts": lambda: b"".join(
        _line(n, "start", f'"config":{{{_keys(n, 3000)}}}') for n in range(400)
    ),
    "years of steps": lambda: b"".join(
        _line(30 * n, "air", '"o2_pct":20,"co_ppm":1,"co2_ppm":900')
        for n in range(300_000)
    ),
    "names in doubt": lambda: b"".join(
        _line(n, "air", f'"o2_pct":20,"doubtful":[{_names(n, 1000)}]')
        for n in range(500)
    ),
    "alarms with long texts": lambda: b"".join(
        _line(n, "alarm", f'"alarm":"a{n}","text":"{"x" * 5000}"')
        for n in range(12_000)
    ),
    "one endless line": lambda: b'{"a":"' + b"x" * 50_000_000,
    "one endless number": lambda: _line(1, "air", f'"o2_pct":{"9" * 900_000}'),
    "blank lines": lambda: b"\n" * 10_000_000,
    "no number of a file": lambda: _line(1, "start", '"file_no":1e999'),
}  # fmt: skip


def _line(up_s: int, event: str, fields: str) -> bytes:
    return f'{{"up_s":{up_s},"event":"{event}",{fields}}}\n'.encode()


def _keys(seed: int, count: int) -> str:
    return ",".join(f'"k{seed * count + k}":[]' for k in range(count))


def _names(seed: int, count: int) -> str:
    return ",".join(f'"k{seed * count + k}"' for k in range(count))


CHILD = """
import json, pathlib, re, sys
from cabinvigil.daemon.cli import main
codes = [main(words) for words in json.loads(sys.argv[1])]
told = pathlib.Path("/proc/self/status").read_text()
peak_mb = int(re.search("VmHWM:[^0-9]*([0-9]+) kB", told)[1]) / 1024
print(json.dumps([codes, peak_mb]), file=sys.stderr)
"""


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_log_that_is_a_bomb_fills_no_memory(tmp_path: Path, bomb: str) -> None:
    """A few hundred kB that unpack to a night such as no watch writes."""
    folder = tmp_path / "nights"
    folder.mkdir()
    path = folder / "night-2026-01-16.jsonl.gz"
    path.write_bytes(gzip.compress(BOMBS[bomb](), 6, mtime=0))
    calls = [
        ["morning", str(path)],
        ["morning", str(folder)],
        ["replay", str(path), "--json"],
    ]
    ended = subprocess.run(
        [sys.executable, "-c", CHILD, json.dumps(calls)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "Traceback" not in ended.stderr
    codes, peak_mb = json.loads(ended.stderr.splitlines()[-1])
    assert set(codes) <= {0, 1, 2}
    assert peak_mb < MOST_MB
