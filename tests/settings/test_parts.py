"""What a part is said to be: refused where it makes no sense, and all of it at once."""

from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.settings.config import check, load
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.drivers import part

TEXT = """
[cabin]
name = "lapwing"
[part.bunk-o2]
kind = "o2_optical_line"
port = "/dev/serial0"
leave_out = {left}
"""


def _file(folder: Path, left: str) -> Path:
    path = folder / "cabin.toml"
    path.write_text(TEXT.format(left=left), encoding="utf-8")
    return path


def test_a_quantity_can_be_left_out(tmp_path: Path) -> None:
    """An optical part without a pressure cell."""
    settings = load(_file(tmp_path, '["pressure_hpa"]'))
    assert settings.parts["bunk-o2"].leave_out == ("pressure_hpa",)


@pytest.mark.parametrize(
    ("left", "key", "said"),
    [
        ('["co_ppm"]', "leave_out[0]", "does not measure"),
        ('["o2_pct", "o2_hpa", "pressure_hpa"]', "leave_out", "all that the sensor"),
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, left: str, key: str, said: str
) -> None:
    """With the part, the key and a mend."""
    (mistake,) = check(_file(tmp_path, left))
    assert mistake.key == f"part.bunk-o2.{key}"
    assert said in mistake.what
    assert mistake.mend


WHOLE = """
[cabin]
name = "lapwing"
{cabin}
[i2c.main]
device = "/dev/i2c-1"
[part.bunk-co2]
kind = "scd4x"
bus = "mian"
{part}
[part.baro]
kind = "bme280"
bus = "main"
"""


def _keys(folder: Path, *, part: str = "", cabin: str = "", more: str = "") -> set[str]:
    path = folder / "cabin.toml"
    path.write_text(WHOLE.format(part=part, cabin=cabin) + more, encoding="utf-8")
    return {mistake.key for mistake in check(path)}


@pytest.mark.parametrize(
    ("key", "value"),
    [
        *(("place", '"Roof top"'), ("place", "7"), ("address", "0x99")),
        *(("interval_s", '"often"'), ("max_age_s", "-1"), ("in_service", '"soon"')),
        *(("pressure_from", "1"), ("temperature_from", "[]"), ("leave_out", '"x"')),
        *(("options", "1"), ("accept_laxer", '"yes"'), ("port", "[]"), ("plaec", "1")),
    ],
)
def test_a_mistake_of_a_part_hides_none_of_its_others(
    tmp_path: Path, key: str, value: str
) -> None:
    """And none is made of what was told: exactly the two that there are."""
    found = _keys(tmp_path, part=f"{key} = {value}")
    assert found == {f"part.bunk-co2.{key}", "part.bunk-co2.bus"}


def test_what_is_mistaken_clashes_with_nothing(tmp_path: Path) -> None:
    """Neither an address that cannot be read nor a time that two keys give."""
    twin = '[part.twin]\nkind = "scd4x"\nbus = "mian"\n'
    found = _keys(tmp_path, part="address = 0x99", more=twin)
    assert "part.twin.address" not in found
    found = _keys(tmp_path, part='interval_s = "x"\nmax_age_s = 1')
    assert found == {"part.bunk-co2.interval_s", "part.bunk-co2.bus"}


@pytest.mark.parametrize(
    ("cabin", "more", "keys"),
    [
        (
            'fuel = "propan"\npeople = 2\nsmokers = 3', "",
            {"cabin.fuel", "cabin.smokers"},
        ),
        (
            "", '[mqtt]\nhost = "x"\nport = 0\npassword_file = "/x"\n',
            {"mqtt.port", "mqtt.password_file"},
        ),
        (
            "", '[mqtt]\nhost = "x"\nuser = 7\npassword_file = "/x"\n',
            {"mqtt.user"},
        ),
        (
            "", '[mqtt]\nhost = "x"\nheartbeat_s = "x"\nreadings_s = 590\n',
            {"mqtt.heartbeat_s"},
        ),
        (
            "", '[buzzer]\nline = "pwmchip0/0"\ntone_hz = "high"\n',
            {"buzzer.tone_hz"},
        ),
    ],
)  # fmt: skip
def test_a_mistake_of_a_table_hides_none_of_its_others(
    tmp_path: Path, cabin: str, more: str, keys: set[str]
) -> None:
    """And what hangs on one that is told is none."""
    found = _keys(tmp_path, cabin=cabin, more=more)
    assert found - {"part.bunk-co2.bus"} == keys


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (
            'pressure_from = "bunk-co2"',
            ("name a sensor that measures pressure_hpa: baro"),
        ),
        ('humidity_from = "pane"', "name a sensor that measures rh_pct: baro"),
    ],
)
def test_no_part_is_offered_as_a_source_for_itself(
    tmp_path: Path, part: str, words: str
) -> None:
    _keys(tmp_path, part=part)
    told = [str(one) for one in check(tmp_path / "cabin.toml")]
    assert [one for one in told if one.endswith(f"{words}.")], told


def test_where_nothing_gives_it_no_part_is_offered(tmp_path: Path) -> None:
    """Nor one that leaves it out; named it may be: perhaps it has it all the same."""
    left = 'leave_out = ["pressure_hpa"]'
    _keys(tmp_path, part='pressure_from = "rof"', more=left)
    told = [str(one) for one in check(tmp_path / "cabin.toml")]
    mend = "remove it, or add a sensor that measures pressure_hpa."
    assert [one for one in told if "which is not another sensor" in one and mend in one]
    found = _keys(tmp_path, part='pressure_from = "baro"', more=left)
    assert found == {"part.bunk-co2.bus"}


TWO_CELLS = """
[cabin]
name = "lapwing"
[i2c.main]
device = "/dev/i2c-1"
[part.cell]
kind = "o2_cell_ads1115"
bus = "main"
address = 0x48
{first}
[part.other]
kind = "{kind}"
bus = "main"
address = 0x48
{second}
"""


def _two(folder: Path, kind: str, first: str, second: str) -> Path:
    path = folder / "cabin.toml"
    text = TWO_CELLS.format(kind=kind, first=first, second=second)
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("kind", "first", "second"),
    [
        ("co_cell_ads1115", "", 'options = { pins = "2-3" }'),
        (
            "o2_amplified_ads1115",
            'options = { pins = "2" }',
            'options = { pins = "3" }',
        ),
        ("gas_bead_ads1115", 'options = { pins = "2-3" }', ""),
    ],
)
def test_two_cells_share_a_converter_by_its_inputs(
    tmp_path: Path, kind: str, first: str, second: str
) -> None:
    """It has four, and a cell needs two at most."""
    parts = load(_two(tmp_path, kind, first, second)).parts
    assert {part.address for part in parts.values()} == {0x48}


@pytest.mark.parametrize(
    ("kind", "first", "second", "both"),
    [
        ("co_cell_ads1115", "", "", "AIN0 and AIN1"),
        ("co_cell_ads1115", "", 'options = { pins = "1-3" }', "AIN1"),
        ("o2_amplified_ads1115", "", 'options = { pins = "0" }', "AIN0"),
    ],
)
def test_two_cells_at_one_input_are_refused(
    tmp_path: Path, kind: str, first: str, second: str, both: str
) -> None:
    """The one would be read as the other."""
    (mistake,) = check(_two(tmp_path, kind, first, second))
    assert mistake.key == "part.other.options.pins"
    assert mistake.what == (
        f"reads {both} of the converter at 0x48 on bus main, as [part.cell] does"
    )
    assert 'pins = "2-3"' in mistake.mend


def test_a_cell_and_another_chip_at_one_address_are_refused(tmp_path: Path) -> None:
    """A thermometer has the whole of its address."""
    place = 'place = "glass"'
    (mistake,) = check(_two(tmp_path, "tmp117", "", place))
    assert mistake.key == "part.other.address"
    assert "0x48 on bus main, as [part.cell] has" in mistake.what
    assert mistake.mend == "give one of the two another address"


@pytest.mark.parametrize(
    ("first", "second", "mend"),
    [
        ((0x44, 0x45), (0x44, 0x46), "give one of the two another address"),
        ((0x44, 0x45), (0x44,), "give it another address (other has this one only)"),
        ((0x44,), (0x44, 0x45), "give other another address (it has this one only)"),
        (
            (0x44,),
            (0x44,),
            "both have this one only: give one of them a bus of its own",
        ),
    ],
)
def test_two_parts_at_one_address_are_told_which_of_them_can_move(
    tmp_path: Path, first: tuple[int, ...], second: tuple[int, ...], mend: str
) -> None:
    """A part with one address alone was told to take another one."""
    kinds = {"sht4x": first, "sht3x": second}
    infos = {
        kind: replace(part(kind), address=0x44, addresses=addresses)
        for kind, addresses in kinds.items()
    }
    file = tmp_path / "cabin.toml"
    file.write_text(
        '[cabin]\nname = "lapwing"\n[i2c.main]\ndevice = "/dev/i2c-1"\n'
        '[part.it]\nkind = "sht4x"\nbus = "main"\n'
        '[part.other]\nkind = "sht3x"\nbus = "main"\n',
        encoding="utf-8",
    )
    (mistake,) = check(file, known=Registries(part=infos.__getitem__))
    assert mistake.mend.startswith(mend)
