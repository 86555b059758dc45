"""The command line: exit codes, one sentence for each mistake, no traceback."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import COMMANDS, main, parser_of


def test_without_a_command_it_lists_them(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing said is a wrong call; asking for help is not."""
    assert main([]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert main(["--help"]) == 0
    listed = capsys.readouterr().out
    assert listed == told.err
    for word in COMMANDS:
        assert f"  {word}" in listed
    assert "does not replace certified" in listed


def test_an_unknown_command_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    """The sentence lists what there is."""
    assert main(["fly"]) == 2
    err = capsys.readouterr().err
    assert "no such command: 'fly'" in err
    assert "rehearse" in err


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    """Name and number, alone on a line."""
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("cabinvigil 0.")


@pytest.mark.parametrize("word", sorted(COMMANDS))
def test_every_command_explains_itself(word: str) -> None:
    """What it does, its options, and an example of the trailer."""
    text = parser_of(word).format_help()
    assert f"usage: cabinvigil {word}" in text
    assert f"cabinvigil {word}" in text.split("example", 1)[1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["replay", "none.csv"], "none.csv: cannot be read"),
        (["replay", "none.jsonl"], "none.jsonl: not found"),
        (["replay", "bad.csv"], "line 2, column o2_pct: 'fine'"),
        (["rehearse", "quiet", "--hours", "0"], "--hours must lie between"),
        (["rehearse", "quiet", "--tick-s", "0.1"], "--tick-s must lie between"),
        (["rehearse", "quiet", "--pace", "-1"], "--pace must lie between"),
        (["rehearse", "--air", "bad.csv"], "column o2_pct: 'fine'"),
        (["rehearse", "quiet", "--log", "bad.csv"], "--log bad.csv: no log can be"),
        (["rehearse", "quiet", "--log", "bad.csv/x"], "(Not a directory); name a"),
        (["plan", "--picture", "none/x.svg"], "written: No such file or directory;"),
        (["run", "--config", "none.toml"], "none.toml"),
        (["rehearse", "--config", "none.toml"], "none.toml"),
        (["replay", "good.csv", "--config", "none.toml"], "none.toml"),
    ],
)
def test_a_wrong_call_gets_a_sentence(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: list[str],
    said: str,
) -> None:
    """Exit 2, one sentence, nothing lost, no traceback."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.csv").write_text("time_s,o2_pct\n0,fine\n", encoding="utf-8")
    (tmp_path / "good.csv").write_text("time_s,o2_pct\n0,20.9\n", encoding="utf-8")
    assert main(words) == 2
    err = capsys.readouterr().err
    assert said in err
    assert "Traceback" not in err


def test_argparse_refuses_with_2() -> None:
    """An option that there is not, and a night that there is not."""
    for words in (["plan", "--volume-ft3", "3"], ["rehearse", "noisy"]):
        with pytest.raises(SystemExit) as end:
            main(words)
        assert end.value.code == 2


def test_replay_for_people_and_for_programs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same transition, as a line to read and as JSON."""
    path = tmp_path / "air.csv"
    rows = "".join(f"{10 * i},{20.9 if i < 30 else 19.0}\n" for i in range(60))
    path.write_text("time_s,o2_pct\n" + rows, encoding="utf-8")
    assert main(["replay", str(path), "--json"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    low = next(line for line in lines if line["alarm"] == "o2-low")
    assert (low["was"], low["state"], low["priority"]) == (
        "normal",
        "unacknowledged",
        "high",
    )
    # On the very row: with rows every ten seconds the on-delay of five is over.
    assert low["time_s"] == 300.0
    assert main(["replay", str(path)]) == 0
    out = capsys.readouterr().out
    assert "+0:05:00  danger  too little oxygen: active." in out


def test_replay_says_when_nothing_rang(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Silence would look like a command that did nothing."""
    path = tmp_path / "air.csv"
    path.write_text("time_s,o2_pct\n0,20.9\n10,20.89\n", encoding="utf-8")
    assert main(["replay", str(path)]) == 0
    assert capsys.readouterr().out == "No alarm sounded.\n"


def test_estimates_have_the_keys_that_are_promised(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Once a minute: rate, probability, minutes, settling level, air changes."""
    path = tmp_path / "air.csv"
    rows = "".join(
        f"{10 * i},{20.7 - 0.004 * i:.4f},{600 + 24 * i}\n" for i in range(120)
    )
    path.write_text("time_s,o2_pct,co2_ppm\n" + rows, encoding="utf-8")
    assert main(["replay", str(path), "--json", "--estimates"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    told = [line for line in lines if line["event"] == "estimate"]
    assert [line["time_s"] for line in told[:3]] == [60.0, 120.0, 180.0]
    last = told[-1]
    assert {
        "o2_rate_pct_per_h",
        "o2_below_19_5_within_20min",
        "o2_minutes_to_19_5",
        "o2_settles_pct",
        "air_changes_per_h",
    } <= last.keys()
    low, middle, high = last["o2_rate_pct_per_h"]
    assert low <= middle <= high
    # 0.004 % in ten seconds is 1.44 % an hour.
    assert low <= -1.44 <= high


@pytest.mark.parametrize(
    "words",
    ["replay air.csv --json --estimates", "rehearse quiet --json --hours 0.5"],
)
def test_a_reader_that_leaves_is_no_error(tmp_path: Path, words: str) -> None:
    """`cabinvigil replay ... | head -1` ends in peace; so does what runs in tasks."""
    path = tmp_path / "air.csv"
    rows = "".join(f"{10 * i},20.{i % 10},600\n" for i in range(5000))
    path.write_text("time_s,o2_pct,co2_ppm\n" + rows, encoding="utf-8")
    ended = subprocess.run(
        f'"{sys.executable}" -m cabinvigil.daemon {words} | head -1',
        cwd=tmp_path,
        shell=True,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": ""},
        check=False,
    )
    assert ended.stderr == ""


@pytest.mark.parametrize("words", ["config --example", "parts", "plan --json"])
def test_an_output_that_no_disk_takes_is_told_in_one_sentence(words: str) -> None:
    """`cabinvigil plan > plan.txt` on a full disk: exit 3, and no traceback."""
    ended = subprocess.run(
        f'"{sys.executable}" -m cabinvigil.daemon {words} > /dev/full',
        shell=True,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 3
    (line,) = ended.stderr.splitlines()
    assert line.startswith("cabinvigil: the output cannot be written (No space left")


def test_a_number_below_zero_with_its_unit_is_no_option(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """argparse takes `-5F` for an option, and `-5` for a number."""
    told = []
    for words in (["-5F"], ["-5 F"], ["-20.5556"], ["-20.5556 °C"]):
        assert main(["plan", "--outside-c", *words, "--json"]) == 0
        told.append(capsys.readouterr().out)
    assert len(set(told)) == 1
    assert main(["plan", "--outside-c=-5F", "--json"]) == 0
    assert capsys.readouterr().out == told[0]
