"""What a span prints: the air, before and after, warnings, and a cell's life."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.found import Found
from cabinvigil.daemon.span.fresh_air import AirFound, Saw
from cabinvigil.daemon.span.kept import Span
from cabinvigil.daemon.span.outcome import Outcome, PartOutcome
from cabinvigil.daemon.span.table import kept_lines, lines

NOW = datetime(2026, 10, 20, tzinfo=UTC)
AIR = {"air_hpa": 1000.0, "air_o2_pct": 20.0}


def cell(days_ago: float, mv: float, name: str = "bunk-cell") -> Span:
    at = NOW - timedelta(days=days_ago)
    return Span(name, "o2_cell_ads1115", at, mv, "mV", temp_c=12.0, options=AIR)


def outcome(*parts: PartOutcome, saw: list[Saw] | None = None) -> Outcome:
    return Outcome(saw or [Saw(True, "fresh")], AirFound(), list(parts), at=NOW)


def test_a_weak_cell_is_warned_of_beside_its_figures() -> None:
    """Before and after, the warning, and how long it lasts by its spans."""
    found = Found(8.4, "mV", 19.9, 20.7, {}, ("a weak cell",))
    result = outcome(PartOutcome("bunk-cell", "o2_cell_ads1115", found))
    result.earlier = {"bunk-cell": [cell(100, 12.0), cell(0, 10.8)]}
    text = "\n".join(lines(result, is_emulated=False))
    assert "bunk-cell: 8.40 mV; oxygen 19.90 before, 20.70 after, in %" in text
    assert "  CHECK: a weak cell" in text
    assert "about 7 months left" in text
    assert text.startswith("The air is fresh. Nothing was kept.")


def test_where_it_was_kept_is_said_with_what_comes_next(tmp_path: Path) -> None:
    """The watch must be started again to use it."""
    result = outcome()
    result.kept_in = tmp_path
    assert next(lines(result, is_emulated=False)) == (
        f"The air is fresh. Kept in {tmp_path}. Start the monitor again to use them."
    )


def test_a_refused_part_says_why() -> None:
    """And shows nothing that it does not know."""
    refused = PartOutcome("bunk-cell", "o2_cell_ads1115", refused="it is worn out")
    text = "\n".join(lines(outcome(refused), is_emulated=True))
    assert "bunk-cell: REFUSED: it is worn out" in text
    assert "before" not in text


def test_kept_spans_are_listed_with_lives_and_former_parts() -> None:
    """A part that was replaced, and one that is gone, are said as that."""
    spans = [cell(400, 12.0), cell(100, 12.9), cell(0, 11.6), cell(3, 9.0, "old-cell")]
    since = (NOW - timedelta(days=200)).date()
    part = PartSettings(kind="o2_cell_ads1115", bus="main", in_service=since)
    text = "\n".join(kept_lines(spans, {"bunk-cell": part}))
    assert "2026-10-20 00:00 UTC  11.6 mV  12.0 °C" in text
    assert "1 of them is of an earlier sensor" in text
    assert "90% of its first signal after 3 months" in text
    assert "no longer in the config" in text
    assert list(kept_lines([], {})) == ["No calibrations are kept yet."]


def test_a_drift_that_the_spans_tell_is_said() -> None:
    """Spanned at 4 and at 20 °C within the week; without that, nothing is said."""
    cold = replace(cell(5, 10.0), temp_c=4.0)
    warm = replace(cell(0, 10.1), temp_c=20.0)
    part = {"bunk-cell": PartSettings(kind="o2_cell_ads1115", bus="main")}
    text = "\n".join(kept_lines([cold, warm], part))
    assert "it drifts by +0.055 % a kelvin, which the monitor corrects" in text
    assert "drifts" not in "\n".join(kept_lines([cell(5, 10.0), warm], part))
