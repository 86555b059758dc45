"""Check the whole monitor before bed: one screen, one verdict.

Asks the running monitor, or otherwise reads the sensors itself for a minute.
"""

import argparse
import asyncio
from collections.abc import Callable, Container, Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

from cabinvigil.daemon.ask.socket import AskError, typed, watch_status
from cabinvigil.daemon.clock import Clock, SystemClock, is_clock_set
from cabinvigil.daemon.commands.base import (
    CallError,
    add_config,
    add_emulated,
    add_json,
    add_units,
    check_range,
    number_in,
)
from cabinvigil.daemon.commands.emulated_spans import EmulatedSpans, emulated_spans
from cabinvigil.daemon.commands.on_wires import chosen_settings, run_on_wires
from cabinvigil.daemon.commands.precheck_truth import tested
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.log.folder import held_bytes
from cabinvigil.daemon.outputs.signal.gpio import open_gpio
from cabinvigil.daemon.precheck import certificates
from cabinvigil.daemon.precheck import findings as checks
from cabinvigil.daemon.precheck.buses import bus_findings
from cabinvigil.daemon.precheck.clock_chip import clock_chip, clock_chips
from cabinvigil.daemon.precheck.findings import Finding, WatchStatus, status_of
from cabinvigil.daemon.precheck.look import look
from cabinvigil.daemon.precheck.parts import Part, part_finding
from cabinvigil.daemon.precheck.phone import nothing_typed, phone, typed_line
from cabinvigil.daemon.precheck.supply import supply
from cabinvigil.daemon.precheck.ways import buzzer, try_log
from cabinvigil.daemon.rehearsal.cabin import fresh_air
from cabinvigil.daemon.rehearsal.faults import FILE_FAULTS, I2C_FAULTS, SERIAL_FAULTS
from cabinvigil.daemon.rehearsal.nights import Failure
from cabinvigil.daemon.sampling.wiring import MakeCodec, Wires
from cabinvigil.daemon.service.host import cpu_c, is_under_volted
from cabinvigil.daemon.settings.bus_names import I2cNames
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.guards import watched
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.ports import SerialNames, may_move
from cabinvigil.daemon.settings.series import series_keys
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.dated import dated_of_part
from cabinvigil.daemon.span.kept import Span, SpansError, SpansFile, maker, of_part
from cabinvigil.daemon.span.proofs import Proof
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.time_zones import why_minded
from cabinvigil.daemon.text.units_said import units_named
from cabinvigil.daemon.text.wrapping import wrap

EXAMPLE = """examples, for the Lapwing, a trailer:
  cabinvigil precheck                      before bed
  cabinvigil precheck --no-key --no-phone  from a script: no questions
  cabinvigil precheck --breath             test the sensors with a bag of breath
  cabinvigil precheck --emulated           try it without hardware
  cabinvigil precheck --emulated --failing bunk-co=stall
"""
MARKS = {"good": "good", "mind": "CHECK", "bad": "BAD", "not checked": "----"}
LEL_RANGE_PCT = (15.0, 60.0)
"""Of test gas for sensors of unburnt gas: four fifths of the least are past the alarm's
10 %; usual cans have up to half of the limit (common practice, no source)."""
COLUMNS = 80
"""A line longer than this goes on below itself."""
FAULTS = {"i2c": I2C_FAULTS, "serial": SERIAL_FAULTS, "file": FILE_FAULTS}
Ask = Callable[[str], str]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    add_config(parser)
    parser.add_argument(
        "--no-key",
        action="store_true",
        help="skip the sounder and its question",
    )
    parser.add_argument(
        "--no-phone", action="store_true", help="do not wait for a reply from the phone"
    )
    parser.add_argument(
        "--hours",
        type=number_in("h"),
        default=checks.NIGHT_HOURS,
        metavar="H",
        help=f"hours that the power must last ({checks.NIGHT_HOURS:g})",
    )
    parser.add_argument(
        "--battery-ah",
        type=number_in("ah"),
        metavar="AH",
        help="ampere hours that the battery holds when full",
    )
    parser.add_argument(
        "--lithium",
        action="store_true",
        help="the battery is LiFePO4, whose voltage does not show its charge "
        "(default: lead)",
    )
    parser.add_argument(
        "--breath",
        action="store_true",
        help="test the sensors with a bag of breath, though none is due",
    )
    parser.add_argument(
        "--gas",
        type=number_in("ppm"),
        metavar="PPM",
        help="test the carbon monoxide sensors with test gas of this many ppm",
    )
    parser.add_argument(
        "--lel",
        type=number_in("pct"),
        metavar="PCT",
        help="test the sensors of unburnt gas with test gas of this many percent of "
        "the lower explosive limit",
    )
    add_emulated(parser)
    parser.add_argument(
        "--failing",
        action="append",
        default=[],
        metavar="PART=FAULT",
        help="with --emulated: make a sensor fail, such as bunk-co=stall",
    )
    add_json(parser)
    add_units(parser)


def run(
    args: argparse.Namespace, out: IO[str], _err: IO[str], *, ask: Ask = typed
) -> int:
    """Check everything; return the exit code.

    Returns:
        0 ready; 1 something is bad, or not checked; 2 the call or the config is
        wrong; 3 the monitor runs and cannot be asked.
    """
    _check(args)
    settings = chosen_settings(args.config, is_emulated=args.emulated, units=args.units)
    findings = list(_findings(args, settings, out, ask))
    if args.json:
        print(json_line(_plain(findings)), file=out)
    else:
        for line in screen(settings.cabin.name, findings):
            print(line, file=out)
    return ExitCode.DONE if checks.is_ready(findings) else ExitCode.NOT_WELL


def _check(args: argparse.Namespace) -> None:
    """Refuse what makes no sense.

    Raises:
        CallError: with one sentence.
    """
    if not 0.0 < args.hours <= 168.0:
        raise CallError("--hours must lie above 0 and up to 168")
    check_range("--battery-ah", args.battery_ah, 0.1, 10_000.0)
    check_range("--gas", args.gas, 20.0, 1000.0)
    check_range("--lel", args.lel, *LEL_RANGE_PCT, " %")
    tests = {"--breath": args.breath, "--gas": args.gas, "--lel": args.lel}
    wanted = [word for word, given in tests.items() if given not in (None, False)]
    if len(wanted) > 1:
        raise CallError(f"{' and '.join(wanted)} are two tests: one after the other")
    if wanted and not args.emulated:
        for word, is_given in (("--no-key", args.no_key), ("--json", args.json)):
            if is_given:
                raise CallError(f"{wanted[0]} needs a person: leave out {word}")
    if args.failing and not args.emulated:
        raise CallError("--failing is for emulated sensors: add --emulated")


def _port_mend(part: PartSettings) -> str:
    """Return how to name a part's port, where its name may pass to another adapter."""
    port, names = part.port or "", SerialNames()
    return names.mend(port) if may_move(port) or names.is_shared(port) else ""


def _findings(
    args: argparse.Namespace, settings: Settings, out: IO[str], ask: Ask
) -> Iterator[Finding]:
    """Make every check, the parts first."""
    clock: Clock = SystemClock()

    def say(line: str) -> None:
        if not args.json:
            print(line, file=out, flush=True)

    spans = emulated_spans(settings) if args.emulated else EmulatedSpans({})
    status = _status(args, settings, spans, say)
    shown, answered = tested(args, settings, status, spans, clock, say, ask)
    if shown and status.runs:  # minutes have gone by: a danger may stand since then
        status = _status(args, settings, spans, say, answered)
    yield from checks.watch(status, is_emulated=args.emulated)
    yield from _parts(args, settings, status, spans, clock)
    if not args.emulated:
        yield from bus_findings(settings, I2cNames())
    yield from shown
    yield from checks.air(status)
    yield _buzzer(args, settings, status, clock, ask)
    yield _phone(args, settings, status, clock, say)
    if not args.emulated:
        found = certificates.known(settings.mqtt, is_online=not args.no_phone)
        yield from certificates.judged(found, clock.wall())
    yield _log(args, settings, status)
    synchronised = True if args.emulated else is_clock_set()
    yield checks.clock(clock.wall(), is_synchronised=synchronised)
    if not args.emulated:
        chips = clock_chips()
        yield clock_chip(chips, clock.wall(), is_synchronised=synchronised)
        if why := why_minded(settings.cabin.zone):
            yield Finding("zone", "mind", why)
    yield supply(
        status,
        args.hours,
        args.battery_ah,
        _empty_v(settings),
        is_lithium=args.lithium,
    )
    units = units_named(settings.cabin.units)
    yield checks.computer(cpu_c(), is_under_volted=is_under_volted(), units=units)
    told = (*settings.parts, "buzzer", "mqtt", "log")
    yield from checks.host_faults(status, told)
    yield from checks.limits(settings.laxer, units)


def _status(
    args: argparse.Namespace,
    settings: Settings,
    emulated: EmulatedSpans,
    say: Callable[[str], None],
    answered: Container[str] = (),
) -> WatchStatus:
    """Ask the monitor, or look at the parts.

    Args:
        args: of the call.
        settings: of the cabin.
        emulated: the spans of emulated parts.
        say: takes a line for who waits.
        answered: what a test sounded, and somebody answered.

    Raises:
        AskError: the monitor runs and cannot be asked.
    """
    if not args.emulated:
        answer = watch_status(settings)
        if answer is not None:
            with suppress(KeyError, TypeError, ValueError):
                return status_of(answer, runs=True, answered=answered)
            text = "The running monitor is of another version: restart it"
            raise AskError(0, text)
    say("Reading the sensors for a minute ...")
    infos = part_infos(settings.parts)

    async def job(wires: Wires, clock: Clock) -> dict[str, Any]:
        def make(tell: Callable[[SourceFault | SourceOk], None]) -> MakeCodec:
            if args.emulated:
                return emulated.make
            return maker(Path(settings.watch.state_folder), tell)

        if args.emulated:  # parts that have been on all day
            await asyncio.sleep(max(i.warm_up_s for i in infos.values()))
        return await look(settings, wires, clock, make)

    air = fresh_air(settings.cabin) if args.emulated else None
    failures = tuple(_failures(args, settings))
    answer = run_on_wires(job, settings, air, failures=failures, is_evening=True)
    return status_of(answer, runs=False)


def _failures(args: argparse.Namespace, settings: Settings) -> Iterator[Failure]:
    for word in args.failing:
        part, _, fault = word.partition("=")
        if part not in (*settings.parts, "bus"):
            raise CallError(f"--failing {word}: there is no sensor {part!r}")
        wire = "i2c" if part == "bus" else part_infos(settings.parts)[part].bus
        if fault not in FAULTS[wire]:
            known = ", ".join(sorted(FAULTS[wire]))
            raise CallError(f"--failing {word}: {part} can have {known}")
        yield Failure(0.0, 1e9, part, fault)


def _parts(
    args: argparse.Namespace,
    settings: Settings,
    status: WatchStatus,
    emulated: EmulatedSpans,
    clock: Clock,
) -> Iterator[Finding]:
    infos = part_infos(settings.parts)
    keys = series_keys(settings.parts, infos)
    spans: list[Span] = []
    proofs: list[Proof] | None = None
    lost = ""
    if not args.emulated:
        try:
            file = SpansFile(Path(settings.watch.state_folder))
            spans, proofs = file.load_all()
        except SpansError as error:
            lost = str(error)
    for name, part in settings.parts.items():
        series = {q: key for (owner, q), key in keys.items() if owner == name}
        own = of_part(spans, name, part.kind, part.in_service)
        own += emulated.of(name, clock.wall())
        tests = None
        if proofs is not None:
            tests = dated_of_part(proofs, name, part.kind, part.in_service)
        one = Part(name, part, infos[name], series, own, _port_mend(part), tests)
        yield part_finding(one, status, clock.wall(), units_named(settings.cabin.units))
    if lost:
        yield Finding("spans", "bad", lost)
    yield from checks.measured(watched(settings.parts, infos))
    shared = {checks.channel_of_key(key) for key in keys.values() if "__" in key}
    yield from checks.fellows(status, shared)


def _buzzer(
    args: argparse.Namespace,
    settings: Settings,
    status: WatchStatus,
    clock: Clock,
    ask: Ask,
) -> Finding:
    # What fails, or is not there, is known without a sound.
    is_known = settings.buzzer is None or "buzzer" in status.faults
    if args.no_key and not is_known:
        return Finding("buzzer", "not checked", "whether it is heard (--no-key)")
    if args.emulated:
        return Finding("buzzer", "not checked", "emulated: no sound")
    return buzzer(settings, status, clock, open_gpio, ask)


def _phone(
    args: argparse.Namespace,
    settings: Settings,
    status: WatchStatus,
    clock: Clock,
    say: Callable[[str], None],
) -> Finding:
    if args.no_phone and "mqtt" not in status.faults:
        return Finding("phone", "not checked", "whether it responds (--no-phone)")
    if args.emulated:
        return Finding("phone", "not checked", "emulated: no phone")
    typed = nothing_typed if args.no_key or args.json else typed_line
    return phone(settings, status, clock, say, typed)


def _log(args: argparse.Namespace, settings: Settings, status: WatchStatus) -> Finding:
    if args.emulated:
        return Finding("log", "not checked", "emulated: no log")
    folder = Path(settings.log.folder)
    free_mb, error = try_log(folder, is_ours=not status.runs)
    held_mb, max_mb = held_bytes(folder) / 1e6, settings.log.max_mb
    return checks.log(status, free_mb, error, str(folder), held_mb, max_mb)


def _empty_v(settings: Settings) -> float:
    """Return where the monitor goes dark, by the config's own supply alarm."""
    for alarm in settings.alarms.values():
        if alarm.kind == "supply":
            return float(alarm.params.empty_v)
    return 11.0


def screen(cabin: str, findings: list[Finding]) -> Iterator[str]:
    """Show all on one screen: the verdict, then each finding behind its mark."""
    yield from wrap(checks.verdict(findings), COLUMNS)
    width = max(len(checks.shown(one.subject)) for one in findings)
    yield f"{cabin}, before bed"
    for one in findings:
        head = f"  {MARKS[one.word]:<5}  {checks.shown(one.subject):<{width}}  "
        yield from wrap(one.text, COLUMNS, head, " " * len(head))


def _plain(findings: list[Finding]) -> dict[str, Any]:
    return {
        "ready": checks.is_ready(findings),
        "verdict": checks.verdict(findings),
        "findings": [
            {"subject": one.subject, "word": one.word, "text": one.text}
            for one in findings
        ],
    }
