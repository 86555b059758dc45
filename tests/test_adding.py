"""A part, a rule and an output, added as DEVELOPERS.md says: to a copy of the project.

Each file and each line is taken from that page; the copy's own generic tests then find
them by themselves, and lack nothing.
"""

import importlib
import inspect
import os
import pkgutil
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from cabinvigil.daemon import log, outputs
from cabinvigil.daemon.compose.compose import WATCH_SOURCES
from tests.tools import snippets

BARE = ("drivers/mcp9808.py", "daemon/rules/chilling.py", "daemon/outputs/slate.py")
"""With their lines in the registry, the limits and `make_outlets`, they work."""
ADDED = (
    *BARE,
    "daemon/rehearsal/emulated/mcp9808.py",
    "tests/drivers/test_mcp9808.py",
)
PLACED = re.compile(r"# ([\w/.]+\.\w+)(?:: (\w+))?\n(.*)", re.DOTALL)
"""How a block begins: its file, and the table in it that it goes into."""
SLATE = "    outputs.append(Slate("
PARAGRAPH = "### `mcp9808`\n"
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


def page_blocks() -> list[tuple[str, str, str]]:
    """The page's blocks that go somewhere: the file, the table in it, what goes there.

    The table is '' for a whole file, and for what is put at a file's end.
    """
    found = []
    for _, kind, body in snippets.blocks("DEVELOPERS.md"):
        placed = PLACED.fullmatch(body)
        if kind in ("python", "toml") and placed is not None:
            found.append((placed[1], placed[2] or "", placed[3]))
        elif body.startswith("[alarm.chilling]"):
            found.append(("config/limits.toml", "", body))
        elif body.startswith(SLATE):
            found.append(("daemon/service/outlets.py", "Slate", body))
        elif body.startswith(PARAGRAPH):
            found.append(("hardware.md", "Each sensor", body))
    return found


def put_in(file: Path, table: str, body: str) -> None:
    """Do what the page says of one block."""
    if not file.exists():
        file.write_text(body, encoding="utf-8")
        return
    text = file.read_text(encoding="utf-8")
    if table == "Slate":
        wanted = "from cabinvigil.daemon.outputs.slate import Slate\n"
        after = "from cabinvigil.daemon.outputs.signal.sounder_wiring"
        text = text.replace(after, wanted + after, 1)
        at = text.index("\n", text.index("    outputs.append(Recorder(")) + 1
    elif table == "imports":
        at = text.index("from cabinvigil.")
    elif table == "Each sensor":
        at = text.index("\n", text.index("\n## Each sensor\n") + 1) + 1
        body = f"\n{body}\n"
    elif table:
        found = re.search(rf"^{table}\b.*[({{\[]\n(?: *[({{\[]\n)*", text, re.MULTILINE)
        assert found is not None, f"{table} is a table of {file.name}"
        at = found.end()
    elif file.suffix == ".md":
        at = text.index("\n\n", text.index(PARAGRAPH) + len(PARAGRAPH) + 1) + 2
        body = f"```toml\n{body}```\n\n"
    else:
        at, body = len(text), "\n" + body
    file.write_text(text[:at] + body + text[at:], encoding="utf-8")


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the project with the page's three files and what makes them work."""
    folder = tmp_path_factory.mktemp("copy")
    leave = shutil.ignore_patterns("__pycache__", "data", "guest")
    for name in ("daemon", "drivers", "config", "tests"):
        shutil.copytree(snippets.ROOT / name, folder / name, ignore=leave)
    (folder / "tests/data").mkdir()
    for one in (snippets.ROOT / "tests/data").iterdir():
        (folder / "tests/data" / one.name).symlink_to(one)
    (folder / "tests/data/figures").unlink()
    shutil.copytree(snippets.ROOT / "tests/data/figures", folder / "tests/data/figures")
    for name in ("pyproject.toml", "hardware.md"):
        shutil.copy(snippets.ROOT / name, folder)
    (folder / "names/cabinvigil").mkdir(parents=True)
    for name in ("daemon", "drivers", "config"):
        (folder / "names/cabinvigil" / name).symlink_to(folder / name)
    for file, table, body in page_blocks():
        if file in BARE or table in ("REGISTRY", "Slate") or "limits" in file:
            put_in(folder / file, table, body)
    return folder


@pytest.fixture(scope="module")
def copy(bare: Path) -> Path:
    """The same copy with all else that the page asks for."""
    told = run(bare, "-m", "tests.tools.asked", "mcp9808", "chilling").stdout
    rest = [
        one
        for one in page_blocks()
        if not (bare / one[0]).exists()
        or one[2] not in (bare / one[0]).read_text(encoding="utf-8")
    ]
    for file, table, body in rest:
        assert file in told, f"it lacks {file}, and nothing says so"
        assert table in ("", "imports", "Each sensor") or f", {table}" in told
        put_in(bare / file, table, body)
    page = bare / "hardware.md"
    text = page.read_text(encoding="utf-8")
    mine, link = "[`ds18b20`](#ds18b20)", "[`mcp9808`](#mcp9808)"
    assert link in told
    (row,) = [b for _, _, b in snippets.blocks("DEVELOPERS.md") if b.startswith("| ")]
    assert f"{mine}, or {link}" in row
    page.write_text(text.replace(mine, f"{mine}, {link}", 1), encoding="utf-8")
    for tool in ("drawings", "figures"):
        assert f"python -m tests.tools.{tool}" in told
        drawn = run(bare, "-m", f"tests.tools.{tool}")
        assert drawn.returncode == 0, drawn.stderr
    return bare


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run Python in the copy, with the copy's package."""
    return subprocess.run(
        [sys.executable, *words],
        capture_output=True, text=True, check=False, cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder / "names")},
    )  # fmt: skip


def hold(folder: Path, least: int, chosen: str, *files: str) -> None:
    """Run tests of the copy, and expect so many of them at least to pass."""
    words = ["-m", "pytest", "-q", "-n0", "-p", "no:cacheprovider", "-p", "no:randomly"]
    ended = run(folder, *words, *(f"tests/{one}" for one in files), "-k", chosen)
    assert ended.returncode == 0, ended.stdout[-3000:]
    assert int(ended.stdout.split(" passed")[0].split()[-1]) >= least


@pytest.mark.xdist_group("adding")
def test_the_three_are_seen(bare: Path) -> None:
    """A new sensor is one file and one line; a new rule one file and its table."""
    ended = run(bare, "-c", SEEN)
    assert ended.returncode == 0, ended.stderr
    told = run(bare, "-m", "cabinvigil.daemon", "parts", "mcp9808")
    assert "temperature sensor (MCP9808)" in told.stdout


@pytest.mark.xdist_group("adding")
def test_nothing_is_lacking_when_all_of_the_page_is_done(copy: Path) -> None:
    """Name, picture, sentences, current, address, emulated part: each was asked for."""
    ended = run(copy, "-m", "tests.tools.asked", "mcp9808", "chilling")
    assert (ended.returncode, ended.stdout) == (0, ""), ended.stderr
    scan = run(
        copy, "-m", "cabinvigil.daemon", "parts", "mcp9808", "--scan", "--emulated"
    )
    assert (scan.returncode, scan.stderr) == (0, "")
    assert "0x18  mcp9808 (temperature sensor (MCP9808))" in scan.stdout


@pytest.mark.xdist_group("adding")
def test_the_generic_tests_find_the_part_and_are_content(copy: Path) -> None:
    """The registry's, the page's, the emulated part's, and each way its wire fails."""
    hold(
        copy,
        25,
        "mcp9808 or each_file_is_a_line or each_kind_is_drawn",
        "test_hardware.py",
        "commands/test_parts.py",
        "drivers/test_mcp9808.py",
        "drivers/test_registry.py",
        "faults/test_table.py",
        "rehearsal",
    )
    style = run(copy, "-m", "ruff", "check", "-q", *ADDED)
    assert style.returncode == 0, style.stdout


@pytest.mark.xdist_group("adding")
def test_the_generic_tests_find_the_rule_and_are_content(copy: Path) -> None:
    """Its form, limits, words in each language, its picture, and how grave it is."""
    hold(
        copy,
        40,
        "",
        "rules/test_rules.py",
        "settings/test_limit_sources.py",
        "core/test_sentence_files.py",
        "text/test_alarm_names.py",
        "report/test_own_alarms.py",
    )
    hold(copy, 13, "chilling", "settings/test_laxer.py", "rules/test_gravest.py")


@pytest.mark.xdist_group("adding")
def test_a_careless_copy_is_refused(copy: Path) -> None:
    """The rule's table without its file stops the start, with what there is instead."""
    rule = copy / BARE[1]
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
