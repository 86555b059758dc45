"""`cabinvigil config`: what a file would watch, or all its mistakes."""

import json
import re
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import config as config_command
from cabinvigil.daemon.settings import config as settings
from cabinvigil.daemon.settings.registries import packaged
from tests.commands.calling import call
from tests.known import CABIN, KNOWN, Desk
from tests.settings.test_devices import WHOLE, Bench


@pytest.fixture(autouse=True)
def small_limits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the command find the small limits where it looks for the packaged ones."""
    desk = Desk(tmp_path)
    real = settings._limits

    def limits(path: Path | None, mistakes: list[settings.Mistake]) -> object:
        return real(desk.limits if path is None else path, mistakes)

    monkeypatch.setattr(settings, "_limits", limits)


def run(tmp_path: Path, text: str, *words: str) -> tuple[int, str, str]:
    file = tmp_path / "cabin.toml"
    file.write_text(text)
    machine = Bench({"/dev/i2c-1": WHOLE["/dev/i2c-1"]}, chips=())
    return call(config_command, file, *words, known=KNOWN, machine=machine)


def test_a_good_file_is_told_whole(tmp_path: Path) -> None:
    """Parts, alarms, limits and sources, and what is not watched, in plain words."""
    code, out, err = run(tmp_path, CABIN, "--all")
    assert (code, err) == (0, "")
    for words in (
        "cabin.toml is valid, with 3 things to check.",
        "Cabin lapwing, judged every 1 s.",
        "bunk-o2  oxygen cell on main 0x48, bunk: oxygen; every 2 s, stale after 6 s",
        "pane     pane thermometer on /sys/bus/w1/devices/28-1/w1_slave, glass",
        "too little oxygen (o2-low): limit; quantity o2_pct; steps (at 19.5 prio",
        "from: 29 CFR 1910.146(b)",
        "after 5 s, clears after 60 s",
    ):
        assert words in out
    assert "Laxer" not in out


def test_what_is_laxer_is_said_aloud(tmp_path: Path) -> None:
    """Whoever reads the account sees what was given away."""
    text = CABIN + "[alarm.o2-low]\nack_s = 600\naccept_laxer = true\n"
    _, screen, _ = run(tmp_path, text)
    assert "less strict than published: o2-low: its ack_s" in " ".join(screen.split())
    code, out, _ = run(tmp_path, text, "--all")
    assert code == 0
    assert "Less strict than the packaged limits, as accepted" in out
    assert "o2-low: its ack_s is 600, packaged 300" in out


def test_all_mistakes_and_exit_2(tmp_path: Path) -> None:
    """Each on its line, on the error stream, and how many there are."""
    text = CABIN.replace("tick_s = 1", "tick_s = 99\ntik = 1")
    code, out, err = run(tmp_path, text)
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 3
    assert err.startswith("2 mistakes; the monitor will not start with this file.\n")
    assert "Traceback" not in err
    code, out, _ = run(tmp_path, text, "--json")
    told = json.loads(out)
    assert code == 2
    assert not told["fine"]
    assert {one["key"] for one in told["mistakes"]} == {"watch.tick_s", "watch.tik"}
    assert run(tmp_path, "[cabin", "--json")[0] == 2
    assert run(tmp_path, "[cabin")[2].startswith(
        "1 mistake; the monitor will not start with this file.\n"
    )


def test_devices_that_are_missing_give_exit_3(tmp_path: Path) -> None:
    """The file is fine, the machine is not; only asked for with --devices."""
    code, out, err = run(tmp_path, CABIN, "--devices")
    assert code == 3
    assert "is valid" in out
    assert "part.bunk-co.port" in err
    code, out, _ = run(tmp_path, CABIN, "--devices", "--json")
    assert code == 3
    told = json.loads(out)
    assert not told["fine"]
    assert told["settings"]["cabin"]["volume_m3"] == 11.0
    assert any(one["key"] == "buzzer" for one in told["mistakes"])


def test_cautions_are_for_what_a_person_would_not_see(tmp_path: Path) -> None:
    """No CO part, no pressure, no buzzer, no phone: each is said aloud."""
    text = """
[cabin]
name = "hut"
[i2c.main]
device = "/dev/i2c-1"
[part.air]
kind = "cell"
bus = "main"
[alarm.co-early]
kind = "limit"
quantity = "co_ppm"
steps = [{ at = 10.0 }]
"""
    _, out, _ = run(tmp_path, text, "--all")
    mind = out[out.index("To check") :]
    for words in (
        "Nothing measures carbon monoxide",
        "No sensor measures carbon monoxide, so co-early cannot sound.",
        "air is not corrected for air pressure",
        "air wears out",
        "no sounder wakes anyone",
        "no message reaches a phone",
    ):
        assert words in mind
    open_mqtt = text + '[mqtt]\nhost = "broker.example"\ntls = false\n'
    assert "not encrypted" in run(tmp_path, open_mqtt)[1]
    near = text + '[mqtt]\nhost = "127.0.0.1"\ntls = false\n'
    assert "not encrypted" not in run(tmp_path, near)[1]


def test_the_example_can_be_printed_to_copy(tmp_path: Path) -> None:
    """What is printed is the very file that ships, comments and all."""
    code, out, _ = run(tmp_path, CABIN, "--example")
    assert code == 0
    assert out == packaged("cabin.toml").read_text(encoding="utf-8")


def test_the_limits_are_one_table_with_their_documents() -> None:
    """No file is read; each limit, its documents, and what is known of those."""
    code, out, err = call(config_command, "--limits")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert max(map(len, lines)) <= 88
    assert any(
        re.fullmatch(r"co-level +8\.7 ppm over 8 h +low +who-2000, who-2010", line)
        for line in lines
    )
    assert any(
        re.fullmatch(r"o2-pressure +157 hPa at 20 % or less +medium .*", line)
        for line in lines
    )
    assert any(line.startswith("en721 ") and "2019" in line for line in lines)
    code, out, _ = call(config_command, "--limits", "--json")
    told = json.loads(out)
    assert code == 0
    cited = {key for limit in told["limits"] for key in limit["documents"]}
    assert cited <= told["documents"].keys()
    assert told["documents"]["en50291-1"]["status"] == "secondary"


def test_a_carbon_monoxide_part_without_a_thermometer_is_minded(tmp_path: Path) -> None:
    """In the cold it shows two thirds of the gas, and nobody would know."""
    bare = """
[cabin]
name = "hut"
[i2c.main]
device = "/dev/i2c-1"
[part.co]
kind = "liner"
port = "/dev/serial/by-path/usb-0"
"""
    words = "co is not corrected for cold: name `temperature_from`."
    assert words in run(tmp_path, bare)[1]
    told = 'temperature_from = "roof"\n[part.roof]\nkind = "baro"\nbus = "main"\n'
    assert words not in run(tmp_path, bare + told)[1]


def test_a_zone_is_known_or_refused_with_the_nearest(tmp_path: Path) -> None:
    """R3: the cabin's zone stands in its config; the machine's is used else."""
    code, out, err = run(
        tmp_path, CABIN.replace("[cabin]", '[cabin]\nzone = "Asia/Oslo"')
    )
    assert (code, out) == (2, "")
    assert "cabin.zone is 'Asia/Oslo', not a time zone that this machine knows" in err
    assert 'write it like zone = "Europe/Oslo"' in err
    good = CABIN.replace("[cabin]", '[cabin]\nzone = "Asia/Kolkata"')
    code, out, _ = run(tmp_path, good)
    assert code == 0
    assert "Asia/Kolkata" in run(tmp_path, good, "--json")[1]
    assert "noon of UTC" not in out


def test_a_machine_on_utc_is_minded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its nights would turn in somebody's sleep."""
    monkeypatch.setenv("TZ", "UTC")
    assert "a night would end at noon of UTC" in " ".join(
        run(tmp_path, CABIN)[1].split()
    )
    monkeypatch.setenv("TZ", "Europe/Oslo")
    assert "noon of UTC" not in run(tmp_path, CABIN)[1]


def test_what_a_build_leaves_out_is_a_note_and_nothing_to_fix(tmp_path: Path) -> None:
    """Dust and gas are no part of most builds; oxygen and CO are of each."""
    more = """[alarm.dusty]
kind = "limit"
quantity = "pm2_5_ugm3"
steps = [{ at = 100.0 }]
"""
    _, out, _ = run(tmp_path, CABIN)
    _, with_dust, _ = run(tmp_path, CABIN + more)
    assert with_dust.splitlines()[:2] == out.splitlines()[:2]
    assert "Without a sensor, and so without an alarm: " in with_dust
    assert "fine dust" in with_dust
    assert "fine dust: dusty" in run(tmp_path, CABIN + more, "--all")[1]
    told = json.loads(run(tmp_path, CABIN + more, "--json")[1])
    assert told["not_watched"]["pm2_5_ugm3"] == ["dusty"]
    assert not [one for one in told["mind"] if "fine dust" in one]


def test_one_screen_says_first_whether_it_will_do(tmp_path: Path) -> None:
    """Verdict and act in two lines, 24 lines at most, no alarm's id."""
    _, out, _ = run(tmp_path, CABIN)
    first, second, *rest = out.splitlines()
    assert first.endswith("is valid, with 3 things to check.")
    assert second == "Fix them before the first night; then run `cabinvigil precheck`."
    assert len(rest) <= 22
    many = CABIN + "".join(
        f'[part.pane{n}]\nkind = "pane"\npath = "/sys/bus/w1/devices/28-{n}/w1_slave"\n'
        for n in range(2, 14)
    )
    code, out, _ = run(tmp_path, many)
    if code == 0:
        assert len(out.splitlines()) <= 26
        assert "more: see --all." in out
