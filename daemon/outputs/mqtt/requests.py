"""Asks that come by MQTT: what is let in, what is answered, what is told of the rest.

Everything that is not a well-formed ask in its turn ends here, with a line in the log.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.daemon.ask.limits import AskLimits, kind_of
from cabinvigil.daemon.ask.parse import (
    REPORTS,
    Ask,
    RefusedError,
    one_line,
    parse_ask,
)
from cabinvigil.daemon.ask.repeats import Repeats
from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.core.answers import ANSWERS_BY
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import PHONE_TEST, Topics

Reply = Callable[[Mapping[str, Any]], None]
"""Answers an ask; may be called from any thread, once."""
OnAsk = Callable[[Ask, Reply], None]
"""Takes an ask to the core; called from the output's thread, must not block."""
Answer = Callable[[Mapping[str, Any], str, bytes], None]
"""Queues an answer: body, topic ('' is the usual one), correlation."""

NAME = "name"
"""The user property with the asker's name."""


@dataclass(frozen=True, slots=True)
class Envelope:
    """What MQTT brought beside an ask's bytes."""

    response_topic: str = ""
    correlation: bytes = b""
    user: tuple[tuple[str, str], ...] = ()
    """User properties."""
    is_retained: bool = False
    shows_retained: bool = True
    """MQTT 5: a bridge's retained message keeps its flag on the way here."""

    @property
    def name(self) -> str:
        """The asker's name; '' where none is given."""
        return next((one_line(value) for key, value in self.user if key == NAME), "")


class RequestGate:
    """The gate before the core, for one cabin's `ask` topic."""

    def __init__(
        self, topics: Topics, on_ask: OnAsk, on_refused: Callable[[str], None]
    ) -> None:
        """Set it up.

        Args:
            topics: of the cabin.
            on_ask: takes what is let in.
            on_refused: told one sentence for what is not; ever more seldom while it
                goes on.
        """
        self._topics = topics
        self._on_ask = on_ask
        self._on_refused = on_refused
        self._limits = AskLimits()
        self._repeats = Repeats()
        self._retained: bytes | None = None
        """The retained ask that was last told of."""

    def arrived(
        self, payload: bytes, envelope: Envelope, now: Stamp, answer: Answer
    ) -> None:
        """Let an ask in, or refuse it; never raises for what came in."""
        if envelope.is_retained and not payload:
            return  # somebody clears what was retained
        ask, why = self._read(payload, envelope, now)
        sender = self._sender(ask, envelope)
        if not self._limits.admit(sender, kind_of(ask), now.up_s):
            count = self._limits.crowded(now.up_s)
            self._tell("too many requests; each sender has one a second", count)
            return
        if ask is None:
            self._refuse(payload, why, envelope, now)
            body = {"answer": "refused", "ok": False, "text": why}
            fits = self._topics.is_answer(envelope.response_topic)
            topic = envelope.response_topic if fits else ""
            answer(body, topic, envelope.correlation)
        else:
            self._let_in(ask, envelope, now.up_s, answer)

    def is_flooded(self, now_s: float) -> bool:
        """Return whether more comes than any honest sender sends."""
        return self._limits.is_flooded(now_s)

    def _read(
        self, payload: bytes, envelope: Envelope, now: Stamp
    ) -> tuple[Ask | None, str]:
        """Return the ask, or None and why it is refused."""
        topic = envelope.response_topic
        if envelope.is_retained:
            return None, (
                "it was retained, and may be of another night; send it without retain, "
                f"and clear {self._topics.of('ask')} with an empty retained message"
            )
        if topic and not self._topics.is_answer(topic):
            return None, f"replies go to {self._topics.of('answer')} or below it only"
        wall = now.wall if now.wall >= EARLIEST else None
        try:
            ask = parse_ask(
                payload,
                "phone",
                wall,
                name=envelope.name,
                shows_retained=envelope.shows_retained,
            )
        except RefusedError as error:
            return None, str(error)
        return ask, ""

    def _sender(self, ask: Ask | None, envelope: Envelope) -> str:
        """Report senders apart, as far as they let us; '' for all others together."""
        if envelope.name:
            return envelope.name
        if ask is not None and ask.act is not None and ask.act.kind in ANSWERS_BY:
            return ask.act.text or envelope.response_topic
        fits = self._topics.is_answer(envelope.response_topic)
        return envelope.response_topic if fits else ""

    def _let_in(
        self, ask: Ask, envelope: Envelope, now_s: float, answer: Answer
    ) -> None:
        is_for_precheck = ask.act is not None and ask.act.alarm == PHONE_TEST
        if is_for_precheck or ask.verb in REPORTS:
            return  # the precheck listens here too, and answers it
        head = {"answer": ask.verb, **({"id": ask.id} if ask.id else {})}

        first, is_repeat = self._repeats.first_of(ask, now_s)

        def reply(body: Mapping[str, Any]) -> None:
            first.body = body
            answer({**head, **body}, envelope.response_topic, envelope.correlation)

        if is_repeat:
            if first.body is not None:  # else the answer is still to come
                reply(first.body)
            return
        try:
            self._on_ask(ask, reply)
        except Exception as error:  # what came in must not end the connection
            count = self._limits.refused(now_s)
            self._tell(f"the monitor had an internal error ({error})", count)

    def _refuse(self, payload: bytes, why: str, envelope: Envelope, now: Stamp) -> None:
        """Report of a refusal; a retained ask comes with every connection: once."""
        if envelope.is_retained:
            if payload == self._retained:
                return
            self._retained = payload
        self._tell(why, self._limits.refused(now.up_s))

    def _tell(self, why: str, count: int) -> None:
        if count:
            others = f" ({count} refused since the last line)" if count > 1 else ""
            self._on_refused(
                f"A request from the phone side was refused: {why}{others}."
            )
