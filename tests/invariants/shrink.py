"""Makes a course that breaks a clause as short and plain as it can be.

For the long run's report; in the suite hypothesis shrinks by itself.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from tests.invariants.course import Ask, Course, Each, Press, Restart, Step, Wait

MOST_PLAYS = 600
"""A shrunk course is a help to the reader, and not worth more."""
Breaks = Callable[[Course], bool]


def shrink(course: Course, breaks: Breaks) -> Course:
    """Return a course that still breaks, of which nothing tried can be left out."""
    left = MOST_PLAYS
    is_better = True
    while is_better and left > 0:
        is_better = False
        for simpler in _simpler(course):
            left -= 1
            if breaks(simpler):
                course, is_better = simpler, True
                break
            if left <= 0:
                break
    return course


def _simpler(course: Course) -> Iterator[Course]:
    """Yield simpler courses, the boldest first."""
    yield from _shorter(course)
    if course.trend:
        yield replace(course, trend="")
    if course.ends:
        yield replace(course, ends=False)
    if course.replays:
        yield replace(course, replays=False)
    if course.cabin != "two-gases":
        yield replace(course, cabin="two-gases")
    if course.seed:
        yield replace(course, seed=0)
    for at, step in enumerate(course.steps):
        for plain in _plainer(step):
            steps = (*course.steps[:at], plain, *course.steps[at + 1 :])
            yield replace(course, steps=steps)


def _shorter(course: Course) -> Iterator[Course]:
    steps, size = course.steps, len(course.steps)
    chunk = size // 2
    while chunk >= 1:
        # From the end: what comes after the breach goes first.
        for begin in range(size - chunk, -1, -chunk):
            rest = (*steps[:begin], *steps[begin + chunk :])
            yield replace(course, steps=rest)
        chunk //= 2


def _plainer(step: Step) -> Iterator[Step]:
    match step:
        case Wait(ticks, tick_s):
            for fewer in (ticks // 2, ticks - 1):
                if 1 <= fewer < ticks:
                    yield Wait(fewer, tick_s)
        case Each(act, ticks, tick_s):
            yield act
            for fewer in (ticks // 2, ticks - 1):
                if 1 <= fewer < ticks:
                    yield Each(act, fewer, tick_s)
        case Ask() if step.age_s or not step.says_when:
            yield replace(step, age_s=0.0, says_when=True)
            if step.age_s and not step.says_when:
                yield replace(step, says_when=True)
        case Ask() if step.by != "phone":
            yield replace(step, by="phone")
        case Press() if step.after_s != Press().after_s:
            yield Press()
        case Restart() if step.down_s > 2.0:
            yield replace(step, down_s=2.0)
        case Restart() if not step.knows_gap:
            yield replace(step, knows_gap=True)
        case _:
            return
