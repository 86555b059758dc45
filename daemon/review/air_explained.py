"""The search for what changed in the night, and when: burner, or air.

One explanation is a list of dated changes.  Changes are added where the readings ask
for them, exchanged and moved while that explains more, and rivals that explain nearly
as much are mixed in, so that doubt widens the answer.

Two explanations are first compared under noise of the same size; the best rivals then
each under the size that it implies itself, since noise comes in proportion to `k`.
Every threshold here was chosen on seeds other than those that score it
(tests/bench/morning_truth.py).
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from cabinvigil.daemon.review.air_filter import (
    Belief,
    Change,
    Course,
    Smoothed,
    Way,
    forward,
)
from cabinvigil.daemon.review.air_heat import Heat
from cabinvigil.daemon.review.air_smoother import smooth

ANY_PPM_PER_H = 1000.0
"""A source to measure sizes by, where neither people nor burner are known to be there:
a person in 12 m3."""
AIR = "air"
"""The kind of change that is no setting of the burner."""
MOST_CHANGES = 12
ASK_Z = 3.5
"""A change is looked for where the readings ask this strongly, in sd."""
DATE_COST = 6.0
"""Gain in ln likelihood that a change must bring (about BIC for two parameters and a
date among 270 nodes)."""
IMPOSSIBLE_COST = 2.0
"""For each node at which air would flow backwards or people take CO2 in: the balance is
linear and does not know better."""
GAIN = 0.3
"""Less is no reason to change an explanation."""
NEAR_NODES = 2
EDGE_NODES = 3
"""Changes this close to an end of the night cannot be told."""
ANY_K = (2.0, 4.0)
"""Air changes an hour before anything is known (design.md, 6: 0.15 to 15)."""
LEAST_K, MOST_K = 0.05, 60.0
LEAST_SHARE, LEAST_EXCESS_PPM = 0.4, 300.0
WALK_S = 0.02
"""Slow change of the source in an hour, as a share: sleep deepens, a cylinder cools
(own judgement)."""
GUST_H = 0.25
"""How long a lull or a gusty spell lasts (own judgement)."""
WALKS_K = (0.1, 0.3, 0.8)
"""Slow change of k in an hour, as a share: hardly any; a cabin that warms; vents that
ice over."""
GUSTS = (0.01, 0.04, 0.12)
"""How much the wind's coming and going moves k, as a share: none, sheltered, open."""
KINK = 0.2
"""Error of the level at a change, as a share of the largest change in one step."""
MEDIAN_NODES = 5
"""The size of the noise follows k's median over this many nodes to either side."""
UNREST_H, LEAST_UNREST, MOST_UNREST = 0.5, 0.5, 2.0
"""The slow change of k is looked at over this long; below the second, a share in an
hour, it is no more than the usual."""
RIVALS = 6
RIVAL_GAP, MIXED_GAP = 12.0, 4.0
"""Rivals within the first are looked at closely; within the second they are mixed in
(1 in 50)."""


class Setting(NamedTuple):
    """What the burner may be set to, and what it and the people then give."""

    ppm_per_h: float
    """CO2, in ppm of the cabin's air."""
    sd_ppm_per_h: float
    heat_w: float
    """Of the burner."""
    cost: float = 0.0
    """Gain in ln likelihood that it must bring beyond the others."""


Settings = Mapping[str, Setting]


class Walks(NamedTuple):
    """How fast air changes, as shares of k."""

    k: float
    gust: float


class Guess(NamedTuple):
    """One explanation of the night."""

    start: str
    """The burner's setting at first."""
    changes: dict[int, str]
    """By node: a setting, or `AIR`."""
    walks: Walks
    is_restless: bool = False
    """Whether k changed slowly, and far, on its own: rime that closes a vent."""

    def setting_at(self, node: int) -> str:
        """Give the burner's setting before a node."""
        setting = self.start
        for n in sorted(self.changes):
            if n >= node:
                break
            if self.changes[n] != AIR:
                setting = self.changes[n]
        return setting


class _Noise(NamedTuple):
    """The size of the noise that a course of k implies, node by node."""

    k: list[float]
    unrest: list[float]
    """How fast k slowly changes there, as a share in an hour."""


class _Stand(NamedTuple):
    """An explanation under noise of a certain size, with its way through the night."""

    guess: Guess
    scale: _Noise
    way: Way
    worth: float


class Explained(NamedTuple):
    """The best explanation, with what it and its rivals found."""

    guess: Guess
    found: Smoothed


class Search:
    """Looks for the best explanation of one night."""

    def __init__(self, course: Course, settings: Settings, heat: Heat | None) -> None:
        """Take the night's readings.

        Args:
            course: the nodes.
            settings: of the burner.
            heat: the temperature's course; None where none was told.
        """
        self._course, self._settings, self._heat = course, settings, heat
        self._count = len(course.level_ppm)
        self._stays = math.exp(-course.step_h / GUST_H)
        sources = [one.ppm_per_h for one in settings.values() if one.ppm_per_h > 0.0]
        sources = sources or [ANY_PPM_PER_H]
        self._low, self._high = min(sources), max(sources)
        self._least_k = [
            max(LEAST_K, LEAST_SHARE * self._low / max(one or 0.0, LEAST_EXCESS_PPM))
            for one in course.excess_ppm
        ]

    def explain(self) -> Explained:
        """Find the best explanation, its rivals mixed in."""
        stand = self._first()
        for _ in range(3):
            walks = stand.guess.walks
            stand = self._grown(stand)
            stand = self._walked(stand)
            stand = self._polished(stand)
            if stand.guess.walks == walks:
                break
        return self._mixed(stand)

    # --- what one explanation is worth ---------------------------------------

    def _belief(self, guess: Guess, scale: _Noise) -> Belief:
        changes: dict[int, Change] = {}
        step_h, span = self._course.step_h, max(self._high - self._low, self._high / 2)
        for n, kind in guess.changes.items():
            if kind == AIR:
                jump = scale.k[n] + 0.5
                kink = KINK * step_h * jump * abs(self._course.excess_ppm[n] or 0.0)
                changes[n] = Change(kink, jump)
            else:
                changes[n] = Change(KINK * step_h * span, 0.0, self._settings[kind][:2])
        for n in guess.changes:
            for beside in (n - 1, n + 1):
                changes.setdefault(beside, Change(changes[n].c_sd / 3.0))
        walk_k = [
            max(guess.walks.k, unrest) * one
            for one, unrest in zip(scale.k, scale.unrest, strict=True)
        ]
        gust = [guess.walks.gust * one for one in scale.k]
        start = self._settings[guess.start][:2]
        return Belief(ANY_K, start, walk_k, WALK_S, gust, GUST_H, changes)

    def _stand(
        self, guess: Guess, scale: _Noise, beside: _Stand | None = None
    ) -> _Stand:
        """Judge an explanation; `beside` is one of the same scale, to save work."""
        until = 0 if beside is None else _same_until(guess, beside.guess)
        before = None if beside is None else beside.way
        way = forward(self._course, self._belief(guess, scale), before, until)
        cost = DATE_COST * (len(guess.changes) + guess.is_restless)
        for kind in (guess.start, *guess.changes.values()):
            cost += self._settings[kind].cost if kind != AIR else 0.0
        worth = way.ln_likelihood - cost
        worth -= IMPOSSIBLE_COST * way.impossible
        return _Stand(guess, scale, way, worth + self._heat_worth(guess))

    def _heat_worth(self, guess: Guess) -> float:
        heat = self._heat
        if heat is None:
            return 0.0
        bends, setting = [], guess.start
        for n in sorted(guess.changes):
            kind, before = guess.changes[n], setting
            setting = before if kind == AIR else kind
            bend = heat.bend_k_h(n)
            now = self._settings[setting]
            if kind == AIR:
                heat_w = heat.air_w(n, now.ppm_per_h)
            else:
                heat_w = now.heat_w - self._settings[before].heat_w
            if bend is not None and heat_w is not None:
                bends.append((bend, heat_w))
        return heat.worth(bends)

    def _found(self, stand: _Stand) -> Smoothed:
        return smooth(stand.way.nodes, self._stays)

    def _scale(self, found: Smoothed, guess: Guess) -> _Noise:
        """Give the size of the noise that a course of k implies.

        With k all but 0 there would be no noise, and nothing could explain better: so
        it is no less than a part of the people alone would need.
        """
        ks = [
            min(max(k, least), MOST_K)
            for k, least in zip(found.k, self._least_k, strict=True)
        ]
        wide = MEDIAN_NODES
        windows = (ks[max(0, n - wide) : n + wide + 1] for n in range(self._count))
        calm = [sorted(window)[len(window) // 2] for window in windows]
        if not guess.is_restless:
            return _Noise(calm, [0.0] * self._count)
        return _Noise(calm, self._unrest(calm, guess))

    def _unrest(self, ks: Sequence[float], guess: Guess) -> list[float]:
        """Tell where k slowly changes, changes at once left aside."""
        half = max(1, round(UNREST_H / 2.0 / self._course.step_h))
        last, span_h = self._count - 1, math.sqrt(2.0 * half * self._course.step_h)
        sudden = sorted(guess.changes)
        unrest = []
        for n in range(self._count):
            a, b = max(0, n - half), min(last, n + half)
            if any(a - half <= m <= b + half for m in sudden):
                unrest.append(0.0)
            else:
                unrest.append(min(abs(math.log(ks[b] / ks[a])) / span_h, MOST_UNREST))
        return unrest

    # --- the search ----------------------------------------------------------

    def _first(self) -> _Stand:
        """Start with no change, and with the k that the levels suggest."""
        source = math.sqrt(max(self._low, self._high / 10) * self._high)
        excess = [100.0 if one is None else one for one in self._course.excess_ppm]
        usual = [min(max(source / max(one, 100.0), 0.1), 10.0) for one in excess]
        scale = _Noise(usual, [0.0] * self._count)
        walks = Walks(WALKS_K[2], GUSTS[2])
        stands = [self._stand(Guess(one, {}, walks), scale) for one in self._settings]
        best = max(stands, key=lambda stand: stand.worth)
        return self._stand(best.guess, self._scale(self._found(best), best.guess))

    def _grown(self, stand: _Stand) -> _Stand:
        """Add changes where the readings ask for them."""
        refused: set[int] = set()
        for _ in range(3 * MOST_CHANGES):
            found = self._found(stand)
            at = self._asked(found, stand.guess, refused)
            if at is None or len(stand.guess.changes) >= MOST_CHANGES:
                break
            best = self._best_of(
                stand,
                [
                    stand.guess._replace(changes={**stand.guess.changes, at: kind})
                    for kind in self._kinds(stand.guess, at)
                ],
            )
            if best is stand:
                refused.update(range(at - NEAR_NODES, at + NEAR_NODES + 1))
                continue
            stand = self._stand(best.guess, self._scale(self._found(best), best.guess))
        return stand

    def _asked(self, found: Smoothed, guess: Guess, refused: set[int]) -> int | None:
        """Find the node where the readings ask most for a change."""
        taken = {
            m + d for m in guess.changes for d in range(-NEAR_NODES, NEAR_NODES + 1)
        }
        most, at = ASK_Z, None
        for n in range(EDGE_NODES - 1, self._count - EDGE_NODES):
            z = max(abs(found.z_k[n]), abs(found.z_s[n]))
            if z > most and n not in refused and n not in taken:
                most, at = z, n
        return at

    def _kinds(self, guess: Guess, at: int) -> list[str]:
        now = guess.setting_at(at)
        return [AIR, *(one for one in self._settings if one != now)]

    def _best_of(self, stand: _Stand, guesses: Sequence[Guess]) -> _Stand:
        """Give the best, the present one unless another is better."""
        best = stand
        for guess in guesses:
            other = self._stand(guess, stand.scale, stand)
            if other.worth > best.worth + (GAIN if best is stand else 0.0):
                best = other
        return best

    def _polished(self, stand: _Stand) -> _Stand:
        """Exchange, drop and move changes while that explains more."""
        for _ in range(4):
            was = stand.guess
            stand = self._stand(was, self._scale(self._found(stand), stand.guess))
            starts = [stand.guess._replace(start=one) for one in self._settings]
            stand = self._best_of(stand, starts)
            for n in sorted(stand.guess.changes):
                if n in stand.guess.changes:
                    stand = self._best_of(stand, self._variants(stand.guess, n))
            if stand.guess == was:
                break
        return stand

    def _variants(self, guess: Guess, n: int) -> list[Guess]:
        rest = {m: kind for m, kind in guess.changes.items() if m != n}
        kind = guess.changes[n]
        found = [guess._replace(changes=rest)]
        found += [
            guess._replace(changes={**rest, n: other})
            for other in (AIR, *self._settings)
            if other != kind
        ]
        found += [
            guess._replace(changes={**rest, m: kind})
            for m in (n - 1, n + 1)
            if m not in rest and 0 < m < self._count - EDGE_NODES + 1
        ]
        return found

    def _walked(self, stand: _Stand) -> _Stand:
        """Choose how fast the air changes: slowly first, then in gusts."""
        for k in WALKS_K:
            if k != stand.guess.walks.k:
                walks = Walks(k, stand.guess.walks.gust)
                other = self._stand(stand.guess._replace(walks=walks), stand.scale)
                stand = max(stand, other, key=lambda one: one.worth)
        for gust in GUSTS:
            if gust != stand.guess.walks.gust:
                walks = Walks(stand.guess.walks.k, gust)
                other = self._stand(stand.guess._replace(walks=walks), stand.scale)
                stand = max(stand, other, key=lambda one: one.worth)
        return stand

    # --- rivals --------------------------------------------------------------

    def _settled(self, guess: Guess, scale: _Noise) -> _Stand:
        """Judge an explanation under the noise that it implies itself."""
        stand = self._stand(guess, scale)
        for _ in range(2):
            walks = stand.guess.walks
            stand = self._stand(
                stand.guess, self._scale(self._found(stand), stand.guess)
            )
            stand = self._walked(stand)
            if stand.guess.walks == walks:
                break
        return stand

    def _rivals(self, stand: _Stand) -> list[Guess]:
        guesses = [
            stand.guess._replace(start=one)
            for one in self._settings
            if one != stand.guess.start
        ]
        for n, kind in stand.guess.changes.items():
            guesses += [
                stand.guess._replace(changes={**stand.guess.changes, n: other})
                for other in (AIR, *self._settings)
                if other != kind
            ]
        stands = [self._stand(guess, stand.scale, stand) for guess in guesses]
        stands += self._restless(stand)
        near = [one for one in stands if one.worth > stand.worth - RIVAL_GAP]
        near.sort(key=lambda one: -one.worth)
        return [one.guess for one in near[:RIVALS]]

    def _restless(self, stand: _Stand) -> list[_Stand]:
        """Let a slow change stand in place of one or two sudden ones."""
        guess = stand.guess._replace(is_restless=True)
        noise = self._scale(self._found(stand), guess._replace(changes={}))
        if guess == stand.guess or max(noise.unrest) < LEAST_UNREST:
            return []
        dates = sorted(guess.changes)
        pairs = [(a, b) for a in dates for b in dates if a <= b]
        without = [
            {m: kind for m, kind in guess.changes.items() if m not in pair}
            for pair in (*pairs, ())
        ]
        return [
            self._stand(guess._replace(changes=changes), noise) for changes in without
        ]

    def _mixed(self, stand: _Stand) -> Explained:
        best = self._settled(stand.guess, stand.scale)
        for _ in range(3):
            rivals = [self._settled(one, best.scale) for one in self._rivals(best)]
            top = max(rivals, key=lambda one: one.worth, default=best)
            if top.worth <= best.worth + GAIN:
                break
            polished = self._polished(top)
            again = self._settled(polished.guess, polished.scale)
            best = max(top, again, key=lambda one: one.worth)
        pool = [best, *(one for one in rivals if one.worth > best.worth - MIXED_GAP)]
        weights = [math.exp(min(0.0, one.worth - best.worth)) for one in pool]
        return Explained(best.guess, mixed([self._found(one) for one in pool], weights))


def _same_until(one: Guess, other: Guess) -> int:
    """Give the node up to which two explanations are the same."""
    if one.start != other.start or one.walks != other.walks:
        return 0
    differs = [
        n
        for n in one.changes.keys() | other.changes.keys()
        if one.changes.get(n) != other.changes.get(n)
    ]
    return max(0, min(differs) - 1) if differs else 0


def mixed(founds: Sequence[Smoothed], weights: Sequence[float]) -> Smoothed:
    """Mix what several explanations found: means, and variances with their spread."""
    if len(founds) == 1:
        return founds[0]
    total = sum(weights)
    shares = [weight / total for weight in weights]
    count = len(founds[0].k)
    out = Smoothed(*([0.0] * count for _ in range(7)))
    for n in range(count):
        k = sum(w * one.k[n] for w, one in zip(shares, founds, strict=True))
        s = sum(w * one.s[n] for w, one in zip(shares, founds, strict=True))
        out.k[n], out.s[n] = k, s
        for w, one in zip(shares, founds, strict=True):
            off_k, off_s = one.k[n] - k, one.s[n] - s
            out.var_k[n] += w * (one.var_k[n] + off_k * off_k)
            out.var_s[n] += w * (one.var_s[n] + off_s * off_s)
            out.cov[n] += w * (one.cov[n] + off_k * off_s)
    return out
