"""How long a cell lasts, from what its spans say."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.span.kept import Span
from cabinvigil.daemon.span.life import Life, life, life_words

FIRST = datetime(2026, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)


def cell(days: float, mv: float, hpa: float = 1000.0, kind: str = "frame9_o2") -> Span:
    options = {"air_hpa": hpa, "air_o2_pct": 20.0}
    return Span("bunk-o2", kind, FIRST + days * DAY, mv, "mV", options=options)


def lives(*spans: Span) -> Life:
    found = life(spans)
    assert found is not None
    return found


def test_a_signal_is_compared_for_each_hectopascal_of_oxygen() -> None:
    """20 % of 1000 hPa is 200 hPa: ten millivolts are 0.05 of them each."""
    assert cell(0, 10.0).sensitivity == pytest.approx(0.05)
    bare = Span("a", "frame9_o2", FIRST, 10.0, "mV")
    assert bare.sensitivity is None
    assert life([bare, bare]) is None


def test_weather_and_height_do_not_pass_for_age() -> None:
    """A tenth less pressure gives a tenth less signal: nothing is used up."""
    found = lives(cell(0, 10.0), cell(100, 9.0, hpa=900.0))
    assert found.share == pytest.approx(1.0)
    assert found.ends is None


def test_a_cell_that_loses_a_tenth_in_100_days_lasts_200_more() -> None:
    """Worn out at 70 % of its first signal (sensors sheet, 7a)."""
    found = lives(cell(0, 10.0), cell(50, 9.5), cell(100, 9.0))
    assert found.share == pytest.approx(0.9)
    assert found.ends is not None
    assert (found.ends - FIRST) / DAY == pytest.approx(300.0)
    assert (found.spans, found.over) == (3, 100 * DAY)


def test_one_bad_span_does_not_rule() -> None:
    """The middle pace of all pairs; the fastest is told beside it."""
    good = [cell(0, 10.0), cell(50, 9.5), cell(150, 8.5), cell(200, 8.0)]
    found = lives(*good[:2], cell(100, 8.2), *good[2:])
    assert found.ends is not None
    assert found.soonest is not None
    assert (found.ends - FIRST) / DAY == pytest.approx(300.0, abs=15.0)
    assert found.soonest < found.ends


def test_spans_of_one_month_tell_nothing_of_age() -> None:
    """Nor does a single one; a CO cell's say nothing at any distance."""
    assert life([]) is None
    assert life([cell(0, 10.0)]) is None
    assert life([cell(0, 10.0), cell(29, 9.0)]) is None
    co = [cell(0, 0.3, kind="frame9_co"), cell(90, 0.4, kind="frame9_co")]
    assert life(co) is None


def test_a_worn_cell_ends_now() -> None:
    """And is said so."""
    found = lives(cell(0, 10.0), cell(300, 6.9))
    now = FIRST + 300 * DAY
    assert found.ends == now
    assert life_words(found, now).endswith("worn out, replace it")


def test_a_life_is_told_in_months_and_years() -> None:
    """With the fastest pace where that is shorter."""
    steady = lives(cell(0, 10.0), cell(100, 10.0))
    now = FIRST + 100 * DAY
    told = life_words(steady, now)
    assert told == "100% of its first signal after 3 months: no decline seen"
    falls = lives(cell(0, 10.0), cell(100, 9.0))
    assert life_words(falls, now) == (
        "90% of its first signal after 3 months: about 7 months left"
    )
    long = lives(cell(0, 10.0), cell(365, 9.7))
    assert "about 9.0 years left" in life_words(long, FIRST + 365 * DAY)
    uneven = lives(cell(0, 10.0), cell(60, 9.5), cell(120, 9.4))
    assert "at its fastest pace" in life_words(uneven, FIRST + 120 * DAY)
    slow = lives(cell(0, 10.0), cell(100, 9.9999999))
    assert slow.ends is None


@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 4000.0, allow_nan=False),
            st.floats(1e-3, 20.0, allow_nan=False),
        ),
        max_size=12,
    )
)
def test_any_spans_give_a_life_or_none(raw: list[tuple[float, float]]) -> None:
    """Never an error, and the fastest pace never ends later than the usual one."""
    found = life([cell(days, mv) for days, mv in sorted(raw)])
    if found is None:
        return
    assert life_words(found, FIRST + 4000 * DAY)
    if found.ends is not None:
        assert found.soonest is not None
        assert found.soonest <= found.ends
