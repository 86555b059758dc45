"""The named nights: what happens in the cabin, and when.

Our own scenario (design.md, section 2), invented for demos in the *Lapwing*; `fitted`
plays it in any other cabin.  The air itself is the zone model, checked elsewhere
against measured rooms.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from cabinvigil.daemon.air.figures import (
    CLEAN_CO_FRACTION,
    EXAMPLE,
    LIKELY_WIND_MPS,
)
from cabinvigil.daemon.core.model import Act, ActKind

HOUR_S = 3600.0
ALARM_S, OUTSIDE_S, QUIET_S = 2.0 * HOUR_S, 2.2 * HOUR_S, 2.5 * HOUR_S
"""When the certified alarm of that night begins, people go out, and it ends: within the
times of EN 50291-1 for what the burner makes there (own scenario)."""


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
    charge_pct: float = 80.0
    pm2_5_ugm3: float = 6.0
    smoke_alarm: float = 0.0
    """1 while a certified alarm sounds; so for the next two."""
    gas_alarm: float = 0.0
    co_alarm: float = 0.0
    door_open: float = 0.0
    bilge_float: float = 0.0
    """1 while it is up."""


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


@dataclass(frozen=True, slots=True)
class NightFigures:
    """What of a cabin its nights are made of; the *Lapwing*'s where nobody says."""

    low_kw: float = EXAMPLE.burner_low_kw
    high_kw: float = EXAMPLE.burner_kw
    """0: there is no heater, and none is lit."""
    people: float = EXAMPLE.people
    outside_c: float = EXAMPLE.outside_c
    vents: frozenset[str] = frozenset({"floor", "roof"})
    """Where there are vents."""


def _lit(power_kw: float, at_s: float = 600.0) -> tuple[NightChange, ...]:
    if power_kw <= 0.0:
        return ()
    words = f"heater lit, {power_kw:g} kW"
    return (NightChange(at_s, {"burner_kw": power_kw}, words=words),)


def nights_of(figures: NightFigures) -> Mapping[str, NamedNight]:
    """Return every named night, as it goes in a cabin of these figures."""
    low = _lit(figures.low_kw)
    free = NightSetting(people=figures.people, outside_c=figures.outside_c)
    shut = replace(free, low_open=0.0, high_open=0.0)
    nights = (
        NamedNight(
            "quiet",
            "vents open, heater on low; vents that are large enough keep it quiet",
            free,
            low,
        ),
        NamedNight(
            "shut",
            "all vents shut, heater on high",
            shut,
            _lit(figures.high_kw),
        ),
        NamedNight(
            "icing",
            "the vents ice over from 02:00",
            free,
            (
                *low,
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
            "the burner fouls and carbon monoxide rises slowly",
            free,
            (
                *low,
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
            replace(free, low_open=0.5, high_open=0.5),
            (
                *low,
                NightChange(
                    1.5 * HOUR_S, {"burner_kw": 0.0}, words="the flame goes out"
                ),
                NightChange(
                    3.0 * HOUR_S,
                    # 0.44 g/s, 1.6 kg/h: what a low-pressure hose passes when it
                    # comes off (common practice, no source).
                    {"leak_mol_s": 0.01},
                    words="a hose comes off: gas escapes unburnt",
                ),
            ),
        ),
        NamedNight(
            "failing",
            "sensors stall, stick, drop out and give wrong values",
            free,
            low,
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
            free,
            (
                *low,
                NightChange(
                    1.0 * HOUR_S,
                    {"supply_v": 10.8, "charge_pct": 2.0},
                    7.0 * HOUR_S,
                    "battery sags",
                ),
            ),
        ),
        NamedNight(
            "crowded",
            "twice as many sleepers, no heater, vents nearly shut",
            replace(
                free,
                people=max(2.0 * figures.people, 2.0),
                low_open=0.05,
                high_open=0.05,
            ),
        ),
        NamedNight(
            "alarm",
            "the certified CO alarm sounds; our own CO sensor is frozen at nothing",
            free,
            (
                *low,
                NightChange(
                    1.0 * HOUR_S,
                    {"co_fraction": 0.06},
                    0.5 * HOUR_S,
                    "soot chokes the burner",
                ),
                NightChange(
                    ALARM_S, {"co_alarm": 1.0}, words="the certified CO alarm sounds"
                ),
                NightChange(
                    OUTSIDE_S,
                    {
                        "burner_kw": 0.0,
                        "low_open": 12.0,
                        "high_open": 12.0,
                        "door_open": 1.0,
                    },
                    words="everyone outside, heater off, door open",
                ),
                NightChange(
                    QUIET_S, {"co_alarm": 0.0}, words="the CO alarm falls silent"
                ),
            ),
            failures=(Failure(300.0, 9.0 * HOUR_S, "bunk-co", "stick"),),
            acts=(
                NightAct(ALARM_S + 30.0, Act(ActKind.ACKNOWLEDGE)),
                NightAct(QUIET_S + 120.0, Act(ActKind.ACKNOWLEDGE)),
            ),
        ),
    )
    return MappingProxyType({night.name: night for night in nights})


NIGHTS = nights_of(NightFigures())
"""Every named night of the *Lapwing*."""


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


def ended_before(
    night: NamedNight, hours: float | None, clock: Callable[[float], str]
) -> tuple[str, ...]:
    """Report what of a night comes too late for a rehearsal that ends before.

    Args:
        night: that is played.
        hours: after which it ends; None: it is played whole.
        clock: writes a moment of it.
    """
    end_s = (night.hours if hours is None else hours) * 3600.0
    comes = [(one.at_s, one.words) for one in night.changes if one.words]
    comes += [(one.from_s, f"{one.part} fails") for one in night.failures]
    late = sorted(one for one in comes if one[0] >= end_s)
    if not late:
        return ()
    at_s, words = late[0]
    more = f", and {len(late) - 1} more after it" if len(late) > 1 else ""
    told = f"It ends before what comes at {clock(at_s)}: {words}{more}."
    return (f"{told} Give more --hours to hear it.",)
