"""The rows of the account's tables: text and page show the same figures."""

from dataclasses import replace
from datetime import UTC
from html import unescape
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.log.moments import zone_of
from cabinvigil.daemon.report import night_totals
from cabinvigil.daemon.report.page import page
from cabinvigil.daemon.report.rows import (
    air_rows,
    clock_of,
    near_rows,
    never_measured,
    rang_rows,
    seen_rows,
    spare_row,
    warned,
)
from cabinvigil.daemon.report.text import account
from cabinvigil.daemon.review.closest_approach import Spare
from cabinvigil.daemon.review.morning import Morning
from tests.review import logs, named


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Morning:
    """A night whose oxygen passes its limit, with an alarm that was answered."""
    log, _ = named.night("icing")
    common = {"alarm": "o2-low", "priority": "high", "text": "Oxygen low."}
    alarm = [
        logs.line("alarm", 5961.0, state="unacknowledged", was="normal", **common),
        logs.line(
            "alarm", 6081.0, state="acknowledged", was="unacknowledged", **common
        ),
    ]
    lines = log.splitlines(keepends=True)
    folder = tmp_path_factory.mktemp("rows")
    path = logs.write(folder, b"".join([*lines[:200], *alarm, *lines[200:]]))
    return give_account(files(path))


def test_text_and_page_show_the_same_figures(found: Morning) -> None:
    """What was chosen and rounded once cannot differ between them."""
    clock = clock_of(found, zone_of(found.tape.head))
    text = " ".join(account(found).split())
    html = unescape(page(found)).replace("\u00a0", " ")
    night = night_totals.gas_and_water(found)
    assert night is not None
    cells = [night.gas_kg, night.burner, night.water_made_kg]
    cells += [night_totals.glass(found), night_totals.inside(found)]
    for row in near_rows(found, clock):
        cells += [row.words, row.value, row.when, row.limit, row.passed]
    cells += [air_rows(found, clock, 1)[0].changes, rang_rows(found, clock)[0].answered]
    for cell in cells:
        assert cell in text
        assert cell in html


def test_a_ring_says_when_it_ended_and_was_answered(found: Morning) -> None:
    """It stood to the end, and was answered after two minutes."""
    (row,) = rang_rows(found, clock_of(found, UTC))
    assert (row.name, row.urgency) == ("too little oxygen", "danger")
    assert (row.ends, row.times, row.answered) == ("", "", "2 min")


def test_a_limit_that_was_passed_leaves_nothing_to_spare(found: Morning) -> None:
    """How early people were woken is told in place of it."""
    clock = clock_of(found, UTC)
    assert warned(found).startswith("first woken ")
    nobody = warned(replace(found, warned_min=0.0))
    assert nobody == "nobody was woken before oxygen was at its limit"
    assert spare_row(found, clock) is None
    (oxygen,) = [row for row in near_rows(found, clock) if row.quantity == "o2_pct"]
    assert oxygen.beyond == f"{oxygen.passed} at or below 19.5 %"


@given(st.lists(st.floats(0.0, 1500.0), min_size=3, max_size=3), st.booleans())
def test_what_is_to_come_is_never_in_no_time(
    found: Morning, times: list[float], is_open: bool
) -> None:
    """A forecast of 0 min, or of `0 at worst`, would say that it is past."""
    low, middle, high = sorted(times)
    left = Spare(60.0, (low, middle, None if is_open else high))
    row = spare_row(replace(found, warned_min=None, spare=left), lambda _: "02:00")
    assert row is not None
    assert row.least != "0"
    assert row.middle != "0 min"
    assert row.most != "0"


def test_what_was_watched_is_a_share_of_the_night(found: Morning) -> None:
    """Every second is there, and nothing that protects life is missing."""
    shares = {row.quantity: row.share for row in seen_rows(found, clock_of(found, UTC))}
    assert shares["o2_pct"] == "100 %"
    assert never_measured(found) == []


def test_a_part_that_was_never_there_is_named(tmp_path: Path) -> None:
    """Oxygen alone: nobody watched for carbon monoxide."""
    rows = [(at_s, {"o2_pct": 20.8}) for at_s, _ in logs.still_air(0.0, 3600.0)]
    found = give_account(files(logs.write(tmp_path, logs.begin() + logs.air(rows))))
    assert never_measured(found) == ["carbon monoxide"]
