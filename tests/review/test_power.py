"""What a heater burnt while it was lit, where some hours may not have been."""

import pytest

from cabinvigil.daemon.review.airflow.air_moved import Moved
from cabinvigil.daemon.review.airflow.balance import Balance, BalanceNode
from cabinvigil.daemon.review.airflow.sources import HIGH, OFF, UNSURE
from cabinvigil.daemon.review.cabin_facts import cabin_facts
from cabinvigil.daemon.review.inside import Inside
from cabinvigil.daemon.review.middle import has_middle
from cabinvigil.daemon.review.stretches import Totals, stretch
from tests.review import logs

STEP_S = 120.0


def node(n: int, setting: str, kw: float, sd: float) -> BalanceNode:
    """Two minutes of one setting, with nothing else of note."""
    water = (0.1, 0.01, 2.0, 0.1, 0.01, 0.01)
    return BalanceNode(n * STEP_S, True, 1.0, 0.1, kw, sd, setting, *water)


def told(*parts: tuple[int, str, float, float]) -> Totals:
    """Sum up hours of each setting: how many, which, its power and doubt."""
    nodes: list[BalanceNode] = []
    for hours, setting, kw, sd in parts:
        begin, count = len(nodes), round(hours * 3600.0 / STEP_S)
        nodes += [node(begin + n, setting, kw, sd) for n in range(count)]
    end_s = len(nodes) * STEP_S
    found = Balance(STEP_S, tuple(nodes), Moved(STEP_S, (), (), HIGH), 450.0)
    nothing = [None] * round(end_s / 30.0)
    air = Inside(*([nothing] * 5), 1000.0, *(False, False))
    totals = stretch(0.0, end_s, "", cabin_facts(logs.config()), air, found).totals
    assert totals is not None
    return totals


def test_hours_that_may_have_been_lit_leave_the_power_of_the_others() -> None:
    """Two hours of 1.6 kW; in six more a guest breathes, or a tap stands low."""
    found = told((2, HIGH, 1.6, 0.1), (6, UNSURE, 0.15, 0.1))
    low, middle, high = found.burn_kw
    assert middle == pytest.approx(1.6)
    assert low <= (2 * 1.6 + 6 * 0.15) / 8.0
    assert high >= 1.7
    assert not has_middle(found.burn_kw)
    assert (found.lit_h, found.unsure_h) == (pytest.approx(2.0), pytest.approx(6.0))


def test_hours_that_are_all_known_leave_no_such_doubt() -> None:
    found = told((2, HIGH, 1.6, 0.1), (6, OFF, 0.0, 0.1))
    off = 0.1645
    assert found.burn_kw == pytest.approx((1.6 - off, 1.6, 1.6**2 / (1.6 - off)))
    assert has_middle(found.burn_kw)


def test_where_none_is_sure_to_have_been_lit_none_may_have_burnt() -> None:
    found = told((8, UNSURE, 0.15, 0.05))
    assert found.burn_kw[0] == found.gas_kwh[0] == 0.0
    assert found.burn_kw[1] == pytest.approx(0.15)
