"""A part, a rule and an output, added as DEVELOPERS.md says: to a copy of the project.

One file and one line each, taken from that page; the copy's own generic tests then
find them by themselves.
"""

import importlib
import inspect
import os
import pkgutil
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from cabinvigil.daemon import log, outputs
from cabinvigil.daemon.compose.compose import WATCH_SOURCES
from tests.tools import snippets

ADDED = ("drivers/mcp9808.py", "daemon/rules/chilling.py", "daemon/outputs/slate.py")
LINES = {
    # the file that takes a line: what stands before it there, and how the line begins.
    "drivers/__init__.py": ("REGISTRY: dict[str, str] = {\n", '    "mcp9808"'),
    "daemon/service/outlets.py": (
        "    outputs.append(Recorder(",
        "    outputs.append(Slate(",
    ),
}
SEEN = """
from pathlib import Path
from cabinvigil.daemon.service import outlets
from cabinvigil.daemon.core.model import Alert, Priority
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.clock import SystemClock
assert "chilling" in example().alarms, "the rule runs where no config speaks of it"
made = outlets.make_outlets(
    example(), SystemClock(), print, on_ask=print, on_refused=print
)
assert "slate" in [one.name for one in made.all], "the output is offered every command"
"""


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project with the page's three files and their lines."""
    folder = tmp_path_factory.mktemp("copy")
    leave = shutil.ignore_patterns("__pycache__", "data", "guest")
    for name in ("daemon", "drivers", "config", "tests"):
        shutil.copytree(snippets.ROOT / name, folder / name, ignore=leave)
    (folder / "tests/data").symlink_to(snippets.ROOT / "tests/data")
    shutil.copy(snippets.ROOT / "pyproject.toml", folder)
    (folder / "names/cabinvigil").mkdir(parents=True)
    for name in ("daemon", "drivers", "config"):
        (folder / "names/cabinvigil" / name).symlink_to(folder / name)
    python = [b for _, kind, b in snippets.blocks("DEVELOPERS.md") if kind == "python"]
    for file in ADDED:
        (body,) = [one for one in python if one.startswith(f"# {file}\n")]
        (folder / file).write_text(body.split("\n", 1)[1], encoding="utf-8")
    for file, (before, begin) in LINES.items():
        (line,) = [one for one in python if one.startswith(begin)]
        text = (folder / file).read_text(encoding="utf-8")
        at = text.index("\n", text.index(before)) + 1
        text = text[:at] + line + text[at:]
        if "Slate(" in line:
            wanted = "from cabinvigil.daemon.outputs.slate import Slate\n"
            after = "from cabinvigil.daemon.outputs.signal.sounder_wiring"
            text = text.replace(after, wanted + after, 1)
        (folder / file).write_text(text, encoding="utf-8")
    (table,) = [b for _, kind, b in snippets.blocks("DEVELOPERS.md") if kind == "toml"]
    with (folder / "config/limits.toml").open("a", encoding="utf-8") as limits:
        limits.write("\n" + table)
    return folder


def run(copy: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run Python in the copy, with the copy's package."""
    return subprocess.run(
        [sys.executable, *words],
        capture_output=True, text=True, check=False, cwd=copy,
        env={**os.environ, "PYTHONPATH": str(copy / "names")},
    )  # fmt: skip


@pytest.mark.xdist_group("adding")
def test_the_three_are_seen(copy: Path) -> None:
    ended = run(copy, "-c", SEEN)
    assert ended.returncode == 0, ended.stderr
    told = run(copy, "-m", "cabinvigil.daemon", "parts", "mcp9808")
    assert "temperature sensor (MCP9808)" in told.stdout


@pytest.mark.xdist_group("adding")
def test_the_generic_tests_find_them_and_are_content(copy: Path) -> None:
    """Those of every part and of every rule; and the house's style and contracts."""
    words = ["-m", "pytest", "-q", "-n0", "-p", "no:cacheprovider", "-p", "no:randomly"]
    files = ["drivers/test_registry", "rules/test_rules", "settings/test_laxer"]
    words += [f"tests/{file}.py" for file in files]
    ended = run(copy, *words, "-k", "mcp9808 or chilling or each_file or stops")
    assert ended.returncode == 0, ended.stdout[-3000:]
    assert int(ended.stdout.split(" passed")[0].split()[-1]) >= 10
    style = run(copy, "-m", "ruff", "check", "-q", *ADDED)
    assert style.returncode == 0, style.stdout


@pytest.mark.xdist_group("adding")
def test_a_careless_copy_is_refused(copy: Path) -> None:
    """The rule's table without its file stops the start, with what there is instead."""
    rule = copy / ADDED[1]
    text = rule.read_text(encoding="utf-8")
    rule.unlink()
    try:
        ended = run(copy, "-c", SEEN)
    finally:
        rule.write_text(text, encoding="utf-8")
    assert ended.returncode != 0
    assert "chilling" in ended.stderr


def test_every_outputs_faults_are_told_by_someone() -> None:
    """An output whose name no alarm watches would fail in silence."""
    names = set()
    found = [
        info.name
        for home in (outputs, log)
        for info in pkgutil.walk_packages(home.__path__, f"{home.__name__}.")
    ]
    for name in found:
        module = importlib.import_module(name)
        for one in vars(module).values():
            is_own = inspect.isclass(one) and one.__module__ == module.__name__
            if (
                is_own
                and hasattr(one, "handle")
                and isinstance(getattr(one, "name", None), str)
            ):
                names.add(one.name)
    assert {"buzzer", "log", "light", "mqtt"} <= names
    assert names <= set(WATCH_SOURCES)
