"""Keys of parts and watch that guard less: refused, or accepted and said aloud."""

import json
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main

CABIN = """
[cabin]
name = "hut"
altitude_m = 640
[watch]
{watch}
[i2c.main]
device = "/dev/i2c-1"
[part.bunk-o2]
kind = "o2_key_register"
bus = "main"
pressure_from = "baro"
{o2}
[part.bunk-co]
kind = "frame9_co"
port = "/dev/serial/by-path/usb-0"
{co}
[part.bunk-co2]
kind = "scd4x"
bus = "main"
{co2}
[part.baro]
kind = "bme280"
bus = "main"
{baro}
{more}
"""
SECOND_CO = '[part.roof-co]\nkind = "frame9_co"\nport = "/dev/serial/by-path/usb-1"\n'
LEAVE = "accept_laxer = true\n"

Said = tuple[int, str, str]


@pytest.fixture
def config(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> "Config":
    return Config(tmp_path / "cabin.toml", capsys)


class Config:
    """`cabinvigil config` on the hut, with some lines more."""

    def __init__(self, path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.path, self._capsys = path, capsys

    def __call__(self, *words: str, **lines: str) -> Said:
        keys = ("watch", "o2", "co", "co2", "baro", "more")
        text = CABIN.format(**(dict.fromkeys(keys, "") | lines))
        self.path.write_text(text, encoding="utf-8")
        code = main(["config", str(self.path), *words])
        out, err = self._capsys.readouterr()
        return code, out, err


LAXER = [
    ("co", 'place = "outside"', "bunk-co", "nothing measures carbon monoxide where"),
    ("co", 'place = "glass"', "bunk-co", "nothing measures carbon monoxide where"),
    ("o2", 'place = "outside"', "bunk-o2", "nothing measures oxygen where people"),
    ("o2", 'place = "ceiling"', "bunk-o2", "the forecast gets no oxygen"),
    ("co2", 'place = "outside"', "bunk-co2", "the forecast gets no carbon dioxide"),
    ("co2", 'place = "upper"', "bunk-co2", "the forecast gets no carbon dioxide"),
    ("co2", 'leave_out = ["co2_ppm"]', "bunk-co2", "gets no carbon dioxide"),
    ("o2", 'leave_out = ["o2_pct"]', "bunk-o2", "nothing measures oxygen"),
    ("co", "max_age_s = 600", "bunk-co", "its max_age_s is 600, the sensor's own 5"),
    ("co", "interval_s = 4", "bunk-co", "its interval_s is 4, the sensor's own 1"),
    ("baro", "max_age_s = 300", "baro", "its max_age_s is 300, the sensor's own 30"),
    ("watch", "tick_s = 60", "watch", "its tick_s is 60, usual at most 10"),
    ("watch", "tick_s = 10.5", "watch", "its tick_s is 10.5"),
]


@pytest.mark.hazard("silenced-by-config")
@pytest.mark.parametrize(("table", "line", "name", "text"), LAXER)
def test_what_guards_less_is_refused(
    config: Config, table: str, line: str, name: str, text: str
) -> None:
    """With the table, the key, what it takes away, and two ways to go on."""
    code, out, err = config(**{table: line})
    assert (code, out) == (2, "")
    at = "watch" if name == "watch" else f"part.{name}"
    assert f": {at}.{line.split()[0]} protects less than it should: " in err
    assert text in err
    assert "accept_laxer = true" in err
    assert err.startswith("1 mistake; the monitor will not start with this file.\n")


@pytest.mark.parametrize(("table", "line", "name", "text"), LAXER)
def test_what_was_accepted_is_said_aloud(
    config: Config, table: str, line: str, name: str, text: str
) -> None:
    """By `config`, in its JSON, and wherever laxer limits are said."""
    code, out, _ = config("--all", **{table: f"{line}\n{LEAVE}"})
    assert code == 0
    heading = out.index("Less strict than the packaged limits, as accepted")
    assert f"  {name}: its {line.split()[0]} is " in out[heading:]
    assert text in out[heading:]
    _, out, _ = config("--json", **{table: f"{line}\n{LEAVE}"})
    (laxer,) = json.loads(out)["laxer"]
    assert text in laxer


def test_what_is_no_longer_watched_is_minded_too(config: Config) -> None:
    """Carbon monoxide outside is none where people breathe."""
    _, out, _ = config("--all", co=f'place = "outside"\n{LEAVE}')
    mind = out[out.index("To check") :]
    assert "Nothing measures carbon monoxide where people breathe" in mind


@pytest.mark.parametrize(
    ("table", "line"),
    [
        ("o2", ""),
        ("co", "max_age_s = 4"),
        ("co", "interval_s = 1"),
        ("co2", "max_age_s = 15"),
        ("watch", "tick_s = 10"),
        ("o2", 'leave_out = ["o2_hpa"]'),
        ("co", LEAVE),
        ("more", SECOND_CO + 'place = "outside"\n'),
        ("more", SECOND_CO + 'place = "ceiling"\n'),
    ],
)
def test_what_guards_as_much_needs_no_leave(
    config: Config, table: str, line: str
) -> None:
    """Stricter, or another place where one at the bunk is left."""
    code, out, err = config(**{table: line})
    assert (code, err) == (0, "")
    assert "Laxer" not in out


def test_one_part_less_of_two_is_said(config: Config) -> None:
    """Leaving out what protects life takes a guard away, though one is left."""
    line = '[part.spare-o2]\nkind = "o2_optical_line"\nport = "/dev/ttyS0"\n'
    code, _, err = config(more=line + 'leave_out = ["o2_pct"]\n')
    assert code == 2
    assert "part.spare-o2.leave_out" in err
    assert "one sensor less measures oxygen" in err


@pytest.mark.hazard("silenced-by-config")
@pytest.mark.parametrize("word", ["bunk", "berth", "bed", ""])
def test_a_word_for_the_bunk_is_the_bunk(config: Config, word: str) -> None:
    """It is printed like that: as another place it would turn the forecast off."""
    code, out, _ = config(*["--json"], o2=f'place = "{word}"')
    assert code == 0
    told = json.loads(out)
    assert told["laxer"] == []
    assert told["settings"]["part"]["bunk-o2"]["place"] == ""


@pytest.mark.parametrize(
    ("word", "close"),
    [("bunck", "bunk"), ("cieling", "ceiling"), ("outsid", "outside")],
)
def test_a_place_that_is_not_known_is_refused_with_the_nearest(
    config: Config, word: str, close: str
) -> None:
    """A misspelt place would be one of its own, unwatched by the forecast."""
    code, _, err = config(o2=f'place = "{word}"')
    assert code == 2
    assert f"part.bunk-o2.place is '{word}', which is not a known place" in err
    assert f"write `{close}` if that was meant" in err
    assert "known: bunk, glass, outside, ceiling" in err


def test_an_alarm_on_a_place_without_a_part_cannot_ring(config: Config) -> None:
    """It is said; and a word for the bunk is the bunk there too."""
    alarm = '[alarm.roof-o2]\nkind = "level"\nquantity = "o2_pct"\nside = "below"\n'
    alarm += 'steps = [{ at = 19.5, priority = "high" }]\nplace = "PLACE"\n'
    _, out, _ = config(more=alarm.replace("PLACE", "ceiling"))
    assert "No sensor measures oxygen at ceiling: roof-o2 cannot sound." in out
    _, out, _ = config(more=alarm.replace("PLACE", "bunk"))
    assert "roof-o2 cannot sound" not in out
    code, _, err = config(more='[alarm.o2-low]\nplace = "bunk"\n')
    assert code == 2
    assert "alarm.o2-low is less strict than the packaged limits" in err


def test_all_that_guards_less_is_said_at_once(config: Config) -> None:
    """One read, all mistakes."""
    code, _, err = config(
        watch="tick_s = 30",
        co='place = "outside"\nmax_age_s = 60',
        o2="interval_s = 6",
        baro='place = "bnuk"',
    )
    assert code == 2
    assert len(err.splitlines()) == 6


def test_a_part_that_cannot_be_read_hides_no_slow_tick(config: Config) -> None:
    """It was said only once the part was right: one mistake more after the last."""
    code, out, err = config(watch="tick_s = 30", co='adress = "0x20"')
    assert code == 2
    assert "adress" in out + err
    assert "watch.tick_s protects less than it should" in out + err


def test_before_bed_it_is_said_again(
    config: Config, capsys: pytest.CaptureFixture[str]
) -> None:
    """By `precheck`, as laxer limits are."""
    config(co=f"max_age_s = 60\n{LEAVE}")
    words = ["precheck", "--emulated", "--config", str(config.path)]
    main([*words, "--no-key", "--no-phone"])
    out, _ = capsys.readouterr()
    said = " ".join(out.split())
    assert "bunk-co: its max_age_s is 60, the sensor's own 5" in said
