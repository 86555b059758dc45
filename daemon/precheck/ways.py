"""The ways out before bed: the sounder is heard, the phone answers, there is room."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from threading import Event
from typing import Any

from cabinvigil.daemon.ask.parse import Ask as AskMade
from cabinvigil.daemon.ask.parse import RefusedError, parse_ask
from cabinvigil.daemon.ask.socket import ask_watch
from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.core.model import Alert, Priority, SourceFault, SourceOk
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.broker import BrokerError
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Pending, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.wakeup import Wakeup
from cabinvigil.daemon.outputs.signal.gpio import LineCheck
from cabinvigil.daemon.outputs.signal.patterns import PATTERNS
from cabinvigil.daemon.precheck.findings import Finding, WatchStatus
from cabinvigil.daemon.service.outlets import OpenLine, broker_of, make_buzzer
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.words import load_words

Ask = Callable[[str], str]
PHONE_S = 60.0
"""For a person to find the phone and answer."""
SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
"""There once systemd's time daemon has set the clock (systemd-timesyncd(8))."""
TRIAL_BYTES = 4096
TEST_TEXT = "This is only a test. Acknowledge it to show that messages reach you."


def buzzer(
    settings: Settings, status: WatchStatus, clock: Clock, open_line: OpenLine, ask: Ask
) -> Finding:
    """Sound the test, and ask whether it was heard."""
    if settings.buzzer is None:
        return Finding(
            "buzzer", "bad", "there is no [buzzer]: nothing sounds at the bunk"
        )
    if "buzzer" in status.faults:
        return Finding("buzzer", "bad", status.faults["buzzer"])
    sensed = ""
    if status.runs:
        answer = ask_watch(Path(settings.ask.socket), {"ask": "test"})
        if not answer.get("ok"):
            # An alarm that stands, or a fault, is told by a finding of its own.
            text = f"whether it is heard: {answer.get('text', 'no test sounds')}"
            return Finding("buzzer", "not checked", text)
    else:
        fault, check = _sound(settings, clock, open_line)
        if fault:
            return Finding("buzzer", "bad", fault)
        sensed = ", and its sense line follows" if check is LineCheck.HEARD else ""
    # Silence is no yes, and neither is any other word: nobody would be woken.
    yes = load_words(settings.watch.language, settings.watch.words).yes
    heard = ask(
        "There were three pulses, then four short ones.  Type "
        f"{yes[0]} if you heard them: "
    )
    if heard.strip().casefold() in yes:
        return Finding("buzzer", "good", f"you heard it{sensed}")
    text = (
        f"nobody typed {yes[0]}: if you did not hear it, look at its wiring, and "
        "whether it is switched on"
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

    sounder = make_buzzer(settings, clock, report, open_line)
    if sounder is None:
        return "", LineCheck.CANNOT_TELL
    sounder.start()
    try:
        sounder.test()
        Event().wait(PATTERNS["test"].length_s + 0.5)
        check, _ = sounder.last_heard()
    finally:
        sounder.stop(2.0)
    return (faults[0] if faults else ""), check


def phone(
    settings: Settings, status: WatchStatus, clock: Clock, say: Callable[[str], None]
) -> Finding:
    """Send the phone a test, and wait until it answers.

    It goes as an alert does, by way of the broker; what the phone sends back on the
    cabin's `ask` topic is its answer, where the watch would take it tonight.
    """
    mqtt = settings.mqtt
    if mqtt is None:
        return Finding("phone", "mind", "there is no [mqtt]: no phone is told")
    if "mqtt" in status.faults:
        return Finding("phone", "bad", status.faults["mqtt"])
    name = settings.cabin.name
    messages = Messages(Topics(name), run_of(clock.wall()))
    broker = broker_of(mqtt, f"cabinvigil-{name}-precheck")
    say(f"The phone gets a test now; answer it within {PHONE_S:.0f} s.")
    try:
        answer, refused = _wait_for_answer(broker, messages, clock)
    except BrokerError as error:
        return Finding("phone", "bad", error.text)
    if answer is not None:
        return Finding("phone", "good", f"it answered '{answer.verb}'")
    if refused:
        told = f"it sent what the watch would refuse tonight: {refused}"
        return Finding("phone", "bad", told)
    told = f"it did not answer within {PHONE_S:.0f} s: is it on, and its app?"
    return Finding("phone", "bad", told)


def _wait_for_answer(
    broker: Any, messages: Messages, clock: Clock
) -> tuple[AskMade | None, str]:
    """Publish the test; return the first good answer, or why the last was refused.

    Raises:
        BrokerError: the broker cannot be had, or is gone.
    """
    # Not at the top: paho is slow to load, and a cabin without a phone needs none.
    from cabinvigil.daemon.outputs.mqtt.session import Arrived, MqttSession

    topics = messages.topics
    gone = {"answer": "test", "ok": False, "text": "the precheck is gone"}
    will = messages.answer(gone, topics.of("answer/precheck"), b"", _now(clock))
    wakeup = Wakeup()
    session = MqttSession(broker, will, wakeup.fileno(), clock, is_v5=False)
    is_orderly = False
    try:
        session.connect()
        session.subscribe(topics.of("ask"))
        alert = Alert("test", Priority.MEDIUM, TEST_TEXT, expiry_s=PHONE_S)
        pending = Pending(alert, 0, clock.monotonic())
        session.publish(messages.alert(pending, _now(clock)))
        until_s = clock.monotonic() + PHONE_S
        answer, refused = None, ""
        while answer is None and clock.monotonic() < until_s:
            for event in session.pump(0.5):
                if isinstance(event, Arrived) and not event.envelope.is_retained:
                    answer, refused = _read(event.payload, clock)
        is_orderly = True
        return answer, refused
    finally:
        session.close(is_orderly=is_orderly)
        wakeup.close()


def _now(clock: Clock) -> Stamp:
    return Stamp(clock.monotonic(), clock.wall())


def _read(payload: bytes, clock: Clock) -> tuple[AskMade | None, str]:
    wall = clock.wall()
    try:
        return parse_ask(payload, "phone", wall if wall >= EARLIEST else None), ""
    except RefusedError as error:
        return None, str(error)


def try_log(folder: Path, *, is_ours: bool) -> tuple[float | None, str]:
    """Return the free MB of the log's disk, and why a trial file cannot be written.

    Args:
        folder: the log's.
        is_ours: write a trial; not while the watch writes there itself.
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


def is_synchronised(path: Path = SYNCHRONISED) -> bool | None:
    """Say whether the time daemon has set the clock; None where none tells."""
    try:
        return True if path.exists() else None
    except OSError:
        return None
