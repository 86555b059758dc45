"""`span` as it is met, on emulated wires, in fresh air and in a closed cabin."""

import asyncio
import errno
import json
import os
import re
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.commands import span as command
from cabinvigil.daemon.commands.on_wires import FRESH, run_on_wires
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.nights import Failure
from cabinvigil.daemon.sampling.collector import SampleCollector
from cabinvigil.daemon.sampling.sampler_pool import sampling
from cabinvigil.daemon.sampling.wiring import Wires, from_config
from cabinvigil.daemon.settings.config import Settings, load
from cabinvigil.daemon.span.fresh_air import YES
from cabinvigil.daemon.span.kept import SpansFile, maker
from cabinvigil.daemon.span.outcome import Outcome
from cabinvigil.daemon.span.session import MOVE_IT, SessionError, SpanSession
from tests.commands.calling import call

CONFIG = """
[cabin]
name = "lapwing"
altitude_m = 640.0
outdoor_co2_ppm = 430.0
[watch]
state_folder = "{state}"
[ask]
socket = "{state}/ask"
[i2c.main]
device = "/dev/i2c-1"
[part.bunk-cell]
kind = "o2_cell_ads1115"
bus = "main"
pressure_from = "baro"
temperature_from = "bunk-air"
[part.bunk-co]
kind = "frame9_co"
port = "/dev/serial/by-path/usb-0"
[part.roof-co2]
kind = "frame9_co2"
port = "/dev/serial/by-path/usb-1"
[part.bunk-co2]
kind = "scd4x"
bus = "main"
[part.baro]
kind = "bme280"
bus = "main"
[part.bunk-air]
kind = "sht4x"
bus = "main"
[part.pane]
kind = "ds18b20"
path = "/sys/bus/w1/devices/28-000000000001/w1_slave"
place = "glass"
"""
USUAL = ("bunk-cell", "bunk-co", "bunk-co2")


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A trailer with a galvanic cell, two CO2 parts and a CO module."""
    path = tmp_path / "cabin.toml"
    path.write_text(CONFIG.format(state=tmp_path / "state"), encoding="utf-8")
    return path


class Person:
    """Answers prompts in order, and remembers what was asked and said."""

    def __init__(self, *answers: str) -> None:
        self.answers = list(answers)
        self.heard: list[str] = []

    def __call__(self, prompt: str) -> str:
        self.heard.append(prompt)
        return self.answers.pop(0) if self.answers else ""


def called(
    config: Path, *words: str, person: Callable[[str], str] | None = None
) -> tuple[int, str, str]:
    return call(command, "--config", config, *words, ask=person or Person())


def session(
    settings: Settings,
    folder: Path | None,
    names: Sequence[str] = USUAL,
    air: AirNow = FRESH,
    person: Callable[[str], str] | None = None,
    failures: tuple[Failure, ...] = (),
) -> Outcome:
    one = SpanSession(
        settings,
        tuple(names),
        folder,
        look_s=None,
        only_look=False,
        say=lambda _line: None,
        ask=person or Person(),
        is_quick=True,
    )
    return run_on_wires(one.run, settings, air, failures=failures)


def shows(
    settings: Settings, folder: Path | None, air: AirNow = FRESH
) -> SampleCollector:
    """What the parts show in some air, a quarter of an hour after the start."""
    make = from_config if folder is None else maker(folder, lambda _fault: None)

    async def look(wires: Wires, clock: Clock) -> SampleCollector:
        looker = SampleCollector(clock)
        async with sampling(settings, looker, clock, wires, make):
            await asyncio.sleep(960.0)
        return looker

    return run_on_wires(look, settings, air)


def test_a_span_makes_the_parts_show_fresh_air(config: Path, tmp_path: Path) -> None:
    """Before it the cell shows nothing; after it, fresh air's oxygen, and on the hill.

    The kept span is picked up at the next start, by way of the state folder.
    """
    settings = load(config)
    assert shows(settings, None).values("bunk-cell", "o2_pct") == []
    outcome = session(settings, tmp_path / "state")
    assert outcome.is_good
    kept = SpansFile(tmp_path / "state").load()
    assert {span.part for span in kept} == set(USUAL)
    cell = next(span for span in kept if span.part == "bunk-cell")
    assert cell.temp_c == pytest.approx(15.0, abs=0.5)
    assert cell.pressure_hpa == pytest.approx(939.0, abs=2.0)
    after = shows(settings, tmp_path / "state")
    o2 = after.values("bunk-cell", "o2_pct")[-10:]
    assert sum(o2) / len(o2) == pytest.approx(FRESH.o2_pct, abs=0.05)
    stormy = shows(settings, tmp_path / "state", replace(FRESH, pressure_hpa=900.0))
    o2 = stormy.values("bunk-cell", "o2_pct")[-10:]
    assert sum(o2) / len(o2) == pytest.approx(FRESH.o2_pct, abs=0.1)


def test_carbon_dioxide_is_moved_on_the_part_and_seen_to_have_moved(
    config: Path,
) -> None:
    """Sensors sheet, 1: after three minutes in constant air, to the outdoor value."""
    outcome = session(load(config), None, ["bunk-co2", "roof-co2"])
    by_name = {part.name: part for part in outcome.parts}
    assert by_name["bunk-co2"].measured == pytest.approx(430.0, abs=15.0)
    # The nine-byte module knows one word only: that the air has 400 ppm.
    assert by_name["roof-co2"].measured == pytest.approx(400.0, abs=15.0)


@pytest.mark.parametrize(
    ("told", "after_ppm"), [('pressure_from = "baro"\n', 632.1), ("", 400.0)]
)
def test_a_module_is_recalibrated_high_up_in_its_own_terms(
    config: Path, told: str, after_ppm: float
) -> None:
    """Its 400 ppm are 632 of the air at 783.7 hPa: it was told that it did not take.

    1.6 % for each of 22.955 kPa less (sensors sheet, 12) leave 63.3 %, by hand; where
    nobody tells it the pressure, 400 are 400.
    """
    kind = 'kind = "frame9_co2"\n'
    config.write_text(config.read_text("utf-8").replace(kind, kind + told), "utf-8")
    thin = replace(FRESH, o2_pct=20.58, pressure_hpa=783.7)
    outcome = session(load(config), None, ["roof-co2"], thin)
    (part,) = outcome.parts
    assert part.refused == ""
    assert part.measured == pytest.approx(after_ppm, abs=15.0)


def test_a_closed_cabin_is_refused_with_what_was_seen(config: Path) -> None:
    """Nothing is changed, on any part or in the folder; exit 1."""
    words = ["--emulated", "--air", "closed", "--yes", YES]
    code, out, err = called(config, *words)
    assert (code, err) == (1, "")
    assert "UNFIT      roof-co2: carbon dioxide" in out
    assert "REFUSED: the air is not fresh and steady. Nothing was changed." in out
    assert "before" not in out


def test_without_the_yes_nothing_is_looked_at(config: Path) -> None:
    """A bare 'y' is none; the sentence is shown and asked for."""
    for answer in ("y", "yes", ""):
        person = Person(answer)
        code, out, err = called(config, "--emulated", person=person)
        assert code == 1
        assert YES in out
        assert "nothing was calibrated: the sentence was not typed" in err
        assert person.heard == ["> "]
    code, out, _ = called(config, "--emulated", person=Person(YES))
    assert code == 0
    assert "Emulated sensors: nothing was kept." in out


def test_before_and_after_are_shown(config: Path, tmp_path: Path) -> None:
    """One line a part; the first span of a cell had nothing before it."""
    words = ["--emulated", "--yes", YES, "--state", str(tmp_path / "kept")]
    code, out, _ = called(config, *words, "bunk-cell", "bunk-co")
    assert code == 0
    assert re.search(r"mV; oxygen nothing before, 20\.6[67] after, in %", out)
    assert "carbon monoxide" in out
    assert f"Kept in {tmp_path / 'kept'}, of emulated sensors: no monitor may" in out
    _, out, _ = called(
        config, "--emulated", "--kept", "--state", str(tmp_path / "kept")
    )
    assert "bunk-cell (o2_cell_ads1115)" in out
    assert "15.0 °C" in out


def test_only_looking_changes_nothing(config: Path, tmp_path: Path) -> None:
    """No yes is asked for, and no file is made."""
    code, out, _ = called(
        config, "--emulated", "--look", "--state", str(tmp_path / "kept")
    )
    assert code == 0
    assert "Only measured: nothing was changed." in out.splitlines()[1]
    assert not (tmp_path / "kept").exists()


def test_a_large_correction_asks_for_a_second_yes(config: Path) -> None:
    """Beyond 300 ppm (sensors sheet, 1): without it the part is left as it is."""
    settings = load(config)
    high = replace(FRESH, co2_ppm=850.0)
    both = ["bunk-co2", "roof-co2"]
    refused = session(settings, None, both, high, Person("yes", MOVE_IT))
    left, moved = refused.parts
    assert "that was not confirmed" in left.refused
    assert (left.measured, moved.refused) == (None, "")
    done = session(settings, None, both, high, Person(MOVE_IT, MOVE_IT))
    assert done.is_good
    assert done.parts[0].measured == pytest.approx(430.0, abs=20.0)
    # Another part that is not to be moved says that the air is stale.
    assert session(settings, None, ["bunk-co2"], high, Person(MOVE_IT)).parts == []


def test_a_part_that_is_silent_is_refused_and_the_others_are_not(config: Path) -> None:
    """Its fault is told in place of a span."""
    gone = Failure(0.0, 1e6, "bunk-cell", "vanish")
    outcome = session(load(config), None, failures=(gone,))
    cell, *others = outcome.parts
    assert "bunk-cell (oxygen cell) does not respond" in cell.refused
    assert not outcome.is_good
    assert all(not part.refused for part in others)


def test_nobody_answers(config: Path) -> None:
    """Every wire dead: one sentence, no table of nothing."""
    dead = [
        Failure(0.0, 1e6, name, "vanish")
        for name in ("bus", "bunk-co", "roof-co2", "pane")
    ]
    with pytest.raises(SessionError, match=r"no sensor has given a reading: .*bunk-co"):
        session(load(config), None, failures=tuple(dead))


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["bunk-o3"], "the config has no sensor 'bunk-o3'; it has bunk-cell"),
        (["bunk-air"], "bunk-air is a sht4x, which is not calibrated"),
        (["--minutes", "0.1"], "--minutes must lie between 1 and 60"),
        (["--co2-ppm", "90"], "--co2-ppm must lie between 350 and 2000"),
    ],
)
def test_a_wrong_call_is_told_in_one_sentence(
    config: Path, words: list[str], why: str
) -> None:
    """Exit 2, nothing on the wires."""
    code, out, err = called(config, "--emulated", "--yes", YES, *words)
    assert (code, out) == (2, "")
    assert why in err


def test_a_config_that_is_wrong_is_told(tmp_path: Path) -> None:
    """As every command does."""
    (tmp_path / "bad.toml").write_text("[cabin]\nname = 3\n", encoding="utf-8")
    code, _, err = called(tmp_path / "bad.toml", "--yes", YES)
    assert code == 2
    assert "cabin.name" in err


def test_spans_that_cannot_be_read_are_not_written_over(
    config: Path, tmp_path: Path
) -> None:
    """Exit 3, with the file and the mend."""
    state = tmp_path / "kept"
    state.mkdir()
    (state / "spans").write_bytes(b"garbage")
    words = ["--emulated", "--yes", YES, "--state", str(state)]
    code, _, err = called(config, *words, "bunk-co")
    assert code == 3
    assert f"Move spans out of {state}" in err
    assert (state / "spans").read_bytes() == b"garbage"


def test_a_disk_that_is_full_is_told(
    config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 3, in the system's words."""

    def add(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(SpansFile, "add", add)
    words = ["--emulated", "--yes", YES, "--state", str(tmp_path / "kept")]
    code, _, err = called(config, *words, "bunk-co")
    assert (code, err) == (3, "cabinvigil: No space left on device\n")


def test_as_json(config: Path) -> None:
    """One object, units in the keys, what was seen and what came of it."""
    code, out, _ = called(config, "--emulated", "--yes", YES, "--json", "bunk-cell")
    told: dict[str, Any] = json.loads(out)
    assert code == 0
    assert told["fresh"] is True
    assert told["air"]["o2_pct"] == pytest.approx(20.67, abs=0.02)
    (part,) = told["parts"]
    assert part["before"] is None
    assert part["after"] == pytest.approx(20.67, abs=0.02)
    assert part["options"].keys() == {
        *("air_mv", "air_hpa", "air_o2_pct", "air_temp_c"),
    }


def test_while_the_watch_runs_the_parts_are_left_to_it(
    config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two programs on one wire garble each other: stop it first; exit 3."""
    monkeypatch.setattr(
        "cabinvigil.daemon.ask.socket.ask_watch", lambda *_args: {"ok": True}
    )
    code, _, err = called(config, "--yes", YES)
    assert code == 3
    assert "systemctl stop cabinvigil" in err


def test_a_clock_that_is_lost_is_set_first(
    config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A span without its date tells nothing of a cell's age: exit 3, with the mend."""
    lost = datetime(1970, 1, 1, tzinfo=UTC)
    monkeypatch.setattr("cabinvigil.daemon.commands.on_wires.START_WALL", lost)
    code, _, err = called(config, "--emulated", "--yes", YES)
    assert code == 3
    assert "the clock says 1970-01-01: set it first" in err


def test_a_recalibration_that_does_not_take_is_told(
    config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The part answers that it failed (ffff, sensors sheet 1): nothing is claimed."""
    monkeypatch.setattr("cabinvigil.daemon.rehearsal.emulated.scd4x.RUN_BEFORE_S", 1e9)
    outcome = session(load(config), None, ["bunk-co2", "roof-co2"])
    part, other = outcome.parts
    assert "the forced recalibration failed" in part.refused
    assert (part.measured, other.refused) == (None, "")


@pytest.mark.skipif(os.geteuid() != 0, reason="becomes another user")
def test_who_may_not_keep_a_span_is_told_before_the_minutes() -> None:
    """The Pi's own user has the buses' groups, and so would look for nothing."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        words = ["--emulated", "--state", folder, "--yes", YES]
        os.seteuid(65534)
        try:
            code, _out, err = call(command, *words)
        finally:
            os.seteuid(0)
    assert code == 3
    assert "the user nobody may not write; run this by `sudo -u root`" in err
