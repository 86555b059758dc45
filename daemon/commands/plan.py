"""Plan a night before bed: vents, gas, wet and warmth, each with its range."""

import argparse
from dataclasses import replace
from pathlib import Path
from typing import IO, TYPE_CHECKING

from cabinvigil.daemon.air.figures import LEAK_PER_H
from cabinvigil.daemon.commands.base import add_config, add_json, add_units, units_of
from cabinvigil.daemon.planning.advice import changes
from cabinvigil.daemon.planning.figures import (
    ACCEPTED,
    FROM_CONFIG,
    CabinPlan,
    PlanError,
    burn_window,
    cabin_plan,
    from_config,
    option_name,
)
from cabinvigil.daemon.planning.plan import Plan, plan
from cabinvigil.daemon.planning.plan_json import plan_object, sweep_object
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line

if TYPE_CHECKING:
    from cabinvigil.daemon.settings.cabin_table import CabinTable

OPTIONS = (
    "volume_m3",
    "burner_kw",
    "burner_height_m",
    "people",
    "berths",
    "vent_low_cm2",
    "vent_high_cm2",
    "outside_c",
    "outside_rh_pct",
    "wind_mps",
    "altitude_m",
    "glass_u",
    "cylinder_kg",
    "hours",
    "leak_per_h",
)
EXAMPLE = (
    "examples (figures that are not given are those of the Lapwing, a trailer):\n  "
    "cabinvigil plan --burner-kw 0.8 --outside-c -15\n  cabinvigil plan --burn "
    "20:00-22:00 --burn 06:00-07:00\n  cabinvigil plan --sweep vent\n  "
    "cabinvigil plan --units us --volume-m3=210ft3 --outside-c 20F\nA number may carry "
    "its unit, of either system; a bare one is in that of its option."
)
SWEEPS = ("vent", "power", "people", "outside")
ESTIMATED = {
    "leak_per_h": f"; with another volume {LEAK_PER_H[0]} to {LEAK_PER_H[2]}",
    "burner_height_m": "; with another volume: unknown",
}
"""What is said of a figure that goes with the volume."""
NOT_STATED = "as many as sleepers"
"""What is taken for the berths where nobody states them."""

# What only some calls need is imported where they need it: a plan's answer is mostly
# the time that Python takes to load it.


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `plan`."""
    lapwing = CabinPlan()
    for key in OPTIONS:
        accepted = ACCEPTED[key]
        usual = getattr(lapwing, key)
        default = NOT_STATED if usual is None else f"{usual:g}{ESTIMATED.get(key, '')}"
        parser.add_argument(
            option_name(key),
            metavar="N",
            dest=key,
            help=f"{accepted.words}, {accepted.unit} (default: {default})".replace(
                "%", "%%"
            ),
        )
    parser.add_argument(
        "--burn",
        action="append",
        default=[],
        metavar="HH:MM-HH:MM",
        help="when the burner is lit; repeatable (default: all night)",
    )
    add_config(parser, "read the cabin from [cabin] of this file")
    parser.add_argument(
        "--sweep", choices=SWEEPS, help="print a table over a range of this value"
    )
    parser.add_argument(
        "--picture", metavar="FILE", help="draw the night; needs the extra 'review'"
    )
    parser.add_argument(
        "--all", action="store_true", help="show every figure, and what it is based on"
    )
    add_json(parser)
    add_units(parser)


def run(args: argparse.Namespace, out: IO[str], _err: IO[str]) -> int:
    """Plan as asked; return the exit code."""
    cabin = _cabin(args)
    if args.sweep:
        _print_sweep(args, cabin, out)
        return ExitCode.DONE
    planned = plan(cabin)
    change = changes(planned)
    if args.picture:
        _draw(planned, Path(args.picture))
    if args.json:
        out.write(json_line(plan_object(planned, change)) + "\n")
    else:
        from cabinvigil.daemon.planning.brief import brief
        from cabinvigil.daemon.planning.words import account

        out.write((account if args.all else brief)(planned, change))
    return ExitCode.DONE


def _draw(planned: Plan, path: Path) -> None:
    """Draw the night.

    Raises:
        PlanError: matplotlib is missing, or the file cannot be written.
    """
    from cabinvigil.daemon.planning.picture import draw
    from cabinvigil.daemon.text.svg import DrawingError

    try:
        draw(planned, path)
    except DrawingError as error:
        raise PlanError([f"--picture {error}"]) from error


def _print_sweep(args: argparse.Namespace, cabin: CabinPlan, out: IO[str]) -> None:
    from cabinvigil.daemon.planning.sweep import sweep, table

    rows = sweep(cabin, args.sweep)
    if args.json:
        objects = [(at, plan_object(made, changes(made))) for at, made in rows]
        out.write(json_line(sweep_object(args.sweep, objects)) + "\n")
    else:
        out.write(table(args.sweep, rows, cabin.units))


def _cabin(args: argparse.Namespace) -> CabinPlan:
    """Take the figures from the config, then from the options, which win."""
    typed = {key: getattr(args, key) for key in OPTIONS}
    typed = {key: value for key, value in typed.items() if value is not None}
    given: dict[str, object] = {}
    read_as: tuple[str, ...] = ()
    configured: object = None
    if args.config is not None:
        table = _configured(args)
        given, configured = from_config(table.cabin), table.cabin.units
        read_as = tuple(
            text
            for key, text in table.read_as.items()
            if FROM_CONFIG.get(key, key) not in typed
        )
    sentences: list[str] = []
    burns = []
    for words in args.burn:
        try:
            burns.append(burn_window(words))
        except PlanError as error:
            sentences += error.sentences
    try:
        cabin = cabin_plan(
            {**given, **typed},
            tuple(burns),
            frozenset(typed),
            units_of(args, configured),
        )
    except PlanError as error:
        raise PlanError([*error.sentences, *sentences]) from None
    if sentences:
        raise PlanError(sentences)
    return replace(cabin, read_as=(*read_as, *cabin.read_as))


def _configured(args: argparse.Namespace) -> "CabinTable":
    # Only here: reading a config costs more than the whole plan.
    from cabinvigil.daemon.settings.cabin_table import load_cabin
    from cabinvigil.daemon.settings.errors import ConfigError

    try:
        return load_cabin(args.config)
    except ConfigError as error:
        units = units_of(args, error.units.word)
        raise PlanError([one.said(units) for one in error.mistakes]) from None
