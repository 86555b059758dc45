"""What one explanation of the night is worth, and what it finds.

Every threshold here was chosen on seeds other than those that score it
(tests/bench/morning_truth.py).
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from cabinvigil.daemon.review.airflow.guess import (
    AIR,
    WALKS_S,
    Guess,
    Settings,
)
from cabinvigil.daemon.review.airflow.heat import Heat
from cabinvigil.daemon.review.airflow.heat_evidence import HeatEvidence
from cabinvigil.daemon.review.airflow.kalman import (
    Belief,
    Course,
    FilteredNight,
    Smoothed,
    StepChange,
    forward,
)
from cabinvigil.daemon.review.airflow.smoother import smooth
from cabinvigil.daemon.review.airflow.stories import cooking_cost

ANY_PPM_PER_H = 1000.0
"""A source to measure sizes by, where neither people nor burner are known to be there:
a person in 12 m3."""
DATE_COST = 6.0
"""Gain in ln likelihood that a change must bring (about BIC for two parameters and a
date among 270 nodes)."""
MOST_SOURCE = 1.6
"""Times what people and burner give at the most: more comes from none of them, but for
a label that is far too low and a cabin smaller than stated (own judgement)."""
IMPOSSIBLE_COST = 2.0
"""For each node at which air would flow backwards or people take CO2 in: the balance is
linear and does not know better."""
ANY_K = (2.0, 4.0)
"""Air changes an hour before anything is known (design.md, 6: 0.15 to 15)."""
LEAST_K, MOST_K = 0.05, 60.0
"""k between which the size of its noise is taken: a sealed cabin, a gale through it."""
LEAST_SHARE, LEAST_EXCESS_PPM = 0.4, 300.0
"""k is taken no smaller for it than this share of the people's CO2 would need to hold
the excess (our choice)."""
WALKS_S_COST = (0.0, 2.0, 6.0)
"""Gain in ln likelihood that each must bring, since a source is mostly steady."""
GUST_H = 0.25
"""How long a lull or a gusty spell lasts (own judgement)."""
PAIR_COST = 2.0
"""Of a second change at the same time: it has no date of its own (own judgement)."""
KINK = 0.2
"""Error of the level at a change, as a share of the largest change in one step."""
MEDIAN_NODES = 5
"""The size of the noise follows k's median over this many nodes to either side."""
UNREST_H, LEAST_UNREST, MOST_UNREST = 0.5, 0.5, 2.0
"""The slow change of k is looked at over this long; below the second, a share in an
hour, it is no more than the usual."""


class Noise(NamedTuple):
    """The size of the noise that a course of k implies, node by node."""

    k: list[float]
    unrest: list[float]
    """How fast k slowly changes there, as a share in an hour."""


class Explanation(NamedTuple):
    """An explanation under noise of a certain size, with its way through the night."""

    guess: Guess
    scale: Noise
    way: FilteredNight
    worth: float


class Judge:
    """Judges explanations of one night."""

    def __init__(
        self,
        course: Course,
        settings: Settings,
        heat: Heat | None,
        awake: Sequence[float] = (),
        swing_ppm: Sequence[float] = (),
    ) -> None:
        """Take the night's readings.

        Args:
            course: the nodes.
            settings: of the burner.
            heat: the temperature's course; None where none was told.
            awake: what people give before they sleep, node by node, ppm of the
                cabin's air an hour; empty: not looked at.
            swing_ppm: node by node what a burner that cycles gives more or less
                than in the mean, in one step; 0 where it does not, empty: nowhere.
        """
        self.course, self.settings = course, settings
        cycling = [one > 0.0 for one in swing_ppm]
        self.heat = HeatEvidence(course, settings, heat, cycling)
        self._awake, self._swing_ppm = awake, swing_ppm
        self.count = len(course.level_ppm)
        self._stays = math.exp(-course.step_h / GUST_H)
        sources = [
            one.ppm_per_h
            for one in settings.values()
            if one.ppm_per_h > 0.0 and not one.beside
        ]
        sources = sources or [ANY_PPM_PER_H]
        self._low, self._high = min(sources), max(sources)
        levels, last = course.level_ppm, len(course.level_ppm) - 1
        self._climbs = [
            0.0
            if (a := levels[max(0, n - 1)]) is None
            or (b := levels[min(last, n + 1)]) is None
            else (b - a) / (2.0 * course.step_h)
            for n in range(last + 1)
        ]
        # CO2 falls no faster than air carries it off, whatever is given off meanwhile:
        # a steep fall shows a door thrown wide open, however little moved before
        self._falls_k = [
            min(max(-climb, 0.0) / max(one or 0.0, LEAST_EXCESS_PPM), MOST_K)
            for climb, one in zip(self._climbs, course.excess_ppm, strict=True)
        ]
        self._most_s = MOST_SOURCE * self._high
        self._least_k = [
            max(LEAST_K, LEAST_SHARE * self._low / max(one or 0.0, LEAST_EXCESS_PPM))
            for one in course.excess_ppm
        ]

    def _belief(self, guess: Guess, scale: Noise) -> Belief:
        changes: dict[int, StepChange] = {}
        step_h, span = self.course.step_h, max(self._high - self._low, self._high / 2)
        for n, kind in guess.changes.items():
            if kind == AIR:
                jump = max(scale.k[n] + 0.5, self._falls_k[n])
                kink = KINK * step_h * jump * abs(self.course.excess_ppm[n] or 0.0)
                changes[n] = StepChange(kink, jump)
            else:
                changes[n] = StepChange(
                    KINK * step_h * span, 0.0, self.settings[kind][:2]
                )
        for n in guess.changes:
            for beside in (n - 1, n + 1):
                changes.setdefault(beside, StepChange(changes[n].c_sd / 3.0))
        for n, swing in enumerate(self._swing_ppm):
            if swing > 0.0:
                here = changes.get(n, StepChange(0.0))
                changes[n] = here._replace(c_sd=math.hypot(here.c_sd, swing))
        walk_k = [
            max(guess.walks.k, unrest) * one
            for one, unrest in zip(scale.k, scale.unrest, strict=True)
        ]
        gust = [guess.walks.gust * one for one in scale.k]
        start = self.settings[guess.start][:2]
        extra = self._extra(guess)
        walk_s = guess.walks.source
        return Belief(
            *(ANY_K, start, walk_k, walk_s, gust, GUST_H, changes, extra),
            max([self._most_s, *(MOST_SOURCE * one for one in self._cooking(guess))]),
        )

    def _cooking(self, guess: Guess) -> list[float]:
        """Give the sources of what burns while somebody cooks."""
        kinds = [self.settings[one] for one in guess.changes.values() if one != AIR]
        return [one.ppm_per_h for one in kinds if one.beside]

    def _extra(self, guess: Guess) -> list[float]:
        """Return what the people give before they sleep; nothing where nobody is."""
        if not guess.walks.awake or self.settings[guess.start].ppm_per_h <= 0.0:
            return []
        return [guess.walks.awake * one for one in self._awake]

    def stand(
        self, guess: Guess, scale: Noise, beside: Explanation | None = None
    ) -> Explanation:
        """Judge an explanation; `beside` is one of the same scale, to save work."""
        until = 0 if beside is None else _same_until(guess, beside.guess)
        before = None if beside is None else beside.way
        way = forward(self.course, self._belief(guess, scale), before, until)
        pairs = sum(n + 1 in guess.changes for n in guess.changes)
        cost = DATE_COST * (len(guess.changes) - pairs + guess.is_restless)
        cost += PAIR_COST * pairs
        for kind in (guess.start, *guess.changes.values()):
            cost += self.settings[kind].cost if kind != AIR else 0.0
        cost += WALKS_S_COST[WALKS_S.index(guess.walks.source)]
        worth = way.ln_likelihood - cost
        worth -= IMPOSSIBLE_COST * way.impossible
        worth -= cooking_cost(guess, self.settings, self.count, self.course.step_h)
        return Explanation(guess, scale, way, worth + self.heat.worth(guess))

    def reheated(self, stand: Explanation) -> Explanation:
        """Let a tap between its stops give the heat that its CO2 was found to give."""
        s = smooth(stand.way.nodes, self._stays).s
        worth = self.heat.worth_as_found(stand.guess, s)
        if worth is None:
            return stand
        return stand._replace(worth=stand.worth + worth - self.heat.worth(stand.guess))

    def path_of(self, stand: Explanation) -> Smoothed:
        """Smooth what an explanation found."""
        found = smooth(stand.way.nodes, self._stays)
        for n, more in enumerate(self._extra(stand.guess)):
            found.s[n] += more
        return found

    def noise(self, found: Smoothed, guess: Guess) -> Noise:
        """Return the size of the noise that a course of k implies.

        With k all but 0 there would be no noise, and nothing could explain better: so
        it is no less than a part of the people alone would need.
        """
        return self._noise(found.k, guess)

    def _noise(self, found_k: Sequence[float], guess: Guess) -> Noise:
        ks = [
            min(max(k, least), MOST_K)
            for k, least in zip(found_k, self._least_k, strict=True)
        ]
        wide = MEDIAN_NODES
        windows = (ks[max(0, n - wide) : n + wide + 1] for n in range(self.count))
        calm = [sorted(window)[len(window) // 2] for window in windows]
        if not guess.is_restless:
            return Noise(calm, [0.0] * self.count)
        return Noise(calm, self._unrest(calm, guess))

    def stated_noise(self, guess: Guess) -> Noise:
        """Return the noise as it would be, were each setting's source as it is stated.

        From k as found, a source that comes out small makes the noise small with it,
        and may stay there; so each explanation is looked at from here, too.
        """
        source, drive = self.settings[guess.start].ppm_per_h, self.course.drive
        ks = list(self.first_noise().k)
        for n in range(self.count):
            excess = self.course.excess_ppm[n]
            if source > 0.0 and excess is not None:
                came = source * self.course.weight[n] - self._climbs[n]
                ks[n] = came / max(excess, LEAST_EXCESS_PPM)
                ks[n] /= drive[n] if drive else 1.0
            kind = guess.changes.get(n, AIR)
            source = source if kind == AIR else self.settings[kind].ppm_per_h
        return self._noise(ks, guess)

    def _unrest(self, ks: Sequence[float], guess: Guess) -> list[float]:
        """Report where k slowly changes, changes at once left aside."""
        half = max(1, round(UNREST_H / 2.0 / self.course.step_h))
        last, span_h = self.count - 1, math.sqrt(2.0 * half * self.course.step_h)
        sudden = sorted(guess.changes)
        unrest = []
        for n in range(self.count):
            a, b = max(0, n - half), min(last, n + half)
            if any(a - half <= m <= b + half for m in sudden):
                unrest.append(0.0)
            else:
                unrest.append(min(abs(math.log(ks[b] / ks[a])) / span_h, MOST_UNREST))
        return unrest

    def first_noise(self) -> Noise:
        """Return the noise before anything is found: as the levels suggest."""
        source = math.sqrt(max(self._low, self._high / 10) * self._high)
        excess = [100.0 if one is None else one for one in self.course.excess_ppm]
        usual = [min(max(source / max(one, 100.0), 0.1), 10.0) for one in excess]
        return Noise(usual, [0.0] * self.count)


def _same_until(one: Guess, other: Guess) -> int:
    """Return the node up to which two explanations are the same."""
    if one.start != other.start or one.walks != other.walks:
        return 0
    differs = [
        n
        for n in one.changes.keys() | other.changes.keys()
        if one.changes.get(n) != other.changes.get(n)
    ]
    return max(0, min(differs) - 1) if differs else 0
