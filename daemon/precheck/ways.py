"""The ways out before bed: the sounder is heard, the log has room, the clock is set."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from threading import Event

from cabinvigil.daemon.ask.socket import ask_watch
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs.signal.gpio import LineCheck
from cabinvigil.daemon.outputs.signal.patterns import PATTERNS
from cabinvigil.daemon.outputs.signal.sounder_wiring import OpenLine, make_buzzer
from cabinvigil.daemon.precheck.findings import Finding, WatchStatus
from cabinvigil.daemon.service.outlets import wiring_of
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.words import load_words

Ask = Callable[[str], str]
TRIAL_BYTES = 4096


def buzzer(
    settings: Settings, status: WatchStatus, clock: Clock, open_line: OpenLine, ask: Ask
) -> Finding:
    """Sound the test, and ask whether it was heard."""
    if settings.buzzer is None:
        return Finding("buzzer", "bad", "there is no [buzzer]: no sounder wakes anyone")
    if "buzzer" in status.faults:
        return Finding("buzzer", "bad", status.faults["buzzer"])
    sensed = ""
    if status.runs:
        answer = ask_watch(Path(settings.ask.socket), {"ask": "test"})
        if not answer.get("ok"):
            # An alarm that is active, or a fault, is told by a finding of its own.
            text = f"whether it is heard: {answer.get('text', 'no test sounds')}"
            return Finding("buzzer", "not checked", text)
    else:
        fault, check = _sound(settings, clock, open_line)
        if fault:
            return Finding("buzzer", "bad", fault)
        sensed = ", and its sense line confirms it" if check is LineCheck.HEARD else ""
    # Silence is no yes, and neither is any other word: nobody would be woken.
    yes = load_words(settings.watch.language, settings.watch.words).yes
    heard = ask(
        f"You should have heard three pulses, then four short ones.  Type {yes[0]} if "
        "you heard them: "
    )
    if heard.strip().casefold() in yes:
        return Finding("buzzer", "good", f"you heard it{sensed}")
    text = (
        f"nobody typed {yes[0]}: if you did not hear it, check its wiring, and that "
        "it is switched on"
    )
    return Finding("buzzer", "bad", text)


def _sound(
    settings: Settings, clock: Clock, open_line: OpenLine
) -> tuple[str, LineCheck]:
    """Play the test once; return a fault's sentence, and what the line says of it."""
    faults: list[str] = []

    def report(event: SourceFault | SourceOk) -> None:
        if isinstance(event, SourceFault):
            faults.append(event.text)

    wiring = wiring_of(settings)
    if wiring is None:
        return "", LineCheck.CANNOT_TELL
    sounder = make_buzzer(wiring, clock, report, open_line)
    sounder.start()
    try:
        sounder.test()
        Event().wait(PATTERNS["test"].length_s + 0.5)
        check, _ = sounder.last_heard()
    finally:
        sounder.stop(2.0)
    return (faults[0] if faults else ""), check


def try_log(folder: Path, *, is_ours: bool) -> tuple[float | None, str]:
    """Return the free MB of the log's disk, and why a trial file cannot be written.

    Args:
        folder: the log's.
        is_ours: write a trial; not while the monitor writes there itself.
    """
    error = ""
    if is_ours:
        trial = folder / ".precheck"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            fd = os.open(trial, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o640)
            try:
                os.write(fd, bytes(TRIAL_BYTES))
                os.fsync(fd)
            finally:
                os.close(fd)
                trial.unlink()
        except OSError as failed:
            error = failed.strerror or str(failed)
    try:
        return shutil.disk_usage(folder).free / 1e6, error
    except OSError:
        return None, error
