"""R11: nights of another version: replayed with what they knew, and told."""

import json
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.commands import compare, morning, replay
from tests.commands import calling
from tests.replay.test_limits_diff import AT_20, call, limits, ramp
from tests.review import logs


def night(folder: Path, config: Any = None, day: int = 16, **fields: Any) -> Path:
    """An hour in which CO rises to 60 ppm, and a config as another version wrote it."""
    config = logs.config() if config is None else config
    data = logs.begin(config=config, **fields) + logs.air(ramp())
    return logs.write(folder, data, f"night-2026-01-{day}.jsonl")


def older() -> dict[str, Any]:
    """A config of before a rule, and a key of another, were added."""
    config = logs.config()
    alarms = config["alarm"]
    for name in [key for key, one in alarms.items() if one["kind"] == "displaced"]:
        del alarms[name]
    del alarms["co-level"]["side"]
    del config["watch"]["tick_s"]
    return config


def newer() -> dict[str, Any]:
    """A config with a table, a rule and keys that are yet to come."""
    config = logs.config()
    config["balcony"] = {"door": "shut"}
    config["cabin"]["awning"] = True
    config["alarm"]["moon"] = {"kind": "lunar", "at": 3.0}
    config["alarm"]["co-level"]["colour"] = "red"
    return config


def rang(path: Path) -> tuple[list[str], str]:
    code, out, err = calling.call(replay, path, "--json")
    assert code == 0, err
    return [json.loads(line)["alarm"] for line in out.splitlines()], err


def test_a_night_without_a_later_rule_or_key_replays(tmp_path: Path) -> None:
    alarms, err = rang(night(tmp_path, older()))
    assert "co-level" in alarms
    assert "displaced-air" not in alarms
    assert err == ""


def test_what_this_version_does_not_know_is_left_out_and_told(tmp_path: Path) -> None:
    alarms, err = rang(night(tmp_path, newer()))
    assert "co-level" in alarms
    told = err.splitlines()
    assert len(told) == 4
    for words in ("[balcony]", "awning in [cabin]", "rule lunar", "colour in [alarm."):
        assert any(words in line for line in told), (words, told)


def test_other_limits_are_tried_on_nights_of_all_versions(tmp_path: Path) -> None:
    """And what cannot be replayed is passed over; it stopped all before."""
    night(tmp_path, older(), 14)
    night(tmp_path, newer(), 15)
    night(tmp_path, {"cabin": 7}, 16)
    logs.write(tmp_path, logs.air(ramp()), "night-2026-01-17.jsonl")
    night(tmp_path, day=18)
    tried = limits(tmp_path, AT_20)
    code, out, err = call(tmp_path, "--limits", tried, "--json")
    rows = [json.loads(line) for line in out.splitlines()]
    earlier = [row["night"] for row in rows if row["change"] == "earlier"]
    assert code == 0
    assert earlier == ["2026-01-14", "2026-01-15", "2026-01-18"]
    assert "2026-01-16 is skipped: " in err
    assert "2026-01-17 is skipped: " in err


def test_a_rule_that_a_night_did_not_have_is_tried_as_it_is_packaged(
    tmp_path: Path,
) -> None:
    config = older()
    del config["alarm"]["co-level"]
    path = night(tmp_path, config)
    tried = limits(tmp_path, AT_20)
    _, out, _ = call(path, "--limits", tried, "--json")
    rows = [json.loads(line) for line in out.splitlines()]
    assert ("co-level", "gained") in [(row["alarm"], row["change"]) for row in rows]


@pytest.mark.parametrize("words", [("--json",), ()])
def test_a_newer_format_is_told_by_all_who_read_it(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    path = night(tmp_path, log_format=99)
    other = night(tmp_path, day=17)
    for code, _, err in (
        calling.call(replay, path, *words),
        calling.call(morning, path, *words),
        calling.call(compare, path, other, *words),
        calling.call(replay, path, "--limits", limits(tmp_path, AT_20), *words),
    ):
        assert code in (0, 1)
        assert "log format 99" in err
        assert "bring the software up to date" in err
