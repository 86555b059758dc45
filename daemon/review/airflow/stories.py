"""Stories of a night that no single change tells: a burner that cycles, a stove.

A stove that burns beside the heater lets CO2, water and warmth jump, and fall again
within the hour.  Each of its two edges alone looks like something else, a burner turned
up or a vent that is shut, and a search that looks at one change at a time stays there.
"""

from collections.abc import Mapping, Sequence

from cabinvigil.daemon.review.airflow.guess import (
    AIR,
    WALKS_S,
    Guess,
    Settings,
    Walks,
)

MOST_COOKING_H = 1.0
"""Longer than this nobody cooks (own judgement)."""
EDGE_H = 0.35
"""Changes so soon after a stove is out may be what its edge left (own judgement)."""
LONG_COST, OTHER_COST = 30.0, 6.0
"""Gain in ln likelihood that must be brought: by cooking that lasts longer, and by
another setting after it than before, which is a change of its own."""


def by_cycles(
    settings: Settings, cycling: Sequence[bool], walks: Walks, edge: int
) -> list[Guess]:
    """Begin with the burner's cycles where the warmth shows them.

    Args:
        settings: of the burner.
        cycling: node by node whether the warmth shows it.
        walks: of the guesses.
        edge: changes this many nodes from an end cannot be told.
    """
    at = [n for n, does in enumerate(cycling) if does]
    stops = [name for name, one in settings.items() if not one.is_between]
    names = [name for name in stops if settings[name].is_cycling]
    if not at or not names:
        return []
    first, last = at[0], at[-1]
    ends = [n for n in (last,) if n < len(cycling) - edge]
    others = [name for name in stops if name not in names]
    guesses = []
    for before in others if first > edge else names:
        begins = {first - 1: names[0]} if before not in names else {}
        for after in others if ends else [""]:
            changes = {**begins, **dict.fromkeys(ends, after)}
            guesses.append(Guess(before, changes, walks))
    return guesses


def with_cooking(guess: Guess, settings: Settings, step_h: float) -> list[Guess]:
    """Let a stove burn between two changes that lie within the hour.

    Beside it burns what burnt before and burns after it, which may be another setting
    than was thought; so it may where a stove is known to burn.
    """
    cooking = {one.beside: name for name, one in settings.items() if one.beside}
    found = _rebased(guess, cooking)
    for a, first in guess.changes.items():
        for b, second in guess.changes.items():
            is_known = {first, second} & set(cooking.values())
            if is_known or not 0 < (b - a) * step_h <= MOST_COOKING_H:
                continue
            for base in cooking:
                found += _cooked(guess, (a, b), base, cooking, step_h)
    return found


def with_both(
    guess: Guess, settings: Settings, bends: Sequence[int], near: int
) -> list[Guess]:
    """Let the burner and the vents be changed at once, where the warmth bends.

    Whoever goes to bed turns the flame down and shuts the vents: CO2 stays as it was.

    Args:
        guess: the explanation.
        settings: of the burner.
        bends: the nodes at which the warmth bends most.
        near: changes so many nodes apart are one.
    """
    found = [
        guess._replace(changes={**guess.changes, m + 1: AIR})
        for m, kind in guess.changes.items()
        if kind != AIR and all(not m < other <= m + near for other in guess.changes)
    ]
    names = [
        name
        for name, one in settings.items()
        if not (one.beside or one.is_cycling or one.cost)
    ]
    stops = [one for one in names if not settings[one].is_between]
    for n in bends:
        if any(abs(n - m) <= near + 1 for m in guess.changes):
            continue
        is_first = all(kind == AIR for m, kind in guess.changes.items() if m < n)
        for start in stops if is_first else [guess.start]:
            begun = guess._replace(start=start)
            found += [
                begun._replace(changes={**guess.changes, n: name, n + 1: AIR})
                for name in names
                if name != begun.setting_at(n)
            ]
    return found


def with_fading(
    guess: Guess, settings: Settings, between: Sequence[str]
) -> list[Guess]:
    """Let a flame be turned down, or its cylinder grow cold, and fade from then on.

    A search by sudden changes takes it for several, the last of them a burner that
    went out.

    Args:
        guess: the explanation.
        settings: of the burner.
        between: those of them that lie between the stops of the tap.
    """
    calm = guess._replace(
        walks=guess.walks._replace(source=WALKS_S[1]), is_restless=False
    )
    found = []
    for name in between:
        if settings[guess.start].heat_w > 0.0:
            found.append(calm._replace(start=name, changes={}))
        for n, kind in sorted(guess.changes.items()):
            then = guess.setting_at(n) if kind == AIR else kind
            # what did not burn before, nor from then on, fades in no way
            if not max(settings[guess.setting_at(n)].heat_w, settings[then].heat_w):
                continue
            kept = {m: kind for m, kind in guess.changes.items() if m < n}
            found.append(calm._replace(changes={n: name}))
            if kept:
                found.append(calm._replace(changes={**kept, n: name}))
    return [one for one in found if one != guess]


def _rebased(guess: Guess, cooking: Mapping[str, str]) -> list[Guess]:
    """Let another setting burn beside each stove, and before and after it."""
    found = []
    for old in cooking:
        if cooking[old] not in guess.changes.values():
            continue
        for new in cooking:
            if new == old:
                continue
            other = {old: new, cooking[old]: cooking[new]}
            start = other.get(guess.start, guess.start)
            changes = _renamed(guess.changes, other, start)
            found.append(guess._replace(start=start, changes=changes))
    return found


def _renamed(
    changes: Mapping[int, str], other: Mapping[str, str], setting: str
) -> dict[int, str]:
    """Put other settings in place of some, after one; none is set to itself."""
    renamed = {}
    for n in sorted(changes):
        kind = other.get(changes[n], changes[n])
        if kind != setting:
            renamed[n] = kind
        setting = setting if kind == AIR else kind
    return renamed


def _cooked(
    guess: Guess,
    dates: tuple[int, int],
    base: str,
    cooking: Mapping[str, str],
    step_h: float,
) -> list[Guess]:
    a, b = dates
    changes = {n: kind for n, kind in guess.changes.items() if not a <= n <= b}
    earlier = [n for n, kind in changes.items() if n < a and kind != AIR]
    start = guess.start
    if not earlier:
        start = base
    elif guess.setting_at(max(earlier)) == base:
        del changes[max(earlier)]
    else:
        changes[max(earlier)] = base
    changes |= {a: cooking[base], b: base}
    until = b + EDGE_H / step_h
    fewer = {n: kind for n, kind in changes.items() if not b < n <= until}
    # what was thought to burn from then on may be what burns later on, too
    then = guess.setting_at(b + 1)
    later = {n: kind for n, kind in fewer.items() if n > b}
    other = {then: base, cooking.get(then, ""): cooking[base]}
    same = {n: kind for n, kind in fewer.items() if n <= b}
    same |= _renamed(later, other, base)
    each = [changes]
    each += [one for one in (fewer, same) if one not in each]
    return [guess._replace(start=start, changes=one) for one in each]


def cooking_cost(guess: Guess, settings: Settings, count: int, step_h: float) -> float:
    """Give what a guess costs in which a stove burns too long, or not beside a burner.

    Args:
        guess: the explanation.
        settings: of the burner.
        count: nodes of the night.
        step_h: between two.
    """
    before, cost = guess.start, 0.0
    dates = [n for n in sorted(guess.changes) if guess.changes[n] != AIR]
    for place, n in enumerate(dates):
        setting = guess.changes[n]
        before, was = setting, before
        beside = settings[setting].beside
        if not beside:
            continue
        after = dates[place + 1] if place + 1 < len(dates) else count
        if (after - n) * step_h > MOST_COOKING_H:
            cost += LONG_COST
        then = guess.changes.get(after, beside)
        cost += OTHER_COST * ((was != beside) + (then != beside))
    return cost
