"""The comparison in one sentence: which was safer, drier, cheaper, and enough."""

import math
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from cabinvigil.daemon.review.airflow.balance import Z90
from cabinvigil.daemon.review.compare import (
    NO_FLAME,
    Measure,
    Sheet,
    are_alike,
    dryness,
    is_sure,
    never_safer,
    safety,
    thrift,
    too_short,
)
from cabinvigil.daemon.review.middle import estimate
from cabinvigil.daemon.review.proof import NOT_ALL_SEEN
from cabinvigil.daemon.review.trial_figures import O2_LIMIT_PCT
from cabinvigil.daemon.review.verdict import (
    DANGEROUS,
    UNKNOWN,
    UNSEEN,
    unseen_allowed_min,
)
from cabinvigil.daemon.text.durations import minutes

YES, NO, NOT_KNOWN = "yes", "no", "not known"
MOST_NAMED = 3
"""More are counted, and told apart in the table."""
LONGEST_NAME = 60


class Enough(NamedTuple):
    """Whether the air of one would do to sleep by."""

    word: str
    """`yes`, `no` or `not known`."""
    why: str = ""
    """Why it is not, or is not known."""


def enough(one: Sheet) -> Enough:
    """Judge whether one was enough to sleep by; a doubt is no yes."""
    if one.past or (one.margin is not None and one.margin <= 0.0):
        return Enough(NO, one.past or "air past a waking limit")
    if one.verdict == DANGEROUS:
        return Enough(NO, "a night not safe")
    if one.woken and not one.is_woken_by_forecast:
        return Enough(NO, one.woken)
    if one.margin is None:
        return Enough(NOT_KNOWN, "no gas was measured")
    if one.unseen_min > unseen_allowed_min(60.0 * one.hours):
        unseen = minutes(one.unseen_min)
        return Enough(NOT_KNOWN, f"{unseen} without oxygen or CO readings")
    if one.unproved:
        return Enough(NOT_KNOWN, one.unproved)
    if one.woken:
        return Enough(NOT_KNOWN, one.woken)
    if one.verdict in (UNSEEN, UNKNOWN):
        return Enough(NOT_KNOWN, NOT_ALL_SEEN)
    if one.margin <= Z90 * one.margin_sd:
        return Enough(NOT_KNOWN, "nearer to a limit than the sensors can show")
    if one.is_trial and one.figures is not None and not _settles_well(one):
        return Enough(NOT_KNOWN, "oxygen might have fallen further")
    if lacks := too_short(one):
        is_dark = lacks == NO_FLAME
        return Enough(NOT_KNOWN, lacks if is_dark else f"too short to judge: {lacks}")
    return Enough(YES)


def _settles_well(one: Sheet) -> bool:
    """Say whether a trial's oxygen would have stayed above the limit, had it gone on.

    A night ends when its sleepers rise; a trial ends when somebody ends it.
    """
    found = one.figures
    return (
        found is not None
        and found.settles_pct is not None
        and (found.settles_pct[0] > O2_LIMIT_PCT)
    )


def sentence(sheets: Sequence[Sheet]) -> str:
    """Write the verdict on two or more as one sentence."""
    judged = [one for one in sheets if not too_short(one)]
    told: list[str] = []
    if len(judged) >= 2:
        told = _two(*judged) if len(judged) == 2 else _many(judged)
    clauses = [*_short(sheets), *told, _enough(sheets)]
    text = "; ".join(clauses)
    if not any(text.startswith(name_of(one)) for one in sheets):
        text = text[:1].upper() + text[1:]
    return f"{text}."


def _short(sheets: Sequence[Sheet]) -> Iterator[str]:
    """Name what was too short to be compared."""
    lacking = [(one, lacks) for one in sheets if (lacks := too_short(one))]
    dark = [one for one, lacks in lacking if lacks == NO_FLAME]
    short = [one for one, lacks in lacking if lacks != NO_FLAME]
    told = []
    if short:
        told.append(f"{_named(short)} {_were(short)} too short to judge")
    if dark:
        told.append(f"in {_named(dark)} {NO_FLAME}")
    if told and len(sheets) - len(lacking) < 2:
        told[-1] += ", so nothing is compared"
    yield from told


def name_of(one: Sheet) -> str:
    """Write a name so that its words are not read as the sentence's own."""
    short = one.name
    if len(short) > LONGEST_NAME:
        short = short[: LONGEST_NAME - 3].rstrip() + "..."
    return f"'{short}'" if " " in short else short


class _Kind(NamedTuple):
    measure: Callable[[Sheet, bool], tuple[Measure, ...] | None]
    """Of one, by the hour or not."""
    better: str
    worse: str
    best: str


DEARER = "dearer for the warmth kept"
_KINDS = (
    _Kind(safety, "safer", "less safe", "safest"),
    _Kind(dryness, "drier", "wetter", "driest"),
    _Kind(thrift, "cheaper", DEARER, "cheapest"),
)


def _two(a: Sheet, b: Sheet) -> list[str]:
    """Lay two side by side: the clauses before what was enough."""
    by_the_hour = not are_alike([a, b])
    firsts = [
        _better(kind.measure(a, by_the_hour), kind.measure(b, by_the_hour))
        for kind in _KINDS
    ]
    # What our sensors did not see, or may not have, makes no air the safer one.
    barred = [
        s
        for s, sign in ((a, 1), (b, -1))
        if firsts[0] == sign and _not_safer(s, [a, b])
    ]
    firsts[0] = None if barred else firsts[0]
    lead = next((one for one in firsts if one is not None and one != 0), 0)
    unknown = [k.better for k, one in zip(_KINDS, firsts, strict=True) if one is None]
    doubtful = _barred(barred, "safer", [a, b]) + _doubtful(
        [kind.better for kind, one in zip(_KINDS, firsts, strict=True) if one == 0],
        unknown[1:] if barred else unknown,
    )
    if lead == 0:
        return doubtful
    winner, other = (a, b) if lead > 0 else (b, a)
    better = [k.better for k, one in zip(_KINDS, firsts, strict=True) if one == lead]
    worse = [k.worse for k, one in zip(_KINDS, firsts, strict=True) if one == -lead]
    text = f"{name_of(winner)} was {_listed(better)} than {name_of(other)}"
    cost = _cost(winner, other) if "cheaper" not in better else ""
    if cost:
        text += f", for {cost}"
        worse = [one for one in worse if one != DEARER]
        doubtful = [one for one in doubtful if "which was cheaper" not in one]
    if worse:
        text += f", but {_listed(worse)}"
    is_safety_doubtful = firsts[0] in (0, None)
    return [*doubtful, text] if is_safety_doubtful else [text, *doubtful]


def _barred(sheets: Sequence[Sheet], word: str, beside: Sequence[Sheet]) -> list[str]:
    """Say of what looked best why it is not called so."""
    return [
        f"{name_of(one)} is not called {word}: {_not_safer(one, beside)}"
        for one in sheets
    ]


def _not_safer(one: Sheet, beside: Sequence[Sheet]) -> str:
    """Return why it is not called safer than these; '' where it may be.

    Of nights past a limit the shorter one looks better for having been broken off.
    """
    if why := never_safer(one):
        return why
    longest = max(beside, key=lambda each: each.hours)
    is_shorter = one.hours < longest.hours and not are_alike([one, longest])
    if is_shorter and one.past and not one.is_trial:
        return f"it lasted only {minutes(60.0 * one.hours)}"
    return ""


def _better(a: tuple[Measure, ...] | None, b: tuple[Measure, ...] | None) -> int | None:
    """Return 1 where the first is surely better, -1 the second, 0 unsure."""
    if a is None or b is None:
        return None
    return is_sure(a, b) - is_sure(b, a)


def _doubtful(unsure: Sequence[str], unknown: Sequence[str]) -> list[str]:
    clauses = []
    if unsure:
        clauses.append(f"which was {_listed(unsure, 'or')} is not sure")
    if unknown:
        clauses.append(f"which was {_listed(unknown, 'or')} is not known")
    is_safety_known = all(_KINDS[0].better != w != _KINDS[0].best for w in unknown)
    return clauses if is_safety_known else clauses[::-1]


def _cost(winner: Sheet, other: Sheet) -> str:
    """Return what gas the better one took more or less; '' where it is not sure."""
    if winner.gas_kwh is None or other.gas_kwh is None:
        return ""
    is_alike = are_alike([winner, other])
    a_h, b_h = (1.0, 1.0) if is_alike else (winner.hours, other.hours)
    more = winner.gas_kwh[1] / a_h - other.gas_kwh[1] / b_h
    doubt = math.hypot(
        (winner.gas_kwh[2] - winner.gas_kwh[0]) / 2.0 / a_h,
        (other.gas_kwh[2] - other.gas_kwh[0]) / 2.0 / b_h,
    )
    if abs(more) <= max(doubt, 0.05):
        return ""
    units = winner.units
    unit = units.sign("kwh") + ("" if is_alike else " an hour")
    size = abs(more)
    told = units.brief("kwh", estimate((size - doubt, size, size + doubt)))
    return f"{told} {unit} {'more' if more > 0.0 else 'less'}"


def _many(sheets: Sequence[Sheet]) -> list[str]:
    """Name the best of three or more in each; what is not sure is said to be so."""
    bests: dict[int, list[str]] = {}
    unsure: list[str] = []
    unknown: list[str] = []
    barred: list[Sheet] = []
    by_the_hour = not are_alike(sheets)
    for kind in _KINDS:
        told = [kind.measure(one, by_the_hour) for one in sheets]
        known = [(one, n) for n, one in enumerate(told) if one is not None]
        if len(known) < 2:
            unknown.append(kind.best)
            continue
        lead = [
            n
            for one, n in known
            if all(is_sure(one, other) for other, m in known if m != n)
        ]
        if kind.measure is safety:
            barred = [sheets[n] for n in lead if _not_safer(sheets[n], sheets)]
        if barred and kind.measure is safety:
            continue
        if len(lead) == 1 and len(known) == len(sheets):
            bests.setdefault(lead[0], []).append(f"the {kind.best}")
        else:
            unsure.append(kind.best)
    named = [f"{name_of(sheets[n])} was {_listed(words)}" for n, words in bests.items()]
    first = f"of {len(sheets)}, " if named else ""
    clauses = [first + _listed(named)] if named else []
    doubtful = _barred(barred, "the safest", sheets) + _doubtful(unsure, unknown)
    is_safest_told = any("the safest" in words for words in bests.values())
    return [*clauses, *doubtful] if is_safest_told else [*doubtful, *clauses]


def _enough(sheets: Sequence[Sheet]) -> str:
    """Return which were enough to sleep by, and of which that is not known."""
    judged = [enough(one) for one in sheets]
    yes = [s for s, one in zip(sheets, judged, strict=True) if one.word == YES]
    no = [s for s, one in zip(sheets, judged, strict=True) if one.word == NO]
    doubt = [one for one in judged if one.word == NOT_KNOWN]
    open_now = [s for s, one in zip(sheets, judged, strict=True) if one in doubt]
    pair = len(sheets) == 2
    if len(no) == len(sheets):
        return f"{'neither' if pair else 'none'} was enough to sleep by"
    if len(doubt) == len(sheets):
        which = "either" if pair else "any"
        return f"whether {which} was enough to sleep by is not known"
    if len(yes) == len(sheets):
        text = f"{'both' if pair else 'all'} were enough to sleep by"
    elif yes and not doubt:
        text = f"only {_named(yes)} {_were(yes)} enough to sleep by"
    elif yes:
        text = f"{_named(yes)} {_were(yes)} enough to sleep by"
    else:
        text = f"{_named(no)} {_were(no)} not enough to sleep by"
    if any(one.is_trial for one in yes):
        text += ", with nobody in it"
    if doubt:
        why = f" ({doubt[0].why})" if len(doubt) == 1 else ""
        text += f", and whether {_named(open_now)} {_were(open_now)} is not known{why}"
    return text


def _named(sheets: Sequence[Sheet]) -> str:
    if len(sheets) > MOST_NAMED:
        return f"{len(sheets)} of them"
    return _listed([name_of(one) for one in sheets])


def _were(sheets: Sequence[Sheet]) -> str:
    return "was" if len(sheets) == 1 else "were"


def _listed(words: Sequence[str], last: str = "and") -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"
