"""Where the middle of an estimate is told, and where only its range."""

import json
from dataclasses import replace

import pytest

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.report import night_totals
from cabinvigil.daemon.report.json import as_json
from cabinvigil.daemon.report.page import page
from cabinvigil.daemon.report.text import account
from cabinvigil.daemon.review.middle import MOST_TIMES, estimate, has_middle
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.text.numbers import spread
from tests.review import logs, named


@pytest.mark.parametrize(
    ("triple", "is_told"),
    [
        ((1.0, 1.5, 2.0), True),
        ((1.0, 1.5, MOST_TIMES), True),
        ((1.0, 1.5, 1.01 * MOST_TIMES), False),
        ((0.0, 0.5, 1.0), False),
        ((-0.1, 0.5, 1.0), False),
        ((0.0, 0.0, 0.0), True),
    ],
)
def test_a_middle_is_told_where_the_ends_are_near(
    triple: tuple[float, float, float], is_told: bool
) -> None:
    """What may be nothing has none; nothing at all is a figure."""
    assert has_middle(triple) is is_told
    low, middle, high = estimate(triple)
    assert (low, high) == (triple[0], triple[2])
    assert middle == (triple[1] if is_told else None)


@pytest.fixture(scope="module")
def shut(tmp_path_factory: pytest.TempPathFactory) -> Morning:
    """A cabin that is all but shut: its air is told within six times."""
    log, _ = named.night("shut")
    path = logs.write(tmp_path_factory.mktemp("shut"), log)
    return give_account(files(path))


def test_text_page_and_json_tell_a_wide_figure_without_a_middle(shut: Morning) -> None:
    totals = shut.whole.totals
    assert totals is not None
    assert not has_middle(totals.air_changes_per_h)
    assert has_middle(totals.gas_kg)
    whole = json.loads(json.dumps(as_json(shut)))
    low, middle, high = whole["air_changes_per_h"]
    assert (low < high, middle) == (True, None)
    assert whole["gas_kg"][1] == pytest.approx(totals.gas_kg[1], abs=1e-3)
    longest = max(whole["stretches"], key=lambda one: one["to_s"] - one["from_s"])
    assert longest["air_changes_per_h"][1] is None
    text, html = " ".join(account(shut).split()), page(shut)
    span = night_totals.estimates(totals)["gas_kg"]
    assert f"Gas {shut.units.spread('kg', span)} kg" in text
    stretch = max(shut.stretches, key=lambda one: one.to_s - one.from_s)
    assert stretch.totals is not None
    told = spread(estimate(stretch.totals.air_changes_per_h))
    assert told.startswith("between ")
    assert told in text
    assert told in html


def test_hours_that_only_bound_leave_no_middle(shut: Morning) -> None:
    """A CO2 part at the end of its range: gas is at least so much, air at most."""
    totals = shut.whole.totals
    assert totals is not None
    bounded = night_totals.estimates(replace(totals, bounded_h=3.0))
    assert {middle for _, middle, _ in bounded.values()} == {None}
    assert bounded["gas_kg"][::2] == totals.gas_kg[::2]
