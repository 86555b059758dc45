"""A log read back as events: what rang then rings again, and nothing else does."""

import json
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main
from cabinvigil.daemon.core.engine import act_record
from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.log.reader import LogLine
from cabinvigil.daemon.replay.replay import event_of
from tests.review.logs import air, begin, line, still_air


def told(path: Path, capsys: pytest.CaptureFixture[str]) -> set[str]:
    """Which faults of the watch itself a replay tells."""
    assert main(["replay", str(path), "--json"]) == 0
    return {
        said["alarm"]
        for said in map(json.loads, capsys.readouterr().out.splitlines())
        if said["event"] == "alarm" and said["alarm"].startswith("watch-")
    }


def test_an_ask_that_was_refused_rings_no_more_than_it_did(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is logged, and was no fault of the watch; a socket that failed was one."""
    path = tmp_path / "night-2026-01-16.jsonl"
    calm = begin() + air(still_air(0.0, 60.0))
    refused = line("fault", 61.0, source="ask", kind="refused", text="not JSON")
    path.write_bytes(calm + refused + air(still_air(70.0, 120.0)))
    assert told(path, capsys) == set()
    failed = line("fault", 61.0, source="ask", kind="not-writable", text="no folder")
    path.write_bytes(calm + failed + air(still_air(70.0, 120.0)))
    assert told(path, capsys) == {"watch-fault/ask"}


@pytest.mark.parametrize("kind", sorted(ActKind, key=str))
def test_an_act_read_back_is_the_act_that_was_done(kind: ActKind) -> None:
    """Whoever did it, whenever: a late answer is as late in the replay."""
    act = Act(kind, "cold", "phone", "Ana's phone", 60.0, 12.5)
    if kind is ActKind.MARK:
        act = Act(kind, by="phone", text="vent open")
    record = act_record(act)
    logged = LogLine(record.event, 0.0, None, 1, dict(record.fields), 1)
    assert event_of(logged) == act
