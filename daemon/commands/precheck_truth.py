"""`precheck`'s test at the parts: on the monitor by hand, or on emulated parts."""

import argparse
import asyncio
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from threading import current_thread, main_thread
from typing import Any

from cabinvigil.daemon.ask.socket import AskError
from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.commands.emulated_spans import EmulatedSpans
from cabinvigil.daemon.commands.on_wires import BREATH as BREATH_AIR
from cabinvigil.daemon.commands.on_wires import run_on_wires
from cabinvigil.daemon.precheck import truth
from cabinvigil.daemon.precheck.at_hand import SocketWatch, run_through, staged
from cabinvigil.daemon.precheck.bump_test import BumpTest
from cabinvigil.daemon.precheck.findings import Finding, WatchStatus
from cabinvigil.daemon.rehearsal.cabin import fresh_air
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.sampling.wiring import MakeCodec, Wires
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.words import load_words
from cabinvigil.daemon.span.dated import dated_of_part
from cabinvigil.daemon.span.kept import SpansError, SpansFile
from cabinvigil.daemon.span.proofs import CanOfGas, Proof

Ask = Callable[[str], str]
NONE: frozenset[str] = frozenset()


def tested(
    args: argparse.Namespace,
    settings: Settings,
    status: WatchStatus,
    spans: EmulatedSpans,
    clock: Clock,
    say: Callable[[str], None],
    ask: Ask,
) -> tuple[list[Finding], frozenset[str]]:
    """Test the parts with a breath or gas, where it is due and somebody is there.

    Returns:
        What came of it, and the alarms that it sounded and that are answered.
    """
    gas = can_of_gas(args)
    is_wanted = args.breath or gas is not None
    if args.emulated:
        if not is_wanted:
            return [], NONE
        return _emulated_test(settings, gas, spans, say), NONE
    subject = "breath" if gas is None else "test gas"
    why = _why_not(status, clock)
    if why and is_wanted:
        return [Finding(subject, "not checked", why)], NONE
    if why or args.no_key or args.json:
        return [], NONE
    file = SpansFile(Path(settings.watch.state_folder))
    try:
        proofs = file.proofs()
    except SpansError as error:  # told beside the parts too
        text = f"its result could not be kept: {error}"
        return ([Finding(subject, "not checked", text)] if is_wanted else []), NONE
    if not is_wanted and not _is_due(settings, proofs, clock):
        return [], NONE
    if why := file.why_not_kept():
        return [Finding(subject, "not checked", f"it cannot be kept: {why}")], NONE
    yes = load_words(settings.watch.language, settings.watch.words).yes
    question = (
        "The sensors are tested in fresh air.  Doors open, heater off?  Type "
        f"{yes[0]}, or press Enter to skip: "
    )
    if ask(question).strip().casefold() not in yes:
        return [Finding(subject, "mind", "the sensors were not tested tonight")], NONE
    test = BumpTest(
        settings,
        SocketWatch(Path(settings.ask.socket), clock),
        say,
        lambda prompt: ask(prompt).strip() == "",
        clock.wall,
        gas,
    )
    broken = []
    try:
        with _broken_off_by_signals():
            run_through(test.run())
    except AskError as error:
        broken = [Finding(subject, "bad", f"interrupted, test again: {error}")]
    kept = _kept(file, test, subject, clock)
    return [*test.findings, *broken, *kept], test.answered


def can_of_gas(args: argparse.Namespace) -> CanOfGas | None:
    """Return the test gas that a call names; None: none."""
    if args.gas is not None:
        return CanOfGas("co_ppm", args.gas)
    return None if args.lel is None else CanOfGas("gas_lel_pct", args.lel)


def with_gas(air: AirNow, gas: CanOfGas) -> AirNow:
    """Return air with what a can gives."""
    amount: dict[str, Any] = {gas.quantity: gas.amount}
    return replace(air, **amount)


@contextmanager
def _broken_off_by_signals() -> Iterator[None]:
    """Let a connection that drops, or a stop, end the test as Ctrl-C does: in order.

    Else no phone would be told of anything until its five minutes are over.
    """
    before = {one: signal.getsignal(one) for one in (signal.SIGHUP, signal.SIGTERM)}
    taken = [one for one, was in before.items() if was is not signal.SIG_IGN]
    if current_thread() is not main_thread():  # which alone may take signals
        taken = []

    def break_off(_number: int, _frame: object) -> None:
        for one in taken:  # the next one may not keep it from ending
            signal.signal(one, signal.SIG_IGN)
        raise KeyboardInterrupt

    for one in taken:
        signal.signal(one, break_off)
    try:
        yield
    finally:
        for one in taken:
            signal.signal(one, before[one])


def _is_due(settings: Settings, proofs: Sequence[Proof], clock: Clock) -> bool:
    wanted = truth.subjects(settings.parts)
    own = [
        one
        for name, part in settings.parts.items()
        for one in dated_of_part(proofs, name, part.kind, part.in_service)
    ]
    return truth.is_due(own, wanted, clock.wall())


def _kept(
    file: SpansFile, test: BumpTest, subject: str, clock: Clock
) -> Iterator[Finding]:
    """Keep what came of it; say where that fails."""
    if test.proofs:
        try:
            file.add_proofs(test.proofs, clock.wall(), clock.monotonic())
        except (OSError, SpansError) as error:
            why = getattr(error, "strerror", None) or str(error)
            yield Finding(subject, "bad", f"not kept in {file.path.parent}: {why}")


def _why_not(status: WatchStatus, clock: Clock) -> str:
    """Return why no test can be done; '' where it can."""
    if not status.runs or status.is_rehearsal:
        return "no monitor runs that would show it"
    if clock.wall() < EARLIEST:
        return "the clock is not set, and a test without its date proves nothing"
    return ""


def _emulated_test(
    settings: Settings,
    gas: CanOfGas | None,
    spans: EmulatedSpans,
    say: Callable[[str], None],
) -> list[Finding]:
    """Show on emulated parts what the test does, with somebody who does his part."""
    fresh = fresh_air(settings.cabin)
    air = [fresh]
    breath = replace(BREATH_AIR, pressure_hpa=fresh.pressure_hpa)
    bag = breath if gas is None else with_gas(fresh, gas)

    def made(_watcher: Watcher) -> MakeCodec:
        return spans.make

    async def job(wires: Wires, clock: Clock) -> BumpTest:
        def ready(_prompt: str) -> bool:
            air[0] = bag
            return True

        def said(line: str) -> None:
            air[0] = fresh
            say(line)

        infos = part_infos(settings.parts)
        async with staged(settings, wires, clock, make=made) as watch:
            await asyncio.sleep(max(i.warm_up_s for i in infos.values()))
            test = BumpTest(settings, watch, said, ready, clock.wall, gas)
            await test.run()
        return test

    return run_on_wires(job, settings, lambda: air[0], is_evening=True).findings
