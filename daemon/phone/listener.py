"""The connection to the broker, held by a thread of its own.

A flood costs no memory: of each topic that tells a state only the newest waits, and an
alert is acknowledged only when it is kept, so that the broker holds back the rest.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from random import Random
from threading import Event, Lock, Thread

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.mqtt.broker import Backoff, Broker, BrokerError
from cabinvigil.daemon.outputs.mqtt.messages import ROOT, Publication
from cabinvigil.daemon.outputs.mqtt.requests import Envelope
from cabinvigil.daemon.outputs.mqtt.session import Arrived, MqttSession, SessionTerms
from cabinvigil.daemon.outputs.mqtt.wakeup import Wakeup
from cabinvigil.daemon.phone.inbound import (
    LARGEST_PAYLOAD,
    AlarmHeard,
    Inbound,
    TextHeard,
    read,
)

LONGEST_WAIT_S = 2.0
"""Between two tries: a silence is told three seconds after its third heartbeat
(phone/silence), and a broker on a Pi bears one more connection every two."""
KEPT_S = 86_400
"""The broker keeps alerts so long for us: the longest is worth telling for six hours,
a day leaves room for a night without power here (own choice)."""
TERMS = SessionTerms(
    # Beside the payload: topic and properties.
    largest_packet=LARGEST_PAYLOAD + 2048,
    receive_at_most=64,
    kept_s=KEPT_S,
    confirms=True,
)
MOST_STATES = 50_000
"""Topics of which the newest waits: fifty of each of a thousand cabins."""
MOST_TEXTS = 2_000
"""Texts that wait to be kept; those of QoS 1 are bounded by the broker."""
MOST_ASKS = 100
LONGEST_PUMP_S = 1.0
FOUGHT_LOSSES, FOUGHT_S = 5, 60.0
"""So many connections lost in so long, each had and none told why: another client has
our id, and mosquitto 2.0.11 throws the one out for the other without a word (own
choice: a network that drops a fifth of the time loses one in two minutes)."""
AT_ONCE = 100
"""Topics of one subscription: 6 kB with the longest names."""

TAILS = {
    # What is asked of the broker, with its QoS: what it must keep for us while we are
    # away, and what is no news afterwards.
    "alert": 1,
    "alert-second": 1,
    "presence": 0,
    "bridge": 0,
    "heartbeat": 0,
    "alarm/#": 0,
    "readings": 0,
    "estimates": 0,
    "morning": 0,
    "trial": 0,
    "answer": 0,
}


@dataclass(frozen=True, slots=True)
class Mail:
    """One message that arrived."""

    heard: Inbound
    at_s: float
    """Monotonic."""
    is_retained: bool
    arrived: Arrived
    session: int
    """The connection that it came by."""


@dataclass(slots=True)
class Mailbox:
    """What arrived and was not looked at; its owner holds the lock."""

    texts: deque[Mail] = field(default_factory=lambda: deque(maxlen=MOST_TEXTS))
    states: dict[str, Mail] = field(default_factory=dict)

    def put(self, topic: str, mail: Mail) -> None:
        """Keep a message."""
        if isinstance(mail.heard, TextHeard):
            self.texts.append(mail)
        elif topic in self.states or len(self.states) < MOST_STATES:
            before = self.states.pop(topic, None)
            # A live word is not undone by what the broker had kept.
            is_older = before is not None and mail.is_retained > before.is_retained
            self.states[topic] = before if is_older and before else mail

    def empty(self) -> list[Mail]:
        """Return all of it, in order, texts first."""
        mails = [*self.texts, *self.states.values()]
        self.texts.clear()
        self.states.clear()
        return mails


class Listener:
    """Listens to every cabin of one broker, and hands on asks."""

    def __init__(
        self,
        broker: Broker,
        clock: Clock,
        on_news: Callable[[], None],
        *,
        only: Sequence[str] = (),
        dice: Random | None = None,
    ) -> None:
        """Set it up; no connection is made before `start`.

        Args:
            broker: where to.
            clock: for arrivals and deadlines.
            on_news: called from the thread, when something waits or the connection
                changed; must not block.
            only: the cabins that are listened to; none named: all of the broker's.
            dice: for the back-off's jitter.
        """
        self._broker = broker
        self._only = tuple(only) or ("+",)
        self._clock = clock
        self._on_news = on_news
        self._backoff = Backoff(dice or Random(), LONGEST_WAIT_S)
        self._lock = Lock()
        self._mailbox = Mailbox()
        self._is_told = False
        self._asks: deque[Publication] = deque(maxlen=MOST_ASKS)
        self._done: list[Mail] = []
        self._wakeup = Wakeup()
        self._ends = Event()
        self._thread = Thread(target=self._run, name="broker", daemon=True)
        self._is_v5 = True
        self._hang_ups = 0
        self._number = 0
        self._losses: deque[float] = deque(maxlen=FOUGHT_LOSSES)
        self.is_up = False
        """Whether the connection stands."""
        self.problem: BrokerError | None = None
        """Why it does not, as it was last found."""

    def start(self) -> None:
        """Start the thread."""
        self._wakeup.open()
        self._thread.start()

    def is_fought_over(self, now_s: float) -> bool:
        """Return whether another client seems to have our id at the broker."""
        losses = tuple(self._losses)
        return len(losses) == FOUGHT_LOSSES and now_s - losses[0] < FOUGHT_S

    def stop(self, deadline_s: float) -> None:
        """End it, at most in so long."""
        self._ends.set()
        self._wakeup.ring()
        self._thread.join(deadline_s)
        if not self._thread.is_alive():
            self._wakeup.close()

    def collect(self) -> list[Mail]:
        """Return what arrived since last time."""
        with self._lock:
            self._is_told = False
            return self._mailbox.empty()

    def confirm(self, mails: Iterable[Mail]) -> None:
        """Have the broker told that these need not be sent again."""
        with self._lock:
            self._done += [one for one in mails if one.arrived.message_id]
        self._wakeup.ring()

    def ask(self, publication: Publication) -> bool:
        """Send an ask; return whether there is a connection to send it by."""
        with self._lock:
            if not self.is_up:
                return False
            self._asks.append(publication)
        self._wakeup.ring()
        return True

    # --- the thread ---------------------------------------------------------------

    def _run(self) -> None:
        while not self._ends.is_set():
            began_s = self._clock.monotonic()
            try:
                self._attend()
            except BrokerError as error:
                self.problem = error
                self._change_version(error)
            except Exception as bug:  # as a broker that is away: the silence is told
                self.problem = self._broker.refused(f"a bug here ({bug!r})")
            self._lose()
            self._backoff.held_for(self._clock.monotonic() - began_s)
            self._ends.wait(self._backoff.next_s())

    def _lose(self) -> None:
        if self.is_up:
            self._losses.append(self._clock.monotonic())
        with self._lock:
            self.is_up = False
            self._asks.clear()
            self._done.clear()
        self._on_news()

    def _change_version(self, error: BrokerError) -> None:
        """Try the other MQTT, where the broker says so or twice hangs up on this."""
        if error.is_version:
            self._hang_ups = 2
        else:
            self._hang_ups = self._hang_ups + 1 if error.is_hang_up else 0
        if self._hang_ups >= 2:
            self._is_v5, self._hang_ups = not self._is_v5, 0

    def _attend(self) -> None:
        """Hold one connection until it ends.

        Raises:
            BrokerError: it cannot be had, or is gone.
        """
        session = MqttSession(
            self._broker,
            None,
            self._wakeup.fileno(),
            self._clock,
            is_v5=self._is_v5,
            terms=TERMS,
        )
        try:
            session.connect()
            self._number += 1
            for tail, qos in TAILS.items():
                for some in batched(self._only):
                    session.follow((f"{ROOT}/{one}/{tail}", qos) for one in some)
            with self._lock:
                self.is_up = True
            self.problem = None
            self._on_news()
            while not self._ends.is_set():
                self._send(session)
                for event in session.pump(LONGEST_PUMP_S):
                    if isinstance(event, Arrived):
                        self._receive(event, session)
                self._wakeup.hush()
        finally:
            session.close(is_orderly=self._ends.is_set())

    def _send(self, session: MqttSession) -> None:
        with self._lock:
            asks, done = list(self._asks), self._done
            self._asks.clear()
            self._done = []
        for publication in asks:
            session.publish(publication)
        for mail in done:
            if mail.session == self._number:
                session.confirm(mail.arrived)

    def _receive(self, event: Arrived, session: MqttSession) -> None:
        heard = read(event.topic, event.payload, event.envelope.user)
        if heard is None:
            session.confirm(event)
            return
        is_retained = event.envelope.is_retained
        if isinstance(heard, TextHeard) and is_retained:
            # No watch retains an alert: it is of another day, or of another's hand.
            session.confirm(event)
            return
        # The bytes have been read: nothing of them is to wait.
        light = Arrived(
            event.topic, b"", Envelope(), event.message_id, is_first=event.is_first
        )
        now_s = self._clock.monotonic()
        mail = Mail(heard, now_s, is_retained, light, self._number)
        with self._lock:
            self._mailbox.put(_slot(event.topic, heard), mail)
            is_first, self._is_told = not self._is_told, True
        if is_first:
            self._on_news()


def _slot(topic: str, heard: Inbound) -> str:
    """Return what a message waits under: its topic, an alarm's run beside it."""
    return f"{topic} {heard.run}" if isinstance(heard, AlarmHeard) else topic


def batched(cabins: Sequence[str]) -> Iterator[Sequence[str]]:
    """Yield the cabins in lots that fit one packet to any broker."""
    for begin in range(0, len(cabins), AT_ONCE):
        yield cabins[begin : begin + AT_ONCE]
