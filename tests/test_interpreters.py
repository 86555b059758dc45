"""What must not hang on which Python runs: the figures that are decided and told.

Since Python 3.12 `sum` of floats is compensated: the same readings then give another
last digit than on 3.11, and a night rings a tick earlier or later.  `math.fsum` rounds
once, correctly, on every Python.
"""

import ast
import os
import random
import subprocess
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from cabinvigil.daemon import __path__ as daemon_path
from cabinvigil.daemon.air.combustion import FUELS, mix
from cabinvigil.daemon.review.airflow import nodes
from cabinvigil.daemon.trend import minute_means
from cabinvigil.drivers import __path__ as drivers_path
from cabinvigil.drivers.o2_cell_ads1115 import SIGNAL
from tests.tools.two_pythons import differences, figures

ROOT = Path(__file__).parents[1]
ROOTS = [Path(daemon_path[0]), Path(drivers_path[0])]
WHOLE_NUMBERS = {
    "daemon/commands/replay.py": 1,  # bytes of files
    "daemon/parts/scan_text.py": 1,  # new sensors
    "daemon/log/room.py": 2,  # bytes of values
    "daemon/phone/dispatch.py": 1,  # counts of messages
    "daemon/rehearsal/emulated/frame9.py": 1,  # a checksum of bytes
    "daemon/rehearsal/emulated/ina228.py": 1,  # microseconds, whole ones
    "daemon/rehearsal/emulated/named_co.py": 1,  # a checksum of bytes
    "daemon/rehearsal/emulated/pm_frame.py": 2,  # checksums of bytes
    "daemon/log/writer.py": 1,  # counts of lines
    "daemon/report/log_check.py": 1,  # counts of lines
    "daemon/review/airflow/air_moved.py": 1,  # how many nodes are known
    "daemon/review/airflow/cycles.py": 2,  # counts of steps and of turns
    "daemon/sampling/part_health.py": 1,  # counts of bins
    "daemon/threads/worker.py": 1,  # counts of threads
    "drivers/bme280.py": 1,  # how many were skipped
    "drivers/kit/crc.py": 2,  # checksums of bytes
}
"""Sums of integers, which every Python adds alike, by file."""


def sums(tree: ast.AST) -> Iterator[ast.Call]:
    """Yield each call of the builtin `sum`, but for one that counts."""
    for node in ast.walk(tree):
        match node:
            case ast.Call(func=ast.Name(id="sum"), args=[summed, *_]):
                if not _counts(summed):
                    yield node


def _counts(summed: ast.expr) -> bool:
    """Return whether each element is plainly a 1, a yes or no, or a length."""
    if not isinstance(summed, ast.GeneratorExp | ast.ListComp):
        return False
    match summed.elt:
        case ast.Constant(value=int()) | ast.Compare():
            return True
        case ast.Call(func=ast.Name(id="isinstance" | "len")):
            return True
        case ast.BinOp(left=left, right=ast.Constant(value=int())):
            return isinstance(left, ast.Call) and ast.unparse(left.func) == "len"
    return False


def test_no_float_is_added_by_the_builtin_sum() -> None:
    """A sum that is not plainly of integers is `math.fsum`, or listed with why."""
    found = {
        f"{root.name}/{path.relative_to(root)}": len(calls)
        for root in ROOTS
        for path in sorted(root.rglob("*.py"))
        if (calls := list(sums(ast.parse(path.read_text("utf-8")))))
    }
    assert found == WHOLE_NUMBERS


@pytest.mark.parametrize(
    ("code", "is_told"),
    [
        ("sum(values)", True),
        ("sum([a * b for a, b in pairs], 0.0)", True),
        ("sum(1.0 for a in values)", True),
        ("math.fsum(values)", False),
        ("sum(1 for a in values)", False),
        ("sum(a > 2.0 for a in values)", False),
        ("sum(len(a) + 2 for a in values)", False),
    ],
)
def test_the_search_tells_floats_from_counts(code: str, is_told: bool) -> None:
    assert bool(list(sums(ast.parse(code)))) is is_told


def exact(values: Iterable[float]) -> float:
    """Add without rounding, and round once."""
    return float(sum(map(Fraction, values)))


def plain(values: list[float]) -> float:
    return exact(values) / len(values)


def trimmed(values: list[float]) -> float:
    """The trend's mean leaves the outermost two out, once all are added."""
    return (exact(values) - max(values) - min(values)) / (len(values) - 2)


@pytest.mark.parametrize(
    ("mean", "expected", "low", "high"),
    [
        (lambda v: minute_means._mean(tuple(v)), trimmed, 400.0, 6000.0),
        (nodes.mean, plain, 400.0, 6000.0),
        (SIGNAL.span, plain, 10.0, 10.05),
    ],
    ids=["a step of the trend", "a node of the balance", "a span"],
)
def test_a_mean_is_what_exact_arithmetic_gives(
    mean: Callable[[list[float]], float],
    expected: Callable[[list[float]], float],
    low: float,
    high: float,
) -> None:
    """To the last digit, in either order: fractions do not round."""
    rng = random.Random(1)
    for _ in range(200):
        values = [round(rng.uniform(low, high), 3) for _ in range(30)]
        assert mean(values) == mean(values[::-1]) == expected(values)


def test_a_mix_is_what_exact_arithmetic_gives() -> None:
    """Shares of a cylinder as people write them, in every order."""
    shares = {"propane": 0.7, "butane": 0.2, "isobutane": 0.1}
    total = exact(shares.values())
    parts = [(share / total, FUELS[name]) for name, share in shares.items()]
    carbon = exact(share * fuel.carbon for share, fuel in parts)
    heat = exact(share * fuel.formation_kj_mol for share, fuel in parts)
    for names in (sorted(shares), sorted(shares, reverse=True)):
        found = mix({name: shares[name] for name in names})
        assert (found.carbon, found.formation_kj_mol) == (carbon, heat)


def test_two_pythons_results_are_compared_to_the_last_digit() -> None:
    """Numbers, order, what one has and the other has not."""
    ours = {"alarms": [{"at_s": 0.1 + 0.2}, {"at_s": 2.0}], "plan": {"o2_pct": 20.5}}
    same = {"alarms": [{"at_s": 0.1 + 0.2}, {"at_s": 2.0}], "plan": {"o2_pct": 20.5}}
    assert list(differences(ours, same)) == []
    theirs = {"alarms": [{"at_s": 0.3}], "plan": {"o2_pct": None}, "more": 1.0}
    assert [line.split(":")[0] for line in differences(ours, theirs)] == [
        "/alarms/0/at_s",
        "/alarms/1",
        "/plan/o2_pct",
        "/more",
    ]
    assert list(figures(ours)) == [0.1 + 0.2, 2.0, 20.5]


def program(path: Path, body: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{body}\n")
    path.chmod(0o755)
    return path


def shell(script: str, *words: str, **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", script, *words],
        cwd=ROOT, env=os.environ | env, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_an_environment_of_another_python_is_not_used(tmp_path: Path) -> None:
    """The suite runs on the Python that was asked for, or not at all."""
    python = program(tmp_path / "python", "echo 3.13")
    program(tmp_path / "env/bin/python", "echo 3.11")
    ended = shell(
        "tests/all.sh", "--version", PYTHON=str(python), VENV=str(tmp_path / "env")
    )
    assert ended.returncode == 2
    assert "is of Python 3.11, not 3.13" in ended.stderr
    assert ended.stdout == ""


def test_an_interpreter_is_found_behind_pyenvs_stand_in(tmp_path: Path) -> None:
    """Its newest of that version; a name that nobody knows is one sentence."""
    folder = tmp_path / "bin"
    program(folder / "python3.99", "exit 127")
    program(
        folder / "pyenv",
        'if [ "$1" = versions ]; then printf "3.9.1\\n3.99.2\\n3.99.10\\n3.99-dev\\n"\n'
        f'else echo "{tmp_path}/$2"; fi',
    )
    path = f"{folder}:{os.environ['PATH']}"
    ended = shell("tests/python.sh", "python3.99", PATH=path)
    assert ended.stdout == f"{tmp_path}/3.99.10/bin/python3\n"
    ended = shell("tests/python.sh", "python3.98", PATH=path)
    assert (ended.returncode, ended.stdout) == (2, "")
    assert "No interpreter python3.98 is at hand" in ended.stderr
    ended = shell("tests/python.sh", "bash", PATH=path)
    assert ended.stdout.endswith("/bash\n")
