"""README, the manual, DEVELOPERS.md and hardware.md: links lead somewhere, snippets
run, and what is shown as printed is what comes out."""

import re
import xml.etree.ElementTree as ET
from itertools import chain
from pathlib import Path

import pytest

from tests.test_hardware import FENCED, anchors
from tests.tools import hazards, house, printed, snippets, startstop

LINKS = re.compile(r"\]\(([^)\s]+)\)")
SHELL = [
    pytest.param(page, body, id=f"{page}-{number}")
    for page in snippets.PAGES
    for number, (_, kind, body) in enumerate(snippets.blocks(page))
    if kind == "sh"
]
KINDS = {
    # kind: who runs or reads it.
    "sh": "here",
    "toml": "tests/test_hardware.py, tests/phone/test_settings.py, or printed",
    "python": "tests/log/test_data_frames.py, tests/test_adding.py",
    "json": "tests/outputs/mqtt/test_contract.py",
    "markdown": "tests/test_adding.py",
    "mermaid": "drawn; tests/core/test_alarm.py, and here",
    "text": "a drawing or an output: printed where it begins with `$ cabinvigil`",
}


@pytest.mark.parametrize(
    "page", [*snippets.PAGES, "CHANGELOG.md", "config/README.md", "tests/README.md"]
)
def test_every_link_leads_to_a_file_and_a_heading_of_the_project(page: str) -> None:
    text = (snippets.ROOT / page).read_text(encoding="utf-8")
    for link in LINKS.findall(FENCED.sub("", text)):
        assert "://" not in link, "nothing outside can be held by a test"
        file, _, anchor = link.partition("#")
        own = snippets.ROOT / page
        target = own.parent / file if file else own
        assert target.exists(), link
        if anchor:
            assert anchor in anchors(target.read_text(encoding="utf-8")), link


@pytest.mark.parametrize("page", snippets.PAGES)
def test_every_block_is_of_a_kind_that_is_run_or_held(page: str) -> None:
    for mark, kind, body in snippets.blocks(page):
        assert kind in KINDS, body
        if "$ cabinvigil" in body:
            assert mark.startswith("printed:"), body


@pytest.mark.parametrize(("page", "body"), SHELL)
def test_every_shell_block_runs_as_it_stands(
    page: str, body: str, tmp_path: Path
) -> None:
    """With stand-ins for what needs root, a network, a Pi or a person."""
    ended, noted = snippets.run(body, tmp_path)
    assert ended.returncode == 0, (page, ended.stderr, noted)
    if "install -D" in body:
        placed = [
            one
            for part in ("etc", "usr")
            for one in (tmp_path / part).rglob("*")
            if one.is_file()
        ]
        assert placed, "something lies where it said"


@pytest.mark.parametrize(
    "body",
    [
        "sudo install -D -m 644 systemd/cabinvigil.servce /etc/systemd/system/x\n",
        "sudo -u cabinvigil /opt/cabinvigil/bin/cabinvigil parts --scam\n",
        "systemclt daemon-reexec\n",
    ],
)
def test_a_shell_block_that_breaks_is_noticed(body: str, tmp_path: Path) -> None:
    """A file, an option and a program that there are not."""
    assert snippets.run(body, tmp_path)[0].returncode != 0


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """The calls of README and of the manual, each once."""
    folder = tmp_path_factory.mktemp("evening")
    return folder, printed.all_printed(folder)


@pytest.mark.xdist_group("readme")
def test_readme_and_the_manual_show_what_the_commands_print(
    evening: tuple[Path, dict[str, str]],
) -> None:
    """Else: `python -m tests.tools.printed`."""
    _, blocks = evening
    pages = [one.read_text(encoding="utf-8") for one in printed.PAGES]
    named = [re.findall(r"<!-- printed: ([a-z-]+) -->", page) for page in pages]
    assert sorted(chain.from_iterable(named)) == sorted(blocks), "each once"
    for page in pages:
        assert printed.reprinted(page, blocks) == page


def test_readme_fits_its_readers_patience() -> None:
    """What is longer is behind a link; the first screen begins with the job."""
    page = (snippets.ROOT / "README.md").read_text(encoding="utf-8")
    assert len(page.splitlines()) <= 130
    assert page.startswith("# cabinvigil\n\nSomeone sleeps through freezing nights")


@pytest.mark.xdist_group("readme")
def test_readmes_pictures_are_drawn_from_those_nights(
    evening: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    """The same words and lines; coordinates may differ with the drawing library."""
    printed.draw(evening[0], tmp_path)
    for kept in sorted(printed.PICTURES.glob("*.svg")):
        drawn = tmp_path / kept.name
        assert words(drawn) == words(kept), (
            f"{kept.name}: python -m tests.tools.printed"
        )
    assert {one.name for one in tmp_path.glob("*.svg")} == {
        one.name for one in printed.PICTURES.glob("*.svg")
    }


def words(picture: Path) -> list[str]:
    """The words in a picture, and how many strokes it has."""
    root = ET.fromstring(picture.read_text(encoding="utf-8"))
    told = [one.text.strip() for one in root.iter() if one.text and one.text.strip()]
    strokes = sum(one.tag.endswith("path") for one in root.iter())
    return [*told, f"{strokes} strokes"]


def test_the_picture_of_the_house_is_made_from_the_imports() -> None:
    """Else: `python -m tests.tools.house`; no two rooms use each other."""
    page = house.PAGE.read_text(encoding="utf-8")
    assert house.MARKS.search(page)
    assert house.redrawn(page) == page


def test_every_hazard_has_a_test_and_the_table_is_drawn_anew() -> None:
    """DEVELOPERS.md names what stands against each hazard, and who holds it."""
    tests = hazards.held()
    assert set(tests) == set(hazards.HAZARDS), "a mark names a hazard that is none"
    assert all(tests.values()), [name for name, held in tests.items() if not held]
    page = hazards.PAGE.read_text(encoding="utf-8")
    assert hazards.redrawn(page) == page, "python -m tests.tools.hazards"


def test_start_and_stop_are_drawn_from_the_code() -> None:
    page = startstop.PAGE.read_text(encoding="utf-8")
    assert startstop.redrawn(page) == page, "python -m tests.tools.startstop"
