"""The search for what changed in the night, and when: burner, or air.

One explanation is a list of dated changes.  Changes are added where the readings ask
for them, exchanged and moved while that explains more.  Two explanations are compared
under noise of the same size; its rivals (`rivals`) then each under their own.
Every threshold here was chosen on seeds other than those that score it
(tests/bench/morning_truth.py).
"""

import math
from collections.abc import Sequence

from cabinvigil.daemon.review.airflow.guess import (
    AIR,
    AWAKE,
    GUSTS,
    WALKS_K,
    WALKS_S,
    Guess,
    Settings,
    Walks,
)
from cabinvigil.daemon.review.airflow.heat import Heat
from cabinvigil.daemon.review.airflow.kalman import Course, Smoothed
from cabinvigil.daemon.review.airflow.likelihood import (
    Explanation,
    Judge,
    Noise,
)
from cabinvigil.daemon.review.airflow.stories import by_cycles

MOST_CHANGES = 12
"""More happens to no cabin in a night (our choice)."""
ASK_Z = 3.5
"""A change is looked for where the readings ask this strongly, in sd."""
GAIN = 0.3
"""Less is no reason to change an explanation."""
NEAR_NODES = 2
"""Changes closer than this cannot be told apart (our choice)."""
EDGE_NODES = 3
"""Changes this close to an end of the night cannot be told."""
CYCLING_WALKS_S = 1
"""Of the slow changes of a source, those that are left where a burner cycles."""


class Search:
    """Looks for the best explanation of one night."""

    def __init__(
        self,
        course: Course,
        settings: Settings,
        heat: Heat | None,
        awake: Sequence[float] = (),
        swing_ppm: Sequence[float] = (),
    ) -> None:
        """Take the night's readings, as `Judge` does."""
        self._judge = Judge(course, settings, heat, awake, swing_ppm)
        self._cycling = [one > 0.0 for one in swing_ppm]
        self._settings, self._count = settings, len(course.level_ppm)
        self._stops = [name for name, one in settings.items() if not one.is_between]

    def _searched(self, walks: Walks) -> Explanation:
        """Search from an air that changes so much by itself."""
        stand = self._first(walks)
        for _ in range(3):
            was = stand.guess
            stand = self._polished(self._walked(self._grown(stand)))
            # only other changes, not another size of noise, ask for more of them
            if (stand.guess.start, stand.guess.changes) == (was.start, was.changes):
                break
        return self._settled(stand.guess, stand.scale)

    # --- the search ----------------------------------------------------------

    def _first(self, walks: Walks) -> Explanation:
        """Start with no change, and with the k that the levels suggest."""
        scale = self._judge.first_noise()
        stands = [
            self._judge.stand(Guess(one, {}, walks), scale) for one in self._stops
        ]
        cycles = by_cycles(self._settings, self._cycling, walks, EDGE_NODES)
        told = [*self._by_heat(walks), *cycles]
        stands += [self._judge.stand(one, scale) for one in told]
        best = max(stands, key=lambda stand: stand.worth)
        return self._judge.stand(
            best.guess, self._judge.noise(self._judge.path_of(best), best.guess)
        )

    def _by_heat(self, walks: Walks) -> list[Guess]:
        """Begin with the course of settings that the warmth tells, where it tells one.

        Two changes of the burner can explain what neither of them does alone, and a
        search that adds one by one finds neither.
        """
        course = self._judge.heat.first_course()[: MOST_CHANGES + 1]
        if not course:
            return []
        (_, start), *rest = course
        changes = {n - 1: kind for n, kind in rest if n > EDGE_NODES}
        return [Guess(start, changes, walks)] if changes else []

    def _grown(self, stand: Explanation) -> Explanation:
        """Add changes where the readings ask for them."""
        refused: set[int] = set()
        for _ in range(3 * MOST_CHANGES):
            found = self._judge.path_of(stand)
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
            stand = self._judge.stand(
                best.guess, self._judge.noise(self._judge.path_of(best), best.guess)
            )
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
        return [AIR, *(one for one in self._stops if one != now)]

    def _best_of(self, stand: Explanation, guesses: Sequence[Guess]) -> Explanation:
        """Return the best, the present one unless another is better."""
        best = stand
        for guess in guesses:
            other = self._judge.stand(guess, stand.scale, stand)
            if other.worth > best.worth + (GAIN if best is stand else 0.0):
                best = other
        return best

    def _polished(self, stand: Explanation) -> Explanation:
        """Exchange, drop and move changes while that explains more."""
        for _ in range(4):
            was = stand.guess
            stand = self._judge.stand(
                was, self._judge.noise(self._judge.path_of(stand), stand.guess)
            )
            starts = [stand.guess._replace(start=one) for one in self._stops]
            stand = self._best_of(stand, starts)
            for n in sorted(stand.guess.changes):
                if n in stand.guess.changes:
                    stand = self._best_of(stand, self._variants(stand.guess, n))
            if stand.guess == was:
                break
        return stand

    def _variants(self, guess: Guess, n: int, *, is_moved: bool = True) -> list[Guess]:
        rest = {m: kind for m, kind in guess.changes.items() if m != n}
        kind = guess.changes[n]
        found = [guess._replace(changes=rest)]
        found += [
            guess._replace(changes={**rest, n: other})
            for other in self._kinds(guess, n)
            if other != kind
        ]
        if is_moved:
            found += [
                guess._replace(changes={**rest, m: kind})
                for m in (n - 1, n + 1)
                if m not in rest and 0 < m < self._count - EDGE_NODES + 1
            ]
        return found

    def _walked(self, stand: Explanation) -> Explanation:
        """Choose how fast the air changes: slowly first, then in gusts."""
        # A thermostat's source changes with its duty, which the warmth tells.
        walks_s = WALKS_S[:CYCLING_WALKS_S] if any(self._cycling) else WALKS_S
        for at, values in enumerate((WALKS_K, GUSTS, walks_s, AWAKE)):
            here = values.index(stand.guess.walks[at])
            for step in (1, -1):
                while 0 <= here + step < len(values):
                    walks = list(stand.guess.walks)
                    walks[at] = values[here + step]
                    guess = stand.guess._replace(walks=Walks(*walks))
                    other = self._judge.stand(guess, stand.scale)
                    if other.worth <= stand.worth:
                        break
                    stand, here = other, here + step
        return stand

    def _settled(
        self, guess: Guess, scale: Noise, least: float = -math.inf
    ) -> Explanation:
        """Judge an explanation under the noise that it implies itself.

        One that is worth less than `least` after the first look is looked at no more.
        """
        stand = self._walked(self._judge.stand(guess, self._judge.stated_noise(guess)))
        other = self._judge.stand(guess, scale)
        stand = max(stand, other, key=lambda one: one.worth)
        for _ in range(2 if stand.worth > least else 0):
            walks = stand.guess.walks
            stand = self._judge.stand(
                stand.guess, self._judge.noise(self._judge.path_of(stand), stand.guess)
            )
            stand = self._walked(stand)
            if stand.guess.walks == walks:
                break
        return self._judge.reheated(stand)
