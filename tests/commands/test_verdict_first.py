"""Whoever reads two lines of a command knows its verdict."""

import re
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import (
    compare,
    config,
    log,
    morning,
    parts,
    phone,
    plan,
    precheck,
    rehearse,
    replay,
    span,
    trial,
)
from cabinvigil.daemon.report.live_view import PastLooks, frame
from cabinvigil.daemon.text.units_said import SI
from tests.commands import calling
from tests.report import trials
from tests.report.test_live_view import STATUS
from tests.review import logs, named

STRICTER = """[alarm.co2-level]
steps = [{ at = 2500.0, priority = "low" }, { at = 10000.0, priority = "medium" }]
"""
PHONE = """state_folder = "{folder}"

[broker]
host = "localhost"
port = 1
tls = false

[[to]]
name = "Ana's phone"
address = "ntfy://localhost:1/a-topic"
"""
pytestmark = [
    pytest.mark.xdist_group("verdict-first"),
    # What apprise imports of the standard library.
    pytest.mark.filterwarnings("ignore:.*slated for removal:DeprecationWarning"),
]


def first_two(text: str) -> str:
    """Return the first two lines, blank ones not counted, as one."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return " ".join(lines[:2])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Nights, a config, and what else the commands are given."""
    made = tmp_path_factory.mktemp("verdicts")
    for name in ("shut", "quiet"):
        (made / name).mkdir()
        first_hour = named.night(name)[0].splitlines(keepends=True)[:130]
        logs.write(made / name, logs.ended(b"".join(first_hour)))
    (made / "trials").mkdir()
    trials.log(made / "trials")
    cabin = calling.call(config, "--example")[1]
    (made / "cabin.toml").write_text(cabin, encoding="utf-8")
    (made / "bad.toml").write_text("[cabin]\nvolume_m3 = 60000\n", encoding="utf-8")
    (made / "stricter.toml").write_text(STRICTER, encoding="utf-8")
    (made / "phone.toml").write_text(
        PHONE.format(folder=made / "state"), encoding="utf-8"
    )
    (made / "torn").mkdir()
    night = next((made / "shut").glob("*.jsonl"))
    text = night.read_text(encoding="utf-8")
    (made / "torn" / night.name).write_text(
        text[: len(text) // 3] + "\x00{]\n" + text[len(text) // 3 :], encoding="utf-8"
    )
    return made


@pytest.mark.parametrize(
    ("night", "hours", "verdict"),
    [
        (
            "shut",
            "0.4",
            r"First woken at 22:\d\d: .* \(wake\); \d+ waking alarms in all\.",
        ),
        ("quiet", "0.1", r"Nothing woke the sleepers\."),
    ],
)
def test_a_rehearsal(night: str, hours: str, verdict: str) -> None:
    code, out, err = calling.call(rehearse, night, "--hours", hours, "--tick-s", "60")
    assert (code, err) == (0, "")
    assert re.search(verdict, first_two(out)), out[:300]


VERDICTS = [
    # command, words ({} is the folder), the verdict
    (plan, ["--burner-kw", "0.8"], r"^Enough vent .*: oxygen 20\.\d %"),
    (plan, ["--vent-low-cm2", "0", "--vent-high-cm2", "0"], r"^(?:NOT|Not) enough"),
    (plan, ["--all"], r"^Enough vent .*: oxygen 20\.\d %"),
    (
        plan,
        ["--sweep", "vent"],
        r"^Enough vent with [\d., ]+ cm² of both vents together",
    ),
    (plan, ["--sweep", "vent", "--burner-kw", "20"], r"^(?:Enough|Not enough) vent"),
    (config, ["{}/cabin.toml"], r"cabin\.toml is valid, with \d things? to check\."),
    (config, ["{}/cabin.toml", "--all"], r"cabin\.toml is valid, with \d things? to"),
    (config, ["{}/bad.toml"], r"^3 mistakes; the monitor will not start"),
    (parts, ["--scan", "--emulated"], r"^All \d sensors in the config respond\."),
    (span, ["--emulated", "--look"], r"The air is fresh\. Only measured"),
    (span, ["--emulated", "--look", "--air", "closed"], r"REFUSED: the air is not"),
    (precheck, ["--emulated"], r"NOT FULLY CHECKED: sounder, phone, log\."),
    (
        precheck,
        ["--emulated", "--failing", "bunk-co=stall"],
        r"NOT READY: (?:.*, )?bunk-co",
    ),
    (morning, ["{}/shut"], r"^NOT SAFE: oxygen 1\d\.\d %"),
    (morning, ["{}/shut", "--all"], r"^NOT SAFE: oxygen 1\d\.\d %"),
    (morning, ["{}/quiet"], r"^Safe by what was measured[.:]"),
    (compare, ["{}/shut", "{}/quiet"], r"^quiet/\S+ was safer"),
    (compare, ["{}/trials@trial"], r"was safer|too short"),
    (
        replay,
        ["{}/shut"],
        r"\d alarms? wakes? people, the first at \d\d:\d\d:\d\d: oxygen",
    ),
    (replay, ["{}/quiet", "{}/shut"], r"(?:Nothing woke anyone|No alarm sounded)\."),
    (
        replay,
        ["{}/shut", "--limits", "{}/stricter.toml"],
        r"^1 lost, 1 earlier, \d the same\.",
    ),
    (log, ["check", "{}/shut"], r"^1 file: nothing is damaged or doubled\."),
    (log, ["check", "{}/torn"], r"^1 file: 1 damaged, 0 doubled\."),
    (log, ["mend", "{}/torn", "-o", "{}/whole"], r"^1 file written to .*, 1 of them"),
    (trial, ["list", "--log", "{}/trials"], r"^2 trials in these nights\."),
    (trial, ["list", "--log", "{}/quiet"], r"^No trials in these nights\."),
    (phone, ["--check", "--config", "{}/phone.toml"], r"^NOT WELL: (?:.*, )?broker"),
    (phone, ["--test", "--config", "{}/phone.toml"], r"^NOT accepted: Ana's phone\."),
]


@pytest.mark.parametrize(
    ("command", "words", "verdict"),
    VERDICTS,
    ids=[
        f"{command.__name__.rpartition('.')[2]} {' '.join(words)}".replace("{}/", "")
        for command, words, _ in VERDICTS
    ],
)
def test_the_first_two_lines(
    folder: Path, command: object, words: list[str], verdict: str
) -> None:
    """Of what is printed; of a refused file, of what is wrong with it."""
    given = [word.format(folder) for word in words]
    _, out, err = calling.call(command, *given)
    assert re.search(verdict, first_two(out or err)), (out or err)[:400]


def test_the_live_view() -> None:
    assert re.match(
        r"(?:SAFE|LOOK|WAKE|OUT|TRIAL|NOT KNOWN)\b",
        first_two(frame(STATUS, PastLooks(), 0.0, SI, is_whole=False)),
    )


def test_every_command_with_a_verdict_is_here() -> None:
    """The others report one thing each: what was noted, refused, or is running."""
    judged = {command.__name__.rpartition(".")[2] for command, _, _ in VERDICTS}
    from cabinvigil.daemon.cli import COMMANDS

    assert set(COMMANDS) - judged == {"run", "rehearse", "show", "mark"}
