"""The house: one file imports each library, and DEVELOPERS.md says which."""

import ast
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
MANY = {"attr", "attrs"}
"""Frozen values with checks: rules and settings are written in them."""


def importers() -> dict[str, set[str]]:
    """Files of the product by the library that they import, wherever in the file."""
    found: dict[str, set[str]] = {}
    for folder in ("daemon", "drivers", "config"):
        for path in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                names = []
                if isinstance(node, ast.Import):
                    names = [one.name for one in node.names]
                elif isinstance(node, ast.ImportFrom) and not node.level:
                    names = [node.module or ""]
                for name in names:
                    top = name.split(".")[0]
                    if top not in sys.stdlib_module_names and top != "cabinvigil":
                        at = path.relative_to(ROOT).as_posix()
                        found.setdefault(top, set()).add(at)
    return found


def test_each_library_is_imported_in_one_file() -> None:
    """So that it can be replaced, and what it costs is seen in one place."""
    many = {name: at for name, at in importers().items() if len(at) > 1}
    assert set(many) <= MANY, many


def test_developers_md_names_the_file_of_each_library() -> None:
    """Every library of the product, with where it is imported."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    said = text.split("**Dependencies**")[1].split("\n\n")[0]
    for name, files in importers().items():
        if name not in MANY:
            assert f"`{min(files)}`" in said, f"{name} in {min(files)}"
