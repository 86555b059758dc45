"""What warmth and oxygen say of a whole explanation of the night."""

import math
from collections.abc import Sequence

from cabinvigil.daemon.review.airflow.guess import AIR, Guess, Settings
from cabinvigil.daemon.review.airflow.heat import Heat
from cabinvigil.daemon.review.airflow.heat_balance import SettingSpan
from cabinvigil.daemon.review.airflow.kalman import Course

CYCLING_COST_H = 12.0
"""For each hour in which the burner is said to cycle while the warmth shows none of it,
or the other way: the saw-tooth is ten times a part's noise."""
LEAST_BEND_K_H, BENDS_APART_H, MOST_BENDS = 2.5, 0.25, 2
"""Bends of the warmth at which burner and air may have changed at once: so sharp, so
far apart, and so many are looked at (own judgement)."""
BEND_NODES, UNCAUSED_COST = 4, 8.0
"""A bend with no change so near costs this: something warmed or cooled the cabin (own
judgement)."""
PIECE_H = 0.5
"""A tap between its stops, or a flame that fades, has a power of its own for so long
(our choice; as the windows of the heat balance)."""
BESIDE_NODES, SKIPPED_NODES = 6, 2
"""Its power at a change is the mean over so many nodes to either side, but for those at
the change itself (our choice)."""


class HeatEvidence:
    """Judges the settings of one night's explanations by its warmth and oxygen."""

    def __init__(
        self,
        course: Course,
        settings: Settings,
        heat: Heat | None,
        cycling: Sequence[bool] = (),
    ) -> None:
        """Take the night's readings.

        Args:
            course: the nodes.
            settings: of the burner.
            heat: the temperature's course; None where none was told: it says nothing.
            cycling: node by node whether the burner cycles; empty: nowhere.
        """
        self._course, self._settings, self._heat = course, settings, heat
        self._cycling, self._count = cycling, len(course.level_ppm)
        self._kept: dict[tuple[str, tuple[tuple[int, str], ...]], float] = {}
        self.bends = self._bent()
        """The nodes at which the warmth bends most, the sharpest first."""

    def worth(self, guess: Guess) -> float:
        """Return ln likelihood, each setting with its stated power.

        It is of any size of noise the same, and so is kept.
        """
        key = guess.start, tuple(sorted(guess.changes.items()))
        if key not in self._kept:
            self._kept[key] = self._worth(guess, ())
        return self._kept[key]

    def worth_as_found(self, guess: Guess, s: Sequence[float]) -> float | None:
        """Return ln likelihood, a tap between its stops with the power that was found.

        Args:
            guess: the explanation.
            s: what it finds that people asleep and the burner give, node by node, ppm
                of the cabin's air an hour.

        Returns:
            None where it would be as by the stated powers.
        """
        names = {guess.start, *guess.changes.values()} - {AIR}
        if self._heat is None or not any(self._is_free(one) for one in names):
            return None
        return self._worth(guess, s)

    def first_course(self) -> list[tuple[int, str]]:
        """Return the course of settings that the warmth tells, roughly."""
        if self._heat is None:
            return []
        return self._heat.balance.first_course(
            {
                name: (one.ppm_per_h, one.heat_w)
                for name, one in self._settings.items()
                if not one.cost and not one.is_between
            }
        )

    def _worth(self, guess: Guess, s: Sequence[float]) -> float:
        heat = self._heat
        if heat is None:
            return 0.0
        bends, setting, spans, begin = [], guess.start, list[SettingSpan](), 0
        for n in sorted(guess.changes):
            kind, before = guess.changes[n], setting
            setting = before if kind == AIR else kind
            if kind != AIR:
                spans += self._pieces(begin, n + 1, before, s)
                begin = n + 1
            bend = heat.bend_k_h(n)
            now = self._span(n + SKIPPED_NODES, n + BESIDE_NODES, setting, s)
            if kind == AIR:
                heat_w = heat.air_w(n, now.ppm_per_h)
            else:
                was = self._span(n - BESIDE_NODES, n, before, s)
                heat_w = now.heat_w - was.heat_w
            if bend is not None and heat_w is not None:
                bends.append((bend, heat_w))
        spans += self._pieces(begin, self._count, setting, s)
        caused = *guess.changes, *self._course.anew
        loose = [n for n in self.bends if all(abs(n - m) > BEND_NODES for m in caused)]
        worth = heat.worth(bends) + heat.balance.worth(spans)
        worth -= self._cycling_cost(guess) + UNCAUSED_COST * len(loose)
        return worth + (heat.oxygen.worth(spans) if heat.oxygen is not None else 0.0)

    def _cycling_cost(self, guess: Guess) -> float:
        """Give what a guess costs that cycles where the warmth does not, or not so."""
        if not self._cycling:
            return 0.0
        does, wrong = self._settings[guess.start].is_cycling, 0
        for n, seen in enumerate(self._cycling):
            wrong += does is not seen
            kind = guess.changes.get(n, AIR)
            does = does if kind == AIR else self._settings[kind].is_cycling
        return CYCLING_COST_H * wrong * self._course.step_h

    def _is_free(self, setting: str) -> bool:
        """Return whether its power may be any: the stated one is a guess then."""
        one = self._settings[setting]
        is_tap = one.is_between and not one.beside and not one.is_cycling
        return is_tap and one.flame_share * one.ppm_per_h > 0.0

    def _pieces(
        self, begin: int, end: int, setting: str, s: Sequence[float]
    ) -> list[SettingSpan]:
        """Part what one setting lasted into pieces of one power each."""
        wide = end - begin
        if s and self._is_free(setting):
            wide = max(1, round(PIECE_H / self._course.step_h))
        return [
            self._span(n, min(end, n + wide), setting, s)
            for n in range(begin, end, max(1, wide))
        ]

    def _span(
        self, begin: int, end: int, setting: str, s: Sequence[float]
    ) -> SettingSpan:
        one = self._settings[setting]
        source, flame = one.ppm_per_h, one.flame_share * one.ppm_per_h
        here = s[max(0, begin) : max(0, end)]
        if not here or not self._is_free(setting):
            return SettingSpan(begin, end, source, one.heat_w, one.flame_share)
        found = math.fsum(here) / len(here)
        burnt = max(0.0, found - (source - flame))
        heat_w = one.heat_w * burnt / flame
        return SettingSpan(begin, end, found, heat_w, burnt / found if burnt else 0.0)

    def _bent(self) -> list[int]:
        heat = self._heat
        if heat is None:
            return []
        sizes = [abs(heat.bend_k_h(n) or 0.0) for n in range(self._count)]
        wide = max(1, round(BENDS_APART_H / self._course.step_h))
        tops = [
            n
            for n in range(wide, self._count - wide)
            if sizes[n] >= LEAST_BEND_K_H
            and sizes[n] == max(sizes[n - wide : n + wide])
            and not (self._cycling and self._cycling[n])
        ]
        return sorted(tops, key=lambda n: -sizes[n])[:MOST_BENDS]
