"""Break the code on purpose and see whether a test notices.

Usage: python -m tests.tools.mutants [AREA...] [--each 80] [--seed 1] [--file WORD]

The tool is cosmic-ray (`pip install -e '.[mutants]'`).  It works in a copy, so the tree
is never touched.  A mutant is one place changed: a sign, a comparison, a number, a
condition.  All of them would take a day, so a sample is drawn; a place is drawn first,
then one of its mutants, so that a sum with eleven neighbours counts once.

A survivor is a missing test, or says the same as before: those are in `mutants.toml`,
each with its reason.  Exit code 1 where one is in neither.
"""

import argparse
import ast
import difflib
import hashlib
import importlib
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path
from time import sleep
from typing import Any, NamedTuple

import pytest

ROOT = Path(__file__).resolve().parents[2]
LONG = ("test_benchmark.py", "test_recorded_air.py")
"""Whole nights: minutes each, and they would hide that nothing quicker notices."""
ENOUGH = 0.9
"""Share of an area's sample that must be killed or explained: our own aim."""
SAME_AS = re.compile(r"_(Eq_Is|NotEq_IsNot|Is_Eq|IsNot_NotEq)$")
"""On None, small numbers and members of an enum `is` and `==` say the same."""
QUIET = ["-x", "-q", "--no-header", "--no-summary", "--tb=no", "--hypothesis-seed=0"]
LOADED = ["-W", "ignore::pytest.PytestAssertRewriteWarning"]
"""hypothesis is loaded once, before pytest could rewrite its asserts."""
WITHOUT = ("randomly", "cacheprovider", "xdist", "cov")


BROKEN = 70
"""A child's exit code where pytest itself does not get to its end."""


class Area(NamedTuple):
    """What is broken, and what should notice."""

    code: str
    tests: tuple[str, ...]


AREAS = {
    "core": Area("daemon/core", ("tests/core", "tests/rules")),
    "rules": Area("daemon/rules", ("tests/rules", "tests/core")),
    "trend": Area("daemon/trend", ("tests/trend",)),
    "drivers": Area("drivers", ("tests/drivers",)),
}


class Mutant(NamedTuple):
    """One change: the tool's own description, and where it stands."""

    spec: Any
    rank: str


class Survivor(NamedTuple):
    """A change that no test noticed."""

    file: str
    was: str
    becomes: str
    diff: str


def main(arguments: list[str]) -> int:
    """Run the sample and print what became of it."""
    asked = _asked(arguments)
    try:
        import cosmic_ray.plugins  # noqa: F401  # only wanted here
    except ImportError:
        print("The tool is missing; put it in with: pip install -e '.[mutants]'")
        return 2
    os.nice(15)
    alike = tomllib.loads((ROOT / "tests/tools/mutants.toml").read_text("utf-8"))[
        "alike"
    ]
    well = True
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        _copy(Path(folder))
        os.chdir(folder)
        _go_over_to(Path(folder))
        for name in asked.area or AREAS:
            well &= _area(name, asked, alike)
    return 0 if well else 1


def _asked(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser("python -m tests.tools.mutants")
    parser.add_argument("area", nargs="*", help=f"of {', '.join(AREAS)}; or all")
    parser.add_argument("--each", type=int, default=80, help="mutants of each area")
    parser.add_argument("--seed", default="1", help="another seed draws other ones")
    parser.add_argument("--file", default="", help="only where this is in the name")
    asked = parser.parse_args(arguments)
    if unknown := set(asked.area) - set(AREAS):
        parser.error(f"no such area: {', '.join(sorted(unknown))}")
    return asked


def copy_tracked(folder: Path, *paths: str) -> None:
    """Copy what git tracks of these, with the package's own name in `names`."""
    names = subprocess.run(
        ["git", "ls-files", *paths],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout.splitlines()
    for name in names:
        if (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, folder / name)
    (folder / "names/cabinvigil").mkdir(parents=True)
    for name in ("daemon", "drivers", "config"):
        (folder / "names/cabinvigil" / name).symlink_to(folder / name)


def _copy(folder: Path) -> None:
    """Copy the product and its tests, and compile them."""
    copy_tracked(folder, "daemon", "drivers", "config", "tests", "pyproject.toml")
    os.environ["PYTHONPATH"] = str(folder / "names")
    # By the source's hash: a mutant as long as what it replaces is not taken for it.
    subprocess.run(
        [
            sys.executable,
            "-m",
            "compileall",
            "-q",
            "--invalidation-mode=checked-hash",
            "daemon",
            "drivers",
            "config",
        ],
        cwd=folder,
        check=True,
    )


def _go_over_to(folder: Path) -> None:
    """Take the copy for the package and its tests, and load what never changes."""
    sys.path[:] = [str(folder / "names"), *(p for p in sys.path if p != str(ROOT))]
    sys.modules.pop("tests", None)
    sys.dont_write_bytecode = True
    for name in ("hypothesis", "jsonschema", "yaml"):
        importlib.import_module(name)


def _area(name: str, asked: argparse.Namespace, alike: list[dict[str, str]]) -> bool:
    from cosmic_ray.mutating import use_mutation
    from cosmic_ray.plugins import get_operator

    area = AREAS[name]
    most_s = 4 * _unbroken(area) + 10
    files = [f for f in sorted(Path(area.code).rglob("*.py")) if asked.file in str(f)]
    every = list(_mutants(files, asked.seed))
    drawn = _draw(every, asked.each)
    known = {(one["file"], one["was"], one["becomes"]) for one in alike}
    survivors, slow = [], 0
    for mutant in drawn:
        spec = mutant.spec
        operator = get_operator(spec.operator_name)()
        with use_mutation(spec.module_path, operator, spec.occurrence) as (was, now):
            found = _judged(area, spec.module_path.stem, most_s)
        slow += found is None
        if found == 0:
            one = _survivor(str(spec.module_path), was, now)
            survivors.append(one)
            if one[:3] not in known:
                print(f"\n{one.file}\n{one.diff}", flush=True)
    return _tell(name, len(every), len(drawn), slow, survivors, known)


def _unbroken(area: Area) -> float:
    """Run the area's tests on the code as it is; say how long they take, in s."""
    begun = os.times().elapsed
    if _judged(area, "", 3600.0) != 0:
        raise SystemExit("The tests fail on the code as it is; mend that first.")
    return os.times().elapsed - begun


def _judged(area: Area, stem: str, most_s: float) -> int | None:
    """Run first what is named after the mutated file: most fall there at once.

    Returns:
        pytest's exit code, or None where it took longer than `most_s`.
    """
    files = [f for folder in area.tests for f in sorted(Path(folder).glob("test_*.py"))]
    files = [f for f in files if f.name not in LONG]
    first = [f for f in files if stem and stem in f.stem]
    code: int | None = 0
    for some in (first, [f for f in files if f not in first]):
        if some and code == 0:
            code = _forked([*QUIET, *LOADED, *map(str, some)], most_s)
    return code


def _forked(arguments: list[str], most_s: float) -> int | None:
    """Run pytest in a child: it finds the libraries loaded, and the code not."""
    child = os.fork()
    if child == 0:
        os.setsid()
        silence = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(silence, stream)
        code = BROKEN
        try:
            without = [word for name in WITHOUT for word in ("-p", f"no:{name}")]
            code = int(pytest.main([*arguments, *without]))
        finally:
            os._exit(code)
    end = os.times().elapsed + most_s
    while os.times().elapsed < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _mutants(files: Iterable[Path], seed: str) -> Iterator[Mutant]:
    from cosmic_ray.commands.init import _all_work_items

    for file in files:
        source = file.read_text("utf-8")
        lines = source.splitlines()
        spans = list(_annotations(source))
        for item in _all_work_items([file], {}):
            (spec,) = item.mutations
            start, end = spec.start_pos, spec.end_pos
            if SAME_AS.search(spec.operator_name):
                continue
            if any(a <= start and end <= b for a, b in spans):
                continue
            # By what stands there, so that an edit elsewhere draws no other sample.
            text = f"{seed} {file} {spec.definition_name} {lines[start[0] - 1]} {start}"
            text = re.sub(r"\((\d+), (\d+)\)$", r"\2", text)
            yield Mutant(spec, hashlib.sha256(text.encode()).hexdigest())


def _annotations(source: str) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Yield where types stand: `int | None` is no sum."""
    for node in ast.walk(ast.parse(source)):
        for name in ("annotation", "returns"):
            one = getattr(node, name, None)
            if isinstance(one, ast.expr) and one.end_lineno and one.end_col_offset:
                yield (
                    (one.lineno, one.col_offset),
                    (one.end_lineno, one.end_col_offset),
                )


def _draw(every: list[Mutant], count: int) -> list[Mutant]:
    places: dict[str, list[Mutant]] = {}
    for one in every:
        places.setdefault(one.rank, []).append(one)
    return [_one_of(rank, places[rank]) for rank in sorted(places)[:count]]


def _one_of(rank: str, mutants: list[Mutant]) -> Mutant:
    return min(
        mutants,
        key=lambda one: hashlib.sha256(
            f"{rank}{one.spec.operator_name}{one.spec.occurrence}".encode()
        ).digest(),
    )


def _survivor(file: str, was: str, now: str) -> Survivor:
    lines = list(difflib.unified_diff(was.split("\n"), now.split("\n"), lineterm=""))
    gone = " ".join(one[1:].strip() for one in lines[2:] if one.startswith("-"))
    come = " ".join(one[1:].strip() for one in lines[2:] if one.startswith("+"))
    return Survivor(file, gone, come, "\n".join(lines[2:]))


def _tell(
    name: str,
    every: int,
    drawn: int,
    slow: int,
    survivors: list[Survivor],
    known: set[tuple[str, str, str]],
) -> bool:
    explained = sum(one[:3] in known for one in survivors)
    killed = drawn - len(survivors)
    print(
        f"{name}: {drawn} of {every} mutants, {killed} killed ({slow} by the time),"
        f" {len(survivors)} survived, {explained} of them explained",
        flush=True,
    )
    return drawn > 0 and (killed + explained) / drawn >= ENOUGH


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
