"""The house: where things stand, what they are called, and who imports whom."""

import ast
import functools
import re
import sys
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import grimp
import pytest

from tests import test_adding
from tests.tools import house

ROOT = Path(__file__).parents[1]
PRODUCT = ("daemon", "drivers", "config")
MANY = {"attr", "attrs"}
"""Frozen values with checks: rules and settings are written in them."""
SHARED_CLASS_NAMES = {"Params"}
"""Each file of rules has one: `rules/__init__.py` finds it by this name."""
VAGUE = {"take", "tell", "told", "found", "made"}
"""As a method's name, none of these says what is done, or to what."""
LOOSE = {"__init__.py", "__main__.py", "cli.py", "clock.py"}
"""What stands at the top of daemon/; everything else has a folder that names it."""
LONGEST_FILE = 400
"""In lines; half of that reads better."""


@functools.cache
def trees() -> dict[str, ast.Module]:
    """The syntax of each Python file of the product, by its path."""
    return {
        path.relative_to(ROOT).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
        for folder in PRODUCT
        for path in sorted((ROOT / folder).rglob("*.py"))
    }


def public_classes() -> Iterator[tuple[str, ast.ClassDef]]:
    for file, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                yield file, node


# --- libraries --------------------------------------------------------------------


def importers() -> dict[str, set[str]]:
    """Files of the product by the library that they import, wherever in the file."""
    files: dict[str, set[str]] = defaultdict(set)
    for file, tree in trees().items():
        for node in ast.walk(tree):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and not node.level:
                names = [node.module or ""]
            for name in names:
                top = name.split(".")[0]
                if top not in sys.stdlib_module_names and top != "cabinvigil":
                    files[top].add(file)
    return files


def test_each_library_is_imported_in_one_file() -> None:
    """So that it can be replaced, and what it costs is seen in one place."""
    many = {name: files for name, files in importers().items() if len(files) > 1}
    assert set(many) <= MANY, many


def test_developers_md_names_the_file_of_each_library() -> None:
    """Every library of the product, with where it is imported."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    said = text.split("**Dependencies**")[1].split("\n\n")[0]
    for name, files in importers().items():
        if name not in MANY:
            assert f"`{min(files)}`" in said, f"{name} in {min(files)}"


# --- files and names ----------------------------------------------------------------


def test_no_python_file_is_too_long() -> None:
    """A file that does not fit one head is two files."""
    lengths = {
        path.relative_to(ROOT).as_posix(): len(path.read_text("utf-8").splitlines())
        for folder in (*PRODUCT, "tests")
        for path in (ROOT / folder).rglob("*.py")
    }
    too_long = {file: n for file, n in lengths.items() if n > LONGEST_FILE}
    assert too_long == {}, f"at most {LONGEST_FILE} lines: split it by subject"
    assert len(lengths) > 500, "it looked in the right place"


def test_nothing_stands_loose_at_the_top_of_daemon() -> None:
    assert {path.name for path in (ROOT / "daemon").glob("*.py")} == LOOSE


def test_no_two_public_classes_share_a_name() -> None:
    """Whoever reads a name in one file must not think of another file's class."""
    files: dict[str, list[str]] = defaultdict(list)
    for file, node in public_classes():
        files[node.name].append(file)
    shared = {name: at for name, at in files.items() if len(at) > 1}
    assert set(shared) == SHARED_CLASS_NAMES, shared


def test_no_public_method_has_a_vague_name() -> None:
    """Call it by what it does: record, judge, format, publish, ..."""
    vague = [
        f"{file}: {node.name}.{method.name}"
        for file, node in public_classes()
        for method in node.body
        if isinstance(method, ast.FunctionDef | ast.AsyncFunctionDef)
        and method.name in VAGUE
    ]
    assert vague == []


NAMED_FILE = re.compile(r"(?<![\w/.*>-])[\w/.-]*\w\.py\b")


def test_each_python_file_that_is_named_is_there() -> None:
    """A file that has moved is soon looked for in vain."""
    texts = ("config/README.md", "tests/README.md", "tests/tools/mutants.toml")
    pages = (*trees(), "DEVELOPERS.md", "README.md", *texts)
    paths = [p.relative_to(ROOT).as_posix() for p in ROOT.glob("[dt]*/**/*.py")]
    ends = {"/" + path for path in paths} | {f"/{file}" for file in test_adding.ADDED}
    missing = [
        f"{page}: {name}"
        for page in pages
        for name in NAMED_FILE.findall((ROOT / page).read_text(encoding="utf-8"))
        if not any(end.endswith(f"/{name}") for end in ends)
    ]
    assert missing == []


# --- imports ------------------------------------------------------------------------


@functools.cache
def imports() -> dict[str, set[str]]:
    """Which module of daemon/ and drivers/ imports which."""
    graph = grimp.build_graph("cabinvigil.daemon", "cabinvigil.drivers", cache_dir=None)
    return {
        module: graph.find_modules_directly_imported_by(module)
        for module in graph.modules
    }


def test_no_folders_and_no_files_import_each_other_in_a_circle() -> None:
    """What is in a circle cannot be read, tested or replaced by itself.

    A folder counts with the folders in it: `review` and `review/airflow` are one.
    """
    tuple(TopologicalSorter(imports()).static_order())  # raises CycleError
    house.reached(house.uses())  # raises CycleError


PACKAGES = sorted(
    file.removesuffix("/__init__.py")
    for file in trees()
    if file.endswith("/__init__.py")
)
MAY = re.compile(r"^May be imported by: (any folder|no folder)?(?: but )?([^.;]*)")


def test_no_folder_is_left_out_of_the_wheel() -> None:
    """Each folder that holds a module is a package, and pyproject.toml names it."""
    assert {file.rpartition("/")[0] for file in trees()} == set(PACKAGES)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    names = [f"cabinvigil.{package.replace('/', '.')}" for package in PACKAGES]
    assert project["tool"]["setuptools"]["packages"] == names


def folder_of(module: str) -> str:
    """The package of a module, as a path: `daemon/outputs/mqtt`."""
    path = module.split(".", 1)[1].replace(".", "/")
    return path if path in PACKAGES else path.rpartition("/")[0]


def room_of(package: str) -> str:
    """The folder's name as `May be imported by` has it: `outputs`, `drivers`."""
    root, _, rest = package.partition("/")
    return rest.split("/")[0] if root == "daemon" and rest else root


@pytest.mark.parametrize("package", PACKAGES)
def test_each_package_says_what_is_inside_and_who_may_import_it(package: str) -> None:
    """The last paragraph of its docstring names them, and nobody else imports it."""
    docstring = ast.get_docstring(trees()[f"{package}/__init__.py"]) or ""
    inside, _, last = docstring.rpartition("\n\n")
    may = MAY.match(last.replace("\n", " "))
    assert inside, "it says what is inside"
    assert may, "its last paragraph says who may import it"
    rooms = {room_of(other) for other in PACKAGES}
    names = set(filter(None, may[2].split(", ")))
    assert names <= rooms, "each is a folder that there is"
    allowed = rooms - names if may[1] == "any folder" else names
    importers = {
        room_of(folder_of(module))
        for module, imported in imports().items()
        if package in map(folder_of, imported)
    }
    # Within a folder of daemon/, and from the roots themselves, all may.
    own = {room_of(package), "daemon"}
    assert importers - own <= allowed, "name them there, or import less"
