"""The sounder before all else: what it takes of the config, and who takes it over."""

import os
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs.signal.gpio import LineError
from cabinvigil.daemon.outputs.signal.sounder_wiring import SounderWiring
from cabinvigil.daemon.service.app import App
from cabinvigil.daemon.service.host_services import HostServices
from cabinvigil.daemon.service.outlets import wiring_of
from cabinvigil.daemon.service.sounder import HeldFaults, start_early, wiring_in
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.settings.errors import ConfigError
from cabinvigil.daemon.settings.read import read_toml
from cabinvigil.daemon.span.kept import maker
from tests.recording_line import RecordingLine
from tests.running import CONFIG
from tests.service.life import CLOCK
from tests.service.test_stop import alive, stopped, until

CABIN = """
[cabin]
name = "sloop-saloon"
[part.cabin-o2]
kind = "o2_optical_line"
port = "/dev/serial/by-id/usb-o2"
[part.cabin-co]
kind = "frame9_co"
port = "/dev/serial/by-id/usb-co"
"""
LIGHT = '[light]\nline = "GPIO5"\n'
BUZZERS = (
    "",
    '[buzzer]\nline = "GPIO6"\n',
    '[buzzer]\nline = "GPIO6"\nactive_low = true\n',
    '[buzzer]\nline = "GPIO6"\nsecond_line = "GPIO7"\nsense_line = "GPIO8"\n',
    '[buzzer]\nline = "pwmchip0/1"\ntone_hz = 520\n',
    '[buzzer]\nline = "pwmchip0/1"\ntone_hz = 2400.5\nsecond_line = "GPIO7"\n',
    LIGHT + '[buzzer]\nline = "GPIO6"\n[button]\nline = "GPIO13"\n',
    # Refused by the settings' checks:
    "[buzzer]\n",
    'buzzer = "GPIO6"\n',
    "[buzzer]\nline = 6\n",
    '[buzzer]\nline = ""\n',
    '[buzzer]\nline = "GPIO 6"\n',
    f'[buzzer]\nline = "{"G" * 33}"\n',
    '[buzzer]\nline = "GPIO6"\nactive_low = "yes"\n',
    '[buzzer]\nline = "GPIO6"\nactive_low = 1\n',
    '[buzzer]\nline = "GPIO6"\nvolume = 3\n',
    '[buzzer]\nline = "GPIO6"\nsecond_line = "GPIO6"\n',
    '[buzzer]\nline = "GPIO6"\nsense_line = ["GPIO8"]\n',
    '[buzzer]\nline = "GPIO6"\ntone_hz = 520\n',
    '[buzzer]\nline = "pwmchip0/1"\n',
    '[buzzer]\nline = "pwmchip0/1"\ntone_hz = true\n',
    '[buzzer]\nline = "pwmchip0/1"\ntone_hz = 50\n',
    '[buzzer]\nline = "pwmchip0/1"\ntone_hz = nan\n',
    LIGHT + '[buzzer]\nline = "GPIO5"\n',
    '[buzzer]\nline = "GPIO6"\n[button]\nline = "GPIO6"\n',
)


@pytest.mark.parametrize("text", BUZZERS)
def test_it_takes_what_the_checked_settings_take(tmp_path: Path, text: str) -> None:
    """And leaves alone what they refuse: no line is driven that they would not."""
    path = tmp_path / "cabin.toml"
    path.write_text(text + CABIN if text.startswith("buzzer") else CABIN + text)
    expected: SounderWiring | None = None
    with suppress(ConfigError):
        expected = wiring_of(load(path))
    assert wiring_in(read_toml(path)) == expected


def test_half_of_the_tables_are_taken(tmp_path: Path) -> None:
    """The test above could else hold for one that takes none."""
    path = tmp_path / "cabin.toml"
    taken = 0
    for text in BUZZERS[1:7]:
        path.write_text(CABIN + text)
        taken += wiring_in(read_toml(path)) is not None
    assert taken == 6


@pytest.mark.parametrize("text", ["", "[buzzer", "\0", "[buzzer]\nline = 1_\n"])
def test_a_file_that_is_no_config_starts_nothing(tmp_path: Path, text: str) -> None:
    path = tmp_path / "cabin.toml"
    if text != "\0":
        path.write_text(text)
    assert start_early(path, CLOCK, lambda *_, **__: pytest.fail("driven")) is None


class Lines:
    """Opens lines on paper, and knows who has them."""

    def __init__(self) -> None:
        self.opened: list[tuple[str, RecordingLine]] = []
        self.held_at_once = 0

    def __call__(self, name: str, **_: Any) -> RecordingLine:
        line = RecordingLine(CLOCK)
        self.opened.append((name, line))
        held = [one for _, one in self.opened if not one.is_closed]
        self.held_at_once = max(self.held_at_once, len(held))
        return line


def config(folder: Path, line: str = "GPIO6") -> Path:
    path = folder / "cabin.toml"
    folders = f'[watch]\nstate_folder = "{folder}"\n[log]\nfolder = "{folder}/log"\n'
    path.write_text(CABIN + folders + f'[buzzer]\nline = "{line}"\n')
    return path


async def test_the_watch_takes_it_over(tmp_path: Path) -> None:
    lines = Lines()
    path = config(tmp_path)
    sounder = start_early(path, CLOCK, lines)
    assert sounder is not None
    app = App(load(path), path, HostServices(maker, open_line=lines), sounder)
    assert app._buzzer is sounder.buzzer
    sounder.end()
    ((name, line),) = lines.opened
    assert name == "GPIO6"
    assert line.is_closed
    assert not any(on for _, on in line.changes), "nothing but silence"


async def test_one_of_a_config_that_was_rewritten_is_let_go_first(
    tmp_path: Path,
) -> None:
    lines = Lines()
    sounder = start_early(config(tmp_path), CLOCK, lines)
    path = config(tmp_path, "GPIO9")
    app = App(load(path), path, HostServices(maker, open_line=lines), sounder)
    assert app._buzzer is not None
    app._buzzer.start()
    for _ in range(2):
        app._buzzer.stop(5.0)
    assert [name for name, _ in lines.opened] == ["GPIO6", "GPIO9"]
    assert lines.held_at_once == 1


async def test_what_went_wrong_before_the_watch_is_told_to_it(tmp_path: Path) -> None:
    def refused(_name: str, **_: Any) -> RecordingLine:
        raise LineError(13, "no permission")

    path = config(tmp_path)
    sounder = start_early(path, CLOCK, refused)
    assert sounder is not None
    told: list[SourceFault | SourceOk] = []
    sounder.faults.pass_to(told.append)
    sounder.end()
    assert [one.source for one in told] == ["buzzer"]


def test_faults_keep_their_order() -> None:
    held, told = HeldFaults(), list[SourceFault | SourceOk]()
    first, last = SourceFault("buzzer", "late", "x"), SourceOk("buzzer")
    held(first)
    held.pass_to(told.append)
    held(last)
    assert told == [first, last]


LOADED = """
import sys
from pathlib import Path
from cabinvigil.daemon import cli
from cabinvigil.daemon.commands import run

def opened(name, **_):
    print(*sorted(sys.modules))
    raise SystemExit
run.open_gpio = opened
run.host_services = lambda: sys.exit(0)
cli.main(["run", "--config", sys.argv[1]])
"""


def test_next_to_nothing_is_loaded_before_it(tmp_path: Path) -> None:
    """Loading is what keeps a slow machine from its sounder (bench/twentieth)."""
    done = subprocess.run(
        [sys.executable, "-c", LOADED, str(config(tmp_path))],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )
    loaded = set(done.stdout.partition("\n")[0].split())
    assert "cabinvigil.daemon.outputs.signal.buzzer" in loaded, done.stderr
    heavy = {"asyncio", "attr", "cattrs", "structlog", "paho", "serial", "smbus2"}
    ours = {f"cabinvigil.daemon.{name}" for name in ("service.app", "settings.config")}
    assert not loaded & (heavy | ours)
    assert not [one for one in loaded if ".rules." in one or ".air." in one]


async def test_it_is_had_though_the_rest_is_never_loaded(tmp_path: Path) -> None:
    (tmp_path / "hang-load").touch()
    async with alive(tmp_path) as life:
        await until(lambda: life.levels("GPIO17"), "the sounder's line")


Edit = Callable[[str], str]
EDITS: dict[str, Edit] = {
    "a mistake elsewhere": lambda text: text.replace("tick_s = 0.5", "tick_s = -1"),
    "nothing wrong": lambda text: text,
}


@pytest.mark.parametrize("what", EDITS)
async def test_its_line_is_let_go_where_the_config_is_refused(
    tmp_path: Path, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sentence, exit code 2, and the line low, as ever at an end."""
    monkeypatch.setattr("tests.running.CONFIG", EDITS[what](CONFIG))
    async with alive(tmp_path) as life:
        await until(lambda: life.levels("GPIO17"), "the sounder's line")
        if what == "nothing wrong":
            await until(lambda: (tmp_path / "ask").exists(), "the watch")
            await stopped(life)
            return
        await until(lambda: life.process.poll() is not None, "the end")
        said = life.kill()
    assert life.process.returncode == 2, said
    assert "tick_s" in said
    assert "Traceback" not in said
    assert [level for _, level in life.levels("GPIO17")][-1] == 0
