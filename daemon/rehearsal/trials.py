"""Two trials, to be rehearsed: what is one vent worth, and what are two?"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.rehearsal.nights import (
    HOUR_S,
    NamedNight,
    NightAct,
    NightChange,
    NightFigures,
    NightSetting,
    nights_of,
)

TRIED_S = 2.0 * HOUR_S
LIT_S = 1200.0
"""From the beginning of each with its door open, until the parts have warmed up."""
BY_DAY_C = 3.0
"""Trials are made by day: no colder, so that every part works from the beginning."""
DOOR = {"low_open": 12.0, "high_open": 12.0}


@dataclass(frozen=True, slots=True)
class _Tried:
    """How the vents are in a trial."""

    words: str
    low_open: float
    high_open: float


FLOOR = _Tried("floor vent alone", 1.0, 0.0)
BOTH = _Tried("floor and roof vent open", 1.0, 1.0)


def plays_of(figures: NightFigures) -> Mapping[str, NamedNight]:
    """Return all that can be rehearsed: the named nights, and the trials."""
    return MappingProxyType({**nights_of(figures), "trials": _trials(figures)})


def _pair(vents: frozenset[str]) -> tuple[str, _Tried, _Tried]:
    """Return what is tried in a cabin with these vents, first in words for its title.

    Where there is one vent, it is tried half open and open: the question there is
    whether it is large enough.
    """
    if len(vents) > 1:
        return "the floor vent alone, then both vents", FLOOR, BOTH
    for place in sorted(vents):
        half = _Tried(f"{place} vent half open", 0.5, 0.5)
        return (
            f"the {place} vent half open, then open",
            half,
            _Tried(f"{place} vent open", 1.0, 1.0),
        )
    return (
        "the same twice, since there are no vents",
        _Tried("no vents, first time", 1.0, 1.0),
        _Tried("no vents, second time", 1.0, 1.0),
    )


def _trials(figures: NightFigures) -> NamedNight:
    second_s = 3.0 * HOUR_S
    title, first, second = _pair(figures.vents)
    return NamedNight(
        "trials",
        f"two trials with nobody inside: {title}",
        NightSetting(people=0.0, outside_c=max(figures.outside_c, BY_DAY_C), **DOOR),
        (
            *_changes(first, figures.low_kw, 0.0),
            *_changes(second, figures.low_kw, second_s),
        ),
        hours=6.0,
        acts=(*_acts(first.words, 0.0), *_acts(second.words, second_s)),
    )


def _changes(tried: _Tried, power_kw: float, at_s: float) -> tuple[NightChange, ...]:
    """Set the vents, burn the heater for two hours, put it out and air the cabin."""
    lit_s, off_s = at_s + LIT_S, at_s + LIT_S + TRIED_S
    vents = {"low_open": tried.low_open, "high_open": tried.high_open}
    lit = f"heater lit, {power_kw:g} kW"
    return (
        NightChange(lit_s, vents, words=tried.words),
        NightChange(lit_s, {"burner_kw": power_kw}, words=lit),
        NightChange(off_s, {"burner_kw": 0.0}, words="heater off"),
        NightChange(off_s, DOOR, words="door open"),
    )


def _acts(words: str, at_s: float) -> tuple[NightAct, ...]:
    """Begin it as the heater is lit; end it, and answer what still stands."""
    begin = Act(ActKind.TRIAL, by="socket", text=words, for_s=TRIED_S + LIT_S)
    press = Act(ActKind.ACKNOWLEDGE)
    ended_s = at_s + LIT_S + TRIED_S
    return (
        NightAct(at_s + LIT_S - 30.0, begin),
        NightAct(ended_s, Act(ActKind.TRIAL_END, by="socket")),
        NightAct(ended_s + 60.0, press),
        NightAct(ended_s + 600.0, press),
    )


PLAYS = plays_of(NightFigures())
"""All that can be rehearsed in the *Lapwing*."""
