"""O2 that went without a reason, and gases that do not fit."""

from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.rules import disagree_gases, displaced
from tests.rules.test_projection import history, told

CALM = told(0.0, 0.0)


@pytest.mark.parametrize(
    ("missing", "z", "priority"),
    [
        (0.14, 9.0, None),
        (0.15, 4.0, Priority.HIGH),
        (0.5, 3.9, None),
        (0.0, 0.0, None),
    ],
)
def test_rings_on_what_nothing_explains(
    missing: float, z: float, priority: Priority | None
) -> None:
    """Enough O2 missing, and surely: get out."""
    trend = replace(CALM, unexplained_o2_pct=missing, unexplained_z=z)
    verdict = displaced.judge(displaced.Params(), history(trend), 100.0)
    assert verdict is not None
    assert verdict.priority is priority
    assert verdict.severity == missing


def test_holds_at_half() -> None:
    """Half of what raised it keeps it standing."""
    trend = replace(CALM, unexplained_o2_pct=0.1, unexplained_z=3.0)
    verdict = displaced.judge(displaced.Params(), history(trend), 100.0)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, Priority.HIGH)


@pytest.mark.parametrize("z", [3.9, 4.0])
def test_gases_that_do_not_fit_are_a_fault(z: float) -> None:
    """The fitted ratio lies outside what flame and breath can do."""
    trend = replace(CALM, gases_disagree_z=z)
    verdict = disagree_gases.judge(disagree_gases.Params(), history(trend), 100.0)
    assert verdict is not None
    assert verdict.priority is (Priority.FAULT if z >= 4.0 else None)
    assert verdict.hold is Priority.FAULT
    assert verdict.evidence["o2_per_co2"] == 1.7


@pytest.mark.parametrize(("z", "stands"), [(3.0, True), (2.9, False), (0.0, False)])
def test_gases_that_fit_again_are_told_so(z: float, stands: bool) -> None:
    """Three quarters of what raised it keep it standing, and less ends it."""
    trend = replace(CALM, gases_disagree_z=z)
    verdict = disagree_gases.judge(disagree_gases.Params(), history(trend), 100.0)
    assert verdict is not None
    assert verdict.hold is (Priority.FAULT if stands else None)


@pytest.mark.parametrize(
    ("pct", "z"), [(0.07, 5.0), (0.2, 1.9), (0.0, 0.0)], ids=["less", "unsure", "none"]
)
def test_what_is_explained_again_is_told_so(pct: float, z: float) -> None:
    """Below half of either threshold it ends."""
    trend = replace(CALM, unexplained_o2_pct=pct, unexplained_z=z)
    verdict = displaced.judge(displaced.Params(), history(trend), 100.0)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, None)


@pytest.mark.parametrize(
    "trend",
    [
        None,
        replace(CALM, sensors=("o2_pct",)),
        replace(CALM, sensors=("co2_ppm",)),
    ],
)
@pytest.mark.parametrize("rule", [displaced, disagree_gases])
def test_one_gas_alone_cannot_tell(rule: ModuleType, trend: Any) -> None:
    """Without both sensors neither rule says yes or no."""
    assert rule.judge(rule.Params(), history(trend), 100.0) is None


def test_the_first_minutes_cannot_tell() -> None:
    """Two minutes have nothing to be compared with."""
    young = replace(CALM, watched_s=120.0)
    assert displaced.judge(displaced.Params(), history(young), 100.0) is None
