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
    # name: (the hazard, how it comes about, what prevents it)
    "false-all-clear": (
        "a false all-clear",
        "the alarm that sounded is over, while another gas is bad or a part is dead",
        "no gas alarm at any priority, nothing that wakes, every vital value trusted",
    ),
    "silenced-by-answer": (
        "silence by an acknowledgement",
        "one that was meant for another alarm, or given when the air was good",
        "it counts for what had sounded for two seconds, as bad as it was then",
    ),
    "silenced-by-shelving": (
        "silence by shelving",
        "an alarm is shelved before its condition comes, or while it is active",
        "what can ever wake people is never shelved",
    ),
    "silenced-by-test": (
        "silence by a test of the parts",
        "a danger comes while gas or breath is held to the parts, or nobody ends that",
        (
            "it sounds all the same; phones wait five minutes at most, three times "
            "an hour at most, and never beside an alarm"
        ),
    ),
    "silenced-by-button": (
        "silence by a button",
        "a button that chatters, or is pressed in sleep",
        (
            "more than six presses a minute are a fault, and what they quieted sounds "
            "again; a danger's age escalates"
        ),
    ),
    "silenced-by-phone": (
        "silence by a phone",
        "an acknowledgement each minute, an old or retained one, any other verb",
        "one for each active alarm, with its moment; it resets no escalation",
    ),
    "silenced-by-config": (
        "silence by a config",
        "a key that weakens an alarm without being called a limit",
        "every number says which way is less strict; keys of parts count by effect",
    ),
    "blind-part": (
        "a part that is blind",
        "it freezes, falls silent, saturates, is doubtful, or another takes its place",
        "what flickered and is still is doubtful; the last one lost wakes people",
    ),
    "silenced-by-restart": (
        "silence by a restart",
        "a kill, a power cut, hours without power",
        "in doubt alarms come back unacknowledged; the dose is kept",
    ),
    "silenced-by-reload": (
        "silence by a reload, or by a part taken away",
        "the config is changed while an alarm is active",
        "alarms carry over; what nothing measures becomes a fault when acknowledged",
    ),
    "broken-rule": (
        "a bug in a rule or in the trend",
        "an exception where the air is judged",
        "the rule sounds as broken; the trend is a fault, and the limits go on",
    ),
    "lesser-over-graver": (
        "a lesser message over a graver one",
        "several alarms at once, each with its message and sound",
        "only the gravest is sent; lesser messages wait for the end of the danger",
    ),
    "nobody-answers": (
        "nobody acknowledges",
        "everyone is asleep, away, or already unconscious",
        "sent again, louder, to the second phone, every quarter of an hour",
    ),
    "record-comforts": (
        "a false record of a safe night",
        "a night that nothing measured is called safe",
        "not measured, not judged or too short is not safe",
    ),
    "crying-wolf": (
        "false alarms",
        "noise, a part lost for a minute, two parts that differ",
        "one part leads; delays, dead-bands, patience if another gas is measured",
    ),
    "flooding": (
        "flooding",
        "many alarms, or one that comes and goes",
        "three in ten minutes, but for a rise to danger, or who acknowledged a call",
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
    """Return the tests that guard against each hazard, as `file::test`."""
    tests: dict[str, list[str]] = {name: [] for name in HAZARDS}
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for hazard, test in marked(path):
            at = path.relative_to(ROOT / "tests").as_posix()
            tests.setdefault(hazard, []).append(f"{at}::{test}")
    return tests


def table() -> str:
    """Draw the table; of many files of tests the first three are named.

    Neither tests nor files are counted: one more of either leaves the page true.
    """
    lines = [
        "| hazard | how it comes about | what prevents it | tested by |",
        "| --- | --- | --- | --- |",
    ]
    tests = held()
    for name, (hazard, how, guard) in HAZARDS.items():
        files = sorted({test.split("::")[0] for test in tests[name]})
        named = ", ".join(f"`{one}`" for one in files[:3])
        more = " and others" if len(files) > 3 else ""
        lines.append(f"| {hazard} | {how} | {guard} | {named}{more} |")
    return "\n".join(lines) + "\n"


def redrawn(text: str) -> str:
    """Return the page with the table made again."""
    return MARKS.sub(lambda mark: mark[1] + table() + mark[2], text)


if __name__ == "__main__":
    PAGE.write_text(redrawn(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
