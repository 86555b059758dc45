"""Every command that prints for people, in the units of the United States: no SI left.

Nights are logged by a cabin that tells people SI: what their logs hold in sentences is
told in the reader's units too.
"""

import re
from html import unescape
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.commands import (
    compare,
    config,
    log,
    morning,
    parts,
    plan,
    precheck,
    rehearse,
    replay,
    span,
    trial,
)
from cabinvigil.daemon.commands.config_ask import make_config
from cabinvigil.daemon.report.live_view import PastLooks, frame
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.settings.errors import ConfigError
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import SI, US
from tests.commands import calling
from tests.commands.test_units import STRICTER
from tests.report.test_live_view import STATUS
from tests.text.test_units import by_pint
from tests.two_systems import SI_SIGNS

ALLOWED = (
    "µg/m³",  # in which the United States set limits of dust too (units_said.py)
    r"(?<=[:;] )-?[\d.]+\s+\S+\s+=(?=\s)",  # a bare number, and what it was taken for
    r"\(?_?[a-z0-9_-]*(?:_m3|_cm2|_kw|_kg|_c|_hpa|_mps|_m|_k)\b",  # keys, options
)
"""What is no SI left over: a unit of both systems, and the names of keys."""
ANY = "|".join(
    re.escape(one)
    for one in sorted(
        {*SI_SIGNS, "kWh", "km/h", "litres", "mm", "m²", "K", "g/h"},
        key=len,
        reverse=True,
    )
)
SPOKEN = re.compile(rf"(?<=\d)\s(?:{ANY})(?![\w/²³])|°C|\bhPa\b|\bm[³3]|\bcm[²2]|g/h")
pytestmark = pytest.mark.xdist_group("two-systems")


def left_in(text: str) -> list[str]:
    """Return what a text says in SI, with the words about it."""
    text = re.sub(r"<style>.*?</style>", " ", text, flags=re.DOTALL)
    text = unescape(re.sub(r"<[^>]*>", " ", text))
    for one in ALLOWED:
        text = re.sub(one, "-", text)
    return [
        text[max(0, found.start() - 40) : found.end() + 10]
        for found in SPOKEN.finditer(text)
    ]


def test_it_finds_what_is_left() -> None:
    for text in ("at 31 °C", "5.0 kg", "1.6\u00a0kW left", "940 hPa", "<b>3 m³/h</b>"):
        assert left_in(text), text
    for text in (
        "12 µg/m³",
        "cabin.volume_m3 is 210 ft3",
        "--outside-c 20 °F",
        "5 min",
    ):
        assert not left_in(text), text


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two rehearsed nights that told people SI, of heat and cold among others."""
    folder = tmp_path_factory.mktemp("si")
    text = re.sub(
        r"(?m)^\[alarm\.(?:cold|hot)\]\n(?:[^\[\n].*\n)*",
        "",
        calling.call(config, "--example")[1],
    )
    file = folder / "si.toml"
    file.write_text(text + STRICTER, encoding="utf-8")
    found = []
    for name in ("shut", "failing"):
        words = ["--config", file, "--hours", "0.7", "--tick-s", "60"]
        code, _, err = calling.call(rehearse, name, *words, "--log", folder / name)
        assert (code, err) == (0, "")
        found.append(folder / name)
    log_text = next(found[0].glob("*.jsonl")).read_text(encoding="utf-8")
    assert re.search(r"Too hot at the bunk: \d+.?°C", log_text)
    return found


US_CONFIG = """[cabin]
units = "us"
"""


def test_what_is_told_of_nights(nights: list[Path], tmp_path: Path) -> None:
    one, two = nights
    page, report = tmp_path / "page.html", tmp_path / "report.html"
    told = ""
    for command, *words in (
        (morning, one),
        (morning, two, "--all", "--page", page),
        (compare, one, two, "--page", report),
        (compare, one, two, "--all"),
        (replay, one),
        (replay, *nights),
        (log, "check", one),
        (trial, "list", "--log", one),
        (rehearse, "icing", "--hours", "0.5", "--tick-s", "60"),
    ):
        units = () if command in (log, trial) else ("--units", "us")
        code, out, err = calling.call(command, *words, *units)
        assert code in (0, 1), err
        assert left_in(out + err) == [], (command.__name__, words)
        told += out
    assert "°F" in told
    for made in (page, report):
        text = made.read_text(encoding="utf-8")
        assert "°F" in text
        assert left_in(text) == []


def test_what_a_cabin_is_told() -> None:
    for command, *words in (
        (plan,),
        (plan, "--all"),
        (plan, "--sweep", "vent"),
        (plan, "--burner-kw", "4", "--vent-low-cm2", "600", "--vent-high-cm2", "0"),
        (config, "--limits"),
        (parts,),
        (parts, "bme280"),
        (span, "--emulated", "--look"),
        (precheck, "--emulated"),
    ):
        code, out, err = calling.call(command, *words, "--units", "us")
        assert code in (0, 1), err
        assert left_in(out + err) == [], (command.__name__, words)


def test_the_air_as_it_is_now() -> None:
    assert left_in(frame(STATUS, PastLooks(), 0.0, US, is_whole=True)) == []


SLIPS = (
    "volume_m3 = 60000",
    "altitude_m = 90000",
    "burner_kw = 300",
    "burner_low_kw = 3.0\nburner_kw = 1.0",
    "burner_height_m = 3.9",
    "cylinder_kg = 120",
    'outside_c = "-80 F"',
    "wind_mps = 40",
    "vent_low_cm2 = 30000",
    "vent_height_m = 9",
    "glass_u_w_m2k = 50",
    "wall_w_k = 5000",
)


@pytest.mark.parametrize("slip", SLIPS)
def test_a_mistake_is_said_in_the_files_own_units(slip: str, tmp_path: Path) -> None:
    """By the command that checks, and by all that only load it; the plan too."""
    text = calling.call(config, "--example")[1]
    for key in re.findall(r"(?m)^(\w+) =", slip):
        text = re.sub(rf"(?m)^{key} = .*\n", "", text)
    file = tmp_path / "us.toml"
    file.write_text(text.replace("[cabin]\n", f"{US_CONFIG}{slip}\n", 1), "utf-8")
    code, out, err = calling.call(config, file)
    assert (code, out) == (2, "")
    assert "mistake" in err
    assert left_in(err) == []
    with pytest.raises(ConfigError) as told:
        load(file)
    assert left_in(str(told.value)) == []
    own = calling.call(plan, "--config", file)
    assert own[0] == 2
    assert left_in(own[2]) == []
    asked = calling.call(config, file, "--units", "si")[2]
    assert "°F" not in asked
    assert asked != err


def test_a_mistakes_range_is_that_of_the_key(tmp_path: Path) -> None:
    file = tmp_path / "us.toml"
    file.write_text(f'{US_CONFIG}name = "x"\naltitude_m = 9000\n', encoding="utf-8")
    err = calling.call(config, file)[2].replace(",", "")
    low, high = re.findall(
        r"from (-?\d+) to (\d+) ft, with its unit".replace(",", ""), err
    )[0]
    assert float(low) == pytest.approx(by_pint(-430.0, "m", "ft"), abs=1.0)
    assert float(high) == pytest.approx(by_pint(5500.0, "m", "ft"), abs=1.0)
    assert 'write "9000 ft" if that was meant' in err


def test_what_is_laxer_is_said_in_degrees_fahrenheit(tmp_path: Path) -> None:
    text = calling.call(config, "--example")[1].replace("[cabin]\n", US_CONFIG, 1)
    text = re.sub(r"(?m)^\[alarm\.hot\]\n(?:[^\[\n].*\n)*", "", text)
    file = tmp_path / "us.toml"
    laxer = '[alarm.hot]\nsteps = [{ at = 60.0, priority = "medium" }]\n'
    file.write_text(f"{text}\n{laxer}accept_laxer = true\n", encoding="utf-8")
    code, out, _ = calling.call(config, file, "--all")
    assert (code, left_in(out)) == (0, [])
    code, out, _ = calling.call(config, file)
    assert code == 0
    assert "step is at 140 °F, packaged 95 °F" in " ".join(out.split())
    assert left_in(out) == []


def test_the_first_questions(tmp_path: Path) -> None:
    """Only what a person reads; the file itself is written as its keys are named."""
    said: list[str] = []

    class Page:
        def write(self, text: str) -> int:
            said.append(text)
            return len(text)

        def flush(self) -> None:
            pass

    def answer(question: str) -> str:
        said.append(question)
        return ""

    page: object = Page()
    make_config(tmp_path / "van.toml", page, ask=answer, units=US)  # type: ignore[arg-type]
    assert "gas in lb/h" in "".join(said)
    assert left_in("\n".join(said).replace("3 mm", "")) == []


@given(st.floats(-60.0, 100.0), st.integers(0, 2), st.sampled_from(".,"))
def test_a_sentences_degrees_are_converted_once(
    temp_c: float, decimals: int, decimal: str
) -> None:
    """From the value that the log holds, and not from its rounded text: by pint."""
    number = f"{temp_c:z.{decimals}f}"
    text = f"Cold: {number.replace('.', decimal)}\u00a0°C. Act."
    for exact, value in (((temp_c,), temp_c), ((), float(number))):
        told = retold(text, US, exact)
        found = re.fullmatch(r"Cold: (-?[\d.,]+)\u00a0°F\. Act\.", told)
        assert found is not None
        off = float(found[1].replace(",", ".")) - by_pint(value, "c", "f")
        assert abs(off) <= 0.5 * 10.0**-decimals + 1e-9
    assert retold(text, SI, (temp_c,)) == text


@given(st.floats(0.0, 80.0))
def test_a_difference_of_degrees_has_no_zero_of_its_own(apart_k: float) -> None:
    told = retold(f"differ by {apart_k:.1f} °C.", US, is_apart=True)
    found = float(told.removeprefix("differ by ").removesuffix(" °F."))
    assert found == pytest.approx(round(apart_k, 1) * 1.8, abs=0.051)


@given(st.floats(-400.0, 5500.0), st.sampled_from(["metres", "Metern", "mètres"]))
def test_heights_are_told_in_feet_and_back(height_m: float, word: str) -> None:
    text = f"as at {height_m:.0f} {word}. Go."
    there = retold(text, US)
    feet = float(re.findall(r"-?\d+", there)[0])
    assert feet == pytest.approx(by_pint(round(height_m), "m", "ft"), abs=0.51)
    assert retold(there, SI).replace("-0 ", "0 ") == text.replace("-0 ", "0 ")


def test_what_somebody_typed_is_quoted_as_it_was() -> None:
    """The text '25 °F', it said, which nobody had written."""
    text = "is the text '-14 K', not 5 K"
    assert retold(text, US).startswith("is the text '-14 K', not 9 °F")
