"""A night of several configs: each part is judged by the limits that ran then."""

from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.review.morning import Morning, morning
from tests.review import logs

HOUR = 3600.0


def night(tmp_path: Path, first: dict[str, Any], second: dict[str, Any]) -> Morning:
    """Nine hours at 19.3 %, the config changed ten minutes before the end."""
    change_s = 9 * HOUR - 600.0
    air = logs.still_air(0.0, 9 * HOUR, 30.0, o2_pct=19.3)
    data = logs.begin(config=first)
    data += logs.air(row for row in air if row[0] < change_s)
    head = {"version": "0.1.0", "log_format": 1, "config": second, "reload": True}
    data += logs.line("start", change_s, laxer=["o2-low: 19.0 for 19.5"], **head)
    data += logs.air(row for row in air if row[0] >= change_s)
    data += logs.line("stop", 9 * HOUR, reason="SIGTERM")
    return morning(read_tape([logs.write(tmp_path, data)]))


def with_o2(at: float, **cabin: float) -> dict[str, Any]:
    """Give a config with one limit on oxygen, the other gases as they are."""
    config = logs.config()
    alarms = dict(config["alarm"])
    step = {"at": at, "priority": "high"}
    alarms["o2-low"] = {
        "kind": "level", "quantity": "o2_pct", "side": "below", "steps": [step],
    }  # fmt: skip
    return {**config, "alarm": alarms, "cabin": {**config["cabin"], **cabin}}


@pytest.mark.parametrize(("first", "second"), [(19.5, 19.0), (19.0, 19.5)])
def test_each_part_of_a_night_is_judged_by_its_own_limits(
    tmp_path: Path, first: float, second: float
) -> None:
    """R12: relaxed ten minutes before the end, 8.8 h below 19.5 % stay."""
    found = night(tmp_path, with_o2(first), with_o2(second))
    beyond = {
        one.limit.at: one.beyond_min
        for one in found.near
        if (one.limit.quantity, one.limit.side) == ("o2_pct", "below")
    }
    assert beyond[19.0] == 0.0
    assert beyond[19.5] == pytest.approx(530.0 if first == 19.5 else 10.0, abs=1.0)
    assert found.verdict.word == "dangerous"
    assert len(found.changed_s) == 1
    assert found.laxer == ["o2-low: 19.0 for 19.5"]


def test_the_cabin_is_that_of_the_longest_config(tmp_path: Path) -> None:
    """R12: a volume that is changed at the end does not triple the gas."""
    found = night(tmp_path, with_o2(19.5), with_o2(19.5, volume_m3=33.0))
    assert found.facts.volume_m3 == 11.0
