"""What a new part or alarm still lacks, and the file that it goes to.

`python -m tests.tools.asked mcp9808 chilling` prints it, by the word of a part or the
name of an alarm; without any, of all that there are.  `tests/test_asked.py` holds that
nothing lacks.
"""

import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs

from cabinvigil.daemon import rules
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.setup import ABOUT
from cabinvigil.daemon.rehearsal.emulated import known
from cabinvigil.daemon.report.pictures import QUANTITIES_OF
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.limit_sources import uncited
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.daemon.text.alarm_names import NAMES
from cabinvigil.drivers import REGISTRY, part
from tests.faults.rows import ROWS
from tests.rehearsal.emulated.truths import ELSEWHERE, TRUTHS
from tests.settings.test_laxer import LAXER, NUMBERS
from tests.tools import drawings, figures
from tests.tools.sentences import ALL, weight_of
from tests.tools.wiring_plan import STRAPS

TESTS = Path(__file__).parents[1]
EMULATED = (
    *(known.ON_I2C, known.AT_A_CONVERTER, known.ON_SERIAL),
    *(known.IN_A_FILE, known.ON_A_LINE),
)
KNOWN = {
    "i2c": "ON_I2C (a cell: AT_A_CONVERTER)",
    "serial": "ON_SERIAL",
    "file": "IN_A_FILE",
    "line": "ON_A_LINE",
}
SHOWN = {*QUANTITIES_OF.values(), "dew", ""}
"""What a rule may say that its alarms are shown with; '' is no picture."""


def lacks_of_part(kind: str) -> Iterator[str]:
    """Yield what a part lacks that is in the registry."""
    info = part(kind)
    if not any(kind in table for table in EMULATED):
        yield (
            f"daemon/rehearsal/emulated/known.py, {KNOWN[info.bus]}: its emulated "
            f"part, whose file is daemon/rehearsal/emulated/{kind}.py"
        )
    if kind not in {*TRUTHS, *ELSEWHERE}:
        yield (
            "tests/rehearsal/emulated/truths.py, TRUTHS: what its driver hears from "
            "the emulated part"
        )
    if kind not in {row.kind for row in ROWS}:
        yield "tests/faults/rows.py, ROWS: what is told when its wire fails"
    if not (TESTS / "drivers" / f"test_{kind}.py").exists():
        yield f"tests/drivers/test_{kind}.py: its decoder, by its sheet's bytes"
    if info.bus == "i2c" and len(info.addresses) > 1 and kind not in STRAPS:
        yield (
            "tests/tools/wiring_plan.py, STRAPS: which of its addresses it is given, "
            "and how that is set"
        )
    if kind not in drawings.DRAW_MA:
        yield "tests/tools/drawings.py, DRAW_MA: the current that it takes"
    yield from _lacks_on_the_page(kind)
    yield from _undrawn("parts", kind)


def _lacks_on_the_page(kind: str) -> Iterator[str]:
    page = drawings.PAGE.read_text(encoding="utf-8")
    prose = drawings.MARKS.sub("", page)
    if f"\n### `{kind}`\n" not in prose:
        yield (
            f"hardware.md, Each sensor: `### `{kind}``, how it is wired, a line "
            "'Cannot see:', and its lines for a config"
        )
    own = f"[`{kind}`](#{kind})"
    is_a_choice = part(kind).bus != "line"  # a contact is of an alarm that hangs there
    if is_a_choice and not any(
        line.startswith("- [ ] ") and own in line for line in prose.splitlines()
    ):
        yield f"hardware.md: {own} in the list of what to buy for a build"
    if f"| {own} |" not in page:
        yield "hardware.md, its tables: python -m tests.tools.drawings"


def _undrawn(what: str, one: str) -> Iterator[str]:
    if any(line.startswith(f"{one}.") for line in figures.moved(what)):
        yield f"tests/data/figures/{what}.json: {figures.AGAIN}"


def lacks_of_alarm(alarm: str) -> Iterator[str]:
    """Yield what a packaged alarm lacks, or its rule."""
    kind = example().alarms[alarm].kind
    if alarm not in NAMES:
        yield "daemon/text/alarm_names.py, NAMES: what people call it"
    for language, words in ALL.items():
        if alarm not in words.alarms:
            yield f"config/words_{language}.toml, [{alarm}]: its sentence"
    limits = tomllib.loads(packaged("limits.toml").read_text(encoding="utf-8"))
    for what in uncited(limits):
        if what == alarm or what.startswith(f"{alarm}."):
            yield f"config/limits.toml, [cites.{alarm}]: the document of {what}"
    yield from _lacks_of_rule(alarm)
    yield from _unheld(alarm)
    yield from _undrawn("rules", kind)


def _lacks_of_rule(alarm: str) -> Iterator[str]:
    own = example().alarms[alarm]
    module, file = rules.find(own.kind), f"daemon/rules/{own.kind}.py"
    if not hasattr(module, "gravest"):
        yield f"{file}, gravest: unsaid it is high, and nobody could put it aside"
        return
    is_unnamed = "quantity" not in attrs.fields_dict(module.Params)
    if not is_unnamed or module.PER != "once":
        return
    if getattr(module, "SHOWN_WITH", None) not in SHOWN:
        found = ", ".join(sorted(SHOWN - {""}))
        yield f"{file}, SHOWN_WITH: the picture that shows it ({found}), or '' for none"
    wakes = _is_about_air(module) and module.gravest(own.params) >= Priority.MEDIUM
    if wakes and own.kind not in ABOUT:
        yield "daemon/core/setup.py, ABOUT: what must be known before it can clear"


def _unheld(alarm: str) -> Iterator[str]:
    """Yield what the tests do not hold yet of an alarm's numbers and sentences."""
    alarms = example().alarms
    own = alarms[alarm]
    module = rules.find(own.kind)
    same = [keys for name, keys in LAXER.items() if alarms[name].kind == own.kind]
    known = {key for keys in [LAXER["o2-low"], *same] for key in keys}
    for number in NUMBERS:
        if number.alarm == alarm and number.key not in known:
            yield (
                f"tests/settings/test_laxer.py, LAXER: a less strict {number.key} "
                f"than {number.value:g}"
            )
    is_low_or_more = hasattr(module, "gravest") and (
        module.gravest(own.params) >= Priority.LOW
    )
    if module.PER == "once" and _is_about_air(module) and is_low_or_more:
        for case in ALL["en"].alarms.get(alarm, ("any",)):
            if not weight_of(alarm, case):
                yield (
                    "tests/tools/sentences.py, WEIGHTS: the priority that "
                    f"its case `{case}` is said with"
                )


def _is_about_air(module: Any) -> bool:
    return bool(getattr(module, "ABOUT_AIR", module.PER == "once"))


def main(words: list[str]) -> int:
    """Print what lacks; return 1 where anything does."""
    alarms = example().alarms
    lacking = 0
    for word in words or [*REGISTRY, *alarms]:
        if word not in REGISTRY and word not in alarms:
            print(f"{word} is no part of drivers/__init__.py, and no packaged alarm")
            return 2
        lacks = lacks_of_part if word in REGISTRY else lacks_of_alarm
        for line in lacks(word):
            print(f"{word} lacks, in {line}")
            lacking += 1
    return 1 if lacking else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
