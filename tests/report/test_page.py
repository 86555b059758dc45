"""The morning page: one file, nothing from elsewhere, fit for a phone and for eyes."""

import json
import re
import shutil
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.report.page import POLICY, page
from cabinvigil.daemon.report.page_style import DARK, LIGHT
from cabinvigil.daemon.report.pictures import pictures
from cabinvigil.daemon.text import charts
from cabinvigil.daemon.text.charts import Curve, Panel, draw
from cabinvigil.daemon.text.svg import DrawingError
from tests.phone.browser import browser
from tests.report import trials
from tests.review import logs, named
from tests.tools.report_looks import MEASURE

LARGEST = 150_000
CONTRAST_TEXT, CONTRAST_LINE = 4.5, 3.0
"""WCAG 2.2, 1.4.3 and 1.4.11."""


def night(folder: Path) -> Path:
    """`icing` with a mark, alarms, estimates, a gap, and words that want to be code."""
    log, _ = named.night("icing")
    lines = log.splitlines(keepends=True)
    extra = [
        logs.line("mark", 5961.0, text="<script>alert(1)</script> roof vent", by="x"),
        logs.line(
            "alarm",
            5963.0,
            alarm="o2-projected",
            state="unacknowledged",
            was="normal",
            priority="high",
            text="Too little oxygen in 9 minutes: still 19.6 %.",
        ),
        logs.line(
            "estimate",
            5962.0,
            o2_minutes_to_19_5=[5.0, 9.0, None],
            o2_rate_pct_per_h=[-1.2, -1.0, -0.8],
            air_changes_per_h=[0.5, 0.7, 0.9],
        ),
    ]
    return logs.write(folder, b"".join([*lines[:200], *extra, *lines[420:]]))


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of that night."""
    return page(give_account(files(night(tmp_path_factory.mktemp("page")))))


class Elements(HTMLParser):
    """Every element with its attributes, and the text that is read."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_it_is_one_small_file_with_nothing_from_elsewhere(text: str) -> None:
    """Under 150 kB; no script, no font, no picture, no style that is fetched."""
    assert len(text.encode()) < LARGEST
    for tag, attrs in Elements(text).found:
        assert tag not in ("script", "link", "iframe", "object", "img")
        for name in ("src", "href", "data", "action"):
            assert (attrs.get(name) or "#").startswith("#")
        assert not any(name.startswith("on") for name in attrs)
    assert not re.search(r"https?:|@import|url\((?!#)", text)


def test_words_from_the_log_stay_words(text: str) -> None:
    """A mark cannot become part of the page."""
    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_it_says_what_its_pictures_show(text: str) -> None:
    """Each is an image with a title and a description; names are unlike each other."""
    elements = Elements(text)
    pictures = [attrs for tag, attrs in elements.found if tag == "svg"]
    ids = [attrs["id"] for _, attrs in elements.found if "id" in attrs]
    assert len(pictures) >= 7
    assert len(ids) == len(set(ids))
    for attrs in pictures:
        assert attrs["role"] == "img"
        for name in (attrs["aria-labelledby"] or "").split():
            assert name in ids
    told = " ".join(elements.texts)
    assert re.search(r"Oxygen: 20\.\d+? % at \d\d:\d\d, lowest 1[78]\.\d", told)
    assert "the projection expected, at 1 moment" in told
    tags = [tag for tag, _ in elements.found]
    assert ("html", {"lang": "en"}) in elements.found
    assert tags.count("h1") == tags.count("main") == 1
    assert tags.count("title") == len(pictures) + 1


def test_what_it_references_is_in_it(text: str) -> None:
    """Clip paths and ticks point into their own picture."""
    ids = set(re.findall(r'\bid="([^"]+)"', text))
    asked = set(re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', text))
    assert {a or b for a, b in asked} <= ids


def test_its_ending_on_paper_and_its_dark_side_are_styled(text: str) -> None:
    """Dark and light by the reader's choice; print on A4."""
    assert "prefers-color-scheme:dark" in text
    assert "@page{size:A4" in text
    assert 'name="viewport" content="width=device-width' in text
    for marker, _ in charts.COLOURS.values():
        assert marker not in text


def luminance(colour: str) -> float:
    """WCAG 2.2's relative luminance."""
    parts = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    red, green, blue = (
        one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4
        for one in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_measure_of_contrast_is_the_published_one() -> None:
    """Black on white is 21:1; #767676 on white is the least grey at 4.5:1 (WCAG)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_lines_stand_out(look: dict[str, str]) -> None:
    """Text 4.5:1 on every ground it stands on; lines 3:1."""
    for ground in ("--ground", "--card"):
        for ink in ("--ink", "--soft"):
            assert contrast(look[ink], look[ground]) >= CONTRAST_TEXT
    for banner in ("--good", "--warn", "--alarm"):
        assert contrast(look["--on"], look[banner]) >= CONTRAST_TEXT
    for line in ("--one", "--two", "--three", "--alarm", "--warn", "--fault"):
        assert contrast(look[line], look["--ground"]) >= CONTRAST_LINE


def test_a_hole_in_the_readings_is_no_line() -> None:
    """Two pieces of line, and nothing between them."""
    ticks = [(0.0, "22:00")]
    values = [20.0, 20.1, None, 20.2, 20.3]
    panel = Panel("x", [0.0, 1.0, 2.0, 3.0, 4.0], [Curve("oxygen", values)], ticks)
    course = re.search(r'<path d="([^"]*)"[^>]*stroke: var\(--one\)', draw(panel))
    assert course is not None
    assert course[1].count("M") == 2


def test_how_far_the_limit_was_is_seen_on_a_good_night_too(tmp_path: Path) -> None:
    """The first limit on the way stands in each gas's picture; noise fills none."""
    found = give_account(files(logs.write(tmp_path, named.night("quiet")[0])))
    shown = {one.panel.key: one.panel for one in pictures(found)}
    for key, word in (
        ("o2", "limit 19.5 %"),
        ("co2", "limit 5000 ppm"),
        ("co", "limit 30 ppm"),
    ):
        assert word in draw(shown[key])
    assert shown["supply"].least_span == 1.0
    ticks = re.findall(r">(\d+)</text>", draw(shown["rh"]))
    assert max(map(int, ticks)) <= 100


def test_a_number_and_its_unit_stay_on_one_line(text: str) -> None:
    """A space that does not break, and powers as they are printed."""
    told = re.sub(r"<svg.*?</svg>", "", text, flags=re.DOTALL)
    assert re.search(r"\d\u00a0m³/h", told)
    body = told.split("<body>")[1]
    assert not re.search(r"\d (%|ppm|kg|°C|m[3³]/h|min)(?!\w)", body)


def test_without_matplotlib_one_sentence_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the pip that belongs to this Python: no index has our own name."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    found = give_account(files(logs.write(tmp_path, named.night("quiet")[0])))
    with pytest.raises(DrawingError, match=f"{sys.prefix}/bin/pip install mat"):
        page(found)


# --- in a real browser -----------------------------------------------------------

BROWSER = "chromium-headless-shell"
"""Debian's: plain `chromium` lays a 390-pixel window out at 500."""

LOOK = """
<script>
addEventListener('load', () => {
  const wide = document.documentElement;
  const over = [], clipped = [], pale = [];
  const seen = colour => {
    const c = colour.match(/[\\d.]+/g).map(Number);
    return c.length === 4 && c[3] === 0 ? null : c.slice(0, 3);
  };
  const light = c => {
    const [r, g, b] = c.map(v => v / 255).map(
      v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = el => {
    for (; el; el = el.parentElement) {
      const c = seen(getComputedStyle(el).backgroundColor);
      if (c) return c;
    }
    return [255, 255, 255];
  };
  for (const el of document.querySelectorAll('body *')) {
    const box = el.getBoundingClientRect();
    const ink = el.closest('svg');
    if (!ink && box.right > innerWidth + 1) over.push(el.tagName);
    if (!ink && el.scrollWidth > el.clientWidth + 1 && el.clientWidth)
      clipped.push(el.tagName);
    if (el.tagName === 'text') {
      const frame = ink.getBoundingClientRect();
      if (box.left < frame.left - 1 || box.right > frame.right + 1 ||
          box.top < frame.top - 1 || box.bottom > frame.bottom + 1)
        clipped.push('text ' + el.textContent);
    }
    const own = [...el.childNodes].some(
      n => n.nodeType === 3 && n.textContent.trim());
    if (own && box.width && !['TITLE', 'DESC'].includes(el.tagName.toUpperCase())) {
      const style = getComputedStyle(el);
      const c = seen(ink ? style.fill : style.color), g = ground(el);
      const [a, b] = [light(c), light(g)].sort((x, y) => y - x);
      if ((a + 0.05) / (b + 0.05) < 4.5) pale.push(el.tagName + el.textContent);
    }
  }
  const sizes = [...document.querySelectorAll('svg text')].map(text => {
    const m = text.getScreenCTM();
    return parseFloat(getComputedStyle(text).fontSize) * Math.hypot(m.a, m.b);
  });
  const told = {scroll: wide.scrollWidth - innerWidth, inner: innerWidth,
    over, clipped, pale, least: Math.min(...sizes),
    fetched: performance.getEntriesByType('resource').length,
    banner: document.querySelector('.verdict').getBoundingClientRect().bottom};
  document.title = JSON.stringify(told);
});
</script>
"""


def dumped_by_browser(file: Path, size: str = "390,844", scheme: int = 1) -> str:
    """Open a page in the browser; give what it then is."""
    return subprocess.run(
        [
            BROWSER,
            "--no-sandbox",
            "--hide-scrollbars",
            f"--blink-settings=preferredColorScheme={scheme}",
            f"--window-size={size}",
            "--dump-dom",
            file.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    ).stdout


@pytest.mark.browser
def test_x12_whatever_gets_into_the_page_does_not_run(
    text: str, tmp_path: Path
) -> None:
    """A second lock behind the escaping: a mark that became a script runs nothing."""
    script = "<script>document.title = 'it ran'</script>"
    file = tmp_path / "page.html"
    file.write_text(text.replace("</body>", script + "</body>"), encoding="utf-8")
    assert "<title>it ran</title>" not in dumped_by_browser(file)
    file.write_text(
        text.replace(POLICY, "").replace("</body>", script + "</body>"), "utf-8"
    )
    assert "<title>it ran</title>" in dumped_by_browser(file), "else nothing is shown"


@pytest.mark.browser
@pytest.mark.parametrize("which", ["morning", "trials"])
@pytest.mark.parametrize("scheme", [1, 0], ids=["light", "dark"])
@pytest.mark.parametrize("size", ["320,640", "390,844", "1280,800"])
def test_a_browser_shows_it_whole(
    text: str, tmp_path: Path, size: str, scheme: int, which: str
) -> None:
    """Nothing scrolls sideways, is cut off, pale, or fetched; the verdict is on top."""
    assert shutil.which(BROWSER), "install Debian's chromium-headless-shell"
    file = tmp_path / "page.html"
    if which == "trials":
        text = trials.report(tmp_path)
    # Its own policy lets not even this look at it in.
    seen = text.replace(POLICY, "").replace("</body>", LOOK + "</body>")
    file.write_text(seen, encoding="utf-8")
    dumped = dumped_by_browser(file, size, scheme)
    title = re.search(r"<title>(\{.*?\})</title>", dumped)
    assert title is not None
    told = json.loads(title[1])
    assert told["inner"] == int(size.split(",")[0])
    assert told["scroll"] <= 0
    assert told["least"] >= 11.0, "text in a picture, px"
    assert told["over"] == told["clipped"] == told["pale"] == []
    assert told["fetched"] == 0
    assert told["banner"] < (300 if which == "trials" else 200)


def busy(folder: Path) -> Path:
    """`icing`, each twenty minutes a mark, an alarm and a fault, and a long gap."""
    log, _ = named.night("icing")
    extra: list[tuple[float, bytes]] = []
    words = "Check its plug and its cable, and what the log of this very night tells. "
    for n in range(20):
        at_s, name = 1800.0 + 1200.0 * n, f"part-with-a-long-name-{n}"
        mark = f"roof vent open {n} cm, and the low one half shut"
        states = {"state": "unacknowledged", "was": "normal"}
        told = {"alarm": f"sensor-fault/{name}", "priority": "high", "text": words * 2}
        fault = {"source": name, "kind": "absent", "text": words}
        extra += [
            (at_s, logs.line("mark", at_s, text=mark, by="socket")),
            (at_s + 1.0, logs.line("alarm", at_s + 1.0, **states, **told)),
            (at_s + 2.0, logs.line("fault", at_s + 2.0, **fault)),
        ]
    rows = [(json.loads(line)["up_s"], line) for line in log.splitlines(keepends=True)]
    kept = [row for row in rows if not 12_000.0 < row[0] < 19_500.0]
    lines = [line for _, line in sorted(kept + extra, key=lambda row: row[0])]
    return logs.write(folder, b"".join(lines))


@pytest.mark.browser
def test_the_busiest_night_prints_on_three_sheets(tmp_path: Path) -> None:
    """A4, readable: words first; what is left out on paper is said there."""
    text = page(give_account(files(busy(tmp_path))))
    assert text.count('class="long more"') == 1
    file, sheet = tmp_path / "busy.html", tmp_path / "busy.pdf"
    file.write_text(text, encoding="utf-8")
    subprocess.run(
        [
            BROWSER,
            "--no-sandbox",
            "--no-pdf-header-footer",
            f"--print-to-pdf={sheet}",
            file.as_uri(),
        ],
        capture_output=True,
        timeout=60,
        check=True,
    )
    printed = sheet.read_bytes()
    sizes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    found = [[round(float(one)) for one in size] for size in sizes]
    assert found == [[595, 842]] * len(found)
    assert 1 <= len(found) <= 3


@pytest.mark.browser
def test_pictures_have_text_of_seven_points_on_paper(text: str, tmp_path: Path) -> None:
    """A4 less its margins is 194 mm wide; a CSS pixel is 0.75 pt."""
    file = tmp_path / "page.html"
    file.write_text(text, encoding="utf-8")
    with browser() as tab:
        tab.size(round(194.0 / 25.4 * 96.0), 1000)
        tab.call("Emulation.setEmulatedMedia", media="print")
        tab.open(file.as_uri())
        told = tab.run(MEASURE)
    assert told["cut"] == []
    assert 0.75 * told["chart_px"][0] >= 7.0
    assert 0.75 * told["chart_px"][1] <= 1.1 * 0.75 * told["body_px"], "as the page's"
