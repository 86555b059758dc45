"""A config in words: on one screen, or with every alarm's limits and sources."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from cabinvigil.daemon.core.layout import Layout
from cabinvigil.daemon.settings.config import (
    AlarmSettings,
    PartSettings,
    Settings,
    standard,
)
from cabinvigil.daemon.settings.errors import one_line
from cabinvigil.daemon.settings.guards import watched
from cabinvigil.daemon.settings.ports import may_move
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.daemon.settings.series import part_series
from cabinvigil.daemon.settings.slips import slips
from cabinvigil.daemon.settings.values import to_plain
from cabinvigil.daemon.settings.with_units import limit_unit
from cabinvigil.daemon.settings.word_doubts import word_doubts
from cabinvigil.daemon.settings.words import load_words
from cabinvigil.daemon.text.alarm_names import name_of_alarm
from cabinvigil.daemon.text.languages import partly_spoken
from cabinvigil.daemon.text.time_zones import why_minded
from cabinvigil.daemon.text.units import unit_of
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.daemon.text.wrapping import wrap
from cabinvigil.drivers.kit.quantity import QUANTITIES, VITAL, split_channel
from cabinvigil.drivers.kit.steps import PartInfo

LOW_PLACES = ("floor", "lower", "bilge")
SCALES = {"frame9_gas": "answer_lel_pct", "gas_bead_ads1115": "mv_per_lel_pct"}
"""Options that say how a gas part counts; without them it is taken to ring early."""
SHUNT = "shunt_mohm"
"""Of a battery monitor: boards are sold with fifty times another's."""
SAYS = {
    "smoke": "smoke alarm's contact",
    "gas": "gas alarm's contact",
    "co": "carbon monoxide alarm's contact",
    "door": "door's contact",
    "bilge": "bilge's float switch",
}
"""What a contact is called, by whose word it is."""
MOST_LINES = 16
"""Cautions and parts, half each, that go on one screen; --all tells the rest."""
COLUMNS = 80


def brief(
    file: str, settings: Settings, known: Registries, units: Units = SI
) -> Iterator[str]:
    """Report on one screen whether it will do, what to check, what is monitored."""
    cautioned = [
        *(
            f"less strict than published: {retold(one, units)}"
            for one in settings.laxer
        ),
        *cautions(settings, known, units),
    ]
    yield f"{one_line(file)} is valid{_to_check(len(cautioned))}."
    if cautioned:
        them = "it" if len(cautioned) == 1 else "them"
        yield f"Fix {them} before the first night; then run `cabinvigil precheck`."
    else:
        yield "Nothing to fix. Next: `cabinvigil plan`, then `cabinvigil precheck`."
    yield from _few(cautioned, MOST_LINES // 2, "- ")
    if unmeasured := not_watched(settings, known):
        words = ", ".join(QUANTITIES[one].words for one in unmeasured)
        told = f"Without a sensor, and so without an alarm: {words}."
        yield from wrap(told, COLUMNS)
    yield ""
    parts = [
        f"{name:<10} {part.place or 'bunk'}: {_gives(part, known)}"
        for name, part in settings.parts.items()
    ]
    yield from _few(parts, MOST_LINES // 2)
    yield ""
    alarms = len(settings.alarms)
    yield f"Cabin {settings.cabin.name}: {alarms} alarms; --all shows their limits."
    if own := " ".join(own_files(settings, known)):
        yield from wrap(own, COLUMNS)
    if partial := partly_spoken(settings.watch.language):
        yield from wrap(partial, COLUMNS)
    if settings.read_as:
        yield from wrap(f"Read: {'; '.join(settings.read_as)}.", COLUMNS)


def own_files(settings: Settings, known: Registries) -> Iterator[str]:
    """Name the files of a person's own, and which alarms differ from the packaged."""
    watch = settings.watch
    if watch.limits is not None:
        yield f"Limits: {one_line(watch.limits)}."
    if watch.words is not None:
        yield f"Sentences: {one_line(Path(watch.words).name)}."
    shipped = standard(settings.cabin, known=known).alarms
    differ = [
        name
        for name, alarm in settings.alarms.items()
        if name not in shipped or _judged(alarm) != _judged(shipped[name])
    ]
    if differ:
        more = f" and {len(differ) - 4} more" if len(differ) > 4 else ""
        yield f"Not as packaged: {', '.join(differ[:4])}{more}."


def _judged(alarm: AlarmSettings) -> dict[str, Any]:
    """Return an alarm's limits, without where they come from."""
    plain = to_plain(alarm)
    return {key: plain[key] for key in plain.keys() - {"source", "accept_laxer"}}


def _to_check(count: int) -> str:
    if not count:
        return ""
    return f", with {'1 thing' if count == 1 else f'{count} things'} to check"


def _few(lines: Sequence[str], most: int, sign: str = "") -> Iterator[str]:
    for line in lines[:most]:
        yield from wrap(f"{sign}{line}", COLUMNS, others=" " * len(sign))
    if len(lines) > most:
        yield f"{sign}and {len(lines) - most} more: see --all."


def _gives(part: PartSettings, known: Registries) -> str:
    if part.means in SAYS:
        return SAYS[part.means]
    gives = [one for one in known.part(part.kind).gives if one not in part.leave_out]
    return ", ".join(QUANTITIES[one].words for one in gives if one in QUANTITIES)


def account(
    file: str, settings: Settings, known: Registries, units: Units = SI
) -> Iterator[str]:
    """Report, line by line, what will be monitored."""
    cabin = settings.cabin
    tick_s = settings.watch.tick_s
    to_check = cautions(settings, known, units)
    count = len(settings.laxer) + sum(1 for _ in to_check)
    yield f"{one_line(file)} is valid{_to_check(count)}."
    yield f"Cabin {cabin.name}, judged every {tick_s:g} s."
    if partial := partly_spoken(settings.watch.language):
        yield partial
    yield ""
    yield "Sensors"
    width = max(len(name) for name in settings.parts)
    for name, part in settings.parts.items():
        yield f"  {name:<{width}}  {_part_line(part, known)}"
    yield ""
    yield "Alarms, with their limits and sources"
    for name, alarm in settings.alarms.items():
        yield f"  {name_of_alarm(name)} ({name}): {_alarm_line(alarm, units)}"
        if alarm.source:
            yield f"    from: {alarm.source}"
    laxer = [retold(one, units) for one in settings.laxer]
    unmeasured = not_watched(settings, known)
    for heading, lines in (
        ("Numbers given with a unit, in the units of the config", settings.read_as),
        ("Less strict than the packaged limits, as accepted", laxer),
        ("To check", tuple(cautions(settings, known, units))),
        (
            "Without a sensor, and so without an alarm",
            tuple(
                f"{QUANTITIES[quantity].words}: {', '.join(alarms)}"
                for quantity, alarms in unmeasured.items()
            ),
        ),
    ):
        if lines:
            yield ""
            yield heading
            yield from (f"  {line}" for line in lines)


def _part_line(part: PartSettings, known: Registries) -> str:
    info = known.part(part.kind)
    wire = part.port or part.path or part.line or part.bus
    if part.line is None and part.bus is not None and part.address is not None:
        wire = f"{part.bus} 0x{part.address:02x}"
    words = _gives(part, known)
    return (
        f"{info.title} on {wire}, {part.means or part.place or 'bunk'}: {words}; "
        f"every {part.interval_s:g} s, stale after {part.max_age_s:g} s"
    )


def _alarm_line(alarm: AlarmSettings, units: Units) -> str:
    params = to_plain(alarm.params)
    own = unit_of(str(params.get("quantity", "")))[1]
    shown = [_shown(k, v, own, units) for k, v in params.items() if v != ""]
    delays = f"after {alarm.on_delay_s:g} s, clears after {alarm.off_delay_s:g} s"
    return "; ".join([alarm.kind, *shown, delays])


def _shown(key: str, value: Any, own: str, units: Units) -> str:
    """Write a limit as its key and value; in other units with that one's sign."""
    unit = limit_unit(key, own)
    if isinstance(value, float) and units.unit(unit) != unit:
        stem = key if unit_of(key)[1] == "" else unit_of(key)[0]
        return f"{stem} {units.given_said(unit, value)}"
    return f"{key} {_value(value, own, units)}"


def _value(value: Any, own: str, units: Units) -> str:
    if isinstance(value, Mapping):
        return " ".join(_shown(key, one, own, units) for key, one in value.items())
    if isinstance(value, list):
        return ", ".join(f"({_value(one, own, units)})" for one in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def measured(settings: Settings, known: Registries) -> frozenset[str]:
    """Return the quantities that the parts measure, wherever."""
    return frozenset(
        quantity
        for part in settings.parts.values()
        for quantity in known.part(part.kind).gives
        if quantity not in part.leave_out
    )


def _deaf(settings: Settings, has: frozenset[str]) -> dict[str, list[str]]:
    """Return the alarms that no sensor's quantity can sound, by that quantity."""
    deaf: dict[str, list[str]] = {}
    for name, alarm in settings.alarms.items():
        named = getattr(alarm.params, "quantity", None)
        parts = split_channel(named) if isinstance(named, str) else None
        if parts is not None and parts[0].name not in has:
            deaf.setdefault(parts[0].name, []).append(name)
    return deaf


def not_watched(settings: Settings, known: Registries) -> dict[str, list[str]]:
    """Return what a build may well do without and does, each with its alarms."""
    deaf = _deaf(settings, measured(settings, known))
    return {one: alarms for one, alarms in deaf.items() if one not in VITAL}


def _placeless(settings: Settings, infos: Mapping[str, PartInfo]) -> Iterator[str]:
    """Find the alarms on one place at which no part gives what they are about."""
    layout = Layout(part_series(settings.parts, infos))
    for name, alarm in settings.alarms.items():
        place = getattr(alarm.params, "place", None)
        quantity = getattr(alarm.params, "quantity", "")
        if place is None or not any(key[0] == quantity for key in layout.places):
            continue
        if not layout.index(quantity, place):
            words = QUANTITIES[quantity].words
            yield (
                f"No sensor measures {words} at {place or 'bunk'}: {name} cannot sound."
            )


def _moving_buses(settings: Settings, known: Registries) -> Iterator[str]:
    """Find the buses of this machine whose numbers may be others' after a restart."""
    used = {part.bus for part in settings.parts.values()}
    for name, bus in settings.i2c.items():
        if name in used and known.bus_names.moves(bus.device) is not None:
            yield (
                f"[i2c.{name}] is {bus.device}, which may be another bus's number "
                f"after a restart: {known.bus_names.mend(bus.device)}."
            )


def cautions(settings: Settings, known: Registries, units: Units = SI) -> Iterator[str]:
    """Say aloud what a person should know before trusting this config."""
    if why := why_minded(settings.cabin.zone):
        yield f"{why[0].upper()}{why[1:]}."
    with_unit = frozenset(
        key.removeprefix("cabin.")
        for key, _, _ in (one.partition(":") for one in settings.read_as)
    )
    yield from slips(settings.cabin, settings.mqtt, settings.i2c, units, with_unit)
    has = measured(settings, known)
    infos = {name: known.part(part.kind) for name, part in settings.parts.items()}
    breathed = watched(settings.parts, infos)
    for quantity in VITAL:
        if quantity not in breathed:
            words, where = QUANTITIES[quantity].words, ""
            if quantity in has:
                where = " where people breathe"
            yield f"Nothing measures {words}{where}: add a sensor that does."
    yield from _placeless(settings, infos)
    for quantity, alarms in _deaf(settings, has).items():
        if quantity in VITAL:
            words = QUANTITIES[quantity].words
            yield f"No sensor measures {words}, so {', '.join(alarms)} cannot sound."
    yield from _moving_buses(settings, known)
    for name, part in settings.parts.items():
        info = known.part(part.kind)
        if "pressure_hpa" in info.needs and not part.pressure_from:
            yield f"{name} is not corrected for air pressure: name `pressure_from`."
        if "co_ppm" in info.gives and not part.temperature_from:
            yield f"{name} is not corrected for cold: name `temperature_from`."
        if "gas_lel_pct" in info.gives and part.place not in LOW_PLACES:
            # Each fuel that a config can name is heavier than air.
            yield (
                f"{name} is at {part.place or 'bunk'}, and propane and butane run "
                'along the floor: hang it there, and write `place = "floor"`.'
            )
        if (scale := SCALES.get(part.kind)) and scale not in part.options:
            yield (
                f"{name} may sound too early: give its scale from its data sheet, "
                f"`{scale}`, among its options."
            )
        if SHUNT in info.options and SHUNT not in part.options:
            yield (
                f"{name} may count a current many times too large or too small: write "
                f"the milliohms printed on its shunt, options = {{ {SHUNT} = ... }}."
            )
        if part.port is not None and may_move(part.port):
            yield (
                f"{name} is at {part.port}, which may be another adapter's name after "
                f"a restart: {known.port_names.mend(part.port)}."
            )
        if info.service_years and part.in_service is None and info.service_years < 10:
            yield f"{name} wears out, and its age is unknown: add `in_service`."
    if settings.watch.words is not None:
        own = load_words(path=settings.watch.words)
        name = one_line(Path(settings.watch.words).name)
        yield from word_doubts(own, name, settings.watch.language, settings.alarms)
    if settings.buzzer is None:
        yield "There is no [buzzer]: no sounder wakes anyone."
    if settings.mqtt is None:
        yield "There is no [mqtt]: no message reaches a phone."
    elif not settings.mqtt.tls and settings.mqtt.host not in ("127.0.0.1", "localhost"):
        yield (
            "MQTT is not encrypted, and the broker is on another machine: set `tls "
            "= true`."
        )
