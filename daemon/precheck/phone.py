"""The phone before bed: a test is sent, reaches a phone, and is answered.

It goes as a danger does, by way of the broker.  A phone's end reports which addresses
took it; it is answered by its page, by any message that the monitor would take tonight,
or by a yes at the keyboard, since most push apps answer nothing.
"""

import select
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.ask.parse import (
    DELIVERED,
    REPORTS,
    Ask,
    RefusedError,
    parse_ask,
)
from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.core.model import Alert, Priority
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.broker import Broker, BrokerError
from cabinvigil.daemon.outputs.mqtt.messages import (
    PHONE_TEST,
    Messages,
    Pending,
    Topics,
    run_of,
)
from cabinvigil.daemon.outputs.mqtt.wakeup import Wakeup
from cabinvigil.daemon.precheck.findings import Finding, WatchStatus
from cabinvigil.daemon.service.outlets import broker_of
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.words import load_words

PHONE_S = 60.0
"""For a person to find the phone and answer."""
LATE_S = 3.0
"""So long addresses may still report, though somebody has answered (our choice)."""
TEST_TEXT = "This is only a test. Acknowledge it to show that messages reach you."

TypedLine = Callable[[], str | None]
"""Returns a line that was typed since last time; None: none was."""


@dataclass
class PhoneTest:
    """What became of a test."""

    answered_by: str = ""
    """Who answered, or what was asked."""
    typed: bool = False
    """Somebody typed at the keyboard that it sounded."""
    refused: str = ""
    """Why the last answer would be refused tonight."""
    took: list[str] = field(default_factory=list)
    """Addresses whose push service took it."""
    failed: dict[str, str] = field(default_factory=dict)
    """Others, and why not."""

    @property
    def is_answered(self) -> bool:
        """Whether it certainly reached somebody."""
        return self.typed or bool(self.answered_by)


def typed_line() -> str | None:
    """Return a line from the keyboard without waiting for one."""
    try:
        if sys.stdin.closed or not select.select([sys.stdin], [], [], 0.0)[0]:
            return None
        return sys.stdin.readline() or None
    except (OSError, ValueError):  # nobody sits there
        return None


def nothing_typed() -> str | None:
    """Stand in for a keyboard that nobody is to be asked at."""
    return None


def phone(
    settings: Settings,
    status: WatchStatus,
    clock: Clock,
    say: Callable[[str], None],
    typed: TypedLine = nothing_typed,
) -> Finding:
    """Send the phone a test, and wait until it answers.

    Args:
        settings: with the broker.
        status: of the monitor.
        clock: for the wait.
        say: takes a line for who waits.
        typed: the keyboard; `nothing_typed` where nobody is to be asked.
    """
    mqtt = settings.mqtt
    if mqtt is None:
        return Finding(
            "phone", "mind", "there is no [mqtt]: no message reaches a phone"
        )
    if "mqtt" in status.faults:
        return Finding("phone", "bad", status.faults["mqtt"])
    name = settings.cabin.name
    messages = Messages(Topics(name), run_of(clock.wall()))
    broker = broker_of(mqtt, f"cabinvigil-{name}-precheck")
    yes = load_words(settings.watch.language, settings.watch.words).yes
    or_type = (
        "" if typed is nothing_typed else (f", or type {yes[0]} here once it sounded")
    )
    say(f"The phone gets a test now; acknowledge it within {PHONE_S:.0f} s{or_type}.")
    try:
        test = _send(broker, messages, clock, lambda: _is_yes(typed(), yes))
    except BrokerError as error:
        return Finding("phone", "bad", error.text)
    return judge(test)


def judge(test: PhoneTest) -> Finding:
    """Return what the test shows, and what to mend."""
    took = f"{_listed(test.took)}: push accepted" if test.took else ""
    failed = [f"{name} not reached ({why})" for name, why in test.failed.items()]
    mend = "`cabinvigil phone --test` tries it again"
    if test.is_answered:
        how = (
            f"acknowledged by {test.answered_by}"
            if test.answered_by
            else "you typed that it sounded"
        )
        text = "; ".join(filter(None, (took, how, *failed)))
        if failed:
            return Finding("phone", "mind", f"{text}: {mend}")
        return Finding("phone", "good", text)
    if test.refused:
        told = f"it sent what the monitor would refuse tonight: {test.refused}"
        return Finding("phone", "bad", told)
    silent = f"nobody acknowledged within {PHONE_S:.0f} s"
    if test.took:
        text = "; ".join((took, *failed, silent))
        mend = "is it on and loud, and may its app sound at night?"
    elif failed:
        text = "; ".join((*failed, silent))
    else:
        text = (
            f"the broker accepted it, {silent}, and no `cabinvigil phone` passed it on"
        )
        mend = "does `cabinvigil phone` run, and reach this broker?"
    return Finding("phone", "bad", f"{text}: {mend}")


def _listed(names: list[str]) -> str:
    return ", ".join(names)


def _is_yes(line: str | None, yes: tuple[str, ...]) -> bool:
    return line is not None and line.strip().casefold() in yes


def _send(
    broker: Broker, messages: Messages, clock: Clock, is_typed: Callable[[], bool]
) -> PhoneTest:
    """Publish the test by the newest MQTT that the broker has; return what came of it.

    Raises:
        BrokerError: the broker cannot be had, or is gone.
    """
    try:
        return _wait(broker, messages, clock, is_typed, is_v5=True)
    except BrokerError as error:
        if not (error.is_version or error.is_hang_up):
            raise
    return _wait(broker, messages, clock, is_typed, is_v5=False)


def _wait(
    broker: Broker,
    messages: Messages,
    clock: Clock,
    is_typed: Callable[[], bool],
    *,
    is_v5: bool,
) -> PhoneTest:
    # Not at the top: paho is slow to load, and a cabin without a phone needs none.
    from cabinvigil.daemon.outputs.mqtt.session import Arrived, MqttSession

    topics, test = messages.topics, PhoneTest()
    gone = {"answer": "test", "ok": False, "text": "the precheck has ended"}
    will = messages.answer(gone, topics.of("answer/precheck"), b"", _now(clock))
    wakeup = Wakeup()
    wakeup.open()
    session = MqttSession(broker, will, wakeup.fileno(), clock, is_v5=is_v5)
    is_orderly = False
    try:
        session.connect()
        session.subscribe(topics.of("ask"))
        alert = Alert(PHONE_TEST, Priority.HIGH, TEST_TEXT, expiry_s=PHONE_S)
        pending = Pending(alert, 0, clock.monotonic())
        session.publish(messages.alert(pending, _now(clock)))
        sent_s = clock.monotonic()
        until_s = sent_s + PHONE_S
        while clock.monotonic() < until_s:
            for event in session.pump(0.3):
                if isinstance(event, Arrived) and not event.envelope.is_retained:
                    _take(test, event, session, messages, clock)
            test.typed = test.typed or is_typed()
            if test.is_answered:
                from_s = sent_s if test.took else clock.monotonic()
                until_s = min(until_s, from_s + LATE_S)
        session.pump(0.0)
        is_orderly = True
        return test
    finally:
        session.close(is_orderly=is_orderly)
        wakeup.close()


def _take(
    test: PhoneTest, event: Any, session: Any, messages: Messages, clock: Clock
) -> None:
    """Note a report, or an answer; who answered is told that it was heard."""
    wall = clock.wall()
    try:
        ask = parse_ask(
            event.payload,
            "phone",
            wall if wall >= EARLIEST else None,
            name=event.envelope.name,
        )
    except RefusedError as error:
        test.refused = str(error)
        return
    if ask.verb in REPORTS:
        _note(test, ask)
    elif ask.act is not None:
        test.answered_by = ask.act.text or event.envelope.name or f"'{ask.verb}'"
        body = {"answer": ask.verb, "ok": True, "text": "Heard: the test reached you."}
        body |= {"id": ask.id} if ask.id else {}
        envelope = event.envelope
        is_ours = messages.topics.is_answer(envelope.response_topic)
        topic = envelope.response_topic if is_ours else ""
        session.publish(messages.answer(body, topic, envelope.correlation, _now(clock)))


def _note(test: PhoneTest, ask: Ask) -> None:
    if ask.verb == DELIVERED:
        if ask.text not in test.took:
            test.took.append(ask.text)
        test.failed.pop(ask.text, None)
    else:
        name, _, why = ask.text.partition(": ")
        if name not in test.took:
            test.failed[name] = why


def _now(clock: Clock) -> Stamp:
    return Stamp(clock.monotonic(), clock.wall())
