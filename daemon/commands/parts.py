"""List the kinds of sensor, or scan for those that respond here.

A scan changes no sensor, and reports the devices that it does not know.
"""

import argparse
from collections.abc import Iterator
from contextlib import suppress
from typing import IO, Any

from cabinvigil.daemon.ask.socket import no_watch
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.commands.base import (
    USUAL_CONFIG,
    CallError,
    add_config,
    add_emulated,
    add_json,
    add_units,
    print_note,
    units_of,
)
from cabinvigil.daemon.commands.on_wires import FRESH, run_on_wires
from cabinvigil.daemon.parts.scan import Scan, scan
from cabinvigil.daemon.parts.scan_targets import (
    DeviceTree,
    emulated_ground,
    real_ground,
    with_one_part,
)
from cabinvigil.daemon.parts.scan_text import as_plain, compared, missing, told
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.config import ConfigError, Settings, example, load
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.units_said import Units
from cabinvigil.drivers import REGISTRY
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.quantity import QUANTITIES
from cabinvigil.drivers.kit.steps import PartInfo

EXAMPLE = """examples, for the Lapwing, a trailer:
  cabinvigil parts                    every sensor, one line each
  cabinvigil parts scd4x              all options of one
  cabinvigil parts --scan             what responds on this machine
  cabinvigil parts --scan --emulated  try it without hardware
  cabinvigil parts scd4x --scan --emulated  the same with one sensor of a kind
"""
WIRES = {"i2c": "I2C", "serial": "serial", "file": "1-wire", "line": "line"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "kind",
        nargs="?",
        metavar="KIND",
        help="show all of one kind, such as scd4x; or scan for one emulated",
    )
    parser.add_argument(
        "--scan", action="store_true", help="scan buses and ports for sensors"
    )
    add_config(parser, f"compare with this config ({USUAL_CONFIG})")
    parser.add_argument(
        "--bus",
        action="append",
        default=[],
        metavar="DEV",
        help="scan this I2C bus too, such as /dev/i2c-3; repeatable",
    )
    add_emulated(parser, "scan emulated wires, no hardware")
    add_json(parser)
    add_units(parser)


def run(
    args: argparse.Namespace,
    out: IO[str],
    err: IO[str],
    *,
    machine: DeviceTree | None = None,
) -> int:
    """List or scan; return the exit code.

    Returns:
        0 done; 1 the config names a part that was not found; 2 the call or the config
        is wrong; 3 a bus failed, or the monitor has the wires.
    """
    if args.kind is not None and args.kind not in REGISTRY:
        raise CallError(
            f"no sensor is called {args.kind[:40]!r}; the kinds are "
            f"{', '.join(sorted(REGISTRY))}"
        )
    if not args.scan:
        _list(args, out)
        return ExitCode.DONE
    if args.kind is not None:
        return _scan_for_one(args, out)
    settings = _settings(args, err)
    if settings is not None and not args.emulated:
        no_watch(settings, "parts --scan")
    return _tell(args, settings, _scan(args, settings, machine), out)


def _scan_for_one(args: argparse.Namespace, out: IO[str]) -> int:
    """Scan emulated wires with one sensor of the kind; return the exit code.

    Nothing is compared, so that the lines for a config are shown too; but for a
    contact, which no scan finds unless a config names its line.
    """
    if not args.emulated:
        raise CallError(
            "a scan looks for every kind: leave the kind out, or add --emulated to "
            "see how an emulated one is found"
        )
    settings = with_one_part(example(), args.kind)
    found = _scan(args, settings, None)
    _tell(args, settings if found.lines else None, found, out)
    answers = [one.answer for one in compared(found, None)]
    is_found = any(args.kind in one.kinds for one in answers)
    return ExitCode.DONE if is_found else ExitCode.NOT_WELL


def _settings(args: argparse.Namespace, err: IO[str]) -> Settings | None:
    """Return the config to compare with; None where there is none that can be read.

    Who scans is often about to write it: so one with mistakes does not stop the scan,
    unless the call names it.
    """
    if args.config is not None:
        return load(args.config)
    if args.emulated:
        return example()
    try:
        # Who has not said `sudo -u` may not even look whether it is there.
        with suppress(PermissionError):
            if not USUAL_CONFIG.exists():
                return None
        return load(USUAL_CONFIG)
    except ConfigError as error:
        print_note(f"scanning without the config: {error}", err)
        return None


def _scan(
    args: argparse.Namespace, settings: Settings | None, machine: DeviceTree | None
) -> Scan:
    async def job(wires: Wires, _clock: Clock) -> Scan:
        if args.emulated and settings is not None:
            ground = emulated_ground(settings, wires)
        else:
            ground = real_ground(settings, args.bus, machine, wires)
        try:
            return await scan(ground)
        finally:
            ground.close()

    stage = settings if settings is not None else example()
    return run_on_wires(job, stage, FRESH if args.emulated else None)


def _tell(
    args: argparse.Namespace, settings: Settings | None, found: Scan, out: IO[str]
) -> int:
    if args.json:
        print(json_line(as_plain(found, settings)), file=out)
    else:
        for line in told(found, settings):
            print(line, file=out)
    if any(isinstance(answers, str) for answers in found.buses.values()):
        return ExitCode.MACHINE_FAILED
    lacks = missing(compared(found, settings), settings)
    return ExitCode.NOT_WELL if lacks else ExitCode.DONE


def _list(args: argparse.Namespace, out: IO[str]) -> None:
    kinds = [args.kind] if args.kind else list(REGISTRY)
    infos = [find_part(kind) for kind in kinds]
    if args.json:
        print(json_line({"parts": [_plain(info) for info in infos]}), file=out)
        return
    lines = _details(infos[0], units_of(args)) if args.kind else _overview(infos)
    for line in lines:
        print(line, file=out)


def _overview(infos: list[PartInfo]) -> Iterator[str]:
    yield f"{len(infos)} kinds of sensor; `cabinvigil parts KIND` describes one."
    width = max(len(info.name) for info in infos)
    for info in infos:
        words = ", ".join(QUANTITIES[q].words for q in info.gives if q in QUANTITIES)
        yield f"{info.name:<{width}}  {WIRES[info.bus]:<6}  {words}"


def _few(value: float, digits: int = 6) -> str:
    """Write a few digits, and never in powers."""
    text = f"{value:.{digits}g}"
    return f"{value:.6f}".rstrip("0") if "e" in text else text


def _details(info: PartInfo, units: Units) -> Iterator[str]:
    yield f"{info.name}: {info.title}"
    addresses = " ".join(f"0x{address:02x}" for address in info.addresses)
    speed = f" at {info.baud} baud" if info.bus == "serial" else ""
    yield f"  wire      {WIRES[info.bus]}{speed}{' ' if addresses else ''}{addresses}"
    for quantity, gives in info.gives.items():
        known = QUANTITIES[quantity]
        step, unit = units.of_sign(known.unit, gives.resolution, apart=True)
        noise, _ = units.of_sign(known.unit, gives.noise, apart=True)
        yield (
            f"  gives     {known.words}, steps of {_few(step, 2)} {unit}, "
            f"noise {_few(noise)}, lag {gives.lag_s:g} s"
        )
    yield f"  every     {info.interval_s:g} s; stale after {info.max_age_s:g} s"
    yield f"  warm      {info.warm_up_s:g} s after power-up"
    yield f"  works     from {units.span_said('c', info.range_c)}"
    if info.service_years:
        yield f"  lasts     {info.service_years:g} years"
    for quantity in info.needs:
        yield f"  needs     {QUANTITIES[quantity].words} from another sensor"
    for key, meaning in info.options.items():
        yield f"  option    {key}: {meaning}"


def _plain(info: PartInfo) -> dict[str, Any]:
    return {
        "kind": info.name,
        "title": info.title,
        "wire": info.bus,
        "addresses": [f"0x{address:02x}" for address in info.addresses],
        "gives": {
            quantity: {
                "unit": QUANTITIES[quantity].unit,
                "resolution": gives.resolution,
                "noise": gives.noise,
                "lag_s": gives.lag_s,
            }
            for quantity, gives in info.gives.items()
        },
        "interval_s": info.interval_s,
        "max_age_s": info.max_age_s,
        "warm_up_s": info.warm_up_s,
        "service_years": info.service_years,
        "range_c": list(info.range_c),
        "needs": list(info.needs),
        "options": dict(info.options),
    }
