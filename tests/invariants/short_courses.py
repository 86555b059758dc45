"""Words of which the stored courses are made."""

from tests.invariants.course import (
    Ask,
    Course,
    Step,
    Turn,
)

GASES = "two-gases"
ACKNOWLEDGE = Ask("acknowledge")
BUMP, BUMP_END = (Ask(verb, by="socket") for verb in ("bump-test", "bump-end"))


def course_of(
    cabin: str, *steps: Step, trend: str = "", ends: bool = False, noise: int = 0
) -> Course:
    return Course(cabin, steps, trend, noise, ends=ends)


def co(ppm: float) -> Turn:
    return Turn("co_ppm", ppm)


def o2(pct: float) -> Turn:
    return Turn("o2_dry_pct", pct)


SHUT = Turn("changes_per_h", 0.2)
AIRED = Turn("changes_per_h", 60.0)
