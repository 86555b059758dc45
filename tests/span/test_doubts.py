"""What a span will not take, and what it asks about once more.

Limits: findings of the first version (17.5 % taken for fresh air, a zero taken at 9
ppm); a galvanic cell's 0.5 % and its life of two to three years, sensors sheet 7a.
"""

from datetime import UTC, datetime, timedelta

import pytest

from cabinvigil.daemon.span.doubts import doubts
from cabinvigil.daemon.span.found import Found
from cabinvigil.daemon.span.fresh_air import AirFound
from cabinvigil.daemon.span.kept import Span

NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
FRESH = AirFound(12.0, 60.0, 950.0)
CELL_C, MODULE_C = (-20.0, 50.0), (-10.0, 55.0)
"""What their makers specify (sensors sheet, 7a and 12)."""
TAKEN, ASKED, REFUSED = "taken", "asked", "refused"


def span(days: float, kind: str = "o2_cell_ads1115", **more: object) -> Span:
    """A span of so many days ago."""
    unit, signal = ("ppm", 0.4) if kind == "frame9_co" else ("mV", 11.0)
    at = NOW - timedelta(days=days)
    return Span("stern", kind, at, signal, unit, **more)  # type: ignore[arg-type]


def judged(
    quantity: str,
    before: float | None,
    days: float | None = 20.0,
    air: AirFound = FRESH,
    range_c: tuple[float, float] = CELL_C,
) -> str:
    """What becomes of a part that shows so much, so many days after its last span."""
    found = Found(10.9, "mV", before, air.o2_pct)
    earlier = [] if days is None else [span(400.0), span(days)]
    said = doubts("stern", quantity, found, air, earlier, NOW, range_c)
    if any(one.is_refusal for one in said):
        return REFUSED
    return ASKED if said else TAKEN


@pytest.mark.parametrize(
    ("off_pct", "days", "becomes"),
    [
        (0.0, 20.0, TAKEN),
        (-0.59, 20.0, TAKEN),
        (0.59, 20.0, TAKEN),
        (-0.61, 20.0, ASKED),
        (-1.49, 20.0, ASKED),
        (-1.51, 20.0, REFUSED),
        (-3.1, 20.0, REFUSED),  # 17.5 % taken for fresh air
        # A year in its box: nine months past the third make 1.8 more.
        (-3.1, 365.25, ASKED),
        (-3.4, 365.25, REFUSED),
        # A cell never rises, however long ago.
        (0.61, 20.0, REFUSED),
        (0.61, 700.0, REFUSED),
    ],
)
@pytest.mark.parametrize("quantity", ["o2_pct", "mv"])
def test_oxygen_that_moved(
    quantity: str, off_pct: float, days: float, becomes: str
) -> None:
    """From what fresh air has, by the span before."""
    assert judged(quantity, FRESH.o2_pct + off_pct, days) == becomes


@pytest.mark.parametrize("before", [None, 16.4, 20.9])
def test_a_first_span_has_nothing_to_be_held_against(before: float | None) -> None:
    """At 2000 m an unspanned module shows 16.4 % (own limits of its driver)."""
    assert judged("o2_pct", before, days=None) == TAKEN


@pytest.mark.parametrize(
    ("before", "days", "becomes"),
    [
        (2.9, 20.0, TAKEN),
        (-2.9, 20.0, TAKEN),
        (3.1, 20.0, REFUSED),
        (9.0, 20.0, REFUSED),
        (-8.9, 20.0, REFUSED),  # its last zero was taken at 9 ppm
        (3.1, None, ASKED),
        (2.0, None, TAKEN),
    ],
)
def test_a_zero_that_moved(before: float, days: float | None, becomes: str) -> None:
    """What looks like more than a drift is gas, now or then."""
    assert judged("co_ppm", before, days) == becomes


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "becomes"),
    [
        (12.0, 60.0, TAKEN),
        (-18.0, 60.0, ASKED),
        (-20.5, 60.0, REFUSED),
        (50.5, 20.0, REFUSED),
        (4.9, 60.0, ASKED),
        (41.0, 30.0, ASKED),
        (12.0, 97.0, ASKED),
        (None, None, TAKEN),
    ],
)
def test_air_in_which_a_cell_is_not_at_its_best(
    temp_c: float | None, rh_pct: float | None, becomes: str
) -> None:
    """Cold, hot or dripping; what nobody measures is said elsewhere."""
    air = AirFound(temp_c, rh_pct, 950.0)
    assert judged("mv", air.o2_pct, 20.0, air) == becomes
    assert judged("co2_ppm", 430.0, 20.0, air) == TAKEN


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "becomes"),
    [
        (4.0, 60.0, TAKEN),
        (-9.9, 60.0, TAKEN),
        (-18.0, 60.0, REFUSED),
        (12.0, 97.0, ASKED),
        (None, None, TAKEN),
    ],
)
def test_air_in_which_no_zero_is_taken(
    temp_c: float | None, rh_pct: float | None, becomes: str
) -> None:
    """A nine-byte module at -18 °C shows little of any gas: 0.3 ppm are no zero."""
    air = AirFound(temp_c, rh_pct, 950.0)
    assert judged("co_ppm", 0.3, 20.0, air, MODULE_C) == becomes


CAPILLARY = {"barrier": "capillary"}


@pytest.mark.parametrize(
    ("options", "now_hpa", "signal", "word"),
    [
        # 950 hPa then, and 11.0 mV: a membrane's cell gives 10.42 at 900.
        ({}, 900.0, 10.42, ""),
        ({}, 900.0, 11.0, "capillary"),
        ({}, 900.0, 10.95, "capillary"),
        ({}, 925.0, 11.0, ""),  # 25 hPa tell nothing
        ({}, 900.0, 10.7, ""),  # neither fits
        (CAPILLARY, 900.0, 11.0, ""),
        (CAPILLARY, 900.0, 10.42, "membrane"),
        ({}, None, 11.0, ""),
    ],
)
def test_two_spans_tell_whether_a_cell_minds_the_pressure(
    options: dict[str, str], now_hpa: float | None, signal: float, word: str
) -> None:
    """30 hPa apart; and what such a cell shows is then no leak."""
    air = AirFound(12.0, 60.0, now_hpa)
    shows = 20.8 * signal / 11.0 * (950.0 / (now_hpa or 950.0))
    before = 20.8 * signal / 11.0 if options else shows
    found = Found(signal, "mV", before, air.o2_pct, options)
    last = span(20.0, pressure_hpa=950.0, options={"air_o2_pct": air.o2_pct})
    said = doubts("stern", "mv", found, air, [last], NOW, CELL_C)
    named = [one for one in said if "barrier =" in one.text]
    assert [f'barrier = "{word}"' in one.text for one in named] == [True] * bool(word)
    assert not any(one.is_refusal for one in said if word)


def test_each_says_what_it_saw_and_the_way_back() -> None:
    """With the day of the span that it is held against."""
    found = Found(10.0, "mV", 22.4, FRESH.o2_pct)
    (said,) = doubts("stern", "mv", found, FRESH, [span(20.0)], NOW, CELL_C)
    assert said.text.startswith("it shows 22.4 % where fresh air has 20.8 %")
    assert "`cabinvigil span --undo stern` undoes the last calibration" in said.text
