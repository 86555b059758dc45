"""The building page: every part, snippet, command, file and figure on it is true."""

import argparse
import csv
import re
import shlex
import tomllib
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType

import pytest

from cabinvigil.daemon import cli
from cabinvigil.daemon.air import moisture
from cabinvigil.daemon.settings import config as settings
from cabinvigil.daemon.settings.config import PartSettings, Settings
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.drivers import REGISTRY, part
from tests.tools import drawings, wiring_plan

ROOT = drawings.PAGE.parent
PAGE = drawings.PAGE.read_text(encoding="utf-8")
FENCED = re.compile(r"^```(\w+)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
PROSE = FENCED.sub("", PAGE)
LINKS = re.compile(r"\]\(([^)\s]+)\)")

# What a snippet may lean on, where it does not bring its own: the page says so.
BESIDE = MappingProxyType(
    {
        "[cabin]": 'name = "lapwing"\n',
        "[i2c.main]": 'device = "/dev/i2c-1"\n',
        "[part.baro]": 'kind = "bme280"\nbus = "main"\naddress = 0x76\n',
        "[part.bunk-air]": 'kind = "sht4x"\nbus = "main"\naddress = 0x44\n',
    }
)


def blocks(language: str, text: str = PAGE) -> list[str]:
    return [body for found, body in FENCED.findall(text) if found == language]


def sections(text: str, level: str) -> dict[str, str]:
    """Cut a page at its headings of one level: title, and what stands under it."""
    pieces = re.split(rf"^{level} (.+)$", text, flags=re.MULTILINE)
    return {
        title.strip("`"): re.split(r"^##? ", body, flags=re.MULTILINE)[0]
        for title, body in zip(pieces[1::2], pieces[2::2], strict=True)
    }


BUILDS = sections(PAGE, "###")
PARTS = sections(sections(PAGE, "##")["Each sensor"], "###")


def loaded(snippet: str, folder: Path) -> Settings:
    """Load a snippet as a config, with what the page says that it stands beside."""
    text = snippet
    for head, body in BESIDE.items():
        if head not in snippet:
            text += f"\n{head}\n{body}"
    file = folder / "cabin.toml"
    file.write_text(text, encoding="utf-8")
    return settings.load(file)


def own_part(kind: str, folder: Path) -> PartSettings:
    (snippet,) = blocks("toml", PARTS[kind])
    (name,) = tomllib.loads(snippet)["part"]
    return loaded(snippet, folder).parts[name]


# --- the parts ----------------------------------------------------------------


def test_every_part_has_its_paragraph_and_no_other_part_has_one() -> None:
    """A part that nobody tells how to wire cannot be used."""
    assert sorted(PARTS) == sorted(REGISTRY), "hardware.md, under 'Each sensor'"


@pytest.mark.parametrize("kind", sorted(REGISTRY))
def test_a_parts_paragraph_says_what_it_cannot_see(kind: str) -> None:
    """Trust for the right reasons: each part's blindness stands beside it."""
    assert re.search(r"^Cannot see: \w", PARTS[kind], re.MULTILINE)


@pytest.mark.parametrize("kind", sorted(REGISTRY))
def test_a_parts_snippet_is_for_that_part_and_brings_what_it_needs(
    kind: str, tmp_path: Path
) -> None:
    """Oxygen without pressure, or a CO cell without temperature, reads wrong."""
    own = own_part(kind, tmp_path)
    assert own.kind == kind
    assert set(own.informed_by) == set(part(kind).needs)


@pytest.mark.parametrize("kind", sorted(REGISTRY))
def test_a_part_that_wears_is_shown_with_its_day_of_service(
    kind: str, tmp_path: Path
) -> None:
    """Without that day the watch cannot tell that its life is over."""
    has_day = own_part(kind, tmp_path).in_service is not None
    assert has_day == (part(kind).service_years > 0)


@pytest.mark.parametrize("kind", sorted(wiring_plan.on_i2c()))
def test_a_snippet_follows_the_address_plan(kind: str, tmp_path: Path) -> None:
    address, _ = wiring_plan.address_plan(wiring_plan.on_i2c())[kind]
    assert address in part(kind).addresses, f"{kind}: STRAPS in {wiring_plan.__file__}"
    assert own_part(kind, tmp_path).address == address


# --- the configs --------------------------------------------------------------


@pytest.mark.parametrize("number", range(len(blocks("toml"))))
def test_every_config_on_the_page_loads(number: int, tmp_path: Path) -> None:
    loaded(blocks("toml")[number], tmp_path)


def test_the_least_build_watches_oxygen_and_monoxide_and_can_wake(
    tmp_path: Path,
) -> None:
    """It is a whole config: nothing needs to stand beside it."""
    file = tmp_path / "cabin.toml"
    file.write_text(blocks("toml", BUILDS["The least that helps"])[0])
    least = settings.load(file)
    given = {q for one in least.parts.values() for q in part(one.kind).gives}
    assert {"o2_pct", "co_ppm", "pressure_hpa"} <= given
    assert least.buzzer is not None


def test_the_thorough_build_has_two_principles_for_oxygen(tmp_path: Path) -> None:
    """Two of one kind fail in one way; it is the usual one's file, with its lines."""
    text, build = packaged("cabin.toml").read_text("utf-8"), BUILDS["The thorough one"]
    for name in re.findall(r"`([\w-]+)` takes the place of the one there", build):
        text, dropped = re.subn(rf"\[part\.{name}\]\n(?:.+\n)+", "", text)
        assert dropped == 1
    file = tmp_path / "cabin.toml"
    file.write_text(text + blocks("toml", build)[0], encoding="utf-8")
    found = settings.load(file).parts.values()
    oxygen = {one.kind for one in found if "o2_pct" in part(one.kind).gives}
    assert {"o2_optical_line", "o2_cell_ads1115"} == oxygen
    assert {"glass", "outside"} <= {one.place for one in found}


# --- drawings and figures -----------------------------------------------------


def test_the_drawings_are_those_of_the_parts_own_tables() -> None:
    """Else: `python -m tests.tools.drawings`."""
    assert set(re.findall(r"<!-- drawn: ([a-z-]+) -->", PAGE)) == set(drawings.DRAWINGS)
    assert drawings.redrawn(PAGE) == PAGE


def test_the_headers_pins_are_the_boards() -> None:
    """Against gpiozero's table of the 40-pin header, kept in tests/data/pi_header."""
    with (ROOT / "tests/data/pi_header/pins.csv").open() as file:
        board = {int(row["pin"]): row["name"] for row in csv.DictReader(file)}
    assert len(board) == 40
    drawn = {pin: name for pin, (name, _) in wiring_plan.USED_PINS.items()}
    assert drawn == {pin: board[pin] for pin in range(1, 21)}


def test_the_pins_are_used_as_the_example_uses_them() -> None:
    uses = dict(wiring_plan.USED_PINS.values())
    example = settings.example()
    assert example.buzzer is not None
    assert example.light is not None
    assert example.button is not None
    assert uses[example.buzzer.line] == "sounder"
    assert uses[str(example.buzzer.second_line)] == "second sounder"
    assert uses[example.light.line] == "light"
    assert uses[example.button.line] == "button"


@pytest.mark.parametrize("bus", ["I2C", "1-wire"])
def test_a_wiring_table_names_the_right_pins(bus: str) -> None:
    """The signal of a row is what the header has at that pin."""
    names = {"3.3 V": "3V3", "5 V": "5V", "ground": "GND", "SDA": "GPIO2"}
    names |= {"SCL": "GPIO3", "GPIO4": "GPIO4"}
    (rows,) = re.findall(
        r"^\| header pin \|.*\n\| ---.*\n((?:\|.*\n)+)", BUILDS[bus], re.MULTILINE
    )
    pins = re.findall(r"^\| (\d+) \| ([^,|]+)", rows, re.MULTILINE)
    assert len(pins) >= 3
    for pin, signal in pins:
        assert wiring_plan.USED_PINS[int(pin)][0] == names[signal.strip()]


def test_a_parts_output_meets_the_pis_input() -> None:
    """TX to RXD and RX to TXD: crossed, as every serial line."""
    section = BUILDS["Serial"]
    for end, name in (("TX", "RXD"), ("RX", "TXD")):
        ((pin, told, adapter),) = re.findall(
            rf"^\| {end}, .*? \| pin (\d+), (\w+) \| (\w+) \|", section, re.MULTILINE
        )
        assert told == adapter == name
        assert wiring_plan.USED_PINS[int(pin)][1].endswith(name)


def test_the_pull_ups_least_value_is_the_specifications() -> None:
    """UM10204, section 7.1: 3.3 V and 3 mA make 967 ohm, as worked examples have it."""
    assert pytest.approx(966.7, abs=0.1) == drawings.LEAST_PULL_UP_OHM
    assert drawings.together_ohm(0, 10_000.0) == pytest.approx(1800.0)
    # 1.8 k beside two of 10 k, that is 5 k: 1.8 x 5 / 6.8.
    assert drawings.together_ohm(2, 10_000.0) == pytest.approx(1323.5, abs=0.1)


def test_a_sounder_is_six_decibels_weaker_at_twice_the_distance() -> None:
    """The inverse square law; and a tenfold distance is 20 dB."""
    assert drawings.needed_dba(2.0, 1.0) == pytest.approx(81.02, abs=0.01)
    assert drawings.needed_dba(1.0, 0.1) == pytest.approx(95.0)
    assert drawings.needed_dba(1.0, 0.1, 10.0) == pytest.approx(105.0)


def test_the_water_of_a_kilogram_of_propane() -> None:
    """Four H2O for each C3H8, by the standard atomic weights."""
    carbon, hydrogen, oxygen = 12.011, 1.008, 15.999
    share = 4 * (2 * hydrogen + oxygen) / (3 * carbon + 8 * hydrogen)
    assert f"{share:.1f} kg of water for each kg of propane" in PAGE


def test_what_three_kelvin_do_to_a_humidity_reading() -> None:
    """The same vapour at 20 and at 23 degrees, by the project's own moisture table."""
    share = moisture.saturation_hpa(20.0) / moisture.saturation_hpa(23.0)
    assert round(66 * share) == 55
    assert "3 °C more read 55 % humidity where it is 66 %" in PAGE


# --- commands, files and links ------------------------------------------------


def called() -> Iterator[list[str]]:
    """Yield the words of every call of the program on the page."""
    lines = [line for block in blocks("sh") for line in block.splitlines()]
    lines += re.findall(r"`([^`\n]+)`", PROSE)
    for line in lines:
        for call in re.findall(r"(?:^|/)cabinvigil ([a-z][^>|;&'\n]*)", line):
            yield shlex.split(call)


def test_every_call_on_the_page_is_understood() -> None:
    """The command is there, and takes these words."""
    calls = list(called())
    assert {"config", "parts", "span", "precheck", "rehearse"} <= {c[0] for c in calls}
    for word, *rest in calls:
        assert word in cli.COMMANDS
        parsed = cli.parser_of(word).parse_args(rest)
        assert isinstance(parsed, argparse.Namespace)


def test_every_file_of_systemd_is_told_and_is_there() -> None:
    named = set(re.findall(r"(?<!/)systemd/([a-z][\w.-]*\w)", PAGE))
    there = {file.name for file in (ROOT / "systemd").iterdir() if file.is_file()}
    assert named == there


def test_each_file_is_installed_where_it_says_itself() -> None:
    """Each of them names its place in its first lines."""
    copied = re.findall(r"install -D -m \d+ systemd/(\S+) (/\S+)", PAGE)
    assert len(copied) >= 9
    for name, place in copied:
        top = (ROOT / "systemd" / name).read_text(encoding="utf-8")
        if name == "failed-sound":
            top = (ROOT / "systemd/cabinvigil-failed.service").read_text("utf-8")
        assert re.search(rf"{re.escape(place)}(?![\w.])", top), name


OWN = re.compile(
    r"cabinvigil/(?:cabin|phone)\.toml( |$)|default/cabinvigil-failed|-out ca\.key|"
    r"-keyout \S*ca\.key|/stdin \S*(?:mqtt-password|-secrets/\w+)"
)
"""What a person edits, or what others were given: written over, it is lost."""


def test_no_block_typed_twice_writes_over_what_is_a_persons_own() -> None:
    """As an upgrade by the same commands does it, and whoever lost the thread."""
    lines = [line for block in blocks("sh") for line in block.splitlines()]
    own = [line for line in lines if OWN.search(line) and "nano" not in line]
    assert len(own) >= 7
    for line in own:
        if (
            "/etc/cabinvigil/" in line
        ):  # which who is not in the group may not look into
            assert line.startswith("sudo test -e "), line
        assert re.match(r"\[ -e \S+ \] \|\| |sudo test -e \S+ \|\| ", line), line


def test_a_phone_that_listens_is_one_that_was_set_up() -> None:
    """By the command, and by hand."""
    named = re.findall(r"broker-setup lapwing --phone (\w+) --shore", PAGE)
    named += re.findall(r"phones\.passwords (\w+) ", PAGE)
    listens = re.findall(r"mosquitto_sub .* -u (\w+) ", PAGE)
    assert len(named) == 2
    assert set(listens) == set(named)


def test_what_is_typed_after_either_install_is_the_bare_name() -> None:
    """The package has nothing in /opt: its path is in the environment's own blocks."""
    prose = re.sub(r"^```.*?^```$", "", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert "/opt/cabinvigil/bin" not in prose
    for block in blocks("sh"):
        if "/opt/cabinvigil/bin" in block:
            assert "usr/local/bin/cabinvigil" in block


def test_the_program_is_put_where_the_unit_starts_it() -> None:
    unit = (ROOT / "systemd/cabinvigil.service").read_text(encoding="utf-8")
    (start,) = re.findall(r"^ExecStart=(\S+)", unit, re.MULTILINE)
    script = (ROOT / "systemd/opt-install").read_text(encoding="utf-8")
    (folder,) = re.findall(r"^opt=\$\{OPT:-(\S+)\}(\S+)$", script, re.MULTILINE)
    assert start == f"{''.join(folder)}/bin/cabinvigil"


def test_the_environment_takes_the_versions_of_the_table() -> None:
    rows = dict(re.findall(r"^\| ([a-z0-9-]+)[^|]*\| ([\d.]+) \|", PAGE, re.MULTILINE))
    text = (ROOT / "systemd/constraints.txt").read_text(encoding="utf-8")
    pinned = dict(re.findall(r"^(\S+)==(\S+)$", text, re.MULTILINE))
    assert pinned.items() <= rows.items()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["pi"]
    assert set(pinned) == {line.split(">=")[0] for line in wanted}


def test_every_run_time_dependency_is_in_the_table_of_wheels() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["pi"]
    for one in wanted:
        name = re.match(r"[\w-]+", one)
        assert name is not None
        assert re.search(rf"^\| {name[0]}[ ,]", PAGE, re.MULTILINE), name[0]


def anchors(text: str) -> set[str]:
    """Return the anchors of a page's headings, as Markdown hosts make them."""
    heads = re.findall(r"^#+ (.+)$", FENCED.sub("", text), re.MULTILINE)
    plain = [re.sub(r"[^\w\- ]", "", head.lower()) for head in heads]
    return {head.replace(" ", "-") for head in plain}


def test_every_link_on_the_page_resolves() -> None:
    """Inside the project, to a file and a heading that are there."""
    found = LINKS.findall(PROSE)
    assert len(found) > 30
    for link in found:
        file, _, anchor = link.partition("#")
        target = ROOT / file if file else drawings.PAGE
        assert target.is_file(), link
        if anchor:
            assert anchor in anchors(target.read_text(encoding="utf-8")), link


def test_the_page_has_one_sentence_a_line() -> None:
    """So that a change of one sentence is a change of one line."""
    lines = [line for line in PROSE.splitlines() if not line.startswith(("|", "#"))]
    assert [line for line in lines if re.search(r"[.?!] [A-Z]", line)] == []


def test_the_page_says_first_that_it_is_an_added_layer() -> None:
    """Before any part is bought."""
    headings = re.findall(r"^## (.+)$", PAGE, re.MULTILINE)
    assert headings[0] == "What it is, and what it is not"
    assert "never takes the place of certified" in sections(PAGE, "##")[headings[0]]
    order = [PAGE.index(f"\n## {head}") for head in headings]
    assert all(one < two for one, two in pairwise(order))
