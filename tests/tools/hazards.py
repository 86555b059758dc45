"""Draws the table of hazards from the tests that hold them, into DEVELOPERS.md.

`python -m tests.tools.hazards` draws it anew; a test holds the page to it.  A test says
which hazard it stands against by a mark: `@pytest.mark.hazard("false-all-clear")`.
"""

import ast
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "DEVELOPERS.md"
MARKS = re.compile(r"(<!-- drawn: hazards -->\n).*?(<!-- end -->)", re.DOTALL)
HAZARDS: Mapping[str, tuple[str, str, str]] = {
    # name: (the hazard, how it comes about, what stands against it)
    "false-all-clear": (
        "a false all-clear",
        "the alarm that rang is over, while another gas is bad or a part has died",
        "no gas alarm at any priority, nothing that wakes, every vital value trusted",
    ),
    "silenced-by-answer": (
        "silence by an answer",
        "an answer given to something else, or when the air was good",
        "an answer is to what had sounded for two seconds, and to how bad it was then",
    ),
    "silenced-by-shelving": (
        "silence by shelving",
        "an alarm is put aside before its condition comes, or while it stands",
        "what can ever wake people is never shelved",
    ),
    "silenced-by-test": (
        "silence by a test of the parts",
        "a danger comes while gas or breath is held to the parts, or nobody ends that",
        (
            "it sounds all the same; phones wait five minutes at most, thrice an hour, "
            "and never beside an alarm"
        ),
    ),
    "silenced-by-button": (
        "silence by a button",
        "a button that chatters, or is pressed in sleep",
        (
            "more than six answers a minute are a fault, and what they quieted sounds "
            "again; a danger's age escalates"
        ),
    ),
    "silenced-by-phone": (
        "silence from outside",
        "an answer by phone each minute, an old or retained one, any other verb",
        "a phone answers a stand once, with its moment, and resets no escalation",
    ),
    "silenced-by-config": (
        "silence by a config",
        "a key that loosens a guard without being called a limit",
        "every number says which way is laxer; keys of parts are judged by effect",
    ),
    "blind-part": (
        "a part that is blind",
        "it freezes, falls silent, saturates, is doubtful, or another takes its place",
        "what flickers and stands still is doubtful; the last one lost wakes people",
    ),
    "silenced-by-restart": (
        "silence by a restart",
        "a kill, a power cut, hours without power",
        "alarms come back unanswered where in doubt; the dose is held",
    ),
    "silenced-by-reload": (
        "silence by a reload, or by a part taken away",
        "the config is changed while an alarm stands",
        "alarms carry over; what nothing measures any more is a fault when answered",
    ),
    "broken-rule": (
        "a bug in a rule or in the trend",
        "an exception where the air is judged",
        "the rule rings as broken; the trend is a fault, and the limits go on",
    ),
    "lesser-over-graver": (
        "a lesser message over a graver one",
        "several alarms at once, each with its text and sound",
        "one voice: the gravest; softer texts wait for the end of the danger",
    ),
    "nobody-answers": (
        "nobody answers",
        "everyone is asleep, gone, or already unconscious",
        "told again, louder, to the second phone, each quarter of an hour",
    ),
    "record-comforts": (
        "a record that comforts",
        "a night that nobody measured is called safe",
        "not measured, not judged or too short is not safe",
    ),
    "crying-wolf": (
        "crying wolf",
        "noise, a part away for a minute, two parts that differ",
        "one part leads; delays, dead-bands, patience where another gas still watches",
    ),
    "flooding": (
        "flooding",
        "many alarms, or one that comes and goes",
        "three texts in ten minutes, but for a rise to danger",
    ),
}


def marked(path: Path) -> Iterator[tuple[str, str]]:
    """Yield each hazard that a test file's marks name, with the test's name."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        for mark in node.decorator_list:
            if isinstance(mark, ast.Call) and ast.unparse(mark.func).endswith(
                "mark.hazard"
            ):
                for argument in mark.args:
                    yield ast.literal_eval(argument), node.name


def held() -> dict[str, list[str]]:
    """Gather the tests that stand against each hazard, as `file::test`."""
    tests: dict[str, list[str]] = {name: [] for name in HAZARDS}
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for hazard, test in marked(path):
            at = path.relative_to(ROOT / "tests").as_posix()
            tests.setdefault(hazard, []).append(f"{at}::{test}")
    return tests


def table() -> str:
    """Draw the table; of many tests the first three are named."""
    lines = [
        "| hazard | how it comes about | what stands against it | held by |",
        "| --- | --- | --- | --- |",
    ]
    tests = held()
    for name, (hazard, how, guard) in HAZARDS.items():
        files = sorted({test.split("::")[0] for test in tests[name]})
        count = len(tests[name])
        named = ", ".join(f"`{one}`" for one in files[:3])
        more = f" and {len(files) - 3} files more" if len(files) > 3 else ""
        lines.append(f"| {hazard} | {how} | {guard} | {count} tests: {named}{more} |")
    return "\n".join(lines) + "\n"


def redrawn(text: str) -> str:
    """Return the page with the table made anew."""
    return MARKS.sub(lambda mark: mark[1] + table() + mark[2], text)


if __name__ == "__main__":
    PAGE.write_text(redrawn(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
