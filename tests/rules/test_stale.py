"""A series that gives nothing usable for too long."""

import math

import pytest

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.rules import stale
from cabinvigil.daemon.rules.stale import Params
from tests.core.scenario import Night, cabin, series
from tests.rules.asked import asked, says

FAULT, MEDIUM = Priority.FAULT, Priority.MEDIUM


@pytest.mark.parametrize(
    ("key", "weight", "wording"),
    [
        ("o2_pct", MEDIUM, "alone"),
        ("co_ppm", MEDIUM, "alone"),
        ("co2_ppm", FAULT, ""),
        ("temp_c", FAULT, ""),
    ],
)
def test_a_lost_guard_wakes_people_another_part_does_not(
    key: str, weight: Priority, wording: str
) -> None:
    """Without oxygen or CO nothing guards the sleeper; the rest is a chirp."""
    night = Night(cabin(keys=[key]))
    night.air({key: 400.0 if key == "co2_ppm" else 20.0})
    night.air({}, 30.0)
    assert says(stale, Params(key), night) is None
    night.air({}, 1.0)
    verdict = asked(stale, Params(key), night)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (weight, wording)
    assert verdict.facts["seconds"] == 31.0
    assert verdict.facts["part"] == f"the-{key}"


def test_a_retry_is_waited_for_where_another_gas_is_watched() -> None:
    """CO2 beside oxygen, or CO: a chirp first, people only after a retry's time."""
    for other in ("co2_ppm", "co_ppm"):
        night = Night(cabin(keys=["o2_pct", other]))
        night.air({"o2_pct": 20.9, other: 400.0})
        night.air({other: 401.0}, 31.0)
        assert says(stale, Params("o2_pct"), night) is FAULT
        night.air({other: 402.0}, 24.0)
        assert says(stale, Params("o2_pct"), night) is FAULT
        night.air({other: 403.0}, 1.0)
        assert says(stale, Params("o2_pct"), night) is MEDIUM
    night = Night(cabin(keys=["o2_pct", "co_ppm", "temp_c"]))
    night.air({"o2_pct": 20.9, "co_ppm": 1.0})
    night.air({"co_ppm": 1.0, "temp_c": 9.0}, 31.0, doubtful=["co_ppm"])
    assert says(stale, Params("o2_pct"), night) is MEDIUM


def test_with_a_living_fellow_it_is_a_fault_alone() -> None:
    """The ceiling's oxygen still guards; when it too is gone, both wake people."""
    night = Night(cabin(keys=["o2_pct", "o2_pct_ceiling"]))
    night.air({"o2_pct": 20.9, "o2_pct_ceiling": 20.9})
    night.air({"o2_pct_ceiling": 20.9}, 31.0)
    assert stale.gravest(Params("o2_pct_ceiling")) is MEDIUM
    assert stale.gravest(Params("o2_pct_outside")) is FAULT
    verdict = asked(stale, Params("o2_pct"), night)
    assert verdict is not None
    assert verdict.priority is FAULT
    assert verdict.evidence["fellows"] is True
    night.air({}, 31.0)
    assert says(stale, Params("o2_pct"), night) is MEDIUM
    assert says(stale, Params("o2_pct_ceiling"), night) is MEDIUM


def test_a_part_has_its_warm_up_and_a_grace_to_speak_at_first() -> None:
    """Nothing can be told before; then it is silent since the start."""
    night = Night(cabin(keys=[series("o2_pct", warm_up_s=100.0)]))
    night.air({}, 30.0 + 100.0 + 60.0)
    assert asked(stale, Params("o2_pct"), night) is None
    night.air({}, 1.0)
    verdict = asked(stale, Params("o2_pct"), night)
    assert verdict is not None
    assert verdict.priority is MEDIUM
    assert verdict.facts["seconds"] == 191.0


def test_impossible_values_are_no_life() -> None:
    """A dead line that reads 0 % for a minute is silent."""
    night = Night(cabin())
    night.air({"o2_pct": 20.9})
    night.hold({"o2_pct": 0.0}, 60.0)
    assert says(stale, Params("o2_pct"), night) is MEDIUM


@pytest.mark.parametrize("grace_s", [-1.0, math.nan, 7200.0])
def test_a_grace_that_cannot_be_is_refused(grace_s: float) -> None:
    """An endless grace would be no guard."""
    with pytest.raises(ValueError, match="start_grace_s"):
        Params(start_grace_s=grace_s)
