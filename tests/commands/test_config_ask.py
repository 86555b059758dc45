"""`config --ask`: a first config by questions, typed or piped."""

import math
import re
import shlex
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.ask.socket import NOBODY
from cabinvigil.daemon.commands import config as command
from cabinvigil.daemon.commands import config_ask, precheck, rehearse
from cabinvigil.daemon.commands.config_answers import read_quantity
from cabinvigil.daemon.commands.config_ask import UnansweredError, make_config
from cabinvigil.daemon.commands.config_draft import BUILDS
from cabinvigil.daemon.parts.scan import Scan, ScanAnswer
from cabinvigil.daemon.parts.scan_channels import Channels
from cabinvigil.daemon.parts.scan_targets import DeviceTree
from cabinvigil.daemon.settings.config import Settings, load
from cabinvigil.daemon.text.units_said import SI, US
from tests.commands.calling import call

GULL = (
    *("gull", "2.9 x 1.6 x 1.5", "1", "3", "2", "70/30", "110 g/h", "0.8", "0.45"),
    *("0.4", "2 x 60 mm", "80", "1.1", "cells", "none"),
)
"""A van of 6 m3 at the coast, with other parts than the example's."""


OF_SI = re.compile(
    r"(?:(?<=\d )|(?<=in |or )|(?<=, ))(?:m[3³]|cm[2²]|mm|m|kW|kg|°C|W|C)\b"
)


class Person:
    """Answers in order; then nobody is there."""

    def __init__(self, answers: Sequence[str]) -> None:
        self._answers: Iterator[str] = iter(answers)
        self.asked: list[str] = []

    def __call__(self, prompt: str) -> str:
        self.asked.append(prompt)
        return next(self._answers, NOBODY)


class Paper:
    """An output that is kept."""

    def __init__(self) -> None:
        self.text = ""

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None:
        """Nothing waits."""


def asked(file: Path, answers: Sequence[str]) -> tuple[Settings, str]:
    paper = Paper()
    make_config(file, paper, ask=Person(answers))  # type: ignore[arg-type]
    return load(file), paper.text


def test_the_answers_stand_in_the_config(tmp_path: Path) -> None:
    """In our units: lengths, grams an hour and round holes are worked out."""
    settings, _ = asked(tmp_path / "gull.toml", GULL)
    cabin = settings.cabin
    assert (cabin.name, cabin.people, cabin.altitude_m) == ("gull", 1, 3.0)
    assert cabin.volume_m3 == pytest.approx(0.9 * 2.9 * 1.6 * 1.5, abs=0.05)
    assert cabin.vent_low_cm2 == pytest.approx(2 * math.pi * 3.0**2, abs=0.05)
    assert cabin.fuel == pytest.approx({"propane": 0.7, "butane": 0.3})
    # Higher heating values: propane 50.3, butane 49.5 MJ/kg (NIST, as in air/).
    assert cabin.burner_kw == pytest.approx(0.110 / 3.6 * 50.1, rel=0.005)
    assert {part.kind for part in settings.parts.values()} == {
        "o2_cell_ads1115",
        "co_cell_ads1115",
        "bme280",
    }
    assert settings.buzzer is None


def test_what_it_tells_to_try_works(tmp_path: Path) -> None:
    """The last two lines are calls; with each of the builds, by Enter alone else."""
    for build in BUILDS:
        file = tmp_path / f"van {build}.toml"
        _, said = asked(file, ["", *[""] * 12, build, ""])
        *_, first, second = said.splitlines()
        word, *words = shlex.split(first)[1:]
        assert word == "rehearse"
        words[words.index("2")] = "0.05"  # hours
        code, out, err = call(rehearse, *words, "--tick-s", "10")
        assert (code, err) == (0, "")
        assert "not calibrated" not in out
        word, *words = shlex.split(second)[1:]
        code, out, err = call(precheck, *words)
        assert (word, code, err) == ("precheck", 1, "")
        assert out.splitlines()[1].startswith("NOT FULLY CHECKED: sounder, phone, log")


def test_enter_alone_is_told(tmp_path: Path) -> None:
    """Each guess in the account and beside its key, and none where it was answered."""
    file = tmp_path / "cabin.toml"
    _, said = asked(file, [""] * 15)
    for words in ("2 sleepers", "0 m above the sea", "50 cm² near the floor", "still"):
        assert words in said.partition("Assumed: ")[2].splitlines()[0]
    assert file.read_text().count("# assumed") == 11
    file = tmp_path / "gull.toml"
    _, said = asked(file, GULL)
    assert "sleepers" not in said
    assert "# assumed" not in file.read_text()


def test_a_wrong_answer_is_asked_again(tmp_path: Path) -> None:
    """One sentence, and the same question."""
    person, paper = Person(["Gull!", "gull", "6000", "huge", "6", *[""] * 13]), Paper()
    make_config(tmp_path / "gull.toml", paper, ask=person)  # type: ignore[arg-type]
    assert [one[:10] for one in person.asked[:5]] == ["Its name ["] * 2 + [
        "Air volume"
    ] * 3
    assert "6000 m³ cannot be: give 1 to 500" in paper.text
    assert "'huge' is not a number in m³" in paper.text


@pytest.mark.parametrize("given", [0, 1, 7, len(GULL) - 1])
def test_nobody_to_the_end_writes_nothing(given: int, tmp_path: Path) -> None:
    """Ctrl-D after any answer: one sentence, and no file."""
    file = tmp_path / "gull.toml"
    with pytest.raises(UnansweredError, match="so nothing was written"):
        make_config(file, Paper(), ask=Person(GULL[:given]))  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_writes_nothing(tmp_path: Path) -> None:
    """The same sentence as without anybody."""

    def interrupted(_prompt: str) -> str:
        raise KeyboardInterrupt

    with pytest.raises(UnansweredError):
        make_config(tmp_path / "a.toml", Paper(), ask=interrupted)  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_stays(tmp_path: Path) -> None:
    """It is written over after a yes alone."""
    file = tmp_path / "gull.toml"
    file.write_text("mine")
    for answers in (["", *GULL], ["no", *GULL], ["y", *GULL], []):
        with pytest.raises((ValueError, UnansweredError)):
            asked(file, answers)
        assert file.read_text() == "mine"
    settings, _ = asked(file, ["yes", *GULL])
    assert settings.cabin.name == "gull"
    assert [one.name for one in tmp_path.iterdir()] == ["gull.toml"]


def test_without_a_heater(tmp_path: Path) -> None:
    """Nothing is asked about one, and the rehearsal is that of sleepers alone."""
    answers = ["tent", "8", "2", "900", "-3", "none", "0", "0", "usual", ""]
    settings, said = asked(tmp_path / "tent.toml", answers)
    assert settings.cabin.burner_kw == 0.0
    assert "cabinvigil rehearse crowded" in said
    assert "burner_low_kw" not in tomllib.loads((tmp_path / "tent.toml").read_text())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--ask", "--json"], "use only -o and --units"),
        (["-o", "x.toml"], "add --ask"),
        (["--ask", "-o", "/nowhere/at/all.toml"], "no file can be written there"),
    ],
)
def test_calls_that_make_no_sense(words: list[str], says: str) -> None:
    """Exit 2 and one sentence, before any question."""
    code, out, err = call(command, *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert says in err


def test_what_answers_on_the_wires(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing: the question again.  Two parts: they stand in the config."""
    paper = Paper()
    person = Person([*GULL[:-2], "scan", "least", "none"])
    nowhere = DeviceTree(tmp_path / "nowhere")
    make_config(tmp_path / "a.toml", paper, ask=person, machine=nowhere)  # type: ignore[arg-type]
    assert "No known sensor responds here: choose a build." in paper.text
    assert len(load(tmp_path / "a.toml").parts) == 3
    answers = [ScanAnswer("0x62", ("scd4x",)), ScanAnswer("0x77", ("bme280",))]
    found = Scan({"main": answers}, [], [], devices={"main": "/dev/i2c-5"})
    moves = "name it by its path"
    found = replace(found, channels=Channels(moving={"main": moves}))
    monkeypatch.setattr(config_ask, "_scanned", lambda _machine: found)
    settings, _ = asked(tmp_path / "b.toml", [*GULL[:-2], "scan", "none"])
    assert {(one.kind, one.address) for one in settings.parts.values()} == {
        ("scd4x", 0x62),
        ("bme280", 0x77),
    }
    assert moves in (tmp_path / "b.toml").read_text(encoding="utf-8")


CRANE = (
    *("crane", "9.5 x 5 x 5", "1", "1,100", "20", "propane", "5,000", "2500 BTU/h"),
    *("1", "1' 3\"", "2 x 2.5 in", "80 cm2", "3.6", "cells", "none"),
)
"""The same coast, by who thinks in feet; the one vent is known in cm2."""


def test_the_questions_in_us_units(tmp_path: Path) -> None:
    """Bare numbers are feet, BTU/h, square inches; the config keeps ours."""
    file, paper, person = tmp_path / "crane.toml", Paper(), Person(CRANE)
    make_config(file, paper, ask=person, units=US)  # type: ignore[arg-type]
    settings = load(file)
    cabin = settings.cabin
    assert cabin.units == "us"
    wanted = {
        "volume_m3": 0.9 * 9.5 * 5.0 * 5.0 * 0.3048**3,
        "altitude_m": 335.28,
        "outside_c": -6.667,
        "burner_kw": 1.465,
        "burner_low_kw": 0.733,
        "cylinder_kg": 0.454,
        "burner_height_m": 0.381,
        "vent_low_cm2": 2 * math.pi / 4.0 * 6.35**2,
        "vent_high_cm2": 80.0,
        "vent_height_m": 1.097,
    }
    for key, value in wanted.items():
        assert getattr(cabin, key) == pytest.approx(value, abs=0.05), key
    assert not OF_SI.search(" ".join(person.asked))
    assert not OF_SI.search(paper.text)
    assert "\N{DEGREE SIGN}F" in " ".join(person.asked)
    text = file.read_text(encoding="utf-8")
    for line in ('"1100 ft"', '"20 F"', '"5000 BTU/h"', '"2500 BTU/h"', '"1 lb"'):
        assert line in text, "not as it was typed"


def test_the_plan_begins_with_its_verdict_and_knows_the_flame(tmp_path: Path) -> None:
    """And no option of another command is what it asks for."""
    _, said = asked(tmp_path / "gull.toml", GULL)
    plan = said.partition("The plan for such a night:\n")[2]
    assert re.match(r"  (?:Not enough|Enough) vent", plan)
    assert "Unless the flame" not in said
    unknown = ["unknown" if one == "0.4" else one for one in GULL]
    settings, said = asked(tmp_path / "other.toml", unknown)
    assert settings.cabin.burner_height_m is None
    assert "burner_height_m in a config" in said


def test_enter_alone_in_us_units(tmp_path: Path) -> None:
    """Round figures of one's own units, near those of the other system."""
    found = []
    for units in (SI, US):
        file, paper, person = (
            tmp_path / f"{units.word}.toml",
            Paper(),
            Person([""] * 15),
        )
        make_config(file, paper, ask=person, units=units)  # type: ignore[arg-type]
        found.append(load(file).cabin)
    assert not OF_SI.search(" ".join(person.asked))
    assert not OF_SI.search(paper.text)
    assert "10 x 5.6 x 5.6 ft, a tenth of it built in" in paper.text
    assert "heater of 5,100 BTU/h" in paper.text
    si, us = found
    for key in (
        "volume_m3",
        "burner_kw",
        "burner_low_kw",
        "cylinder_kg",
        "vent_low_cm2",
    ):
        assert getattr(us, key) == pytest.approx(getattr(si, key), rel=0.06), key
    assert us.outside_c == si.outside_c


def test_wrong_answers_in_us_units(tmp_path: Path) -> None:
    """Bounds and examples as they are typed; what may mean two things is asked."""
    answers = [
        "My Van",
        "crane",
        "60000",
        "huge",
        "1 x 2",
        "200",
        "2",
        "5000 ft",
        "5,000",
        "20",
    ]
    answers += ["propane", "5000 BTU", "5000", "6000", "2000", "", "", "2 x 2"]
    answers += ["2 x 2 in", *[""] * 6]
    paper = Paper()
    make_config(tmp_path / "a.toml", paper, ask=Person(answers), units=US)  # type: ignore[arg-type]
    for said in (
        "digits and single hyphens, like my-van.",
        "60,000 ft³ cannot be: give 35.3 to 17,657.",
        "'huge' is not a number in ft³: write it like 35.3.",
        "'1 x 2' is not a volume: write ft³, or three lengths as 10 x 5.6 x 5.6.",
        "an amount of heat and no power; write '5000 BTU/h' if that was meant.",
        "6,000 BTU/h is above the 5,000 BTU/h on high.",
        "write round holes as 2 x 3 in, and of a rectangle its area in in².",
    ):
        assert f"{said}\n" in paper.text


def test_units_come_in_by_one_function() -> None:
    """1 ft3 = 0.0283168 m3; Btu 1055.056 J; both by definition."""
    assert read_quantity("210 ft3", "m3") == pytest.approx(5.947, abs=0.001)
    assert read_quantity("5000 BTU/h", "kw") == pytest.approx(1.465, abs=0.001)
    assert read_quantity("6", "m3") == 6.0
    assert read_quantity("6 kg", "m3") is None
    assert read_quantity("6", "m", US) == pytest.approx(1.8288)
    assert read_quantity("6 m", "m", US) == 6.0
