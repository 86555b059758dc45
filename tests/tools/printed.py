"""What README and the manual show as printed is printed again, after any new word.

`python -m tests.tools.printed` plays the nights, and puts outputs and pictures where
they have them; a test holds both to what the commands print now.
"""

import io
import os
import re
import tempfile
from collections.abc import Mapping
from contextlib import chdir
from pathlib import Path
from unittest import mock

from cabinvigil.daemon import cli
from cabinvigil.daemon.commands import precheck as precheck_command

ROOT = Path(__file__).parents[2]
PAGES = (ROOT / "README.md", ROOT / "daemon" / "README.md")
PICTURES = ROOT / "tests" / "pictures"
MARKS = re.compile(r"(<!-- printed: ([a-z-]+) -->\n).*?(<!-- end -->)", re.DOTALL)
CUT = "...\n"

STRICTER = """[alarm.co2-level]
steps = [
    { at = 2500.0, priority = "low" },
    { at = 5000.0, priority = "medium", over_s = 28800.0 },
    { at = 10000.0, priority = "medium" },
    { at = 30000.0, priority = "high" },
    { at = 15000.0, priority = "high", over_s = 900.0 },
]
"""

PRINTED: Mapping[str, tuple[str, tuple[tuple[str, int], ...]]] = {
    # name: (the call, what is shown of it: from which line on, how many lines).
    # In this order, since later calls read what earlier ones wrote.
    "plan": (
        "plan --burner-kw 0.8 --wind-mps 1",
        ((r".* vent", 24),),
    ),
    "precheck": (
        "precheck --emulated --failing bunk-co=stall",
        ((r"NOT READY", 6),),
    ),
    "shut": (
        "rehearse shut --hours 2 --tick-s 10 --log shut/",
        (
            (r"Rehearsal", 6),
            (r".*DANGER  Too little oxygen in", 1),
        ),
    ),
    "morning": ("morning shut/", ((r"", 10), (r"Air ", 3), (r"Tonight", 4))),
    "quiet": (
        "rehearse quiet --hours 2 --tick-s 10 --log quiet/",
        ((r"Rehearsal", 2), (r"  oxygen", 2)),
    ),
    "compare": ("compare shut/ quiet/", ((r"", 9), (r"safest", 3))),
    "replay": ("replay shut/ --limits stricter.toml", ((r"", 3),)),
}


def called(words: str) -> str:
    """Run one call in this folder, and return what it prints."""
    out, err = io.StringIO(), io.StringIO()
    word, *rest = words.split()
    command = cli._module(word)
    # What this machine's own heat and supply are is no part of the trailer's evening.
    with (
        mock.patch.object(precheck_command, "cpu_c", return_value=None),
        mock.patch.object(precheck_command, "is_under_volted", return_value=None),
    ):
        args = cli.parser_of(word).parse_args(rest)
        code = cli.exit_code_of(lambda: command.run(args, out, err), err)
    if code not in (0, 1):
        raise RuntimeError(f"cabinvigil {words} ended with {code}: {err.getvalue()}")
    return out.getvalue()


def shown(printed: str, pieces: tuple[tuple[str, int], ...]) -> str:
    """Cut the pieces out of what was printed, with a mark where something is left out.

    Raises:
        StopIteration: a piece's first line is no longer there.
    """
    lines = [line.rstrip() + "\n" for line in printed.splitlines()]
    told, end = "", 0
    for first, count in pieces:
        at = next(n for n in range(end, len(lines)) if re.match(first, lines[n]))
        told += (CUT if at > end and told else "") + "".join(lines[at : at + count])
        end = at + count
    return told + (CUT if end < len(lines) else "")


def all_printed(folder: Path) -> dict[str, str]:
    """Run every call in a folder; give the blocks by name."""
    blocks = {}
    with chdir(folder):
        Path("stricter.toml").write_text(STRICTER, encoding="utf-8")
        for name, (words, pieces) in PRINTED.items():
            body = shown(called(words), pieces)
            blocks[name] = f"```text\n$ cabinvigil {words}\n{body}```\n"
    return blocks | {"stricter": f"```toml\n{STRICTER}```\n"}


def draw(folder: Path, into: Path) -> None:
    """Draw README's pictures, the same for the same drawing library.

    Args:
        folder: where `all_printed` was run.
        into: where they go.
    """
    import matplotlib as mpl

    os.environ["SOURCE_DATE_EPOCH"] = "0"
    mpl.rcParams["svg.hashsalt"] = "cabinvigil"
    with chdir(folder):
        called(f"plan --burner-kw 0.8 --wind-mps 1 --picture {into / 'plan.svg'}")
        called("morning shut/ --page shut.html")
        called("rehearse trials --tick-s 30 --log trials/")
        called("compare trials/@trial --page trials.html")
        pages = {"oxygen.svg": "shut.html", "trials.svg": "trials.html"}
        for name, page in pages.items():
            drawn = first_picture(Path(page).read_text(encoding="utf-8"))
            (into / name).write_text(drawn, encoding="utf-8")


def first_picture(page: str) -> str:
    """Return a page's first picture by itself, with the page's colours, in the light.

    Raises:
        ValueError: the page has no picture.
    """
    (style,) = re.findall(r":root *\{.*?\}", page, re.DOTALL)[:1]
    style = style.replace("color-scheme:light dark;", "")
    style += "".join(re.findall(r"svg text *\{.*?\}", page)[:1])
    (svg,) = re.findall(r"<svg role=.*?</svg>", page, re.DOTALL)[:1]
    head = f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="{XLINK}" width="537" '
    svg = svg.replace("<svg ", head, 1)
    at = svg.index(">") + 1
    ground = '<rect width="100%" height="100%" style="fill: var(--ground)"/>'
    return f"{svg[:at]}<style>{style}</style>{ground}{svg[at:]}\n"


XLINK = "http://www.w3.org/1999/xlink"


def reprinted(text: str, blocks: Mapping[str, str]) -> str:
    """Return the page with every block printed anew.

    Raises:
        KeyError: a mark names no block.
    """
    return MARKS.sub(lambda mark: mark[1] + blocks[mark[2]] + mark[3], text)


def main() -> None:
    """Write README, the manual and their pictures again."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        blocks = all_printed(Path(name))
        draw(Path(name), PICTURES)
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        page.write_text(reprinted(text, blocks), encoding="utf-8")


if __name__ == "__main__":
    main()
