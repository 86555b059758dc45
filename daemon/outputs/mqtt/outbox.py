"""What waits for the broker: alerts in order, states only in their newest form. Pure.

Alerts are kept before everything else, up to a bound; a state (readings, an alarm, the
heartbeat) waits once, however often it changes.  After every new connection, and where
the bridge comes back, all states go out again: a broker may have lost them, and its
acknowledgement is no proof.  What is not retained is no state, and goes once.
"""

from collections import deque
from dataclasses import dataclass, replace
from math import ceil

from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Pending, Publication

ALERTS_KEPT = 500
"""A night with an alert a minute; each is some hundred bytes."""
STATES_KEPT = 256
"""Topics: alarms with their instances, and the few others."""
ANSWERS_KEPT = 32
IN_FLIGHT = 16
"""Unacknowledged at one time; MQTT 5 brokers allow 20 or more by default."""

Item = Pending | Publication


@dataclass(frozen=True, slots=True)
class Lost:
    """What had to be given up since the start."""

    alerts: int = 0
    """Over the bound."""
    expired: int = 0
    """Too old when the broker came back."""


class Outbox:
    """Not thread-safe: its owner holds the lock."""

    def __init__(self) -> None:
        self._alerts: deque[Pending] = deque()
        self._answers: deque[Publication] = deque(maxlen=ANSWERS_KEPT)
        self._states: dict[str, tuple[Publication, float]] = {}
        """With when each was made."""
        self._changed: dict[str, None] = {}
        self._in_flight: dict[int, Item] = {}
        self._lost_alerts = 0
        self._expired = 0

    @property
    def lost(self) -> Lost:
        """What had to be given up."""
        return Lost(self._lost_alerts, self._expired)

    @property
    def alerts_waiting(self) -> int:
        """Alerts that no broker has acknowledged."""
        flying = sum(isinstance(item, Pending) for item in self._in_flight.values())
        return len(self._alerts) + flying

    @property
    def in_flight(self) -> int:
        """Messages sent and not acknowledged."""
        return len(self._in_flight)

    @property
    def has_more(self) -> bool:
        """Whether something waits that may go now."""
        waits = self._alerts or self._answers or self._changed
        return bool(waits) and len(self._in_flight) < IN_FLIGHT

    def put_alert(self, pending: Pending) -> None:
        """Queue an alert; over the bound the oldest goes."""
        self._alerts.append(pending)
        self._bound_alerts()

    def put_answer(self, publication: Publication) -> None:
        """Queue an answer; over the bound the oldest goes: its asker has given up."""
        self._answers.append(publication)

    def put_state(self, publication: Publication, up_s: float) -> None:
        """Set a topic's state, made at `up_s`, and have it sent."""
        topic = publication.topic
        if topic not in self._states and len(self._states) >= STATES_KEPT:
            return  # bounded: so many alarms are not configured
        self._states[topic] = (publication, up_s)
        self._changed[topic] = None

    def next_due(
        self, messages: Messages, now: Stamp
    ) -> tuple[Item, Publication] | None:
        """Take what is to go next: alerts, then answers, then states."""
        if len(self._in_flight) >= IN_FLIGHT:
            return None
        while self._alerts:
            pending = self._alerts.popleft()
            if pending.is_expired(now.up_s):
                self._expired += 1
                continue
            return pending, messages.alert(pending, now)
        if self._answers:
            answer = self._answers.popleft()
            return answer, answer
        while self._changed:
            topic = next(iter(self._changed))
            del self._changed[topic]
            if (state := self._fresh(topic, now.up_s)) is not None:
                return state, state
        return None

    def sent(self, message_id: int, item: Item) -> None:
        """Note that an item is under way, and may have to be sent again."""
        self._in_flight[message_id] = item

    def acknowledged(self, message_id: int) -> Item | None:
        """Note that the broker has an item; return it."""
        return self._in_flight.pop(message_id, None)

    def connection_lost(self) -> None:
        """Put back what was under way, in its order, before what waits."""
        flying = list(self._in_flight.values())
        self._in_flight.clear()
        alerts = [item for item in flying if isinstance(item, Pending)]
        self._alerts.extendleft(reversed(alerts))
        self._bound_alerts()
        self._answers.clear()

    def send_states(self) -> None:
        """Have every state sent again."""
        self._changed = {
            topic: None for topic, (state, _) in self._states.items() if state.retain
        }

    def _fresh(self, topic: str, now_s: float) -> Publication | None:
        """Return a state with what is left of its time, or forget it."""
        state, up_s = self._states[topic]
        if not state.retain:
            del self._states[topic]
        if state.expiry_s is None:
            return state
        left_s = state.expiry_s - (now_s - up_s)
        if left_s > 0.0:
            return replace(state, expiry_s=ceil(left_s))
        self._states.pop(topic, None)
        return None

    def _bound_alerts(self) -> None:
        while len(self._alerts) > ALERTS_KEPT:
            self._alerts.popleft()
            self._lost_alerts += 1
