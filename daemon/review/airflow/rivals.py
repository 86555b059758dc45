"""Rivals of the best explanation of a night: what else it may have been.

Those that explain nearly as much are mixed in, so that doubt widens the answer.  Each
is compared under the size of noise that it implies itself, since noise comes in
proportion to `k`.  Every threshold here was chosen on seeds other than those that score
it (tests/bench/morning_truth.py).
"""

import math
from collections.abc import Sequence

from cabinvigil.daemon.review.airflow.change_points import GAIN, NEAR_NODES, Search
from cabinvigil.daemon.review.airflow.guess import (
    AWAKE,
    CALM_WALKS,
    FIRST_WALKS,
    GUSTS,
    WALKS_K,
    Guess,
)
from cabinvigil.daemon.review.airflow.likelihood import LEAST_UNREST, Explanation
from cabinvigil.daemon.review.airflow.mixture import Explained, mixed
from cabinvigil.daemon.review.airflow.stories import (
    with_both,
    with_cooking,
    with_fading,
)

RIVALS = 6
"""The best of them are looked at, to bound the time."""
TEMPER = 2.0
"""The filter's likelihood is sharper than its errors are: what separates two
explanations counts for half (own judgement, held by tests/bench/morning_truth.py)."""
RIVAL_GAP, MIXED_GAP, START_GAP = 12.0, 8.0, 4.0
"""Rivals within the first are looked at closely; within the second they are mixed in
(1 in 50, counted by half); within the third they leave open what the night began with,
which is a matter of yes or no, and is not widened by half (own judgement)."""
MOST_TURNED, MOST_FADED = 3, 2
"""Settings between the stops that are looked at, to bound the time; and stoves."""
SETTLED_GAP = 8.0
"""What is further behind, under the noise of its own stated source, does not catch up
by a better size of its noise."""


class NightSearch(Search):
    """Looks for the best explanation of one night, and for its rivals."""

    @property
    def _between(self) -> list[str]:
        """The settings between the stops of the tap."""
        return [
            name
            for name, one in self._settings.items()
            if one.is_between and not one.beside
        ]

    def explain(self) -> Explained:
        """Find the best explanation, its rivals mixed in."""
        stand = self._searched(FIRST_WALKS)
        if stand.guess.is_restless or stand.guess.walks.k > CALM_WALKS.k:
            calm = self._searched(CALM_WALKS)
            stand = max(stand, calm, key=lambda one: one.worth)
        return self._mixed(stand)

    def _rivals(self, stand: Explanation) -> list[Guess]:
        guesses = [
            stand.guess._replace(start=one)
            for one in self._stops
            if one != stand.guess.start
        ]
        for n, kind in stand.guess.changes.items():
            guesses += [
                stand.guess._replace(changes={**stand.guess.changes, n: other})
                for other in self._kinds(stand.guess, n)
                if other != kind
            ]
        stands = [self._judge.stand(guess, stand.scale, stand) for guess in guesses]
        stands += self._restless(stand)
        near = [one for one in stands if one.worth > stand.worth - RIVAL_GAP]
        near.sort(key=lambda one: -one.worth)
        return [one.guess for one in near[:RIVALS]]

    def _awake(self, best: Explanation) -> list[Explanation]:
        """Let the others have lain awake, or not."""
        walks = best.guess.walks
        others = [walks._replace(awake=one) for one in AWAKE if one != walks.awake]
        guesses = [best.guess._replace(walks=one) for one in others]
        return [self._judge.stand(one, best.scale) for one in guesses]

    def _turned(self, best: Explanation) -> list[Explanation]:
        """Let a tap stand between its stops, wherever burner or air was changed."""
        guess, guesses = best.guess, []
        for between in self._between:
            if self._settings[guess.start].heat_w > 0.0:
                guesses.append(guess._replace(start=between))
            guesses += [
                guess._replace(changes={**guess.changes, n: between})
                for n, kind in guess.changes.items()
                if kind != between
            ]
        return self._near(best, guesses)

    def _cooked(self, best: Explanation) -> list[Explanation]:
        """Let a stove burn beside the burner, or burner and air change at once."""
        guess, settings, judge = best.guess, self._settings, self._judge
        guesses = with_cooking(guess, settings, judge.course.step_h)
        guesses += with_both(guess, settings, judge.heat.bends, NEAR_NODES)
        return self._near(best, guesses)

    def _faded(self, best: Explanation) -> list[Explanation]:
        """Let a flame fade in place of all that was changed from some date on."""
        if any(self._cycling):  # a thermostat makes up for it, by burning longer
            return []
        judge, found = (
            self._judge,
            with_fading(best.guess, self._settings, self._between),
        )
        stands = [judge.stand(one, judge.stated_noise(one)) for one in found]
        stands.sort(key=lambda one: -one.worth)
        least = best.worth - SETTLED_GAP
        return [
            self._settled(one.guess, best.scale, least) for one in stands[:MOST_FADED]
        ]

    def _near(self, best: Explanation, guesses: Sequence[Guess]) -> list[Explanation]:
        """Settle those that come near the best."""
        stands = [self._judge.stand(one, best.scale, best) for one in guesses]
        near = [one for one in stands if one.worth > best.worth - RIVAL_GAP]
        near.sort(key=lambda one: -one.worth)
        least = best.worth - SETTLED_GAP
        return [
            self._settled(one.guess, best.scale, least) for one in near[:MOST_TURNED]
        ]

    def _restless(self, stand: Explanation) -> list[Explanation]:
        """Let a slow change stand in place of one or two sudden ones."""
        guess = stand.guess._replace(is_restless=True)
        noise = self._judge.noise(
            self._judge.path_of(stand), guess._replace(changes={})
        )
        if guess == stand.guess or max(noise.unrest) < LEAST_UNREST:
            return []
        dates = sorted(guess.changes)
        pairs = [(a, b) for a in dates for b in dates if a <= b]
        without = [
            {m: kind for m, kind in guess.changes.items() if m not in pair}
            for pair in (*pairs, ())
        ]
        return [
            self._judge.stand(guess._replace(changes=changes), noise)
            for changes in without
        ]

    def _mixed(self, best: Explanation) -> Explained:
        rivals = list[Explanation]()
        for _ in range(MOST_TURNED):
            found = self._cooked(best)
            rivals += found
            was, best = best, self._risen(best, found)
            if best is was:
                break
        for _ in range(3):
            least = best.worth - SETTLED_GAP
            found = [
                self._settled(one, best.scale, least) for one in self._rivals(best)
            ]
            was, best = best, self._risen(best, found)
            if best is was:
                break
        faded = self._faded(best)
        rivals += [*found, *self._awake(best), best, *faded]
        best = self._risen(best, faded)
        for _ in range(MOST_TURNED):
            turned = self._turned(best)
            rivals += [best, *turned]
            top = max(turned, key=lambda one: one.worth, default=best)
            if top.worth <= best.worth + GAIN:
                break
            best = top
        pool = [best]
        for one in rivals:
            is_new = all(one.guess != other.guess for other in pool)
            if is_new and one.worth > best.worth - MIXED_GAP:
                pool.append(one)
        known = {one.guess.start for one in pool}
        pool += [one for one in self._begun(best) if one.guess.start not in known]
        weights = [math.exp(min(0.0, one.worth - best.worth) / TEMPER) for one in pool]
        return Explained(
            best.guess,
            mixed([self._judge.path_of(one) for one in pool], weights),
            frozenset(
                one.guess.start for one in pool if one.worth > best.worth - START_GAP
            ),
        )

    def _risen(self, best: Explanation, found: Sequence[Explanation]) -> Explanation:
        """Return the best of them, polished, where it explains more; else `best`."""
        top = max(found, key=lambda one: one.worth, default=best)
        if top.worth <= best.worth + GAIN:
            return best
        polished = self._polished(top)
        if polished.guess == top.guess:
            return top
        again = self._settled(polished.guess, polished.scale)
        return max(top, again, key=lambda one: one.worth)

    def _begun(self, best: Explanation) -> list[Explanation]:
        """Find what else the night may have begun with, where the air tells too little.

        Settled air tells the source for each air change, and neither alone; and calm
        air nothing of its source, so all are compared under the widest noise.
        """
        found: list[Explanation] = []
        wide = best.guess.walks._replace(k=WALKS_K[-1], gust=GUSTS[-1])
        worth = self._judge.stand(best.guess._replace(walks=wide), best.scale).worth
        for start in self._stops:
            if start == best.guess.start:
                continue
            guesses = [best.guess._replace(start=start)]
            if first := min(best.guess.changes, default=0):
                guesses += [
                    one._replace(start=start)
                    for one in self._variants(best.guess, first, is_moved=False)
                ]
            stands = [
                self._judge.stand(guess._replace(walks=wide), best.scale)
                for guess in guesses
            ]
            top = max(stands, key=lambda one: one.worth)
            if top.worth > worth - MIXED_GAP:
                guess = top.guess._replace(walks=best.guess.walks)
                likely = best.worth + min(0.0, top.worth - worth)
                stand = self._judge.stand(guess, best.scale)
                found.append(stand._replace(worth=likely))
        return found
