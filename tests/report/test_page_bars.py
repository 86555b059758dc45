"""What the morning page shows first, and what each of its bars and pictures holds."""

import re
from pathlib import Path

import pytest

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.report.page import page
from cabinvigil.daemon.report.pictures import pictures
from cabinvigil.daemon.text import charts
from cabinvigil.daemon.text.charts import Curve, Panel, draw
from tests.report import trials
from tests.report.test_page import busy, night
from tests.review import logs, named


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of the night that `test_page` writes."""
    return page(give_account(files(night(tmp_path_factory.mktemp("page")))))


def test_it_is_asked_in_this_order(text: str) -> None:
    """Verdict, tonight, what rang, how far, pictures, air and gas, what watched."""
    heads = [
        'class="verdict',
        "<h2>Tonight",
        "<h2>What sounded",
        "<h2>How far from the limits",
        "<h2>The night",
        "<h2>Fresh air",
        "<h2>Gas, water",
        "<h2>The monitor itself",
    ]
    places = [text.index(head) for head in heads]
    assert places == sorted(places)


def test_each_bar_has_its_name_times_priority_and_words(text: str) -> None:
    """One of what rang, and its place on the night's length."""
    [stand] = re.findall(r'<ul class="stands">(.*?)</ul>', text, re.DOTALL)
    [row] = re.findall(r"<li>(.*?)</li>", stand, re.DOTALL)
    assert "<b>oxygen soon too low</b>" in row
    assert "22:39 to the end, ▲ danger, not acknowledged" in row
    assert "Too little oxygen in 9 minutes: still 19.6\u00a0%." in row
    left, wide = re.findall(r"left:([\d.]+)%;width:([\d.]+)%", row)[0]
    assert float(left) == pytest.approx(100.0 * 5963.0 / (9.0 * 3600.0), abs=0.2)
    assert float(left) + float(wide) == pytest.approx(100.0, abs=0.2)


def test_the_nearest_limit_is_first_and_what_is_past_it_goes_the_other_way(
    text: str,
) -> None:
    """Its bar begins at the limit and goes right; the tile says so too."""
    near = text.partition('<section class="near">')[2].partition("</section>")[0]
    names = re.findall(r"<li><b>([^<]+)</b>", near)
    assert names[:2] == ["carbon dioxide", "oxygen"]
    assert re.findall(r'<i class="past" style="left:60%;width:([\d.]+)%"', near)[0] == (
        "40.0"
    )
    assert text.count('class="tile past"') == 2
    assert "past its limit: 2.8\u00a0h at or below 19.5\u00a0%" in text


def test_a_gas_far_from_its_limit_has_a_bar_up_to_it(tmp_path: Path) -> None:
    """On a quiet night none is past, and no key speaks of it."""
    shown = page(give_account(files(logs.write(tmp_path, named.night("quiet")[0]))))
    near = shown.partition('<section class="near">')[2].partition("</section>")[0]
    bars = re.findall(r'class="left" style="left:([\d.]+)%;width:([\d.]+)%"', near)
    assert len(bars) >= 3
    for left, wide in bars:
        assert float(left) + float(wide) == pytest.approx(60.0, abs=0.11)
    assert "striped" not in near
    assert 'class="tile past"' not in shown
    words = re.sub(r"<svg.*?</svg>", "", shown.partition("<body>")[2], flags=re.DOTALL)
    assert "(-" not in words


def test_a_picture_shows_its_own_alarms_alone(text: str, tmp_path: Path) -> None:
    """Oxygen's projection stands in oxygen's picture, and in no other's."""
    found = give_account(files(night(tmp_path)))
    for one in pictures(found):
        kinds = {band.kind for band in one.panel.bands}
        assert ("alarm" in kinds) == (one.panel.key == "o2")
        assert any("Full bar" in word for word in one.key) == (one.panel.key == "o2")
        assert "Grey: nothing was recorded" in one.key
        assert one.panel.marks[0][1].startswith("<script>")
    assert "Striped bar" not in text


def test_pictures_have_one_time_axis_and_one_margin(text: str) -> None:
    """The axis' line begins and ends at the same place in each: they line up."""
    boxes = set()
    for svg in re.findall(r"<svg .*?</svg>", text, re.DOTALL):
        view = re.search(r'viewBox="([^"]+)"', svg)
        clip = re.search(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', svg)
        assert view is not None
        assert clip is not None
        boxes.add((view[1], clip[1], clip[2]))
    [(_, left, wide)] = boxes
    assert float(left) == pytest.approx(charts.LEFT, abs=0.1)
    across = charts.WIDTH - charts.LEFT - charts.RIGHT
    assert float(wide) == pytest.approx(across, abs=0.1)
    margin = f"margin-left:{100.0 * charts.LEFT / charts.WIDTH:.1f}%"
    assert margin in text, "the bars of what rang stand above the pictures' axes"


def test_no_axis_zooms_into_noise(tmp_path: Path) -> None:
    """On a quiet night each axis holds what matters."""
    found = give_account(files(logs.write(tmp_path, named.night("quiet")[0])))
    shown = {one.panel.key: one.panel for one in pictures(found)}
    assert (shown["o2"].floor, shown["o2"].top) == (17.0, 21.0)
    assert (shown["rh"].floor, shown["rh"].top) == (0.0, 100.0)
    assert (shown["co"].floor, shown["co"].top) == (0.0, 100.0)
    assert (shown["temp"].least_span, shown["dew"].least_span) == (10.0, 10.0)
    still = Panel("x", [0.0, 1.0], [Curve("t", [8.0, 8.1])], [], least_span=10.0)
    ticks = [
        float(one.replace("−", "-")) for one in re.findall(r">([−\d.]+)<", draw(still))
    ]
    assert max(ticks) - min(ticks) >= 5.0


def test_what_failed_comes_first_in_the_table_of_the_watch(tmp_path: Path) -> None:
    """Paper drops what comes last."""
    told = page(give_account(files(busy(tmp_path))))
    table = told.partition("<h2>The monitor itself")[2]
    assert table.index("faulty for") < table.index("of the night")


def test_a_marks_words_are_no_formula() -> None:
    """Two dollar signs would be mathematics to the drawing library."""
    panel = Panel(
        "x",
        [0.0, 1.0],
        [Curve("t", [8.0, 8.1])],
        [],
        marks=[(0.5, "gas $2 or $3 & <b>")],
    )
    assert ">gas $2 or $3 &amp; &lt;b&gt;</text>" in draw(panel)
    many = Panel(
        "x",
        [0.0, 9.0],
        [Curve("t", [8.0, 8.1])],
        [],
        marks=[(1.0 + n, f"vent {n}") for n in range(7)],
    )
    told = draw(many)
    assert "vent" not in told, "the page lists them by their numbers"
    assert re.findall(r">([1-7])</text>", told) == list("1234567")


def test_marks_and_trials_are_numbered_together(tmp_path: Path) -> None:
    """The table's number is the pictures' number, whatever came between."""
    shown = page(give_account(files(trials.log(tmp_path))))
    table = shown.partition("<h2>The monitor itself")[2]
    assert re.findall(r">(mark \d)</th><td>\d\d:\d\d: ([^<]+)", table) == [
        ("mark 1", trials.SHUT),
        ("mark 2", trials.OPEN),
    ]
