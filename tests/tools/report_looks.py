"""Looks at the morning's page or the trials' report, and keeps a picture of each look.

Run: `cabinvigil morning NIGHT --page m.html`, then
`python -m tests.tools.report_looks PICTURES m.html [--axe .../axe.min.js]` (half a
minute a page; Debian's Chromium).  For each width, size of text and ground it prints
the least and largest text of the charts in px, what is cut off, and axe's opinion.
"""

import argparse
import json
from pathlib import Path

from tests.phone.browser import Tab, browser
from tests.tools.axe import RUN

LOOKS = [
    (width, text_pct, theme)
    for width in (320, 390, 1280)
    for text_pct in (100, 150)
    for theme in ("light", "dark")
]
MEASURE = """(() => {
  const sizes = [], cut = new Set();
  for (const node of document.querySelectorAll('svg text')) {
    const m = node.getScreenCTM();
    sizes.push(parseFloat(getComputedStyle(node).fontSize) * Math.hypot(m.a, m.b));
    const box = node.getBoundingClientRect();
    const frame = node.closest('svg').getBoundingClientRect();
    if (box.left < frame.left - 1 || box.right > frame.right + 1 ||
        box.top < frame.top - 1 || box.bottom > frame.bottom + 1)
      cut.add(node.textContent);
  }
  for (const node of document.querySelectorAll('body *:not(svg *)'))
    if (node.getBoundingClientRect().right > innerWidth + 1) cut.add(node.tagName);
  const tenth = px => Math.round(10 * px) / 10;
  return {chart_px: [tenth(Math.min(...sizes)), tenth(Math.max(...sizes))],
    body_px: parseFloat(getComputedStyle(document.body).fontSize), cut: [...cut],
    too_wide_px: document.documentElement.scrollWidth - innerWidth};
})()"""


def look(tab: Tab, page: Path, into: Path, axe: str) -> None:
    """Show a page in every look; print what is measured."""
    for width, text_pct, theme in LOOKS:
        tab.size(width, 844)
        tab.media(prefers_color_scheme=theme)
        tab.open(page.resolve().as_uri())
        tab.run(f"document.documentElement.style.fontSize = '{text_pct}%'")
        found = [tab.run(MEASURE)]
        if axe:
            tab.run(f"{axe}; 0")
            told = tab.run(f"{RUN}.then((said) => JSON.stringify(said.violations))")
            found += [one["id"] for one in json.loads(told)]
        print(f"{page.stem} {width} px, text {text_pct} %, {theme}: {found}")
        name = f"{page.stem}-{width}-{text_pct}-{theme}.png"
        tab.picture(into / name, whole=True)


def main() -> None:
    """Look at each page that is named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("into", type=Path)
    parser.add_argument("pages", type=Path, nargs="+")
    parser.add_argument("--axe", type=Path)
    args = parser.parse_args()
    args.into.mkdir(parents=True, exist_ok=True)
    axe = "" if args.axe is None else args.axe.read_text(encoding="utf-8")
    with browser() as tab:
        for page in args.pages:
            look(tab, page, args.into, axe)


if __name__ == "__main__":
    main()
