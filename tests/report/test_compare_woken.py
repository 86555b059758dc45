"""A night whose air woke people is never called enough to sleep by."""

from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.commands import compare
from cabinvigil.daemon.review.proof import FORECASTS
from tests.commands.calling import call
from tests.review import logs

WAKING = (
    "o2-low", "o2-pressure", "o2-projected", "o2-falling", "co-level", "co-dose",
    "co2-level", "co2-projected", "displaced-air", "gas-leak",
)  # fmt: skip
"""The packaged alarms about what is breathed (config/limits.toml)."""


def night(folder: Path, name: str, *alarms: tuple[str, str]) -> Path:
    """Six hours of good air, in which some alarm sounded all the same."""
    random = Random(5)
    rows = [
        (
            10.0 * n,
            {
                "o2_pct": 20.5 + random.gauss(0.0, 0.003),
                "co2_ppm": 900.0 + random.gauss(0.0, 5.0),
                "co_ppm": 2.0 + random.gauss(0.0, 0.3),
            },
        )
        for n in range(6 * 360)
    ]
    changes = (
        (7200.0, "normal", "unacknowledged"),
        (7500.0, "unacknowledged", "normal"),
    )
    lines = logs.begin()
    for row in rows:
        lines += logs.air([row])
        for at_s, was, state in changes:
            if at_s != row[0]:
                continue
            for alarm, priority in alarms:
                fields = {"alarm": alarm, "state": state, "was": was, "text": "x"}
                lines += logs.line(
                    "alarm", at_s, **fields, priority=priority, first_up=True
                )
    (folder / name).mkdir()
    logs.write(folder / name, logs.ended(lines))
    return folder / name


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize("alarm", WAKING)
def test_a_night_that_woke_people_was_not_enough(tmp_path: Path, alarm: str) -> None:
    """What only a forecast said is not known; what was past a limit was not enough."""
    folders = [night(tmp_path, "calm"), night(tmp_path, "woken", (alarm, "medium"))]
    _, out, _ = call(compare, *folders)
    verdict = " ".join(out.split("\n\n")[0].split())
    assert "only calm/2026-01-16 was enough to sleep by" in verdict or (
        alarm in FORECASTS
        and "calm/2026-01-16 was enough to sleep by" in verdict
        and "whether woken/2026-01-16 was is not known" in verdict
    )


@pytest.mark.parametrize("alarm", ["contact-bilge", "hot", "cold", "sensor-stale/co"])
def test_what_is_not_breathed_says_nothing_of_the_vents(
    tmp_path: Path, alarm: str
) -> None:
    folders = [night(tmp_path, "calm"), night(tmp_path, "woken", (alarm, "medium"))]
    _, out, _ = call(compare, *folders)
    assert "both were enough to sleep by" in " ".join(out.split("\n\n")[0].split())
