"""The same evening in both systems of units, end to end: all that people read."""

import json
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.commands import (
    compare,
    config,
    morning,
    parts,
    plan,
    precheck,
    rehearse,
    replay,
    span,
)
from cabinvigil.daemon.settings.registries import packaged
from tests.commands import calling
from tests.review import named
from tests.two_systems import differences, plain

STRICTER = """
# So that a phone is told of the cold, the wet and the heat within the hour.
[alarm.cold]
steps = [{ at = 30.0, priority = "low" }]
[alarm.hot]
steps = [{ at = 12.0, priority = "medium" }]
"""
SYSTEMS = ("si", "us")
pytestmark = pytest.mark.xdist_group("two-systems")
Both = dict[str, Path]


@pytest.fixture(scope="module")
def configs(tmp_path_factory: pytest.TempPathFactory) -> Both:
    """The Lapwing's config in both systems."""
    folder = tmp_path_factory.mktemp("configs")
    text = packaged("cabin.toml").read_text(encoding="utf-8")
    text = re.sub(r"(?m)^\[alarm\.(?:cold|hot)\]\n(?:[^\[\n].*\n)*", "", text)
    found = {}
    for system in SYSTEMS:
        head = f'[cabin]\nunits = "{system}"\n'
        mine = re.sub(r"^\[cabin\]\n", head, text, flags=re.MULTILINE) + STRICTER
        assert head in mine
        found[system] = folder / f"{system}.toml"
        found[system].write_text(mine, encoding="utf-8")
    return found


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Path]]:
    """Two nights, logged with a config in either system."""
    found: dict[str, list[Path]] = {}
    for system in SYSTEMS:
        folder = tmp_path_factory.mktemp(system)
        for day, name in enumerate(("quiet", "icing"), 16):
            log, _ = named.night(name)
            told = log.replace(b'"units": "si"', f'"units": "{system}"'.encode(), 1)
            assert f'"units": "{system}"'.encode() in told.split(b"\n")[0]
            path = folder / f"night-2026-01-{day}-{name}.jsonl"
            path.write_bytes(told)
            found.setdefault(system, []).append(path)
    return found


def both(command: Any, words: dict[str, list[object]]) -> Iterator[str]:
    """Yield a command's output in either system; it must end alike."""
    codes = set()
    for system in SYSTEMS:
        code, out, err = calling.call(command, *words[system])
        codes.add((code, err))
        yield out
    assert len(codes) == 1


def held(command: Any, words: dict[str, list[object]]) -> tuple[str, str]:
    """Hold the two outputs against each other; they differ, and say the same."""
    si, us = both(command, words)
    assert list(differences(si, us)) == []
    assert si != us
    return si, us


def of(configs: Both, *words: object) -> dict[str, list[object]]:
    return {system: [*words, "--config", path] for system, path in configs.items()}


PLANS = [
    [],
    ["--wind-mps", "4", "--altitude-m", "3100", "--outside-c", "-25"],
    ["--burner-kw", "0"],
    ["--vent-low-cm2", "10", "--vent-high-cm2", "10", "--glass-u", "5.8"],
    ["--cylinder-kg", "1", "--burn", "20:00-22:00"],
    ["--burner-kw", "4", "--vent-low-cm2", "600", "--vent-high-cm2", "0"],
    ["--burner-height-m", "1.1", "--berths", "4", "--outside-c", "-15"],
    ["--volume-m3", "7", "--burner-kw", "2.5", "--vent-low-cm2", "0"],
    ["--burner-kw", "1.2", "--vent-low-cm2", "300", "--vent-high-cm2", "10"],
    ["--sweep", "power"],
    ["--sweep", "vent"],
    ["--sweep", "outside"],
]


FROST = """[cabin]
volume_m3 = 7.0
burner_kw = 1.2
burner_height_m = 1.1
berths = 4
outside_c = -18.0
fuel = { butane = 0.7, propane = 0.3 }
"""
"""A bare [cabin], whose gas hardly boils in the cold."""
IN_FROST = [
    [],
    ["--outside-c", "-6", "--burner-kw", "3"],
    ["--vent-low-cm2", "0", "--vent-high-cm2", "60", "--burn", "20:00-22:00"],
    ["--sweep", "outside"],
]


@pytest.mark.parametrize("words", IN_FROST, ids=" ".join)
def test_a_bare_cabin_in_the_frost_says_the_same_in_both(
    words: list[object], tmp_path: Path
) -> None:
    """Flames that the cold holds down, a flame that stands high, berths."""
    files = {system: tmp_path / f"{system}.toml" for system in SYSTEMS}
    for system, file in files.items():
        file.write_text(f'{FROST}units = "{system}"\n', encoding="utf-8")
    held(plan, of(files, *words))


def test_a_bare_cabin_takes_feet(tmp_path: Path) -> None:
    """As from an option, which rules it and then is told alone; JSON has metres."""
    file = tmp_path / "van.toml"
    text = FROST.replace("burner_height_m = 1.1", 'burner_height_m = "3.6 ft"')
    file.write_text(f'{text}units = "us"\n', encoding="utf-8")
    code, out, err = calling.call(plan, "--config", file, "--all")
    assert (code, err) == (0, "")
    assert "cabin.burner_height_m: 3.6 ft is 1.10 m" in plain(out)
    assert "In this cold a cylinder outdoors supplies" in plain(out)
    assert "the air above the flame, 3.6 ft above the floor" in plain(out)
    own = json.loads(calling.call(plan, "--config", file, "--json")[1])
    assert own["places"]["burner_height_m"] == pytest.approx(1.09728)
    _, out, _ = calling.call(plan, "--config", file, "--burner-height-m", "4 ft")
    assert "Read: --burner-height-m: 4 ft is 1.22 m." in plain(out)
    assert "3.6 ft" not in out


@pytest.mark.parametrize("words", PLANS, ids=" ".join)
def test_the_plan_says_the_same_in_both(configs: Both, words: list[object]) -> None:
    si, us = held(plan, of(configs, *words))
    assert "°F" in us
    assert "°F" not in si


def test_the_option_rules_the_config(configs: Both) -> None:
    for asked, other in (SYSTEMS, SYSTEMS[::-1]):
        own = calling.call(plan, "--config", configs[asked])
        told = calling.call(plan, "--config", configs[other], "--units", asked)
        assert own == told


def test_the_plans_json_is_the_same_but_for_its_sentences(configs: Both) -> None:
    si, us = (json.loads(one) for one in both(plan, of(configs, "--json")))
    del si["change"], us["change"]
    assert si == us


def test_the_config_is_told_in_both(configs: Both) -> None:
    for words in (["--all"], ["--limits"]):
        told = [
            calling.call(config, *words, configs["si"], "--units", system)[1]
            for system in SYSTEMS
        ]
        si, us = told
        assert si != us
        assert "°F" in us
        assert "inHg" in us
    own = calling.call(config, configs["us"], "--all")[1]
    whole = calling.call(config, configs["si"], "--all", "--units", "us")[1]
    assert own.replace("us.toml", "si.toml") == whole
    assert "at 86 °F" in own
    assert "dead_band 1.8 °F" in own
    assert not re.search(r"°C|\bhPa|_(?:c|hpa) -?[0-9]", own)


@pytest.fixture(scope="module")
def evening(configs: Both, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Half an hour of `shut`: what was printed, and the log."""
    found: dict[str, Any] = {}
    for system, path in configs.items():
        folder = tmp_path_factory.mktemp(f"evening-{system}")
        call = ["shut", "--config", path, "--hours", "0.5", "--tick-s", "60"]
        code, out, err = calling.call(rehearse, *call, "--log", folder)
        assert (code, err) == (0, "")
        (log,) = folder.glob("*.jsonl")
        lines = [json.loads(line) for line in log.read_text().splitlines()]
        found[system] = {"out": out, "log": lines, "path": log}
    return found


def test_the_rehearsal_and_the_phones_texts(evening: dict[str, Any]) -> None:
    si, us = (evening[system]["out"] for system in SYSTEMS)
    assert list(differences(si, us)) == []
    assert re.search(r"phone .*Too hot at the bunk: -?\d+\u00a0°C", si)
    assert re.search(r"phone .*Too hot at the bunk: \d+\u00a0°F", us)
    assert re.search(r"\d lb of water on windows", us)


def test_log_stays_si_but_for_its_sentences(evening: dict[str, Any]) -> None:
    """Byte for byte, the texts and the config's own word for it left out."""

    def bare(lines: list[dict[str, Any]]) -> list[str]:
        for line in lines:
            line.pop("text", None)
            line.get("config", {}).get("cabin", {}).pop("units", None)
            line.pop("config_digest", None)
        return [json.dumps(line) for line in lines]

    texts = [
        [line["text"] for line in evening[system]["log"] if "text" in line]
        for system in SYSTEMS
    ]
    assert texts[0] != texts[1]
    assert list(differences(*("\n".join(one) for one in texts))) == []
    assert any("Cold at the bunk: " in text for text in texts[1])
    si, us = (bare(evening[system]["log"]) for system in SYSTEMS)
    assert si == us


def test_a_replay_says_the_sentences_in_both(evening: dict[str, Any]) -> None:
    path = evening["si"]["path"]
    held(replay, {system: [path, "--units", system] for system in SYSTEMS})
    told = [
        [json.loads(line) for line in out.splitlines()]
        for out in both(
            replay,
            {system: [path, "--json", "--units", system] for system in SYSTEMS},
        )
    ]
    texts = [[line.pop("text") for line in lines] for lines in told]
    assert told[0] == told[1]
    assert texts[0] != texts[1]


def test_the_mornings_account(nights: dict[str, list[Path]]) -> None:
    held(morning, {system: [nights[system][0]] for system in SYSTEMS})


def test_the_mornings_page(nights: dict[str, list[Path]], tmp_path: Path) -> None:
    pages = {system: tmp_path / f"{system}.html" for system in SYSTEMS}
    words: dict[str, list[object]] = {
        system: [nights[system][1], "--page", pages[system]] for system in SYSTEMS
    }
    held(morning, words)
    si, us = (without_pictures(pages[system]) for system in SYSTEMS)
    # an end that rounds to nothing in one system only is told as a bound there
    assert [one for one in differences(si, us) if "'at', 'most'" not in one] == []
    assert "ft³" not in si
    assert "cfm" in us
    account = calling.call(morning, nights["si"][1], "--units", "us")
    assert account == calling.call(morning, nights["us"][1])


def without_pictures(page: Path) -> str:
    """Return a page without what is drawn; its words, `desc`, stay."""
    text = page.read_text(encoding="utf-8")
    return re.sub(r"</desc>.*?</svg>", "</desc></svg>", text, flags=re.DOTALL)


def test_the_pages_axes_are_round_in_their_own_units(
    nights: dict[str, list[Path]], tmp_path: Path
) -> None:
    """Ticks of temperature are whole degrees Fahrenheit, at one distance."""
    page = tmp_path / "us.html"
    calling.call(morning, nights["us"][0], "--page", page)
    text = page.read_text(encoding="utf-8")
    drawn = text.partition('id="t-temp"')[2].partition("</svg>")[0]
    found = re.findall(r"<text[^>]*>([\u22120-9.]+)</text>", drawn)
    ticks = [float(one.replace("\u2212", "-")) for one in found]
    assert len(ticks) >= 3
    assert {tick % 1.0 for tick in ticks} == {0.0}
    (step,) = {two - one for one, two in pairwise(ticks)}
    assert {tick % step for tick in ticks} == {0.0}
    assert max(ticks) > 45.0


def test_the_mornings_json_is_the_same_but_for_its_sentences(
    nights: dict[str, list[Path]],
) -> None:
    for option in ("--json", "--summary"):
        words: dict[str, list[object]] = {
            system: [nights[system][1], option] for system in SYSTEMS
        }
        si, us = (json.loads(one) for one in both(morning, words))
        for told in (si, us):
            for one in told.get("advice", told.get("tonight", [])):
                if isinstance(one, dict):
                    for key in ("do", "expect", "text"):
                        one.pop(key, None)
        texts = {key for key in si if si[key] != us[key]}
        assert texts <= {"advice", "tonight", "text"}, texts


def test_the_comparison(nights: dict[str, list[Path]]) -> None:
    words: dict[str, list[object]] = {s: [*nights[s]] for s in SYSTEMS}
    held(compare, words)
    for option in ("--json", "--csv"):
        si, us = both(compare, {s: [*words[s], option] for s in SYSTEMS})
        assert si == us


def test_what_is_said_of_parts_and_before_bed() -> None:
    for command, words in (
        (parts, ["ds18b20"]),
        (parts, ["bme280"]),
        (span, ["--emulated", "--look"]),
        (precheck, ["--emulated"]),
    ):
        told: dict[str, list[object]] = {
            system: [*words, "--units", system] for system in SYSTEMS
        }
        si, us = both(command, told)
        assert list(differences(si, us)) == [], command
        assert command is precheck or si != us
