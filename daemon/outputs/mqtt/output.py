"""The phone side: keeps a connection to the broker, sends what waits, takes asks.

Everything slow happens in its own thread.  While the broker is away the sounder and the
log go on, alerts wait in order, and each says its age when it goes.
"""

from collections.abc import Callable, Mapping
from random import Random
from threading import Lock
from typing import Any

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import Command
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink, Stamp
from cabinvigil.daemon.outputs.mqtt.bridge import BridgeStatus
from cabinvigil.daemon.outputs.mqtt.broker import Backoff, Broker, BrokerError
from cabinvigil.daemon.outputs.mqtt.messages import LOST
from cabinvigil.daemon.outputs.mqtt.outbox import Item
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.outputs.mqtt.requests import OnAsk, RequestGate
from cabinvigil.daemon.outputs.mqtt.rival import RivalWatch
from cabinvigil.daemon.outputs.mqtt.session import (
    Acked,
    Arrived,
    MqttSession,
    SessionEvent,
)
from cabinvigil.daemon.outputs.mqtt.wakeup import Wakeup
from cabinvigil.daemon.outputs.thread import OutputThread

LONGEST_PUMP_S = 1.0
"""Longest sleep in the network loop: heartbeats and deadlines are looked at again."""


class Phone:
    """An `Output` that publishes to a broker and takes asks from it."""

    name = "mqtt"

    def __init__(
        self,
        broker: Broker,
        desk: Publisher,
        clock: Clock,
        report: FaultSink,
        *,
        on_ask: OnAsk,
        on_refused: Callable[[str], None],
        dice: Random | None = None,
    ) -> None:
        """Set it up; no connection is made before `start`.

        Args:
            broker: where to.
            desk: makes and orders the messages.
            clock: for ages, heartbeats and deadlines.
            report: takes faults, from this output's thread.
            on_ask: takes asks, from this output's thread; must not block.
            on_refused: told of asks that were refused.
            dice: for the back-off's jitter.
        """
        self._broker = broker
        self._desk = desk
        self._clock = clock
        self._health = FaultLatch(self.name, report)
        self._asked = RequestGate(desk.messages.topics, on_ask, on_refused)
        self._backoff = Backoff(dice or Random())
        self._lock = Lock()
        self._thread = OutputThread(
            self.name,
            self._work,
            self._health,
            "The MQTT output had an internal error ({bug}) and continues.",
        )
        self._ends_by_s = float("inf")
        self._said_farewell = False
        self._is_lost = False
        self._origin_s = clock.monotonic()
        self._wakeup = Wakeup()
        # Below here: touched by the thread alone.
        self._is_v5 = True
        self._hang_ups = 0
        self._is_flooded = False
        self._bridge = BridgeStatus()
        self._rival = RivalWatch(desk.messages.run)
        self._sent_s: dict[int, float] = {}
        self._denied: set[str] = set()

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Take a command; never blocks, never raises."""
        self._thread.keep()
        self._origin_s = self._clock.monotonic() - stamp.up_s
        try:
            with self._lock:
                is_waiting = self._desk.handle(command, stamp)
        except Exception as error:  # a bug here must not reach the core's shell
            self._thread.report(error)
            return
        if is_waiting:
            self._wakeup.ring()

    def morning(self, summary: Mapping[str, Any]) -> None:
        """Publish the morning's account."""
        with self._lock:
            self._desk.morning(summary, self._now())
        self._wakeup.ring()

    def start(self) -> None:
        """Start the network thread."""
        if self._thread.is_running:
            return
        self._said_farewell = self._is_lost = False
        self._thread.start()

    def be_lost(self) -> None:
        """Say no farewell at the stop: the broker then publishes the Will."""
        self._is_lost = True

    def stop(self, deadline_s: float) -> None:
        """Send what waits and say that the monitor was stopped, at most for so long."""
        self._ends_by_s = self._clock.monotonic() + deadline_s
        self._thread.end()
        self._wakeup.ring()
        # One that hangs in the network keeps it, and ends with the process.
        if self._thread.join(deadline_s + 0.5):
            self._wakeup.close()

    # --- the thread ----------------------------------------------------------

    def _work(self) -> float:
        """Hold one connection; return how long to wait before the next."""
        began_s = self._clock.monotonic()
        try:
            self._attend()
        except BrokerError as error:
            if not self._tell_rival():
                self._health.fault(error.kind, error.text, error.text)
            self._change_version(error)
        except Exception as bug:  # waited after like a broker that is away
            self._thread.report(bug)
        self._backoff.held_for(self._clock.monotonic() - began_s)
        return self._backoff.next_s()

    def _change_version(self, error: BrokerError) -> None:
        """Try the other MQTT, where the broker says so or twice hangs up on this."""
        if error.is_version:
            self._hang_ups = 2
        elif error.is_hang_up:
            self._hang_ups += 1
        else:
            self._hang_ups = 0
        if self._hang_ups >= 2:
            self._is_v5, self._hang_ups = not self._is_v5, 0

    def _attend(self) -> None:
        """Hold one connection until it ends or we do."""
        # Here and not at the start, which a machine without descriptors must not end.
        self._wakeup.open()
        will = self._desk.messages.presence(LOST)
        session = MqttSession(
            self._broker, will, self._wakeup.fileno(), self._clock, is_v5=self._is_v5
        )
        is_orderly = False
        try:
            session.connect()
            self._open(session)
            while not self._is_done():
                self._send(session)
                for event in session.pump(self._pump_s()):
                    self._heed(event)
                self._wakeup.hush()
                self._look_after()
            is_orderly = not self._is_lost
        finally:
            session.close(is_orderly=is_orderly)
            with self._lock:
                self._desk.outbox.connection_lost()

    def _open(self, session: MqttSession) -> None:
        self._sent_s.clear()
        self._denied.clear()
        self._is_flooded = False
        self._bridge = BridgeStatus()
        topics = self._desk.messages.topics
        session.subscribe(topics.of("presence"), with_retained=True)
        session.subscribe(topics.of("bridge/#"), with_retained=True)
        session.subscribe(topics.of("ask"))
        with self._lock:
            self._desk.connected(self._now())

    def _is_done(self) -> bool:
        """Whether to part: asked to, and either all is sent or the time is over."""
        if not self._thread.is_ending:
            return False
        with self._lock:
            if not self._said_farewell and not self._is_lost:
                self._desk.stopping(self._now())
                self._said_farewell = True
            outbox = self._desk.outbox
            is_empty = not outbox.has_more and not outbox.in_flight
        return is_empty or self._clock.monotonic() >= self._ends_by_s

    def _send(self, session: MqttSession) -> None:
        """Hand over what may go now."""
        while True:
            with self._lock:
                taken = self._desk.next(self._now())
            if taken is None:
                return
            item, publication = taken
            message_id = session.publish(publication)
            if publication.qos:
                with self._lock:
                    self._desk.outbox.sent(message_id, item)
                self._sent_s[message_id] = self._clock.monotonic()

    def _heed(self, event: SessionEvent) -> None:
        if isinstance(event, Acked):
            self._acknowledge(event)
            return
        tail = event.topic.removeprefix(self._desk.messages.topics.of(""))
        if tail == "presence":
            self._rival.heard(dict(event.envelope.user).get("run", ""), self._up_s())
            self._tell_rival()
        elif tail.partition("/")[0] == "bridge":
            self._bridge.heard(tail, event.payload, self._up_s())
        else:
            self._take_ask(event)

    def _take_ask(self, event: Arrived) -> None:
        self._asked.arrived(event.payload, event.envelope, self._now(), self._answer)

    def _acknowledge(self, acked: Acked) -> None:
        if self._sent_s.pop(acked.message_id, None) is None:
            return  # QoS 0: paho says so when the bytes have left
        with self._lock:
            item = self._desk.outbox.acknowledged(acked.message_id)
        if acked.refused:
            self._deny(item, acked.refused)
            return
        if getattr(item, "topic", "") == self._desk.messages.topics.of("presence"):
            self._rival.spoke()
        self._ok_if_well()

    def _ok_if_well(self) -> None:
        """Report that all is well, where nothing that was told still stands."""
        now_s = self._up_s()
        stands = self._bridge.is_down(now_s) or self._rival.is_there(now_s)
        if not self._denied and not self._is_flooded and not stands:
            self._health.ok()

    def _tell_rival(self) -> bool:
        """Report of another monitor of this name; return whether there is one."""
        if not self._rival.is_there(self._up_s()):
            return False
        error = self._broker.refused(
            f"a second monitor uses the name '{self._desk.messages.topics.cabin}', "
            "and each disconnects the other; give one of them another name in [cabin]"
        )
        self._health.fault(error.kind, error.text, "rival")
        return True

    def _deny(self, item: Item | None, why: str) -> None:
        topic = getattr(item, "topic", "") or self._desk.messages.topics.of("alert")
        self._denied.add(topic)
        error = self._broker.refused(
            f"it does not let us write {topic} ({why.lower()}); give the user "
            f"'{self._broker.user}' the right to in the broker's ACL"
        )
        self._health.fault(error.kind, error.text, "acl")

    def _look_after(self) -> None:
        """Keep heartbeats and deadlines, and tell of a flood and of its end."""
        now_s = self._clock.monotonic()
        with self._lock:
            self._desk.tick(self._now())
            if self._bridge.opens(self._up_s()):
                self._desk.outbox.send_states()
        if self._sent_s and now_s - min(self._sent_s.values()) > self._broker.answer_s:
            raise self._broker.unreachable("it no longer responds")
        was_flooded = self._is_flooded
        self._is_flooded = self._asked.is_flooded(self._now().up_s)
        if self._denied:
            return
        if self._bridge.is_down(self._up_s()) and not self._is_flooded:
            self._tell_of_the_bridge()
        if self._is_flooded is was_flooded:
            return
        if self._is_flooded:
            self._health.fault(
                "babbling",
                f"The topic {self._desk.messages.topics.of('ask')} is flooded: more "
                "than one request a second is ignored; find the sender.",
            )
        else:
            self._ok_if_well()

    def _tell_of_the_bridge(self) -> None:
        if not self._rival.is_there(self._up_s()):
            self._health.fault(
                "out-of-reach",
                "The bridge to the second broker is down: second phones get nothing, "
                "messages wait; check the network.",
                "bridge",
            )

    def _answer(self, body: Mapping[str, Any], topic: str, correlation: bytes) -> None:
        """Queue an answer; any thread may."""
        with self._lock:
            said = self._desk.messages.answer(body, topic, correlation, self._now())
            self._desk.outbox.put_answer(said)
        self._wakeup.ring()

    def _up_s(self) -> float:
        return self._clock.monotonic() - self._origin_s

    def _now(self) -> Stamp:
        return Stamp(self._clock.monotonic() - self._origin_s, self._clock.wall())

    def _pump_s(self) -> float:
        with self._lock:
            if self._desk.outbox.has_more:
                return 0.0
            due_s = self._desk.due_in_s(self._now().up_s)
        return min(LONGEST_PUMP_S, due_s) if not self._thread.is_ending else 0.05
