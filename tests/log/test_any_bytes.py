"""Any bytes for a night's log: no traceback, no memory, a sentence where nothing is."""

import gzip
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest
from hypothesis import given

from cabinvigil.daemon.commands import log
from cabinvigil.daemon.log.reader import read_bytes
from tests.commands import calling
from tests.fuzz.mangle import fuzz, mangled
from tests.review import logs

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
        _line(n, "start", f'"config":{{{_keys(n, 3000)}}}') for n in range(250)
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
    "blank lines": lambda: b"\n" * 3_000_000,
    "no number of a file": lambda: _line(1, "start", '"file_no":1e999'),
}  # fmt: skip


def _line(up_s: int, event: str, fields: str) -> bytes:
    return f'{{"up_s":{up_s},"event":"{event}",{fields}}}\n'.encode()


def _keys(seed: int, count: int) -> str:
    return ",".join(f'"k{seed * count + k}":[]' for k in range(count))


def _names(seed: int, count: int) -> str:
    return ",".join(f'"k{seed * count + k}"' for k in range(count))


CHILD = """
import contextlib, io, json, pathlib, re, sys
from cabinvigil.daemon.cli import main
ended = []
for words in json.load(sys.stdin):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main(words)
        except SystemExit as end:
            code = end.code
    ended.append([code, err.getvalue()])
    out.truncate(0)
told = pathlib.Path("/proc/self/status").read_text()
peak_mb = int(re.search("VmHWM:[^0-9]*([0-9]+) kB", told)[1]) / 1024
print(json.dumps([ended, peak_mb]))
"""

Ended = list[tuple[int, str]]


def called(calls: list[list[str]]) -> tuple[Ended, float]:
    """Make calls in one new process; give codes, errors, and its peak memory in MB."""
    child = subprocess.run(
        [sys.executable, "-c", CHILD], input=json.dumps(calls),
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert child.stderr == ""
    ended, peak_mb = json.loads(child.stdout)
    return [(code, err) for code, err in ended], peak_mb


def calls_on(path: Path) -> list[list[str]]:
    """Every command that reads the log: its file, and its folder."""
    file, folder = str(path), str(path.parent)
    return [
        ["log", "check", folder],
        ["log", "mend", file, "-o", f"{folder}/mended"],
        ["log", "csv", folder],
        ["morning", folder, "--json"],
        ["replay", file, "--json", "--estimates"],
    ]


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_log_that_is_a_bomb_fills_no_memory(tmp_path: Path, bomb: str) -> None:
    """A few hundred kB that unpack to a night such as no watch writes (X11)."""
    path = tmp_path / "night-2026-01-16.jsonl.gz"
    path.write_bytes(gzip.compress(BOMBS[bomb](), 6, mtime=0))
    ended, peak_mb = called(calls_on(path))
    assert {code for code, _ in ended} <= {0, 1, 2}
    assert peak_mb < MOST_MB


NIGHT = b"".join(
    (
        logs.begin(),
        logs.air(logs.still_air(0.0, 900.0)),
        logs.line("alarm", 900.0, alarm="cold", state="unacknowledged", was="normal",
                  priority="low", text="Cold.", since_s=900.0, first_up=True),
        logs.line("mark", 901.0, text="roof vent open 2 cm", by="socket"),
        logs.line("start", 902.0, log_format=1, config={}, continues=True),
        logs.air(logs.still_air(903.0, 1500.0)),
        logs.line("stop", 1500.0, reason="SIGTERM"),
    )
)  # fmt: skip
BATCH = 12


def packed() -> bytes:
    lines = NIGHT.splitlines(keepends=True)
    return b"".join(
        gzip.compress(b"".join(lines[at : at + BATCH]), 6, mtime=0)
        for at in range(0, len(lines), BATCH)
    )


def test_no_mutilation_ends_a_command(tmp_path: Path) -> None:
    """200 by seed, plain and packed; and one sentence where no line is left."""
    random = Random(2121)
    paths, calls = [], []
    for n in range(200):
        is_packed = n % 2 == 1
        data = logs.mutated(packed() if is_packed else NIGHT, random)
        path = tmp_path / f"{n}" / f"night-2026-01-16.jsonl{'.gz' * is_packed}"
        path.parent.mkdir()
        path.write_bytes(data)
        paths.append(path)
        calls += calls_on(path)
    ended, peak_mb = called(calls)
    assert peak_mb < MOST_MB
    assert len(ended) == len(calls)
    for call, (code, err) in zip(calls, ended, strict=True):
        assert code in (0, 1, 2), call
        assert code != 2 or err.startswith(("cabinvigil: ", "the log's start")), call
    each = len(calls) // len(paths)
    for n, path in enumerate(paths):
        if not read_bytes(path.read_bytes())[0]:
            check, *others = ended[n * each : (n + 1) * each]
            assert check == (1, "")
            assert {(code, err.count("\n")) for code, err in others} == {(2, 1)}


@fuzz(40)
@given(mangled((NIGHT, packed())))
def test_any_bytes_are_checked_mended_and_printed(tmp_path: Path, data: bytes) -> None:
    """What can be read is the same for each; where nothing can, none ends well."""
    path = tmp_path / "night-2026-01-16.jsonl"
    path.write_bytes(data)
    into = tmp_path / "mended"
    shutil.rmtree(into, ignore_errors=True)
    checked = calling.call(log, "check", path, "--json")
    (held,) = json.loads(checked[1])["files"]
    mended = calling.call(log, "mend", path, "-o", into)
    printed = calling.call(log, "csv", path)
    for code, out, err in (checked, mended, printed):
        assert code in (0, 1, 2)
        assert "\x1b" not in out + err
    if held["lines"] == 0:
        assert (checked[0], mended[0], printed[0]) == (1, 2, 2)
        assert mended[2].count("\n") == printed[2].count("\n") == 1
        return
    again = calling.call(log, "check", into / path.name, "--json")
    (whole,) = json.loads(again[1])["files"]
    # Beside each loss stands a line of its own, that says so.
    said = (into / path.name).read_bytes().count(b'"event":"lost"')
    said -= data.count(b'"event":"lost"')
    assert (whole["lines"] - said, whole["lost"]) == (held["lines"], [])
    assert (said > 0) == bool(held["lost"])
