"""No night is safer for what its sensors did not see, or a certified alarm did."""

import re
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.commands import compare
from cabinvigil.daemon.report.compare_text import as_json, picture_rows, table
from cabinvigil.daemon.report.compare_verdict import NOT_KNOWN, enough, sentence
from cabinvigil.daemon.review.compare import Sheet, never_safer, ranks
from tests.commands.calling import call
from tests.report.test_compare_text import a_sheet
from tests.review import logs

RANG = "the smoke alarm sounded"
LOST = "carbon monoxide was not known for 3.0 h"
MARGIN = st.sampled_from([None, -0.2, 0.0, 0.2, 0.5, 0.9])


@st.composite
def sheet(draw: st.DrawFn, name: str) -> Sheet:
    margin = draw(MARGIN)
    past = draw(st.sampled_from(["", "", RANG]))
    if margin is not None and margin <= 0.0:
        past = "air past a waking limit"
    return replace(
        a_sheet(name),
        margin=margin,
        beyond_min=12.0 if margin is not None and margin <= 0.0 else 0.0,
        past=past,
        unproved=draw(st.sampled_from(["", LOST, RANG])),
        wet_h=draw(st.sampled_from([None, 0.0, 4.0])),
        w_per_k=draw(st.sampled_from([None, (10.0, 12.0, 14.0), (60.0, 66.0, 72.0)])),
    )


SHEETS = st.integers(2, 4).flatmap(
    lambda count: st.tuples(*(sheet(f"n{n}") for n in range(count)))
)


@pytest.mark.hazard("record-comforts")
@settings(max_examples=400, deadline=None)
@given(SHEETS)
def test_no_night_that_is_not_proved_is_called_safer(sheets: tuple[Sheet, ...]) -> None:
    """Nor ranked, nor drawn as safe; and what is missing is said of it."""
    text = sentence(sheets)
    order = ranks(sheets)
    told = " ".join(table(sheets, order).split())
    safe = [rows for rows in picture_rows(sheets) if rows.title.startswith("Least")]
    drawn = {one.label for rows in safe for one in rows.rows}
    for n, one in enumerate(sheets):
        if not never_safer(one):
            continue
        called = re.search(rf"{one.name} was [^;]*?\b(safer|the safest)", text)
        assert called is None or "less safe" in called[0]
        assert n not in order[0].order
        assert one.name not in drawn
        assert f"{one.name}: {one.unproved or one.past}" in told
        if one.unproved and not one.past:
            assert enough(one).word == NOT_KNOWN
    plain = as_json(sheets, order)["nights"]
    assert [one["unproved"] or "" for one in plain] == [one.unproved for one in sheets]


def test_what_looked_safer_says_why_it_is_not() -> None:
    frozen = replace(a_sheet("frozen"), margin=0.9, unproved=LOST, wet_h=0.0)
    text = sentence([frozen, a_sheet("whole")])
    assert text.startswith(f"frozen is not called safer: {LOST}; ")
    assert "frozen was drier than whole" in text
    third = replace(a_sheet("third"), margin=0.4)
    text = sentence([frozen, a_sheet("whole"), third])
    assert f"frozen is not called the safest: {LOST}" in text.lower()
    # What it saw was worse all the same: no sensor makes that better.
    worse = replace(frozen, margin=0.1)
    assert "whole was safer than worse" in sentence(
        [replace(worse, name="worse"), a_sheet("whole")]
    )


def test_of_two_bad_nights_the_one_broken_off_is_not_the_safer() -> None:
    """It was shorter past the limit, since nobody watched the rest, or slept on."""
    bad = replace(
        a_sheet("whole"), margin=-0.6, beyond_min=200.0, past="air past a limit"
    )
    torn = replace(bad, name="torn", margin=-0.4, beyond_min=90.0, is_blind=True)
    text = sentence([torn, bad])
    assert text.startswith("torn is not called safer: not all of it was monitored; ")
    short = replace(torn, name="short", is_blind=False, hours=3.0)
    assert "short is not called safer: it lasted only 3.0 h" in sentence([short, bad])
    as_long = replace(short, hours=8.9)
    assert "short was safer than whole" in sentence([as_long, bad])
    # what was worse in less time was worse
    assert "whole was safer" in sentence([replace(short, margin=-0.9), bad])


# --- from the log ---------------------------------------------------------------------


def night(folder: Path, name: str, co: str = "lives") -> Path:
    """Six hours of good air, and of it two in which carbon monoxide is as said."""
    random = Random(3)
    rows: list[tuple[float, dict[str, Any]]] = []
    for n in range(6 * 360):
        is_bad = 360 <= n < 1080
        values: dict[str, Any] = {
            "o2_pct": 20.5 + random.gauss(0.0, 0.003),
            "co2_ppm": 800.0 + n + random.gauss(0.0, 5.0),
            "co_ppm": 0.0 if co == "stands" else 2.0 + random.gauss(0.0, 0.3),
        }
        if co == "lost" and is_bad:
            del values["co_ppm"]
        if co == "doubted" and is_bad:
            values["doubtful"] = ["co_ppm"]
        rows.append((10.0 * n, values))
    (folder / name).mkdir()
    logs.write(folder / name, logs.ended(logs.begin() + logs.air(rows)))
    return folder / name


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize(
    ("co", "why"),
    [
        ("lost", "carbon monoxide was not known for 2.0 h"),
        ("doubted", "carbon monoxide was not known for 2.0 h"),
        ("stands", "carbon monoxide was read as 0 all along while carbon dioxide rose"),
        ("lives", ""),
    ],
)
def test_a_sensor_that_was_not_to_be_believed_proves_no_safer_night(
    tmp_path: Path, co: str, why: str
) -> None:
    folders = [night(tmp_path, "whole"), night(tmp_path, "other", co=co)]
    code, out, _ = call(compare, *folders)
    assert code == 0
    missing = [part for part in out.split("\n\n") if part.startswith("not proved")]
    assert bool(missing) is bool(why)
    if why:
        assert f"other/2026-01-16: {why}" in " ".join(missing[0].split())
        safest = out.partition("safest:")[2].partition("\n\n")[0]
        assert "whole" in safest
        assert "other" not in safest
