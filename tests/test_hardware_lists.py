"""The building page as a job: its order, its lists to tick, its places in the cabin."""

import re
import tomllib
import xml.etree.ElementTree as ET
from itertools import pairwise
from math import hypot

import pytest

from cabinvigil.daemon.commands.config_draft import BUILDS as BY_QUESTIONS
from cabinvigil.daemon.commands.config_draft import draft
from cabinvigil.daemon.settings import config as settings
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.drivers import REGISTRY
from tests.test_hardware import BUILDS, PAGE, anchors, blocks, sections
from tests.text.test_style import wrong
from tests.tools import circuits, drawings, orders, places, usual, wiring_plan

STEPS = sections(PAGE, "##")["Order of work"]
SHOPPING = ("The least that helps", "The usual one", "The thorough one")
EXTRAS = BUILDS["Adapters and small parts"]
LONGEST_WORDS = 28
"""Of one sentence of the page: a source in brackets counts with it."""


def ticked(build: str, title: str) -> list[str]:
    """Return the items of one of a build's two lists."""
    (body,) = re.findall(
        rf"^\*\*{title}.*?\*\*\n\n(.*?)^(?!- \[ \] |  |\n)",
        BUILDS[build],
        re.MULTILINE | re.DOTALL,
    )
    return re.split(r"^- \[ \] ", body, flags=re.MULTILINE)[1:]


def order(text: str) -> list[int]:
    """Return where on the page the first link of each numbered step leads."""
    firsts = re.findall(r"^\d+\. \[[^\]]+\]\(#([\w-]+)\)", text, re.MULTILINE)
    places_of = {
        re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-"): at
        for head, at in (
            (found[1], found.start())
            for found in re.finditer(r"^##+ (.+)$", PAGE, re.MULTILINE)
        )
    }
    return [places_of[one] for one in firsts]


def test_the_steps_come_first_and_in_the_order_of_the_page() -> None:
    """Whoever reads on from the top does the work in its order."""
    heads = re.findall(r"^## (.+)$", PAGE, re.MULTILINE)
    assert heads[1] == "Order of work"
    found = order(STEPS)
    assert len(found) == len(re.findall(r"^\d+\. ", STEPS, re.MULTILINE)) == 12
    assert all(one < two for one, two in pairwise(found))
    assert {"calibrate", "dry-trial", "trusting-it"} <= anchors(PAGE)


def test_steps_in_another_order_are_noticed() -> None:
    first, second, *rest = [
        f"{line}\n" for line in STEPS.splitlines() if line[:1].isdigit()
    ]
    found = order("".join([second, first, *rest]))
    assert not all(one < two for one, two in pairwise(found))


@pytest.mark.parametrize("build", SHOPPING)
def test_each_build_is_two_lists_to_tick(build: str) -> None:
    """What to buy, with a choice for each sensor; then the work, each step linked."""
    assert len(ticked(build, "Buy")) >= 8
    for item in ticked(build, "Buy"):
        kinds = set(re.findall(r"\[`(\w+)`\]\(#\w+\)", item)) & set(REGISTRY)
        if kinds:
            assert len(kinds) > 1 or re.search(r"\b(or|any|two)\b", item), item
    work = ticked(build, "Work")
    assert len(work) >= 5
    assert sum("](#" in item for item in work) >= len(work) - 2
    assert sum("**CAUTION:**" in item or "**WARNING:**" in item for item in work) >= 3


@pytest.mark.parametrize("kind", sorted(REGISTRY))
def test_each_sensor_is_on_a_shopping_list_with_what_it_needs(kind: str) -> None:
    lists = "".join("".join(ticked(build, "Buy")) for build in SHOPPING)
    assert f"`{kind}`" in lists
    assert re.search(rf"^\| [^|]*`{kind}`[^|]* \|", EXTRAS, re.MULTILINE)


def build_configs() -> dict[str, str]:
    """Return each build's config by its heading; the thorough one's joins the usual."""
    return {
        "The least that helps": blocks("toml", BUILDS["The least that helps"])[0],
        "The usual one": packaged("cabin.toml").read_text("utf-8"),
        "The thorough one": blocks("toml", BUILDS["The thorough one"])[0],
    }


def test_what_a_builds_config_has_is_on_its_list() -> None:
    """Whoever orders by the lists can wire the config that the page gives."""
    configs = build_configs()
    lists, adapters = "", 0
    counts = {what: numbers for what, *numbers in orders.counted()}
    for number, (build, text) in enumerate(configs.items()):
        lists += "".join(ticked(build, "Buy"))
        parts = tomllib.loads(text)["part"].values()
        for one in parts:
            assert f"`{one['kind']}`" in lists, (build, one["kind"])
        usb = sum("usb" in one.get("port", "") for one in parts)
        adapters = usb if number < 2 else adapters + usb
        assert counts["USB serial adapter, 3.3 V"][number] == str(adapters)
        converters = {
            one["address"] for one in parts if one["kind"].endswith("ads1115")
        }
        assert counts["ADS1115 board"][number] == (str(len(converters) or "-"))
        is_1_wire = any(one["kind"] == "ds18b20" for one in parts)
        assert not is_1_wire or counts["resistor 4.7 kΩ"][number] == "1"


def plain(part: dict[str, object]) -> dict[str, object]:
    """Return a sensor's table without the day that no dialogue can know."""
    return {key: one for key, one in part.items() if key != "in_service"}


@pytest.mark.parametrize("build", ["least", "usual", "thorough"])
def test_a_build_by_questions_is_that_of_the_page(build: str) -> None:
    """Whoever answers `usual` gets the sensors and the lines that were bought."""
    least, common, thorough = map(tomllib.loads, build_configs().values())
    wanted = {
        "least": least,
        "usual": common,
        "thorough": common | {"part": common["part"] | thorough["part"]},
    }[build]
    made = BY_QUESTIONS[build]
    text = draft({"name": "lapwing"}, {}, made.lines, "GPIO17", made.second_line)
    found = tomllib.loads(text)
    at = {one: part.get("address") for one, part in wanted["part"].items()}
    for name, one in found["part"].items():
        one.setdefault("address", at[name]) if at[name] is not None else None
    assert {name: plain(one) for name, one in found["part"].items()} == {
        name: plain(one) for name, one in wanted["part"].items()
    }
    assert found["i2c"] == wanted["i2c"]
    for table in ("buzzer", "light", "button", "log", "mqtt"):
        assert (table in found) == (table in wanted)
        for key, value in found.get(table, {}).items():
            assert wanted[table][key] == value


def test_no_warning_stands_alone() -> None:
    """Each is in a list's step, at a code block or in a section's own words."""
    heads = re.findall(
        r"^#+ .*(?:warning|caution|danger).*$", PAGE, re.MULTILINE | re.IGNORECASE
    )
    assert heads == []
    assert len(re.findall(r"\*\*(?:WARNING|CAUTION)", PAGE)) >= 40


def test_sentences_are_short() -> None:
    """Style: one idea a sentence; what is longer is cut, or is a list."""
    prose = re.sub(r"^```.*?^```$|<!--.*?-->", "", PAGE, flags=re.MULTILINE | re.DOTALL)
    prose = re.sub(r"\]\([^)]*\)", "]", re.sub(r"`[^`]*`", "code", prose))
    sentences = [
        sentence
        for line in prose.splitlines()
        for cell in (line.split("|") if line.startswith("|") else [line])
        for sentence in re.split(r"[.!?:;](?:\s|$)", cell)
    ]
    assert [one for one in sentences if len(one.split()) > LONGEST_WORDS] == []
    lengths = sorted(len(one.split()) for one in sentences if len(one.split()) > 2)
    assert lengths[len(lengths) * 9 // 10] <= 20, "nine in ten"


# --- the circuits ---------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(circuits.CIRCUITS))
def test_what_has_a_value_in_a_circuit_is_in_its_list_of_joints(name: str) -> None:
    """Whoever solders by the list has left nothing of the drawing out."""
    sheet = circuits.CIRCUITS[name]()
    svg, joints = sheet.svg(), "\n".join(sheet.joints)
    for label in re.findall(r">([A-Z]\d+)\b[^<]*</text>", svg):
        assert re.search(rf"\b{label}\b", joints), label
    for value in re.findall(r">[RCDF]\d+, ([\d.]+ [kMµ]?[ΩAF])", svg):
        assert value in joints
    for line in re.findall(r"GPIO\d+", svg):
        assert line in joints


def labels(svg: str) -> dict[str, str]:
    """Return the named small parts of a drawing, each with its value."""
    return dict(re.findall(r">([RCDFQ]\d+)[,:]? ?([^<]*)</text>", svg))


def test_a_name_of_a_small_part_is_in_one_circuit_alone() -> None:
    """Whoever is asked to solder R1 finds one R1; the usual wiring has the same."""
    found = [
        (label, name)
        for name, draw in circuits.CIRCUITS.items()
        for label in labels(draw().svg())
    ]
    names = [label for label, _ in found]
    assert len(found) >= 30
    assert sorted(set(names)) == sorted(names), "each number once, over all circuits"
    values = {
        label: value
        for draw in circuits.CIRCUITS.values()
        for label, value in labels(draw().svg()).items()
    }
    for label, value in labels(usual.wiring().svg()).items():
        assert value.startswith(values[label]), label
    told = set(re.findall(r"\b([RCDFQ]\d+)\b(?! ?=)", PAGE))
    assert set(names) <= told


def test_each_board_is_joined_where_it_is() -> None:
    """One layout: what is in the box there, the rest at the cable's other end."""
    joints = "\n".join(usual.wiring().joints)
    connectors = 2 * len(usual.LINES)
    counts = {what: numbers for what, *numbers in orders.counted()}
    assert counts["lever connector, 5 wires"][1] == str(connectors)
    for name, kind in usual.on_bus():
        where = "in the box" if kind in usual.IN_BOX else "at the bunk"
        assert f"GND at the four connectors {where}" in joints
        assert re.search(rf"^`{name}`, .* {where}$", joints, re.MULTILINE), name
    in_box = sum(kind in usual.IN_BOX for _, kind in usual.on_bus())
    assert in_box + 2 <= 5, "Pi and cable, beside the boards, at one connector"
    assert len(usual.on_bus()) - in_box + 1 <= 5


def test_the_contacts_line_is_that_of_its_snippet() -> None:
    line, _ = wiring_plan.CONTACT_LINE.split(", ")
    assert f'line = "{line}"' in PAGE


def test_the_usual_wiring_has_each_sensor_and_line_of_the_example() -> None:
    """One picture and one list, in which no sensor of the build lacks its wires."""
    example = settings.example()
    assert example.buzzer is not None
    assert example.light is not None
    assert example.button is not None
    sheet = usual.wiring()
    joints, svg = "\n".join(sheet.joints), sheet.svg()
    for name, part in example.parts.items():
        assert f"`{name}`" in joints, name
        assert part.kind in svg or part.bus is None, name
        if part.bus == "main":
            assert f"`{name}`, {part.kind}: VDD, SDA, SCL and GND" in joints
    clock, _ = wiring_plan.CLOCK
    assert clock in svg
    for line in (
        *(example.buzzer.line, example.buzzer.second_line),
        *(example.light.line, example.button.line),
    ):
        assert f"{line}, pin " in joints


def test_each_ground_of_the_usual_wiring_has_a_pin_of_its_own() -> None:
    joints = "\n".join(usual.wiring().joints)
    pins = set(re.findall(r"pin (\d+)", joints))
    ordered = {what: numbers for what, *numbers in orders.counted()}
    assert ordered["wire with a socket for the header"][1] == str(len(pins))
    grounds = re.findall(r"GND, pin (\d+)", joints)
    assert sorted(grounds, key=int) == ["6", "9", "14", "20"]


def test_the_clock_is_in_every_sum_and_list() -> None:
    """It is no sensor, and still has an address, pull-ups and a current."""
    clock, at = wiring_plan.CLOCK
    assert f"| 0x{at:02x} | `{clock}`, the clock |" in drawings.addresses()
    assert drawings.CLOCK_CHIP in drawings.power()
    assert any(clock in what for what, *_ in orders.counted())
    boards = len(usual.on_bus())
    assert boards == 5
    limit = drawings.LEAST_PULL_UP_OHM
    for kept, each_ohm in ((4, 10_000.0), (2, 4_700.0)):
        assert drawings.together_ohm(kept, each_ohm) >= limit
        assert drawings.together_ohm(kept + 1, each_ohm) < limit
    assert "with 10 kΩ on each of them do so on one board, with 4.7 kΩ on three" in PAGE


# --- the places -----------------------------------------------------------------


def test_the_pictures_are_those_that_are_drawn_and_the_page_shows_each() -> None:
    """Else: `python -m tests.tools.drawings`."""
    drawn = drawings.pictures()
    assert {one.name for one in drawings.PICTURES.iterdir()} == set(drawn)
    for name, svg in drawn.items():
        assert (drawings.PICTURES / name).read_text(encoding="utf-8") == svg, name
        assert PAGE.count(f"](tests/pictures/building/{name})") == 1, name
        ET.fromstring(svg)


def test_the_words_in_the_pictures_are_those_of_the_table() -> None:
    for svg in drawings.pictures().values():
        labels = re.findall(r">([^<>\n]+)</text>", svg)
        assert labels
        assert [bad for label in labels for bad in wrong(label)] == []


def test_each_place_is_in_the_picture_by_its_number_and_label() -> None:
    svg = places.picture()
    for number, place in enumerate(places.PLACES, start=1):
        assert f">{number}</text>" in svg
        assert f">{place.label}</text>" in svg


def test_the_drawn_places_keep_the_tables_distances() -> None:
    """Carbon monoxide 1 to 3 m from the burner, dust above 20 cm, gas a hand up."""
    by = {one.what: one for one in places.PLACES}
    monoxide = by["carbon monoxide"]
    assert 1.0 <= places.to_burner_m(monoxide) <= 3.0
    assert places.to_pillow_m(monoxide) < places.to_burner_m(monoxide)
    bunk = by["oxygen, carbon dioxide, humidity: the bunk"]
    assert 0.5 <= places.to_pillow_m(bunk) <= 0.9, "an arm"
    assert abs(bunk.at[1] - places.PILLOW[1]) <= 0.15, "the pillow's level"
    box = by["Pi in its box"].at
    assert hypot(box[0] - bunk.at[0], box[1] - bunk.at[1]) < 1.0, "the bus is short"
    assert by["fine dust"].at[1] >= 0.2
    assert by["unburnt gas"].at[1] <= 0.12
    assert by["outside air"].at[0] < 0
    inside = [one for one in places.PLACES if one is not by["outside air"]]
    assert all(0 < one.at[0] < places.LONG_M for one in inside)
    assert all(abs(one.at[0] - places.HEATER_M) > 0.2 for one in inside), "no plume"
