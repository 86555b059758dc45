"""Two connections to the broker, for texts and for states, held by one thread.

What calls a person stands behind nothing: a flood of readings waits in a connection of
its own, and for a moment after each text it is not read at all.  Nor does a flood cost
memory: of each topic that tells a state only the newest waits, and an alert is
acknowledged only when it is kept, so that the broker holds back the rest.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
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
    BeatHeard,
    BridgeHeard,
    Inbound,
    PresenceHeard,
    TextHeard,
    read,
)

LONGEST_WAIT_S = 2.0
"""Between two tries: a silence is told three seconds after its third heartbeat
(phone/silence), and a broker on a Pi bears one more connection every two."""
KEPT_S = 86_400
"""The broker keeps alerts so long for us: the longest is worth telling for six hours,
a day leaves room for a night without power here (our choice)."""
TERMS = SessionTerms(
    # Beside the payload: topic and properties.
    largest_packet=LARGEST_PAYLOAD + 2048,
    receive_at_most=64,
    kept_s=KEPT_S,
    confirms=True,
)
STATES_TERMS = SessionTerms(largest_packet=LARGEST_PAYLOAD + 2048)
"""Nothing of it is kept by the broker: what stands is retained, the rest is old."""
STATES_ID = "-states"
"""Behind our client id, for that connection; with the usual id 23 letters, as many as
every broker of MQTT 3.1.1 must take (OASIS MQTT 3.1.1, 3.1.3.1)."""
ASIDE_S = 0.03
"""So long states are left unread after a text, for its push to have the interpreter:
eight times what a push takes (tests.bench.phone); as long again they are read, whatever
comes (our choice)."""
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
    lives: dict[str, Mail] = field(default_factory=dict)
    """Signs of life, which say which cabins there are."""
    states: dict[str, Mail] = field(default_factory=dict)

    def put(self, topic: str, mail: Mail) -> None:
        """Keep a message."""
        if isinstance(mail.heard, TextHeard):
            self.texts.append(mail)
            return
        is_life = isinstance(mail.heard, BeatHeard | PresenceHeard | BridgeHeard)
        kept = self.lives if is_life else self.states
        if topic in kept or len(kept) < MOST_STATES:
            before = kept.pop(topic, None)
            # A live word is not undone by what the broker had kept.
            is_older = before is not None and mail.is_retained > before.is_retained
            kept[topic] = before if is_older and before else mail

    def next_mails(self, at_most: int) -> list[Mail]:
        """Return all texts and so many of the rest, signs of life first, in order.

        However many texts there are: a flood of them must make no cabin silent.
        """
        mails: list[Mail] = []
        for kept in (self.lives, self.states):
            topics = list(islice(kept, at_most - len(mails)))
            mails += [kept.pop(topic) for topic in topics]
        mails = [*self.texts, *mails]
        self.texts.clear()
        return mails

    @property
    def is_empty(self) -> bool:
        """Whether nothing waits."""
        return not (self.texts or self.lives or self.states)


@dataclass(slots=True)
class Aside:
    """When states are left unread for a text's sake; but never for two on end."""

    until_s: float = float("-inf")

    def text(self, now_s: float) -> None:
        """Note that a text came."""
        if now_s - self.until_s >= ASIDE_S:
            self.until_s = now_s + ASIDE_S

    def left_s(self, now_s: float) -> float:
        """Return for how long yet; 0: they are read."""
        return max(0.0, self.until_s - now_s)


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
        self._aside = Aside()
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

    def collect(self, at_most: int) -> list[Mail]:
        """Return what arrived: all texts, and so many of the rest at most.

        Whoever does not get all of it is called for the rest.
        """
        with self._lock:
            mails = self._mailbox.next_mails(at_most)
            self._is_told = not self._mailbox.is_empty
            is_more = self._is_told
        if is_more:
            self._on_news()
        return mails

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
        other = replace(self._broker, client_id=f"{self._broker.client_id}{STATES_ID}")
        texts, states = self._session(self._broker, TERMS), None
        try:
            texts.connect()
            self._number += 1
            states = self._session(other, STATES_TERMS)
            states.connect()
            for tail, qos in TAILS.items():
                for some in batched(self._only):
                    topics = [f"{ROOT}/{one}/{tail}" for one in some]
                    if not qos:  # of one connection for all, which the broker had kept
                        texts.unfollow(topics)
                    (texts if qos else states).follow((one, qos) for one in topics)
            with self._lock:
                self.is_up = True
            self.problem = None
            self._on_news()
            while not self._ends.is_set():
                self._turn(texts, states)
        finally:
            for session in (texts, states):
                if session is not None:
                    session.close(is_orderly=self._ends.is_set())

    def _session(self, broker: Broker, terms: SessionTerms) -> MqttSession:
        fd = self._wakeup.fileno()
        return MqttSession(
            broker, None, fd, self._clock, is_v5=self._is_v5, terms=terms
        )

    def _turn(self, texts: MqttSession, states: MqttSession) -> None:
        """Send what waits; take a text, and a state where no text goes before it.

        Raises:
            BrokerError: a connection is gone.
        """
        self._send(texts)
        if aside_s := self._aside.left_s(self._clock.monotonic()):
            self._take(texts, aside_s)
        else:
            wait_s = 0.0 if states.has_more else LONGEST_PUMP_S
            self._take(texts, wait_s, (states.fileno(),))
            self._take(states, 0.0)
        self._wakeup.hush()

    def _take(
        self, session: MqttSession, wait_s: float, also: Sequence[int] = ()
    ) -> None:
        for event in session.pump(wait_s, also=also):
            if isinstance(event, Arrived):
                self._receive(event, session)

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
        if isinstance(heard, TextHeard):
            self._aside.text(now_s)
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
