"""From what the config says to what the core is told: series, alarms, trend, words."""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType, ModuleType
from typing import Any

import attrs

from cabinvigil.daemon import rules
from cabinvigil.daemon.air.blood import other_bodies
from cabinvigil.daemon.compose.made import made_series
from cabinvigil.daemon.compose.suppression import cover
from cabinvigil.daemon.core.changes import BROKEN
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.layout import Layout, SeriesSpec, Surroundings
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.setup import AlarmSpec, Judge, Render, Setup
from cabinvigil.daemon.core.vital import is_vital
from cabinvigil.daemon.settings.series import (
    MOVES_ABOVE,
    TRUE_TOPS,
    channel_quantity,
    part_series,
    series_keys,
)
from cabinvigil.daemon.settings.values import AlarmSettings, Cabin, PartSettings
from cabinvigil.daemon.trend.core_adapter import Trend, trend_setup
from cabinvigil.drivers.kit.quantity import QUANTITIES, split_channel
from cabinvigil.drivers.kit.steps import PartInfo

WATCH_SOURCES = (
    "log",
    "mqtt",
    "phone",
    "buzzer",
    "button",
    "clock",
    "loop",
    "host",
    "supply",
    "second-sounder",
    "light",
    "settings",
    "state",
    "spans",
    "ask",
    "trend",
    "morning",
)
"""What may report a fault without being a part."""

BUS_BACK_S = 45.0
"""A bus that works again stands as a fault for so long: its last part is asked within
the samplers' back-off of 30 s, and until then the bus shows why it is silent."""

CAUSE_S = 5.0
"""So long, or a third of its age where that is less, silence waits for its cause to be
told: a sampler says it within an interval of its part (our choice)."""

DAYS_PER_YEAR = 365.25
S_PER_DAY = 86400.0


@dataclass(frozen=True, slots=True)
class CoreBuild:
    """The core's setup, and what the shell needs to name series."""

    setup: Setup
    keys: Mapping[tuple[str, str], str]
    """Series by (part, quantity); a pair that is absent is not served."""
    urgent: Mapping[str, tuple[tuple[str, float], ...]]
    """Limits whose crossing is judged at once: (side, limit), by quantity."""
    today: dt.date | None = None
    """From which service lives are counted; None: they are not."""


def _subjects(
    module: ModuleType, setup: Mapping[str, SeriesSpec], buses: Sequence[str]
) -> Sequence[str]:
    """List the instances of a rule: what each of them is about."""
    match module.PER:
        case "part":
            return sorted({spec.part for spec in setup.values()})
        case "series":
            return list(setup)
        case "channel":
            shared = [key.split("__")[0] for key in setup if "__" in key]
            return sorted(set(shared))
        case "quantity":
            places: dict[str, set[str]] = {}
            for key in setup:
                found = split_channel(key)
                if found is not None:
                    places.setdefault(found[0].name, set()).add(found[1])
            return sorted(name for name, at in places.items() if len(at) > 1)
        case "source":
            return (*WATCH_SOURCES, *buses)
        case _:
            return ("",)


def alarm_specs(
    alarms: Mapping[str, AlarmSettings],
    series: Mapping[str, SeriesSpec],
    buses: Sequence[str] = (),
    bus_of: Mapping[str, str] = MappingProxyType({}),
) -> tuple[AlarmSpec, ...]:
    """Make the alarms, one for each thing that its rule is about.

    Args:
        alarms: as the config has them.
        series: by key.
        buses: which may fail as a whole.
        bus_of: the bus of each part that depends on one.
    """
    specs = []
    series = {key: spec for key, spec in series.items() if not spec.made_of}
    for name, alarm in alarms.items():
        module = rules.find(alarm.kind)
        for subject in _subjects(module, series, buses):
            params = alarm.params
            if subject:
                params = attrs.evolve(params, subject=subject)
            spec = _spec(name, subject, alarm, params, module)
            specs.append(_fitted(spec, subject, series, buses, bus_of))
    return cover(specs, series, bus_of)


def _fitted(
    spec: AlarmSpec,
    subject: str,
    series: Mapping[str, SeriesSpec],
    buses: Sequence[str],
    bus_of: Mapping[str, str],
) -> AlarmSpec:
    """Fit an alarm's delays, and what covers it, to what it is about."""
    if spec.kind == "stale" and subject in series:
        # What shows why nothing comes: 'stale' would say it twice.
        part = series[subject].part
        causes = [f"sensor-fault/{part}"]
        if part in bus_of:
            causes.append(f"watch-fault/{bus_of[part]}")
        on_delay_s = max(spec.on_delay_s, min(CAUSE_S, series[subject].max_age_s / 3.0))
        return replace(
            spec,
            on_delay_s=on_delay_s,
            suppressed_by=(*spec.suppressed_by, *causes),
        )
    if spec.kind == "warming":
        keys = [key for key, each in series.items() if each.part == subject]
        if not any(map(is_vital, keys)):
            return replace(spec, gravest=Priority.FAULT)
    if spec.kind == "watch" and subject in buses:
        return replace(spec, off_delay_s=max(spec.off_delay_s, BUS_BACK_S))
    return spec


def _gravest(module: ModuleType, params: Any) -> Priority:
    """Return the gravest that a rule can ring as, with these limits."""
    gravest: Callable[[Any], Priority] | None = getattr(module, "gravest", None)
    return Priority.HIGH if gravest is None else gravest(params)


def _guarded(judge: Judge, alarm: str, priority: Priority) -> Judge:
    """Make a rule that stumbles over a bug of its own ring, instead of ending all."""

    def ask(params: Any, history: History, now: float) -> Verdict | None:
        try:
            return judge(params, history, now)
        except Exception as bug:
            evidence = {"bug": f"{type(bug).__name__}: {bug}"[:200]}
            facts: dict[str, float | str] = {"text": alarm}
            return Verdict(priority, facts=facts, evidence=evidence, wording=BROKEN)

    return ask


def _spec(
    name: str, subject: str, alarm: AlarmSettings, params: Any, module: ModuleType
) -> AlarmSpec:
    about_air = bool(getattr(module, "ABOUT_AIR", module.PER == "once"))
    gravest = _gravest(module, params)
    # A broken guard wakes people where the guard itself can.
    broken = about_air and gravest >= Priority.MEDIUM
    return AlarmSpec(
        id=f"{name}/{subject}" if subject else name,
        kind=alarm.kind,
        params=params,
        judge=_guarded(
            module.judge, name, Priority.MEDIUM if broken else Priority.FAULT
        ),
        on_delay_s=alarm.on_delay_s,
        off_delay_s=alarm.off_delay_s,
        latch=alarm.latch,
        ack_s=alarm.ack_s,
        again_step=alarm.again_step,
        shelve_s=alarm.shelve_s,
        gravest=gravest,
        # A guard that can wake people is never put aside without an end.
        removable=not about_air and gravest < Priority.MEDIUM,
        about_air=about_air,
        sound=getattr(params, "sound", ""),
        at_once=bool(getattr(module, "AT_ONCE", False)),
        suppressed_by=alarm.suppressed_by,
    )


def _part_facts(
    parts: Mapping[str, PartSettings],
    infos: Mapping[str, PartInfo],
    today: dt.date | None,
) -> dict[str, dict[str, Any]]:
    facts: dict[str, dict[str, Any]] = {}
    for name, part in parts.items():
        info = infos[name]
        facts[name] = {"title": name, "kind": part.kind}
        if today is not None and part.in_service is not None and info.service_years:
            life = dt.timedelta(days=info.service_years * DAYS_PER_YEAR)
            left = part.in_service + life - today
            facts[name]["service_left_s"] = left.days * S_PER_DAY
    return facts


def _surroundings(cabin: Cabin) -> Surroundings:
    return Surroundings(
        cabin.altitude_m,
        cabin.outside_c,
        cabin.glass_u_w_m2k,
        other_bodies(
            children=cabin.children, smokers=cabin.smokers, pregnant=cabin.pregnant
        ),
    )


def compose(
    cabin: Cabin,
    parts: Mapping[str, PartSettings],
    infos: Mapping[str, PartInfo],
    alarms: Mapping[str, AlarmSettings],
    render: Render,
    *,
    buses: Sequence[str] = (),
    today: dt.date | None = None,
) -> CoreBuild:
    """Compose the core's setup of a cabin with parts.

    Args:
        cabin: what is known of it.
        parts: the parts by their config names.
        infos: the registry's entry of each.
        alarms: every alarm that runs.
        render: makes an alarm's sentence.
        buses: names of the buses, which may fail as a whole.
        today: for service lives; None where the clock is not to be believed.
    """
    keys = series_keys(parts, infos)
    series = part_series(parts, infos, long_means(alarms))
    series |= made_series(series, cabin)
    setup = Setup(
        layout=Layout(series, _surroundings(cabin), _part_facts(parts, infos, today)),
        alarms=alarm_specs(
            alarms,
            series,
            buses,
            {name: part.bus for name, part in parts.items() if part.bus},
        ),
        render=render,
        trend=Trend(trend_setup(series, cabin)),
    )
    return CoreBuild(setup, keys, urgent_limits(alarms), today)


# What a column of a recording is taken to be, where nobody says which part gave it.
# Ages follow the recording's own step.  Jumps: O2 by 1 % a second (sensors.md, 10);
# CO and CO2 by what a room fire did at its fastest, doubled (open recordings of a
# propane burner indoors: 0.1 % CO2 a second); others as the parts' own.
COLUMN_JUMPS = {
    "o2_pct": 1.0,
    "co_ppm": 500.0,
    "co2_ppm": 2000.0,
    "temp_c": 5.0,
    "rh_pct": 20.0,
    "pressure_hpa": 5.0,
}
COLUMN_TOPS = {"co2_ppm": 40_000.0, "rh_pct": 100.0, "contact": 1.0}
"""Where columns end: the widest range of CO2 parts for rooms, and saturated air."""
COLUMN_MIN_AGE_S = 30.0
COLUMN_AGE_STEPS = 3.5
"""A value older than three and a half steps of the recording is stale."""


def column_age_s(step_s: float) -> float:
    """Return how long a value of a recording stays fresh."""
    return max(COLUMN_MIN_AGE_S, COLUMN_AGE_STEPS * step_s)


def compose_columns(
    columns: Iterable[str],
    step_s: float,
    cabin: Cabin,
    alarms: Mapping[str, AlarmSettings],
    render: Render,
) -> CoreBuild:
    """Compose the core's setup of a recording that has columns and no parts."""
    series: dict[str, SeriesSpec] = {}
    mean_s = long_means(alarms)
    for key in columns:
        quantity = QUANTITIES[channel_quantity(key)]
        series[key] = SeriesSpec(
            key=key,
            part=key,
            title=key,
            low=quantity.low,
            high=quantity.high,
            max_age_s=column_age_s(step_s),
            jump_per_s=COLUMN_JUMPS.get(quantity.name, float("inf")),
            mean_s=mean_s.get(quantity.name, 0.0),
            interval_s=step_s,
            moves_above=MOVES_ABOVE.get(quantity.name, float("inf")),
            top=COLUMN_TOPS.get(quantity.name, float("inf")),
            is_at_least_at_top=quantity.name not in TRUE_TOPS,
        )
    series |= made_series(series, cabin)
    setup = Setup(
        layout=Layout(series, _surroundings(cabin)),
        alarms=alarm_specs(alarms, series),
        render=render,
        trend=Trend(trend_setup(series, cabin)),
    )
    return CoreBuild(
        setup,
        {(key, channel_quantity(key)): key for key in series},
        urgent_limits(alarms),
    )


def urgent_limits(
    alarms: Mapping[str, AlarmSettings],
) -> dict[str, tuple[tuple[str, float], ...]]:
    """Gather the limits beyond which no reading waits for the next tick."""
    found: dict[str, list[tuple[str, float]]] = {}
    for alarm in alarms.values():
        urgent: Callable[[Any], Mapping[str, tuple[tuple[str, float], ...]]] | None
        urgent = getattr(rules.find(alarm.kind), "urgent", None)
        if urgent is None:
            continue
        for quantity, limits in urgent(alarm.params).items():
            found.setdefault(quantity, []).extend(limits)
    return {quantity: tuple(limits) for quantity, limits in found.items()}


def long_means(alarms: Mapping[str, AlarmSettings]) -> dict[str, float]:
    """Gather the longest mean that is taken of each quantity, in seconds."""
    longest: dict[str, float] = {}
    for alarm in alarms.values():
        means: Callable[[Any], Mapping[str, float]] | None
        means = getattr(rules.find(alarm.kind), "means", None)
        for quantity, over_s in means(alarm.params).items() if means else ():
            longest[quantity] = max(over_s, longest.get(quantity, 0.0))
    return longest
