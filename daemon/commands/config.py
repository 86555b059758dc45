"""Check a config: tell what it would watch, or every mistake in it at once.

Or print the packaged limits with their sources.
"""

import argparse
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO, Any

from cabinvigil.daemon.commands.base import (
    USUAL_CONFIG,
    CallError,
    add_json,
    add_units,
    units_of,
)
from cabinvigil.daemon.commands.limits_table import table, table_object
from cabinvigil.daemon.core.layout import Layout
from cabinvigil.daemon.settings.config import (
    AlarmSettings,
    ConfigError,
    Mistake,
    PartSettings,
    Settings,
    load,
)
from cabinvigil.daemon.settings.devices import DeviceFiles, device_mistakes
from cabinvigil.daemon.settings.errors import one_line
from cabinvigil.daemon.settings.guards import watched
from cabinvigil.daemon.settings.ports import may_move
from cabinvigil.daemon.settings.registries import Registries, packaged
from cabinvigil.daemon.settings.series import part_series
from cabinvigil.daemon.settings.slips import slips
from cabinvigil.daemon.settings.values import to_plain
from cabinvigil.daemon.settings.with_units import limit_unit
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.time_zones import why_minded
from cabinvigil.daemon.text.units import unit_of
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.drivers.kit.quantity import QUANTITIES, VITAL, split_channel
from cabinvigil.drivers.kit.steps import PartInfo

NEW_CONFIG = Path("cabin.toml")
"""Where a first config is written if nobody says."""
EXAMPLE = """example, with the config of the trailer Lapwing:
  cabinvigil config --ask -o cabin.toml
  cabinvigil config --example > cabin.toml
  cabinvigil config cabin.toml --devices
  cabinvigil config --limits
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own words."""
    parser.add_argument(
        "file",
        nargs="?",
        metavar="FILE",
        default=str(USUAL_CONFIG),
        help=f"the config to check ({USUAL_CONFIG})",
    )
    parser.add_argument(
        "--devices",
        action="store_true",
        help="also look whether this machine has its devices, and may open them",
    )
    parser.add_argument(
        "--example",
        action="store_true",
        help="print a whole config with comments, to begin with",
    )
    parser.add_argument(
        "--limits",
        action="store_true",
        help="print the packaged limits: each with its document, edition and date",
    )
    parser.add_argument(
        "--ask",
        action="store_true",
        help="make a first config by questions, with the plan and a rehearsal to try",
    )
    parser.add_argument(
        "-o",
        dest="output",
        type=Path,
        metavar="FILE",
        help=f"with --ask: write it there ({NEW_CONFIG})",
    )
    add_json(parser)
    add_units(parser)


def run(
    args: argparse.Namespace,
    out: IO[str],
    err: IO[str],
    *,
    known: Registries | None = None,
    machine: DeviceFiles | None = None,
) -> int:
    """Check a config and say what it would watch.

    Returns:
        0 fine; 2 the file has mistakes; 3 the machine lacks a device.
    """
    if args.example:
        out.write(packaged("cabin.toml").read_text(encoding="utf-8"))
        return ExitCode.DONE
    if args.ask:
        return _ask(args, out)
    if args.output is not None:
        raise CallError("-o is where --ask writes: add --ask")
    if args.limits:
        if args.json:
            out.write(json_line(table_object()) + "\n")
        else:
            out.writelines(f"{line}\n" for line in table(units_of(args)))
        return ExitCode.DONE
    known = known or Registries()
    try:
        settings = load(args.file, known=known)
    except ConfigError as error:
        _tell(error.mistakes, args.json, args.file, out, err)
        return ExitCode.WRONG_CALL
    missing = (
        device_mistakes(settings, args.file, machine, known) if args.devices else []
    )
    units = units_of(args, settings.cabin.units)
    if args.json:
        told = _object(args.file, settings, missing, known, units)
        out.write(json_line(told) + "\n")
    else:
        lines = account(args.file, settings, known, units)
        out.writelines(f"{line}\n" for line in lines)
        err.writelines(f"{mistake}\n" for mistake in missing)
    return ExitCode.MACHINE_FAILED if missing else ExitCode.DONE


def _ask(args: argparse.Namespace, out: IO[str]) -> int:
    """Make a first config.

    Raises:
        CallError: another option is no matter of questions.
    """
    if args.json or args.devices or args.example or args.limits:
        raise CallError(
            "--ask asks a person: leave the other options out but -o and --units"
        )
    # Only here: what it plans and scans with costs more than a whole check.
    from cabinvigil.daemon.commands.config_ask import make_config

    make_config(args.output or NEW_CONFIG, out, units=units_of(args))
    return ExitCode.DONE


def _tell(
    mistakes: tuple[Mistake, ...], as_json: bool, file: str, out: IO[str], err: IO[str]
) -> None:
    if as_json:
        told = {
            "file": file,
            "fine": False,
            "mistakes": [_mistake(one) for one in mistakes],
        }
        out.write(json_line(told) + "\n")
        return
    err.writelines(f"{mistake}\n" for mistake in mistakes)
    count = "1 mistake" if len(mistakes) == 1 else f"{len(mistakes)} mistakes"
    err.write(f"{count}; nothing is watched with this file.\n")


def _mistake(mistake: Mistake) -> dict[str, str]:
    return {
        "file": mistake.file,
        "key": mistake.key,
        "what": mistake.what,
        "mend": mistake.mend,
        "text": str(mistake),
    }


def _object(
    file: str,
    settings: Settings,
    missing: list[Mistake],
    known: Registries,
    units: Units,
) -> dict[str, Any]:
    return {
        "file": file,
        "fine": not missing,
        "digest": settings.digest,
        "mistakes": [_mistake(one) for one in missing],
        "laxer": list(settings.laxer),
        "mind": list(cautions(settings, known, units)),
        "settings": settings.as_plain(),
    }


def account(
    file: str, settings: Settings, known: Registries, units: Units = SI
) -> Iterator[str]:
    """Say, line by line, what will be watched."""
    cabin = settings.cabin
    tick_s = settings.watch.tick_s
    yield f"{one_line(file)} is fine. Cabin {cabin.name}, judged every {tick_s:g} s."
    yield ""
    yield "Parts"
    width = max(len(name) for name in settings.parts)
    for name, part in settings.parts.items():
        yield f"  {name:<{width}}  {_part_line(part, known)}"
    yield ""
    yield "Alarms, with their limits and sources"
    for name, alarm in settings.alarms.items():
        yield f"  {name}: {_alarm_line(alarm, units)}"
        if alarm.source:
            yield f"    from: {alarm.source}"
    for heading, lines in (
        ("Numbers with a unit, and what they are in ours", settings.read_as),
        ("Laxer than the packaged limits, as accepted", settings.laxer),
        ("Mind", tuple(cautions(settings, known, units))),
    ):
        if lines:
            yield ""
            yield heading
            yield from (f"  {line}" for line in lines)


def _part_line(part: PartSettings, known: Registries) -> str:
    info = known.part(part.kind)
    wire = part.port or part.path or part.bus
    if part.bus is not None and part.address is not None:
        wire = f"{part.bus} 0x{part.address:02x}"
    words = ", ".join(QUANTITIES[one].words for one in info.gives if one in QUANTITIES)
    return (
        f"{info.title} on {wire}, {part.place or 'bunk'}: {words}; "
        f"every {part.interval_s:g} s, stale after {part.max_age_s:g} s"
    )


def _alarm_line(alarm: AlarmSettings, units: Units) -> str:
    params = to_plain(alarm.params)
    own = unit_of(str(params.get("quantity", "")))[1]
    shown = [_shown(k, v, own, units) for k, v in params.items() if v != ""]
    delays = f"after {alarm.on_delay_s:g} s, gone after {alarm.off_delay_s:g} s"
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
            yield f"No part gives {words} at {place or 'bunk'}: {name} cannot ring."


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
            yield f"Nothing measures {words}{where}: add a part that does."
    deaf: dict[str, list[str]] = {}
    for name, alarm in settings.alarms.items():
        named = getattr(alarm.params, "quantity", None)
        parts = split_channel(named) if isinstance(named, str) else None
        if parts is not None and parts[0].name not in has:
            deaf.setdefault(parts[0].words, []).append(name)
    yield from _placeless(settings, infos)
    for words, alarms in deaf.items():
        yield f"No part gives {words}, so {', '.join(alarms)} cannot ring."
    for name, part in settings.parts.items():
        info = known.part(part.kind)
        if "pressure_hpa" in info.needs and not part.pressure_from:
            yield f"{name} is not corrected for air pressure: name `pressure_from`."
        if "co_ppm" in info.gives and not part.temperature_from:
            yield f"{name} is not corrected for cold: name `temperature_from`."
        if part.port is not None and may_move(part.port):
            yield (
                f"{name} is at {part.port}, which may be another adapter's name after "
                f"a restart: {known.port_names.mend(part.port)}."
            )
        if info.service_years and part.in_service is None and info.service_years < 10:
            yield f"{name} wears out: `in_service` is missing, so its age is not known."
    if settings.buzzer is None:
        yield "There is no [buzzer]: nothing sounds at the bunk."
    if settings.mqtt is None:
        yield "There is no [mqtt]: no phone is told."
    elif not settings.mqtt.tls and settings.mqtt.host not in ("127.0.0.1", "localhost"):
        yield "MQTT is not encrypted, and its broker is elsewhere: set `tls = true`."
