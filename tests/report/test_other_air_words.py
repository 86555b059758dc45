"""What dust and indices can say and cannot: morning's text and page, and `compare`."""

import json
import re
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import compare as compare_command
from cabinvigil.daemon.report.compare_page import compare_page
from cabinvigil.daemon.report.json import as_json
from cabinvigil.daemon.report.other_air_words import RELATIVE
from cabinvigil.daemon.report.page import page
from cabinvigil.daemon.report.pictures import pictures
from cabinvigil.daemon.report.text import COLUMNS, LINES, account
from cabinvigil.daemon.review.compare import sheet
from cabinvigil.daemon.review.trial_curves import QUANTITIES, TrialCurves, trial_curves
from tests.commands.calling import call
from tests.review import logs, other_nights

SOOTY = {"dust": (8.0, 64.0), "co": (1.0, 9.0)}


def text_of(path: Path) -> str:
    """The morning's text on one line."""
    return " ".join(account(other_nights.account(path)).split())


@pytest.mark.parametrize(
    ("night", "words"),
    [
        (SOOTY, "with CO up by 8 ppm: a sooty flame makes both, so look at yours"),
        ({"dust": (8.0, 64.0)}, "without CO: a pan, a candle or stirred dust more"),
        ({"dust": (8.0, 64.0), "co": None}, "so it may be the flame or a pan"),
        ({"dust": (8.0, 64.0), "rh_pct": 95.0}, "so damp that mist counts as dust"),
    ],
)
def test_the_text_says_what_a_rise_may_mean(
    tmp_path: Path, night: dict[str, object], words: str
) -> None:
    path = other_nights.night(tmp_path, **night)  # type: ignore[arg-type]
    told = text_of(path)
    assert "Dust 12 on average, at most 64 µg/m³ at" in told
    assert words in told
    whole = account(other_nights.account(path)).splitlines()
    assert len(whole) <= LINES
    assert max(map(len, whole)) <= COLUMNS


def test_of_several_rises_the_one_with_co_is_told(tmp_path: Path) -> None:
    """A pan made more dust; the flame matters more."""
    rows: list[logs.Row] = []
    for at_s, values in logs.still_air(0.0, 6.0 * 3600.0, 30.0, co_ppm=1.0):
        hour = at_s / 3600.0
        pan, flame = 1.0 <= hour < 1.2, 4.0 <= hour < 4.5
        air = {"pm2_5_ugm3": 300.0 if pan else 60.0 if flame else 8.0}
        rows.append((at_s, {**values, **air, "co_ppm": 9.0 if flame else 1.0}))
    told = text_of(logs.write(tmp_path, logs.begin() + logs.air(rows)))
    assert "at most 300 µg/m³ at 22:00; rose from 01:00 to 01:30, with CO" in told
    assert "so look at yours; 1 more rise" in told


def test_a_quiet_night_has_a_line_each_and_no_more(tmp_path: Path) -> None:
    """And a night without such parts has none."""
    found = other_nights.account(other_nights.night(tmp_path))
    lines = account(found).splitlines()
    (dust,) = [one for one in lines if one.startswith("Dust")]
    assert "rose" not in dust
    told = text_of(other_nights.night(tmp_path))
    assert f"Vapours VOC index as usual; NOx index as usual. {RELATIVE}." in told
    bare = logs.write(tmp_path, logs.begin() + logs.air(logs.still_air(0.0, 3600.0)))
    told = text_of(bare)
    assert "Dust" not in told
    assert "Vapours" not in told


def test_an_index_is_never_told_as_an_amount(tmp_path: Path) -> None:
    """Beside its usual, and with what it is; without any unit."""
    path = other_nights.night(tmp_path, voc=(100.0, 312.0), nox=(1.0, 37.0))
    told = text_of(path)
    assert "VOC index at most 312 at 23:00, where 100 is usual" in told
    assert "NOx index at most 37 at 23:00, where 1 is usual" in told
    assert RELATIVE in told
    assert not re.search(r"(312|37) (ppb|ppm|µg)", told)


def test_dust_and_vapours_change_no_verdict(tmp_path: Path) -> None:
    """They are told beside; what is judged is judged by its own limits."""
    quiet = other_nights.account(other_nights.night(tmp_path))
    path = other_nights.night(tmp_path, dust=(8.0, 64.0), voc=(100.0, 500.0))
    risen = other_nights.account(path)
    assert quiet.verdict == risen.verdict
    assert [one.do for one in quiet.advice] == [one.do for one in risen.advice]


def test_the_page_has_rows_and_a_picture_only_where_an_index_rose(
    tmp_path: Path,
) -> None:
    """A flat line of a hundred would crowd it."""
    quiet = other_nights.account(other_nights.night(tmp_path))
    assert "index" not in [one.panel.key for one in pictures(quiet)]
    text = page(quiet)
    assert '<th scope="row">fine dust</th>' in text
    assert '<th scope="row">vapours</th>' in text
    path = other_nights.night(tmp_path, voc=(100.0, 312.0), **SOOTY)  # type: ignore[arg-type]
    found = other_nights.account(path)
    (drawn,) = [one for one in pictures(found) if one.panel.key == "index"]
    assert [one.label for one in drawn.panel.lines] == [
        "VOC index, usual 100",
        "NOx index, usual 1",
    ]
    assert RELATIVE in drawn.words
    assert "a sooty flame makes both" in page(found)
    assert len(page(found).encode()) < 150_000


def test_json_has_each_rise(tmp_path: Path) -> None:
    path = other_nights.night(tmp_path, voc=(100.0, 312.0), **SOOTY)  # type: ignore[arg-type]
    told = as_json(other_nights.account(path))["other_air"]
    (rise,) = told.pop("dust_rises")
    assert told == {
        "pm2_5_most_ugm3": 64.0,
        "voc_index_most": 312.0,
        "nox_index_most": 1.0,
    }
    assert rise["meaning"] == "with-co"
    assert rise["co_up_ppm"] == pytest.approx(8.0)
    assert rise["from"].startswith("2026-01-16T23:00")


def test_nights_side_by_side(tmp_path: Path) -> None:
    """A row each where one of them has it; an index stays its own night's."""
    paths = [
        other_nights.night(tmp_path, name="night-2026-01-16.jsonl"),
        other_nights.night(
            tmp_path,
            name="night-2026-01-17.jsonl",
            voc=(100.0, 312.0),
            **SOOTY,  # type: ignore[arg-type]
        ),
    ]
    accounts = [other_nights.account(path) for path in paths]
    sheets = [
        sheet(one, f"night {n}", 0.0, one.tape.length_s)
        for n, one in enumerate(accounts)
    ]
    curves = [trial_curves(one, 0.0, one.tape.length_s, 100) for one in accounts]
    text = compare_page(sheets, curves)
    assert "8 on average, at most 8" in text
    assert "; rose with CO" in text
    assert "VOC index, at most (against its own last day)" in text
    assert "Fine dust" in text
    assert "Fine dust" not in compare_page([sheets[0]] * 2, [curves[0]] * 2)
    code, out, _ = call(compare_command, *map(str, paths))
    assert out.count("   dust   ") == 1
    assert "   dust   12 on average, at most 64 µg/m³; rose with CO" in out
    code, out, _ = call(compare_command, *map(str, paths), "--json")
    assert code in (0, 1)
    first, second = json.loads(out)["nights"]
    assert (first["dust_with_co"], second["dust_with_co"]) == (False, True)
    assert (first["pm2_5_most_ugm3"], second["voc_index_most"]) == (8.0, 312.0)


def test_ten_nights_with_dust_are_a_small_page(tmp_path: Path) -> None:
    """Seven pictures of ten courses each (page.md: under 150 kB)."""
    path = other_nights.night(tmp_path, **SOOTY)  # type: ignore[arg-type]
    one = other_nights.account(path)
    wave = [20.0 + 0.3 * ((n * 7919) % 13) / 13.0 for n in range(360)]
    told = dict.fromkeys(QUANTITIES, wave)
    full = {name: [False] * 360 for name in QUANTITIES}
    sheets = [sheet(one, f"night {n}", 0.0, one.tape.length_s) for n in range(10)]
    text = compare_page(sheets, [TrialCurves(0.025, told, full)] * 10)
    assert "Fine dust" in text
    assert len(text.encode()) < 150_000
