"""Words for people are as DEVELOPERS.md's table has them: in literals, in comments of
the config, and in the prose of the pages."""

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.tools import subjects

ROOT = Path(__file__).parents[2]
NOT_FOR_PEOPLE = {
    "daemon/phone/store.py": "SQL",
    "daemon/phone/database.py": "SQL",
    "daemon/text/units.py": "what people may type as a unit",
    "daemon/commands/config_draft.py": "lines of a config, in its keys",
    "daemon/compose/": "names of types",
    "daemon/report/page_style.py": "CSS",
}
CONFIG = ("config/cabin.toml", "config/phone.toml", "config/limits.toml")
DOCS = (
    "README.md",
    "daemon/README.md",
    "config/README.md",
    "tests/README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "hardware.md",
)
"""Pages whose prose is read: not their code, nor where their links lead."""
FOR_DEVELOPERS = ("DEVELOPERS.md", "tests/README.md")
"""Pages that call a driver's sensor a part, as the code does."""
OWN_WORDS = r"## Words for people\n.*?(?=\n## )"
"""The section of DEVELOPERS.md that names the retired words."""

RETIRED = {
    r"watch(?:er|es|ed|ing)?": "monitor",
    r"parts?|fellow": "sensor",
    r"buzzer": "sounder",
    r"rings?|ringing|rang|rung": "sound",
    r"alerts?": "alarm, or message",
    r"at fault": "faulty",
    r"answer(?:s|ed|ing)?": "acknowledge, respond, or reply",
    r"tells?|told|telling": "report, show",
    r"trailer": "cabin",
    r"shore|elsewhere": "second phone, second broker",
    r"openings?": "vent",
    r"panes?|glass": "window",
    r"supply": "power supply, battery",
    r"laxer": "less strict",
    r"own choice": "our choice",
    r"from memory": "unverified",
    r"mend(?:s|ed|ing)?": "fix",
    r"anew": "again",
    r"else": "otherwise",
    r"wants?|wanted": "need",
    r"stands?|stood": "is active, is",
    r"gone": "cleared, missing",
    r"span(?:s|ned|ning)?": "calibrate",
    r"thumb": "rule of thumb",
    r"swift|bears?|hangs? on": "fast, withstand, depend on",
    r"lies|vouch(?:es)?|stumbl(?:e|es|ed)|minds?|cares": "a machine is no person",
    r"(?<!there )is no (?:[a-z]+)(?<!longer)(?<!more)": "is not a",
}
ALLOWED = {
    # What is meant is the word itself, or a contract's name.
    r"\bcabinvigil (?:span|parts)\b|\bparts --scan\b": "commands",
    r"\[part\.[^\]]*\]|\[(?:watch|buzzer)\]|\bplace = \"glass\"": "keys",
    r"\boutside(?:,| and) glass\b": "words of the key `place`",
    r"user = \"watcher\"": "the monitor's name at the broker",
    r"\blog mend\b|\b(?:with|only) mend\b|\bmended(?:/|, beside)": "a command",
    r"\bspan O2\b": "the operation itself",
    r"\bLapwing, a trailer\b|\bsleeping trailer\b|\btrailer hut\b": "a kind of cabin",
    r"\bopening (?:the serial port|\{)": "a port is opened",
    r"\bpower[- ]supply\b|\bsupply (?:voltage|current)\b": "the whole term",
    r"\brule of thumb\b": "the whole term",
    r"\bno one answers\b": "people do answer a telephone",
    r"\bsomeone elsewhere\b|\bcheck elsewhere\b|\bphone, elsewhere\b": "a place",
    r"\b(?:a|some) part of\b|\bpart of\b": "a share",
    r"\b(?:any|every|some)(?:thing|one) else\b|\ball else\b": "others, not otherwise",
    r"\bmultiply (?:it )?by 86400\b|\b0 and 1000000\b": "to be typed as they are",
    r"\{mend\}|--undo \{part\}": "fields to be filled in",
    r"\"from memory\"|\"own choice\"": "words of the contract",
    r"</?(?:span|section|ul)\b[^>]*>": "tags of HTML",
    r"'told'": "a value of the STCC4's option `air`",
    r"\bSEN63C\b|\bMC113C\b": "sensors' names, which end like a temperature",
    # On the pages:
    r"\border its parts\b|\b[Ss]mall parts\b": "a shopping list's own word",
    r"\bpart number\b|\bstand-off\b": "the whole term",
    r"\b(?:EN|IEC|ISO|PD) \d{5}(?:-\d+)*": "numbers of standards",
}
DEGREES = re.compile(r"(?<![A-Za-z])\d+ ?C\b|\bdegrees?\b(?! Fahrenheit)")
UNIT = re.compile(
    r"\d(?:%|°C|°F|ppm|hPa|kW|cm²|m³|µg)(?!\w)"  # apart by nothing
    r"|(?<![\w_{-])(?:[cm]?m[23]|m3/h|ug/m3|in2|ft[23])(?![\w}])"  # no real sign
)
THOUSANDS = re.compile(r"(?<![\d.])[1-9] \d{3}(?!\d)|(?<![\w.:/{=-])\d{5,}(?![\w-])")
IN_DOCSTRINGS = re.compile(
    r"(?<![\w.`_-])(?:the watch|anew|laxer|from memory|own choice|rang|swift"
    r"|hangs? on|say whether)(?![\w_`-])",
    re.IGNORECASE,
)
"""What no public docstring says: those for developers keep `part`, `answer`, `told`."""
LONGEST_WORDS = 45
"""Of one sentence; an error that quotes a path and a remedy may have so many."""


def _literals(path: Path) -> Iterator[tuple[int, str]]:
    """Yield line and text of each string with a space; `{}` for what is filled in."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    passed: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            passed.add(id(node.value))  # docstrings
        elif isinstance(node, ast.JoinedStr):
            passed |= {id(one) for one in node.values}
    for node in ast.walk(tree):
        text = ""
        if id(node) in passed:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        elif isinstance(node, ast.JoinedStr):
            text = "".join(
                str(one.value) if isinstance(one, ast.Constant) else "{}"
                for one in node.values
            )
        if " " in text.strip():
            yield getattr(node, "lineno", 0), text


def _comments(text: str) -> Iterator[tuple[int, str]]:
    """Yield each run of comment lines as one text, and each comment behind a key."""
    run: list[str] = []
    for number, line in enumerate([*text.splitlines(), ""], start=1):
        behind = re.fullmatch(r'(?:[^#"]|"[^"]*")*#(.*)', line)
        if line.startswith("#") and not re.match(r"# ?[\w.]+ = |#\s*\[\[?\w", line):
            run.append(line.lstrip("# "))
            continue
        if run:
            yield number - len(run), " ".join(run)
            run = []
        if behind:
            yield number, behind[1]


def _prose(path: Path) -> Iterator[tuple[int, str]]:
    """Yield each line of a page, of a table each cell; `…` where code stands."""
    text = re.sub(
        rf"^```.*?^```$|<!--.*?-->|{OWN_WORDS}",
        lambda block: "\n" * block[0].count("\n"),
        path.read_text(encoding="utf-8"),
        flags=re.DOTALL | re.MULTILINE,
    )
    if path.name == "CHANGELOG.md":  # what was said of earlier versions stays
        text = "\n## ".join(text.split("\n## ")[:2])
    for number, line in enumerate(text.splitlines(), start=1):
        plain = re.sub(r"\]\([^)]*\)", "]", re.sub(r"`[^`]*`", "…", line))
        for cell in plain.split("|") if plain.startswith("|") else [plain]:
            if cell.strip(" -"):
                yield number, cell.strip()


def _sentences() -> Iterator[tuple[str, str]]:
    for top in ("daemon", "drivers"):
        for path in sorted((ROOT / top).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if name.startswith(tuple(NOT_FOR_PEOPLE)):
                continue
            for line, text in _literals(path):
                yield f"{name}:{line}", text
    for name in CONFIG:
        for line, text in _comments((ROOT / name).read_text(encoding="utf-8")):
            yield f"{name}:{line}", text
    for path in sorted((ROOT / "daemon" / "commands").glob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        if re.search(r"^def add_arguments", path.read_text("utf-8"), re.MULTILINE):
            doc = ast.get_docstring(ast.parse(path.read_text("utf-8"))) or ""
            yield f"{name}: --help", doc.split("\n\n")[0]
    for name in DOCS:
        for line, text in _prose(ROOT / name):
            if name in FOR_DEVELOPERS:
                text = re.sub(r"\b[Pp]arts?\b", "…", text)
            yield f"{name}:{line}", text


def wrong(text: str) -> list[str]:
    """Return what a sentence has against the table."""
    plain = text
    for words in ALLOWED:
        plain = re.sub(words, "", plain)
    found = [
        f"{hit[0]!r}: say {use}"
        for words, use in RETIRED.items()
        for hit in re.finditer(
            rf"(?<![\w.`_-])(?:{words})(?![\w_`])", plain, re.IGNORECASE
        )
    ]
    found += [f"{hit[0]!r}: write °C" for hit in DEGREES.finditer(plain)]
    found += [f"{hit[0]!r}: a unit as it is printed" for hit in UNIT.finditer(plain)]
    found += [f"{hit[0]!r}: thousands" for hit in THOUSANDS.finditer(plain)]
    for sentence in re.split(r"[.!?:;](?:\s|$)|\n", text):
        if len(sentence.split()) > LONGEST_WORDS:
            found.append(f"{len(sentence.split())} words in one sentence")
    return found


def test_every_sentence_is_in_the_words_of_the_table() -> None:
    found = [
        f"{where}: {text.strip()[:70]!r}: {'; '.join(bad)}"
        for where, text in _sentences()
        if (bad := wrong(text))
    ]
    assert not found, "\n".join(found)


def test_enough_is_read() -> None:
    assert len(list(_sentences())) > 1800


def test_each_exception_is_needed() -> None:
    texts = [text for _, text in _sentences()]
    spare = [one for one in ALLOWED if not any(re.search(one, t) for t in texts)]
    assert not spare


def _docstrings(path: Path) -> Iterator[tuple[str, str]]:
    """Yield name and text of each public docstring: of module, class and function."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Module):
            yield path.name, ast.get_docstring(node) or ""
        elif isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            text = ast.get_docstring(node) or ""
            yield node.name, "" if node.name.startswith("_") else text


def _bad_docstring(text: str) -> list[str]:
    without_code = re.sub(r"`[^`]*`|^ +\w+: ", "", text, flags=re.MULTILINE)
    return [hit[0] for hit in IN_DOCSTRINGS.finditer(without_code)]


def test_no_public_docstring_has_a_private_word() -> None:
    read, found = 0, []
    for top in ("daemon", "drivers"):
        for path in sorted((ROOT / top).rglob("*.py")):
            for name, text in _docstrings(path):
                read += 1
                if bad := _bad_docstring(text):
                    found.append(f"{path.relative_to(ROOT)}: {name}: {bad}")
    assert not found, "\n".join(found)
    assert read > 2500


@pytest.mark.parametrize(
    "text", ["Say whether it is.", "Ask the watch.", "Begin anew.", "What rang."]
)
def test_a_private_word_of_a_docstring_is_seen(text: str) -> None:
    assert _bad_docstring(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("The watch has stopped.", "say monitor"),
        ("It is no number.", "say is not a"),
        ("Warm up to 12 C.", "write °C"),
        ("Open 150 cm2 of vent.", "a unit as it is printed"),
        ("It reads 12% now.", "a unit as it is printed"),
        ("It reads 5 000 ppm.", "thousands"),
        ("It reads 17200 ppm.", "thousands"),
        ("word " * 50, "words in one sentence"),
    ],
)
def test_what_is_against_the_table_is_seen(text: str, said: str) -> None:
    assert said in " ".join(wrong(text))


@pytest.mark.parametrize(
    "text",
    [
        "It reads 5000 ppm at 12 °C.",
        "Run `cabinvigil span` in fresh air.",
        "Open 150 cm² of vent; 17 200 ppm is too much.",
    ],
)
def test_what_is_right_passes(text: str) -> None:
    assert wrong(text) == []


@pytest.mark.parametrize(
    ("subject", "said"),
    [
        ("Add a test for the words of errors", ""),
        ("Pass the units to the table", ""),
        ("Feed the watchdog of the phone", ""),
        ("Added a test", "imperative"),
        ("Adds a test", "imperative"),
        ("Adding a test", "imperative"),
        ("add a test", "capital"),
        ("WIP", "capital"),
        ("The test is added", "verb"),
        ("Add a test.", "full stop"),
        ("Add " + "x" * 70, "at most 72"),
    ],
)
def test_the_subject_of_a_commit(subject: str, said: str) -> None:
    assert said in subjects.wrong(subject)
    assert bool(subjects.wrong(subject)) is bool(said)


def test_an_export_without_git_has_no_subjects(tmp_path: Path) -> None:
    assert subjects.main(tmp_path) == 0


def test_a_bad_subject_ends_the_check(tmp_path: Path) -> None:
    """Of a repository with a tag; a clone cut short has nothing to look at."""

    def git(*words: str) -> None:
        who = ("-c", "user.name=a", "-c", "user.email=a@example.org")
        subprocess.run(["git", *who, "-C", str(one), *words], check=True)

    one, short = tmp_path / "one", tmp_path / "short"
    one.mkdir()
    git("init", "-q")
    git("commit", "-q", "--allow-empty", "-m", "begun, before any rule")
    git("tag", "v0.1.0")
    git("commit", "-q", "--allow-empty", "-m", "Add a test")
    assert subjects.main(one) == 0
    git("clone", "-q", "--depth=1", f"file://{one}", str(short))
    assert subjects.main(short) == 0
    git("commit", "-q", "--allow-empty", "-m", "added another.")
    assert subjects.main(one) == 1
