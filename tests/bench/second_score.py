"""Holds what the morning states against the second generator's nights."""

import math
import statistics
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cabinvigil.daemon.report.night_totals import DRY_KG, estimates
from tests.bench.second_nights.morning_form import (
    FIGURES,
    account_of,
    between,
    is_inside,
    truth_between,
)
from tests.bench.second_nights.night import KINDS

FLOORS = {
    "air_changes_per_h": 0.05,
    "burn_kw": 0.1,
    "gas_kg": 0.02,
    "water_made_kg": 0.1,
    "water_left_kg": 0.1,
}
"""A truth below is not judged by factors: nobody acts on so little."""
LEAST_KNOWN_H = 0.5
"""Shorter stretches are not judged: nobody plans by them."""
LEAST_LIT = 0.1
"""A stretch lit for less of it, by an edge that is minutes off, has no power told."""
WEAK = 0.70
"""A kind with fewer inside is marked."""
TWICE = 2.0


@dataclass
class Verdict:
    """One figure of one night or stretch."""

    is_inside: bool
    half_width: float | None
    """As a share of the truth; None below the floor."""
    factor: float | None
    """Middle over truth; None where a range was told, or a bound, without a middle."""

    @property
    def is_twice_wrong(self) -> bool:
        return self.factor is not None and not 1.0 / TWICE <= self.factor <= TWICE

    @property
    def off(self) -> float:
        """How far off, for picking the worst; a miss is worse than any hit."""
        if self.factor is None:
            return 100.0 * (not self.is_inside)
        by = abs(math.log(min(max(self.factor, 0.01), 100.0)))
        return 100.0 * (not self.is_inside) + by


@dataclass
class Judged:
    """One night."""

    kind: str
    withheld: str = ""
    """Why the morning told no figure, in its own words; such a night is no miss."""
    whole: dict[str, Verdict] = field(default_factory=dict)
    """Empty where the morning told nothing."""
    stretches: list[dict[str, Verdict]] = field(default_factory=list)

    def worst(self, name: str) -> Verdict | None:
        """Give a figure's worst stretch."""
        told = [one[name] for one in self.stretches if name in one]
        return max(told, key=lambda one: one.off) if told else None


def _verdicts(told: Any, known: Mapping[str, float]) -> dict[str, Verdict]:
    found, figures = {}, estimates(told)
    for name in FIGURES:
        low, middle, high = figures[name]
        width = factor = None
        # A bound is no figure: it has to hold, and has neither middle nor width.
        is_bound = told.bounded_h > 0.0
        if name == "water_left_kg":
            is_bound = is_bound or low < DRY_KG
        if known[name] > FLOORS[name] and not is_bound:
            width = (high - low) / 2.0 / known[name]
            if middle is not None:
                factor = middle / known[name]
        found[name] = Verdict(is_inside(told, known, name), width, factor)
    return found


def judge(seed: int, kind: str | None = None) -> Judged:
    """Live a night, give account of it, and hold each stretch against the truth."""
    with tempfile.TemporaryDirectory() as folder:
        found, night = account_of(seed, Path(folder), kind)
    judged = Judged(night.kind, found.whole.withheld)
    if found.whole.totals is not None:
        judged.whole = _verdicts(found.whole.totals, truth_between(night.moments))
    for one in found.stretches:
        if one.totals is None or one.known_h < LEAST_KNOWN_H:
            continue
        known = truth_between(night.moments, one.from_s, one.to_s)
        verdicts = _verdicts(one.totals, known)
        lit = [
            now.burn_kw > 0.0 for now in between(night.moments, one.from_s, one.to_s)
        ]
        if 0.0 < sum(lit) / len(lit) < LEAST_LIT:
            del verdicts["burn_kw"]
        judged.stretches.append(verdicts)
    return judged


def of_the_whole(night: Judged, name: str) -> Verdict | None:
    """Give a figure of the whole night."""
    return night.whole.get(name)


Pick = Callable[[Judged, str], Verdict | None]


def _picked(judged: Sequence[Judged], name: str, pick: Pick) -> list[Verdict | None]:
    """Pick of each night; of stretches, where any was judged."""
    told = [pick(one, name) for one in judged]
    return told if pick is of_the_whole else [one for one in told if one is not None]


def print_figures(title: str, judged: Sequence[Judged], pick: Pick) -> None:
    """Print by figure: inside, wrong by two, half width."""
    print(f"\n{title}")
    print(
        f"{'figure':<20} {'inside':>7}  wrong by two      half width, median"
        "   told as a range"
    )
    for name in FIGURES:
        told = _picked(judged, name, pick)
        inside = sum(one is not None and one.is_inside for one in told)
        sized = [one for one in told if one is not None and one.factor is not None]
        twice = sum(one.is_twice_wrong for one in sized)
        widths = [
            one.half_width
            for one in told
            if one is not None and one.half_width is not None
        ]
        middle = statistics.median(widths) if widths else 0.0
        print(
            f"{name:<20} {100.0 * inside / max(1, len(told)):>6.0f}%  {twice:>4d} of"
            f" {len(sized):<4d}      {100.0 * middle:>6.0f} %"
            f"   {len(widths) - len(sized):>15d} of {len(widths)}"
        )


def print_kinds(judged: Sequence[Judged]) -> None:
    """Print, kind by kind, the share inside: whole night and worst stretch."""
    print(f"\ninside by kind, whole night / worst stretch, %; * below {100 * WEAK:g}")
    print(f"{'kind':<18} nights " + " ".join(f"{name[:12]:>12}" for name in FIGURES))
    for kind in KINDS:
        mine = [one for one in judged if one.kind == kind]
        if not mine:
            continue
        cells = []
        for name in FIGURES:
            shares = []
            for pick in (of_the_whole, Judged.worst):
                told = _picked(mine, name, pick)
                inside = sum(one is not None and one.is_inside for one in told)
                shares.append(inside / max(1, len(told)))
            mark = "*" if shares[0] < WEAK else " "
            cells.append(f"{100 * shares[0]:>5.0f}{mark}/{100 * shares[1]:>4.0f} ")
        print(f"{kind:<18} {len(mine):>6d} " + " ".join(cells))


def print_tables(judged: Sequence[Judged], seeds: Sequence[int]) -> None:
    """Print the whole nights, their worst stretches, and the kinds."""
    head = f"{len(judged)} nights of the second generator, seeds {seeds[0]} to"
    print(f"\n{head} {seeds[-1]}; stated: 90 %")
    withheld = [one for one in judged if one.withheld]
    if withheld:
        print(f"withheld, with the reason: {len(withheld)}; they count as neither:")
        for kind in KINDS:
            if count := sum(one.kind == kind for one in withheld):
                print(f"  {kind} {count}")
    judged = [one for one in judged if not one.withheld]
    silent = sum(not one.whole for one in judged)
    if silent:
        print(f"nothing told of {silent} of them, which count as outside")
    print_figures("the whole night", judged, of_the_whole)
    print_figures("the worst stretch of each night", judged, Judged.worst)
    every = [one for night in judged for one in night.stretches]
    print(f"\nall {len(every)} stretches of {LEAST_KNOWN_H:g} h and more: inside")
    for name in FIGURES:
        told = [one[name] for one in every if name in one]
        share = sum(one.is_inside for one in told) / max(1, len(told))
        print(f"{name:<20} {100.0 * share:>6.0f}%")
    print_kinds(judged)
