"""The report of trials and nights: one file, in order, with what is not known."""

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import compare
from cabinvigil.daemon.report.compare_page import compare_page, drawn_pictures
from cabinvigil.daemon.report.compare_rows import figure_rows, same_rows
from cabinvigil.daemon.review.trial_curves import QUANTITIES, TrialCurves
from cabinvigil.daemon.review.trial_figures import minutes_to
from cabinvigil.daemon.text.charts import Band, draw
from tests.commands import calling
from tests.report import trials
from tests.report.test_compare_text import a_sheet
from tests.report.test_compare_verdict import figures
from tests.review import logs


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    return trials.report(tmp_path_factory.mktemp("trials"))


def test_it_is_one_small_file_in_the_reports_order(text: str) -> None:
    """Sentence, courses, figures, what was the same; nothing runs or is fetched."""
    assert len(text.encode()) < 150_000
    assert "default-src 'none'" in text
    assert "<script" not in text
    assert not re.search(r"https?:|@import|url\((?!#)", text)
    heads = [
        'class="verdict',
        "From the start",
        "What was measured",
        "What was the same",
    ]
    places = [text.index(head) for head in heads]
    assert places == sorted(places)


def test_the_sentence_leads_and_both_letters_end_their_courses(text: str) -> None:
    """Direct labels, on one axis of hours from the start of each."""
    sentence = re.search(r'role="status"><p>(.*?)</p>', text)
    assert sentence is not None
    assert "roof vent a third open&#x27; was safer" in sentence[1]
    assert "all shut&#x27; was not enough" in sentence[1]
    oxygen = re.search(r"<svg [^>]*t-o2pct.*?</svg>", text, re.DOTALL)
    assert oxygen is not None
    assert re.findall(r">([AB])</text>", oxygen[0]) in (["A", "B"], ["B", "A"])
    assert ">0 h</text>" in oxygen[0]
    assert "A, all shut: 20.8 % at 0.0 h, lowest 18.4 % at 1.0 h" in oxygen[0]
    assert text.count("<svg ") == 4, "humidity and dew point were not told"


def test_its_figures_say_what_is_sure(text: str) -> None:
    """2.4 % an hour from 20.8 %: at 19.5 % after 32.5 minutes, by a part off 0.2 %."""
    row = re.search(r"minutes to 19.5\s%.*?</tr>", text, re.DOTALL)
    assert row is not None
    cells = re.findall(r"<td[^>]*>(.*?)</td>", row[0])
    middle, low, high = map(int, re.findall(r"\d+", cells[0]))
    assert middle == pytest.approx(32.5, abs=1.0)
    assert low == pytest.approx(32.5 - 60.0 * 0.18 / 2.4, abs=1.0)
    assert high == pytest.approx(32.5 + 60.0 * 0.18 / 2.4, abs=1.0)
    assert cells[1].startswith("not within 60")


def test_nights_and_stretches_have_a_report_too(tmp_path: Path) -> None:
    """Two stretches between marks of one night."""
    rows = logs.still_air(0.0, 7200.0)
    data = logs.begin() + logs.air(rows[:360])
    data += logs.line("mark", 3600.0, text="vent") + logs.air(rows[360:])
    path, out = logs.write(tmp_path, data), tmp_path / "out.html"
    code, told, err = calling.call(
        compare, f"{path}@..vent", f"{path}@vent..", "--page", str(out)
    )
    assert (code, err) == (0, "")
    page = out.read_text(encoding="utf-8")
    assert "2 nights side by side" in page
    assert "nobody" not in page.partition("<footer>")[0]
    first = " ".join(told.partition("\n\n")[0].split())
    assert first.startswith("Which was safer")


@pytest.mark.parametrize("count", [11])
def test_more_than_can_be_told_apart_is_one_sentence(
    tmp_path: Path, count: int
) -> None:
    """Eleven courses in one picture tell nothing."""
    data = logs.begin() + logs.air(logs.still_air(0.0, 3600.0))
    path = logs.write(tmp_path, data)
    out = tmp_path / "out.html"
    code, _, err = calling.call(compare, *[str(path)] * count, "--page", str(out))
    assert code == 2
    assert "--page shows at most 10 nights or trials, not 11" in err
    assert not out.exists()


def test_a_page_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    log = trials.log(tmp_path)
    page = tmp_path / "no" / "x.html"
    code, _, err = calling.call(compare, f"{log}@trial", "--page", str(page))
    assert code == 2
    assert "cannot be written" in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("values", "found"),
    [
        ([20.8, 20.0, 19.7, 19.5, 19.3], (1.0, 1.5, 2.0)),
        ([20.8, 20.5], (None, None, None)),
        ([20.8, None, 19.6], (0.5, None, None)),
        ([None, None], None),
        ([], None),
        ([None, 19.0], None),
        ([19.0, 19.0], (0.0, 0.0, 0.0)),
    ],
)
def test_minutes_to_a_limit(
    values: list[float | None], found: tuple[float | None, ...] | None
) -> None:
    """Half a minute a step; what a hole hides at the start is not known."""
    assert minutes_to(values, 19.5, 0.2) == found


def test_what_is_not_known_says_why() -> None:
    """A sheet without figures, and one whose heater never burnt."""
    bare = replace(
        a_sheet("bare"), gas_kwh=None, water_left_kg=None, air_changes_per_h=None
    )
    cells = {row.words: row.cells[0] for row in figure_rows([bare])}
    for words, cell in cells.items():
        if words != "enough to sleep by":
            assert cell.startswith("not known"), words
    cold = replace(a_sheet("cold"), figures=figures(gas_kg_per_h=None))
    assert "none seen to burn" in {row.cells[0] for row in figure_rows([cold])}


@pytest.mark.parametrize(
    ("words", "other", "told"),
    [
        ("outside", {"outside_c": -1.0}, "not the same"),
        ("outside", {"outside_c": -6.0}, "the same"),
        ("outside", {"outside_is_measured": False}, "not known"),
        ("burner's power", {"power_kw": (1.4, 1.5, 1.6)}, "not the same"),
        ("burner's power", {}, "the same"),
        ("burner's power", {"power_kw": None}, "not known"),
        ("people", {"people": 2.0}, "not the same"),
        ("inside at the start", {"begins_c": 15.0}, "not the same"),
        ("wind", {}, "not measured: a trial in another wind proves little"),
        ("length", {}, "the same"),
    ],
)
def test_what_was_not_the_same_is_said(
    words: str, other: dict[str, object], told: str
) -> None:
    """Else a trial on a windy day is taken for a better vent."""
    sheets = [
        replace(a_sheet("a"), figures=figures()),
        replace(a_sheet("b"), figures=figures(**other)),
    ]
    row = next(one for one in same_rows(sheets) if one.words == words)
    assert row.told == told


def curves(**values: list[float | None]) -> TrialCurves:
    """Four hours in half-hours; what is not given was not told."""
    told = {name: values.get(name, [None] * 9) for name in QUANTITIES}
    full = {name: [False] * 9 for name in QUANTITIES}
    return TrialCurves(0.5, told, full)


def test_what_is_not_known_is_a_band_and_a_short_course_is_none() -> None:
    """A hole within a course is grey; behind its own end there is nothing to know."""
    whole = curves(o2_pct=[20.8 - 0.1 * n for n in range(9)])
    hole = curves(o2_pct=[20.8, 20.7, None, None, 20.5, 20.4, 20.4, 20.4, 20.4])
    short = TrialCurves(
        0.5,
        {name: values[:4] for name, values in whole.values.items()},
        {name: flags[:4] for name, flags in whole.at_range_end.items()},
    )
    sheets = [a_sheet("a"), a_sheet("b")]
    [one] = drawn_pictures(sheets, [whole, hole])
    assert one.panel.bands == [Band(1.0, 2.0, "gap")]
    assert "Grey: not known for one of them" in one.key
    [one] = drawn_pictures(sheets, [whole, short])
    assert one.panel.bands == []
    assert one.panel.lines[1].values[4:] == [None] * 5
    assert not any("Grey" in word for word in one.key)


def test_a_part_at_its_ranges_end_is_shown() -> None:
    """This or more: the course alone would tell less than it was."""
    flags = [False, False, True, True, False, False, False, False, False]
    full = curves(co_ppm=[10.0] * 9)
    full = replace(full, at_range_end={**full.at_range_end, "co_ppm": flags})
    [one] = drawn_pictures([a_sheet("a"), a_sheet("b")], [full, curves()])
    assert one.panel.bands == [Band(1.0, 2.0, "trial")]
    assert any("range's end" in word for word in one.key)
    assert one.words.endswith("B: nothing was measured")


def test_letters_do_not_stand_on_each_other() -> None:
    """Ten courses that end together, at the top of the picture."""
    rows = [curves(rh_pct=[99.0 + 0.01 * n] * 9) for n in range(10)]
    sheets = [a_sheet(str(n)) for n in range(10)]
    [one] = drawn_pictures(sheets, rows)
    svg = draw(one.panel)
    at = {
        letter: float(y)
        for y, letter in re.findall(
            r"translate\([\d.]+ ([\d.]+)\)[^>]*>([A-J])</text>", svg
        )
    }
    at = at or {
        letter: float(y)
        for y, letter in re.findall(r'y="([\d.]+)"[^>]*>([A-J])</text>', svg)
    }
    assert len(at) == 10
    heights = sorted(at.values())
    assert heights[0] > 0.0
    assert min(b - a for a, b in pairwise(heights)) >= 15.0


def test_ten_nights_are_a_small_page_too() -> None:
    """Each course has fewer points, and none is shaded over another."""
    wave = [20.0 + 0.3 * ((n * 7919) % 13) / 13.0 for n in range(360)]
    told = dict.fromkeys(QUANTITIES, wave)
    full = {name: [False] * 360 for name in QUANTITIES}
    rows = [TrialCurves(0.025, told, full)] * 10
    text = compare_page([a_sheet(f"night {n}") for n in range(10)], rows)
    assert len(text.encode()) < 150_000
    assert "Shaded" not in text


def test_a_letter_stands_at_its_own_end_where_nothing_is_in_its_way() -> None:
    """A course that ends earlier pushes none, and is pushed by none."""
    long, short = curves(rh_pct=[50.0] * 9), curves(rh_pct=[50.0] * 9)
    short = TrialCurves(
        0.5,
        {name: values[:4] for name, values in short.values.items()},
        {name: flags[:4] for name, flags in short.at_range_end.items()},
    )
    [one] = drawn_pictures([a_sheet("a"), a_sheet("b")], [long, short])
    heights = re.findall(r'y="([\d.]+)"[^>]*>[AB]</text>', draw(one.panel))
    heights = heights or re.findall(
        r"translate\([\d.]+ ([\d.]+)\)[^>]*>[AB]</text>", draw(one.panel)
    )
    assert len(heights) == 2
    assert len(set(heights)) == 1
