"""The named nights of the *Lapwing*: what happens in the cabin, and when.

Our own scenario (design.md, section 2), invented for demos; the air itself is the zone
model, checked elsewhere against measured rooms.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from cabinvigil.daemon.air.figures import (
    CLEAN_CO_FRACTION,
    EXAMPLE,
    LIKELY_WIND_MPS,
)
from cabinvigil.daemon.core.model import Act, ActKind

HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class NightSetting:
    """Everything in the night that somebody or something can change."""

    burner_kw: float = 0.0
    """On the higher heating value."""
    co_fraction: float = CLEAN_CO_FRACTION
    """Share of the carbon that leaves as CO."""
    leak_mol_s: float = 0.0
    people: float = EXAMPLE.people
    low_open: float = 1.0
    """Share of the floor vent that is open."""
    high_open: float = 1.0
    wind_mps: float = LIKELY_WIND_MPS
    outside_c: float = EXAMPLE.outside_c
    supply_v: float = 12.75
    supply_a: float = -0.35
    pm2_5_ugm3: float = 6.0


@dataclass(frozen=True, slots=True)
class NightChange:
    """From `at_s` on, some of the setting moves to new values."""

    at_s: float
    to: Mapping[str, float]
    over_s: float = 0.0
    """0: at once; else evenly over this time."""
    words: str = ""
    """What a witness would say."""


@dataclass(frozen=True, slots=True)
class Failure:
    """Something goes wrong on a wire for a while."""

    from_s: float
    to_s: float
    part: str
    """The part's config name, or `bus` for the whole I2C bus."""
    fault: str
    """A word that `faulty` knows."""


@dataclass(frozen=True, slots=True)
class NightAct:
    """At `at_s` somebody does something, beside the cabin."""

    at_s: float
    act: Act


@dataclass(frozen=True, slots=True)
class NamedNight:
    """One named night."""

    name: str
    title: str
    first: NightSetting
    changes: tuple[NightChange, ...] = ()
    failures: tuple[Failure, ...] = ()
    hours: float = 9.0
    acts: tuple[NightAct, ...] = ()


def _lit(power_kw: float, at_s: float = 600.0) -> NightChange:
    return NightChange(
        at_s, {"burner_kw": power_kw}, words=f"heater lit, {power_kw:g} kW"
    )


LOW_KW, HIGH_KW = EXAMPLE.burner_low_kw, EXAMPLE.burner_kw
OPEN = NightSetting()
SHUT = NightSetting(low_open=0.0, high_open=0.0)

_NIGHTS = (
    NamedNight(
        "quiet",
        "vents open, heater on low; nothing should ring",
        OPEN,
        (_lit(LOW_KW),),
    ),
    NamedNight(
        "shut",
        "all vents shut, heater on high",
        SHUT,
        (_lit(HIGH_KW),),
    ),
    NamedNight(
        "icing",
        "the vents ice over from 02:00",
        OPEN,
        (
            _lit(LOW_KW),
            NightChange(
                4.0 * HOUR_S,
                {"low_open": 0.02, "high_open": 0.02},
                2.5 * HOUR_S,
                "rime begins to close the vents",
            ),
        ),
    ),
    NamedNight(
        "sooty",
        "the burner fouls and carbon monoxide climbs slowly",
        OPEN,
        (
            _lit(LOW_KW),
            NightChange(
                1.0 * HOUR_S,
                {"co_fraction": 0.12, "pm2_5_ugm3": 70.0},
                6.0 * HOUR_S,
                "soot begins to choke the burner",
            ),
        ),
    ),
    NamedNight(
        "leak",
        "gas escapes unburnt: oxygen falls, carbon dioxide does not rise",
        NightSetting(low_open=0.5, high_open=0.5),
        (
            _lit(LOW_KW),
            NightChange(1.5 * HOUR_S, {"burner_kw": 0.0}, words="the flame goes out"),
            NightChange(
                3.0 * HOUR_S,
                # 0.44 g/s, 1.6 kg/h: what a low-pressure hose passes when it comes off
                # (common practice, no source).
                {"leak_mol_s": 0.01},
                words="a hose comes off: gas escapes unburnt",
            ),
        ),
    ),
    NamedNight(
        "failing",
        "sensors stall, stick, drop out and lie",
        OPEN,
        (_lit(LOW_KW),),
        failures=(
            Failure(1.0 * HOUR_S, 1.2 * HOUR_S, "bunk-o2", "stall"),
            Failure(1.5 * HOUR_S, 3.0 * HOUR_S, "bunk-co2", "stick"),
            Failure(3.2 * HOUR_S, 3.4 * HOUR_S, "bunk-air", "vanish"),
            Failure(3.6 * HOUR_S, 3.8 * HOUR_S, "bunk-co", "flip"),
            Failure(4.0 * HOUR_S, 4.2 * HOUR_S, "baro", "identity"),
            Failure(4.5 * HOUR_S, 4.6 * HOUR_S, "bus", "hold"),
            Failure(5.0 * HOUR_S, 5.5 * HOUR_S, "bunk-co", "stall"),
            Failure(6.0 * HOUR_S, 7.5 * HOUR_S, "bunk-o2", "stick"),
        ),
    ),
    NamedNight(
        "flat",
        "the battery sags",
        OPEN,
        (
            _lit(LOW_KW),
            NightChange(1.0 * HOUR_S, {"supply_v": 10.8}, 7.0 * HOUR_S, "battery sags"),
        ),
    ),
    NamedNight(
        "crowded",
        "four sleepers, no heater, vents all but shut",
        NightSetting(people=4.0, low_open=0.05, high_open=0.05),
    ),
)


def _tried(words: str, low: float, high: float, at_s: float) -> tuple[NightChange, ...]:
    """Set the vents, burn the heater for two hours, put it out and air the cabin."""
    lit_s, off_s = at_s + 1200.0, at_s + 1200.0 + TRIED_S
    door = {"low_open": 12.0, "high_open": 12.0}
    return (
        NightChange(lit_s, {"low_open": low, "high_open": high}, words=words),
        NightChange(lit_s, {"burner_kw": LOW_KW}, words=f"heater lit, {LOW_KW:g} kW"),
        NightChange(off_s, {"burner_kw": 0.0}, words="heater off"),
        NightChange(off_s, door, words="door open"),
    )


TRIED_S = 2.0 * HOUR_S


def _trial(words: str, at_s: float) -> tuple[NightAct, ...]:
    """Begin it as the heater is lit; end it, and answer what still stands."""
    begin = Act(ActKind.TRIAL, by="socket", text=words, for_s=TRIED_S + 1200.0)
    press = Act(ActKind.ACKNOWLEDGE)
    ended_s = at_s + 1200.0 + TRIED_S
    return (
        NightAct(at_s + 1200.0 - 30.0, begin),
        NightAct(ended_s, Act(ActKind.TRIAL_END, by="socket")),
        NightAct(ended_s + 60.0, press),
        NightAct(ended_s + 600.0, press),
    )


FLOOR, BOTH = "floor vent alone", "floor and roof vent open"
TRIALS = NamedNight(
    "trials",
    "two trials with nobody inside: the floor vent alone, then both vents",
    NightSetting(people=0.0, low_open=12.0, high_open=12.0),
    (
        *_tried(FLOOR, 1.0, 0.0, 0.0),
        *_tried(BOTH, 1.0, 1.0, 3.0 * HOUR_S),
    ),
    hours=6.0,
    acts=(*_trial(FLOOR, 0.0), *_trial(BOTH, 3.0 * HOUR_S)),
)
"""No night that anybody sleeps through."""


NIGHTS: Mapping[str, NamedNight] = MappingProxyType(
    {night.name: night for night in _NIGHTS}
)
"""Every named night."""
PLAYS: Mapping[str, NamedNight] = MappingProxyType({**NIGHTS, TRIALS.name: TRIALS})
"""All that can be rehearsed."""


def setting_at(night: NamedNight, at_s: float) -> NightSetting:
    """Return what holds at a moment of the night."""
    values = {name: getattr(night.first, name) for name in NightSetting.__slots__}
    for change in night.changes:
        if at_s < change.at_s:
            continue
        done = 1.0
        if change.over_s > 0.0:
            done = min(1.0, (at_s - change.at_s) / change.over_s)
        for name, value in change.to.items():
            values[name] += (value - values[name]) * done
    return NightSetting(**values)
