"""Where the middle of an estimate is told, and where only its range."""

import json
from dataclasses import astuple, replace
from html import unescape
from pathlib import Path

import pytest

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.report import night_totals
from cabinvigil.daemon.report.compare_text import as_json as compare_json
from cabinvigil.daemon.report.compare_text import picture_rows
from cabinvigil.daemon.report.json import as_json
from cabinvigil.daemon.report.page import page
from cabinvigil.daemon.report.text import account
from cabinvigil.daemon.review.compare import Sheet
from cabinvigil.daemon.review.middle import MOST_TIMES, estimate, has_middle
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.text.charts import save_rows
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


@pytest.mark.parametrize(
    ("gas_kg", "tile"),
    [
        ((0.1, 0.2, 0.5), "0.10 to 0.50"),
        ((0.0, 0.2, 0.5), "at most 0.50"),
    ],
)
def test_the_page_s_tile_shows_a_range(
    shut: Morning, gas_kg: tuple[float, float, float], tile: str
) -> None:
    assert shut.whole.totals is not None
    totals = replace(shut.whole.totals, gas_kg=gas_kg)
    html = unescape(page(replace(shut, whole=replace(shut.whole, totals=totals))))
    assert f"{tile} kg" in html.replace("\u00a0", " ")
    assert "the air shows it no closer" in html


def test_a_comparison_draws_a_range_without_its_middle(tmp_path: Path) -> None:
    """A line without a dot; and its columns say null."""
    one = replace(sheet_of_nothing("a"), w_per_k=(10.0, 20.0, 30.0))
    (cheap,) = picture_rows([one])
    ((_, low, middle, high),) = [astuple(row) for row in cheap.rows]
    assert (low, middle, high) == (10.0, None, 30.0)
    save_rows([cheap], tmp_path / "rows.svg")
    assert (tmp_path / "rows.svg").stat().st_size > 0
    (night,) = compare_json([one], [])["nights"]
    assert night["gas_w_per_k"] == [10.0, None, 30.0]


def sheet_of_nothing(name: str) -> Sheet:
    """A night of which nothing is known."""
    nothing = (None, 0.0, "", 0.0, None, None, None, None, 20.0, None, None, 0.0, "")
    return Sheet(name, 8.0, *nothing)


def test_hours_that_only_bound_leave_no_middle(shut: Morning) -> None:
    """A CO2 part at the end of its range: gas is at least so much, air at most."""
    totals = shut.whole.totals
    assert totals is not None
    bounded = night_totals.estimates(replace(totals, bounded_h=3.0))
    assert {middle for _, middle, _ in bounded.values()} == {None}
    assert bounded["gas_kg"][::2] == totals.gas_kg[::2]
