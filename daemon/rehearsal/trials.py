"""Two trials, to be rehearsed: what is one vent worth, and what are two?"""

from collections.abc import Mapping
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
FLOOR, BOTH = "floor vent alone", "floor and roof vent open"


def plays_of(figures: NightFigures) -> Mapping[str, NamedNight]:
    """Return all that can be rehearsed: the named nights, and the trials."""
    return MappingProxyType({**nights_of(figures), "trials": _trials(figures)})


def _trials(figures: NightFigures) -> NamedNight:
    second_s = 3.0 * HOUR_S
    return NamedNight(
        "trials",
        "two trials with nobody inside: the floor vent alone, then both vents",
        NightSetting(people=0.0, outside_c=max(figures.outside_c, BY_DAY_C), **DOOR),
        (
            *_tried(FLOOR, 0.0, figures.low_kw, 0.0),
            *_tried(BOTH, 1.0, figures.low_kw, second_s),
        ),
        hours=6.0,
        acts=(*_acts(FLOOR, 0.0), *_acts(BOTH, second_s)),
    )


def _tried(
    words: str, high_open: float, power_kw: float, at_s: float
) -> tuple[NightChange, ...]:
    """Set the vents, burn the heater for two hours, put it out and air the cabin."""
    lit_s, off_s = at_s + LIT_S, at_s + LIT_S + TRIED_S
    lit = f"heater lit, {power_kw:g} kW"
    return (
        NightChange(lit_s, {"low_open": 1.0, "high_open": high_open}, words=words),
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
