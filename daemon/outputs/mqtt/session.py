"""One connection to the broker, through paho-mqtt; the only file that knows it.

paho is driven from its owner's thread, without a thread of its own: one thread, one
wake-up, and a deadline on everything.  MQTT 5 where the broker has it, else 3.1.1.
"""

import select
import ssl
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.mqtt.broker import (
    Broker,
    BrokerError,
    connect_error,
    read_password,
    tls_context,
)
from cabinvigil.daemon.outputs.mqtt.messages import Publication
from cabinvigil.daemon.outputs.mqtt.requests import Envelope

NO_RETAINED = 2
"""Retain handling 'do not send': an ask that was retained is from another day."""


@dataclass(frozen=True, slots=True)
class SessionTerms:
    """What a connection agrees on with its broker; as the monitor needs it."""

    largest_packet: int = 65_536
    """Bytes that an MQTT 5 broker may send us in one packet.  An ask has at most 2048,
    and a longer one is answered that it is too long; what is larger than this the
    broker drops without a word to anybody (our choice: 16 of them are 1 MB)."""
    receive_at_most: int = 16
    """Unacknowledged messages that an MQTT 5 broker may send us."""
    kept_s: int = 0
    """The broker keeps the subscriptions, and messages of QoS 1, so long for us."""
    confirms: bool = False
    """A message of QoS 1 is acknowledged by `confirm`, not as it comes."""


WATCHS_TERMS = SessionTerms()


@dataclass(frozen=True, slots=True)
class Acked:
    """The broker has a message, or refused it."""

    message_id: int
    refused: str = ""
    """Why the broker did not take it, in its words."""


@dataclass(frozen=True, slots=True)
class Arrived:
    """A message came in."""

    topic: str
    payload: bytes
    envelope: Envelope
    message_id: int = 0
    """Of a message that waits for `confirm`."""
    is_first: bool = True
    """False: the broker has sent it before."""


SessionEvent = Acked | Arrived


class MqttSession:
    """A connection that is used once; not thread-safe."""

    def __init__(
        self,
        broker: Broker,
        will: Publication | None,
        wake_fd: int,
        clock: Clock,
        *,
        is_v5: bool,
        terms: SessionTerms = WATCHS_TERMS,
    ) -> None:
        """Prepare; nothing is sent before `connect`.

        Args:
            broker: where to.
            will: what the broker says in our stead when we vanish, if anything.
            wake_fd: readable when the owner has something to send.
            clock: for deadlines.
            is_v5: MQTT 5, else 3.1.1.
            terms: what is agreed on with the broker.

        Raises:
            BrokerError: password or certificates cannot be used.
        """
        self._broker = broker
        self._wake_fd = wake_fd
        self._clock = clock
        self._is_v5 = is_v5
        self._terms = terms
        self._events: list[SessionEvent] = []
        self._connack: ReasonCode | None = None
        self._gone: BrokerError | None = None
        version = MQTTProtocolVersion.MQTTv5 if is_v5 else MQTTProtocolVersion.MQTTv311
        # With MQTT 5 it is said in `connect` whether the broker keeps anything.
        clean = None if is_v5 else terms.kept_s <= 0
        self._client = client = paho.Client(
            CallbackAPIVersion.VERSION2,
            broker.client_id,
            clean_session=clean,
            protocol=version,
            manual_ack=terms.confirms,
        )
        client.connect_timeout = broker.connect_s
        if broker.user:
            client.username_pw_set(broker.user, read_password(broker))
        if (context := tls_context(broker)) is not None:
            client.tls_set_context(context)
        if will is not None:
            client.will_set(
                will.topic,
                will.payload,
                qos=will.qos,
                retain=True,
                properties=self._properties(will, PacketTypes.WILLMESSAGE),
            )
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        client.on_message = self._on_message

    def connect(self) -> None:
        """Connect, and wait for the broker's word.

        Raises:
            BrokerError: it cannot be had.
        """
        kwargs: dict[str, Any] = {}
        if self._is_v5:
            limits = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            terms = self._terms
            limits.MaximumPacketSize = terms.largest_packet
            limits.ReceiveMaximum = terms.receive_at_most
            if terms.kept_s > 0:
                limits.SessionExpiryInterval = terms.kept_s
            kwargs = {"clean_start": terms.kept_s <= 0, "properties": limits}
        broker = self._broker
        try:
            self._client.connect(
                broker.host, broker.port, keepalive=broker.keepalive_s, **kwargs
            )
        except (OSError, ValueError) as error:
            raise connect_error(broker, error) from error
        until_s = self._clock.monotonic() + broker.answer_s
        while self._connack is None:
            # What waits to be sent waits on: were it to wake this, it would spin here.
            self._turn(min(0.5, broker.answer_s), wakes=False)
            if self._connack is None and self._gone is not None:
                raise self._gone
            if self._connack is None and self._clock.monotonic() > until_s:
                raise broker.silent()
        if self._connack.is_failure:  # before `_gone`: it hangs up after refusing
            raise self._refusal(self._connack)

    def subscribe(self, topic: str, *, with_retained: bool = False) -> None:
        """Ask for a topic's messages; `with_retained`: for the one of before as well.

        Retained as published: the broker else takes the flag off what a bridge brings
        it later, and an ask of another night would look like one of now.
        """
        if self._is_v5:
            options = SubscribeOptions(
                qos=1,
                retainAsPublished=True,
                retainHandling=0 if with_retained else NO_RETAINED,
            )
            self._client.subscribe(topic, options=options)
        else:
            self._client.subscribe(topic, qos=1)

    def follow(self, topics: Iterable[tuple[str, int]]) -> None:
        """Ask for what is kept and for what comes on topics, each with its QoS.

        Not retained as published: the flag then shows what the broker had kept from
        what is said now.
        """
        if not self._is_v5:
            self._client.subscribe(list(topics))
            return
        self._client.subscribe(
            [(topic, SubscribeOptions(qos=qos)) for topic, qos in topics]
        )

    def confirm(self, arrived: Arrived) -> None:
        """Report the broker that a message needs not be sent again."""
        if arrived.message_id:
            self._client.ack(arrived.message_id, 1)

    def publish(self, publication: Publication) -> int:
        """Hand a message over; return its id, which `Acked` names for QoS 1."""
        info = self._client.publish(
            publication.topic,
            publication.payload,
            qos=publication.qos,
            retain=publication.retain,
            properties=self._properties(publication, PacketTypes.PUBLISH),
        )
        return int(info.mid)

    def unfollow(self, topics: Iterable[str]) -> None:
        """Take back what a kept session was asked for, by this run or one before."""
        self._client.unsubscribe(list(topics))

    def fileno(self) -> int:
        """Return the descriptor that becomes readable; -1: there is none any more."""
        sock = self._client.socket()
        return -1 if sock is None else sock.fileno()

    @property
    def has_more(self) -> bool:
        """Whether something was received that no descriptor shows."""
        return _has_buffered(self._client.socket())

    def pump(self, timeout_s: float, *, also: Sequence[int] = ()) -> list[SessionEvent]:
        """Move bytes for at most so long; return what happened.

        Args:
            timeout_s: how long to wait for a first byte.
            also: descriptors that end the waiting as well.

        Raises:
            BrokerError: the connection is gone.
        """
        self._turn(timeout_s, also=[fd for fd in also if fd >= 0])
        if self._gone is not None:
            raise self._gone
        events, self._events = self._events, []
        return events

    def close(self, *, is_orderly: bool) -> None:
        """End it; in order means that the broker forgets the Will."""
        if is_orderly and self._gone is None:
            self._client.disconnect()
            return
        # A vanished connection is closed below paho, so that no farewell is sent.
        sock = self._client.socket()
        if sock is not None:
            sock.close()

    # --- inside --------------------------------------------------------------

    def _turn(
        self, timeout_s: float, *, wakes: bool = True, also: Sequence[int] = ()
    ) -> None:
        """One round of paho's loop, on our own select, with our own wake-up or not."""
        client, sock = self._client, self._client.socket()
        if sock is None:
            self._lose(self._broker.unreachable("the connection ended"))
            return
        try:
            reads: list[Any] = [sock, self._wake_fd, *also] if wakes else [sock]
            writes = [sock] if client.want_write() else []
            if _has_buffered(sock):
                timeout_s = 0.0
            readable, writable, _ = select.select(
                reads, writes, [], max(0.0, timeout_s)
            )
            if sock in readable or _has_buffered(sock):
                client.loop_read()
            if writable:
                client.loop_write()
            code = client.loop_misc()
        except (OSError, ValueError) as error:  # a socket closed beneath select
            self._lose(connect_error(self._broker, error))
            return
        if code != MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._lose(
                self._broker.silent()
                if self._connack is None
                else self._broker.unreachable("it no longer responds")
            )

    def _lose(self, error: BrokerError) -> None:
        if self._gone is None:
            self._gone = error

    def _on_connect(
        self, _c: Any, _u: Any, _flags: Any, reason: ReasonCode, _p: Any
    ) -> None:
        self._connack = reason

    def _on_disconnect(
        self, _c: Any, _u: Any, flags: Any, reason: ReasonCode, _p: Any
    ) -> None:
        if self._connack is not None and self._connack.is_failure:
            return  # `connect` shows why
        if flags.is_disconnect_packet_from_server:
            self._lose(self._refusal(reason))
        elif self._connack is None:
            # Some brokers without MQTT 5 say nothing and hang up.
            error = self._broker.unreachable(
                "it closed the connection before it replied"
            )
            error.is_hang_up = True
            self._lose(error)
        else:
            self._lose(self._broker.unreachable("the connection was lost"))

    def _on_publish(
        self, _c: Any, _u: Any, mid: int, reason: ReasonCode, _p: Any
    ) -> None:
        self._events.append(Acked(mid, str(reason) if reason.is_failure else ""))

    def _on_message(self, _c: Any, _u: Any, message: paho.MQTTMessage) -> None:
        given = message.properties
        self._events.append(
            Arrived(
                message.topic,
                bytes(message.payload),
                Envelope(
                    getattr(given, "ResponseTopic", "") or "",
                    getattr(given, "CorrelationData", b"") or b"",
                    tuple(getattr(given, "UserProperty", ())),
                    is_retained=message.retain,
                    shows_retained=self._is_v5,
                ),
                message.mid if self._terms.confirms and message.qos else 0,
                is_first=not message.dup,
            )
        )

    def _refusal(self, reason: ReasonCode) -> BrokerError:
        broker = self._broker
        # Codes of MQTT 5 (OASIS MQTT 5.0, 2.4); paho maps those of 3.1.1 onto them.
        match reason.value:
            case 132:  # unsupported protocol version
                error = broker.refused("it does not know this version of MQTT")
                error.is_version = True
                return error
            case 134 | 135:  # bad user name or password; not authorised
                who = (
                    f"user '{broker.user}'" if broker.user else "a client without user"
                )
                return broker.refused(
                    f"it does not let {who} in; check user and password_file"
                )
            case 133 | 142:  # client id not valid; session taken over
                return broker.refused(
                    f"the client id '{broker.client_id}' is not free; is another "
                    "monitor using the same cabin name?"
                )
            case _:
                return broker.refused(str(reason).lower())

    def _properties(self, publication: Publication, kind: int) -> Properties | None:
        if not self._is_v5:
            return None
        given = Properties(kind)  # type: ignore[no-untyped-call]
        if publication.content_type:
            given.ContentType = publication.content_type
            given.PayloadFormatIndicator = 1
        if publication.expiry_s is not None:
            given.MessageExpiryInterval = publication.expiry_s
        if publication.correlation:
            given.CorrelationData = publication.correlation
        if publication.user:
            given.UserProperty = list(publication.user)
        return given


def _has_buffered(sock: Any) -> bool:
    """Whether TLS has unpacked bytes that select cannot see."""
    return isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
