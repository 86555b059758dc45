"""R9, X11: what others wrote into a log steers no terminal and makes no line."""

from collections.abc import Iterator
from pathlib import Path
from unicodedata import category

import pytest

from cabinvigil.daemon.cli import main
from cabinvigil.daemon.text.plain import all_plain, plain
from tests.review import logs

FORGED = "Safe. No alarm sounded."
HOSTILE = f"got up\x1b[2J\x1b]0;x\x07\n{FORGED}\r\u202e\u2028{FORGED}\u200b\x9b2K"


@pytest.fixture
def night(tmp_path: Path) -> Path:
    data = logs.begin(config=logs.config(name=f"hut\n{FORGED}"))
    data += logs.air(logs.still_air(0.0, 3600.0))
    data += logs.line("mark", 60.0, text=HOSTILE, by="phone")
    data += logs.line(
        "act", 70.0, act="acknowledge", alarm="", by="phone", text=HOSTILE
    )
    for state, was in (("unacknowledged", "normal"), ("normal", "unacknowledged")):
        fields = {"alarm": "o2-low", "state": state, "was": was, "first_up": True}
        more = {"priority": "high", "text": HOSTILE}
        data += logs.line("alarm", 90.0, None, **fields, **more)
    data += logs.line("fault", 95.0, source="mqtt", kind="refused", text=HOSTILE)
    return logs.write(tmp_path, data + logs.line("stop", 3600.0, reason=HOSTILE))


def steering(text: str) -> Iterator[str]:
    for letter in text:
        if letter != "\n" and category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp"):
            yield letter


@pytest.mark.parametrize(
    "words",
    [
        ("morning",),
        ("morning", "--json"),
        ("compare",),
        ("compare", "--json"),
        ("compare", "--csv"),
        ("replay",),
        ("replay", "--json"),
    ],
)
def test_no_command_passes_it_on(
    words: tuple[str, ...], night: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main([words[0], str(night), *words[1:]])
    printed = "".join(capsys.readouterr())
    assert printed
    assert list(steering(printed)) == []
    assert FORGED not in printed.splitlines()


def test_the_page_has_none_of_it(night: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    main(["morning", str(night), "--page", str(page)])
    assert list(steering(page.read_text("utf-8"))) == []


def test_a_line_stays_a_line_and_words_stay_words() -> None:
    assert plain("17.5\xa0% \u202f° déjà") == "17.5\xa0% \u202f° déjà"
    assert plain("a\nb\tc\x1b[1md") == "a b c[1md"
    assert all_plain({"a\n": ["b\x07", {"c": "\u202ed"}], "n": 1.5}) == {
        "a ": ["b", {"c": "d"}],
        "n": 1.5,
    }
