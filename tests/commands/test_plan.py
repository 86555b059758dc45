"""`cabinvigil plan` as it is called."""

import argparse
import json
import re
import subprocess
import sys
from importlib.resources import files

import pytest

from cabinvigil.daemon.commands import plan as command
from cabinvigil.daemon.planning import picture
from cabinvigil.daemon.planning.figures import CabinPlan, option_name
from cabinvigil.daemon.planning.plan import plan
from cabinvigil.daemon.text.svg import DrawingError
from tests.commands import calling

AGREED = (
    "volume_m3", "burner_kw", "people", "vent_low_cm2", "vent_high_cm2", "outside_c",
    "berths", "outside_rh_pct", "wind_mps", "altitude_m", "glass_u", "cylinder_kg",
    "hours", "leak_per_h",
)  # fmt: skip


def call(*words):
    return calling.call(command, *words)


def test_every_agreed_option_is_there():
    """The options that the issue names, each optional."""
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    options = set(parser.format_help().split())
    lines = [option_name(key) for key in AGREED]
    for name in (*lines, "--burn", "--sweep", "--picture", "--json", "--config"):
        assert name in options


def test_json_is_one_object():
    """The Lapwing's figures; nothing on the error stream."""
    code, out, err = call("--json", "--volume-m3", "11", "--outside-c", "-9")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert found["gas"]["kg"] == pytest.approx(1.03, abs=0.01)
    assert out.count("\n") == 1


def test_without_options_it_is_the_packaged_examples_cabin():
    """The Lapwing of config/cabin.toml: in words too, and with the same burner."""
    config = str(files("cabinvigil.config").joinpath("cabin.toml"))
    for more in ((), ("--json",), ("--json", "--burner-kw", "0.8", "--wind-mps", "1")):
        assert call(*more) == call("--config", config, *more)


def test_words_without_json():
    """For people: the account, with the advice."""
    burns = ("--burn", "20:00-22:00", "--burn", "06:00-07:00")
    code, out, err = call(*burns, "--all")
    assert (code, err) == (0, "")
    assert "20:00-22:00, 06:00-07:00" in out
    assert "4.8 kWh" in out


@pytest.mark.parametrize(
    "words",
    [
        ("--volume-m3", "-3"),
        ("--volume-m3", "11 kg"),
        ("--vent-low-cm2", "40 %"),
        ("--outside-c", "300"),
        ("--people", "14"),
        ("--burn", "late"),
        ("--config", "no/such/file.toml"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(words):
    """No traceback, nothing on the output."""
    code, out, err = call(*words)
    assert (code, out) == (2, "")
    assert err.startswith("cabinvigil plan: ")
    assert err.count("\n") == 1
    assert "Traceback" not in err


def test_all_mistakes_at_once():
    """Three wrong options, three sentences."""
    code, _, err = call("--volume-m3", "x", "--hours", "99", "--burn", "late")
    assert code == 2
    assert err.count("\n") == 3


@pytest.fixture
def cabin_file(tmp_path):
    """Write a file for `--config`; give its name."""

    def written(text):
        path = tmp_path / "van.toml"
        path.write_text(text, encoding="utf-8")
        return str(path)

    return written


def test_a_bare_cabin_is_enough_and_options_win(cabin_file):
    """No name, no part, no alarm: nothing is bought before a plan."""
    file = cabin_file("[cabin]\nvolume_m3 = 7.0\nburner_kw = 0.8\n")
    code, out, err = call("--config", file, "--burner-kw", "2")
    assert (code, err) == (0, "")
    assert "7 m³, 2 sleeping, 2 kW all night" in out
    told = " ".join(out.split())
    assert "Not given, so as for the Lapwing, a trailer: sleepers," in told
    assert "altitude" not in told


MISTAKES = {
    '[cabin]\nvolume_m3 = "7"\nburner_kw = 99.0\n': ("cabin.volume_m3", "burner_kw"),
    "[cabin]\nfuel = { propane = 0.7 }\nvolme_m3 = 7\n": ("cabin.fuel", "volme_m3"),
    "[cabin]\nburner_kw = 1.0\nburner_low_kw = 2.0\n": ("cabin.burner_low_kw",),
    "volume_m3 = 7.0\n[cabbin]\n": ("below the line [cabin]", "write `cabin`"),
    "cabin = 3\n": ("cabin is the number 3",),
    "[cabin]\nvolume_m3 = 4.0\npeople = 9\n": ("people 9 do not fit into 4 m³",),
    "": ("holds no table [cabin]",),
    "[cabin\n": ("van.toml",),
}


@pytest.mark.parametrize("text", sorted(MISTAKES))
def test_every_mistake_of_a_cabin_is_told_as_configs_are(cabin_file, text):
    """One sentence each, with the file, the key, what is wrong and how to mend it."""
    code, out, err = call("--config", cabin_file(text))
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert len(lines) == len(MISTAKES[text])
    for line, word in zip(lines, MISTAKES[text], strict=True):
        assert line.startswith("cabinvigil plan: ")
        assert word in line


def test_parts_that_are_wrong_are_configs_to_tell(cabin_file):
    """The cabin is planned all the same."""
    text = '[cabin]\nvolume_m3 = 7.0\n[part.a]\nkind = "none such"\n'
    assert call("--config", cabin_file(text))[0] == 0


@pytest.mark.parametrize("what", ["vent", "power", "people", "outside"])
def test_sweeps(what):
    """One object with a plan for each value; more vent, less power, fewer: more O2."""
    code, out, _ = call("--sweep", what, "--json")
    found = json.loads(out)
    assert (code, found["sweep"]) == (0, what)
    assert len(found["rows"]) >= 6
    o2 = [row["plan"]["settled"]["o2_pct"][1] for row in found["rows"]]
    if what != "outside":
        assert o2 == sorted(o2, reverse=what in ("power", "people"))


def test_what_can_be_swept_is_what_is_offered():
    """The words on the command line are the table's own."""
    from cabinvigil.daemon.planning.sweep import TITLES

    assert tuple(TITLES) == command.SWEEPS


def test_a_sweep_in_words_is_a_table():
    """A line for each value under one of heads, narrow enough for a terminal."""
    code, out, _ = call("--sweep", "people")
    verdict, head, table = out.partition("people  oxygen %")
    assert verdict.startswith("Enough vent with 0, 1, 2 people by the ")
    lines = (head + table).splitlines()
    assert code == 0
    assert [line.split()[0] for line in lines[1:]] == ["0", "1", "2", "3", "4", "6"]
    assert max(len(line) for line in lines) <= 120


def test_a_sweep_of_vents_parts_them_as_they_are():
    """A cabin with a third of its area low keeps a third low."""
    from cabinvigil.daemon.planning.sweep import cabins

    swept = cabins(CabinPlan(vent_low_cm2=50, vent_high_cm2=100), "vent")
    assert swept[1][1].vent_low_cm2 == pytest.approx(50 / 3)
    bare = cabins(CabinPlan(vent_low_cm2=0, vent_high_cm2=0), "vent")
    assert bare[1][1].vent_low_cm2 == 25.0


def test_a_picture_is_drawn(tmp_path):
    """A PNG with both nights; its limits and curves are those of the plan."""
    target = tmp_path / "night.png"
    code, _, err = call("--picture", str(target), "--json")
    assert (code, err) == (0, "")
    assert target.read_bytes().startswith(b"\x89PNG")
    assert target.stat().st_size > 20_000


def test_a_picture_that_cannot_be_written_is_one_sentence(tmp_path):
    """A missing folder, and an ending that nobody draws."""
    for name in ("nowhere/night.png", "night.doc"):
        code, out, err = call("--picture", str(tmp_path / name))
        assert (code, out) == (2, "")
        assert err.count("\n") == 1


def test_a_missing_matplotlib_is_named_with_its_remedy(tmp_path, monkeypatch):
    """By the pip that belongs to this Python."""
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(DrawingError, match="pip install matplotlib"):
        picture.draw(plan(CabinPlan()), tmp_path / "night.png")


def test_a_plain_plan_loads_nothing_heavy():
    """Standard library only: what the start budget rests on."""
    code = (
        "import sys, io, argparse\n"
        "from cabinvigil.daemon.commands import plan as command\n"
        "p = argparse.ArgumentParser(); command.add_arguments(p)\n"
        "command.run(p.parse_args(['--json']), io.StringIO(), io.StringIO())\n"
        "heavy = {'numpy', 'pandas', 'matplotlib', 'attrs', 'asyncio',\n"
        "         'structlog', 'paho', 'tomli', 'pydantic'}\n"
        "print(sorted(heavy & {m.split('.')[0] for m in sys.modules}))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


ODD = (
    (),
    ("--vent-low-cm2", "20", "--vent-high-cm2", "0"),
    ("--burner-kw", "0"),
    ("--volume-m3", "6", "--people", "1", "--burner-kw", "1.0", "--outside-c", "8"),
    ("--vent-low-cm2", "0", "--vent-high-cm2", "0", "--burner-kw", "4"),
    ("--units", "us", "--altitude-m", "9000 ft", "--wind-mps", "5 mph"),
)


@pytest.mark.parametrize("words", ODD)
def test_one_screen_begins_with_the_verdict_and_the_act(words: tuple[str, ...]) -> None:
    """In whatever cabin: two sentences first, 24 lines in all, and one story."""
    code, out, err = call(*words)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert len(lines) <= 26 - 2 * (not words)
    assert max(map(len, lines)) <= 84
    enough = json.loads(call("--json", *words)[1])["vent"]
    assert lines[0].startswith("Enough vent") == enough["good"]
    assert ("worst" not in lines[0]) == (not enough["good"])
    told = " ".join(" ".join(lines).split())
    whole = " ".join(call("--all", *words)[1].split())
    tonight = whole[whole.index(" 7. Tonight ") + len(" 7. Tonight ") :]
    first = lines[1]
    assert tonight.startswith(first)
    assert "--all shows every figure" in told


BARE = (
    (("--volume-m3", "210"), "210 m³ = 7,416 ft³"),
    (("--outside-c", "20"), "20 °C = 68 °F"),
    (("--cylinder-kg", "20"), "20 kg = 44.1 lb"),
    (("--glass-u", "5.8"), "5.8 W/(m² K) = "),
)


@pytest.mark.parametrize(("words", "said"), BARE)
def test_in_us_units_a_bare_number_is_said_back_above_the_verdict(
    words: tuple[str, ...], said: str
) -> None:
    """Whoever reads feet may have typed them: 68 °F outside would pass unseen."""
    _, out, _ = call(*words, "--units", "us")
    assert out.startswith(f"Read without a unit: {said}")
    assert "nough vent" in out.splitlines()[1]
    assert said in " ".join(call(*words, "--units", "us", "--all")[1].split())
    for more in ((), ("--units", "si")):
        assert "Read without" not in call(*words, *more)[1]


def test_what_is_written_with_its_unit_or_is_the_same_in_both_is_not() -> None:
    words = ("--volume-m3", "390ft3", "--hours", "8", "--vent-low-cm2", "0")
    assert "Read without" not in call(*words, "--units", "us")[1]


def test_however_many_they_are_the_first_line_holds_them() -> None:
    given = [word for words, _ in BARE for word in words]
    lines = call(*given, "--units", "us")[1].splitlines()
    assert len(lines[0]) <= 80
    assert lines[0].endswith("; and 2 more.")


@pytest.mark.parametrize("units", ["si", "us"])
def test_out_of_range_it_says_how_the_number_was_read(units: str) -> None:
    """5000 lies between the bounds in BTU/h, and is refused all the same."""
    code, _, err = call("--burner-kw", "5000", "--units", units)
    assert code == 2
    assert "5000 was read as 5000 kW, which cannot be" in err
    assert err.endswith('; write "5000 BTU/h" if that was meant.\n')
    _, _, err = call("--burner-kw", "5000 kW", "--units", units)
    assert "was read" not in err


def test_a_night_with_the_heater_off_says_of_each_figure_whether_it_is_lit() -> None:
    """95 °F, 66 °F and 29 °F inside stood on one screen, and none said when."""
    burn = ("--burn", "20:00-22:00", "--burn", "6am-7am")
    out = call(*burn)[1]
    rows = dict(line.split(maxsplit=1) for line in out.splitlines() if line[:1])
    first, second, *_ = out.splitlines()
    assert f"{first} {second}".endswith(", heater lit."), "on two lines of 80"
    assert rows["inside"].endswith(", heater lit")
    assert rows["vents"].endswith(", heater off")
    assert re.fullmatch(
        r"morning .* inside, heater lit; .* before, heater off", rows["by"]
    )
    told = call()[1]
    assert "heater off" not in told
    assert "heater lit\n" not in told
