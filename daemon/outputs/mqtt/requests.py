"""Asks that come by MQTT: what is let in, what is answered, when a flood is cut off.

Everything that is not a well-formed ask in its turn ends here, with a line in the log.
"""

from collections.abc import Callable, Mapping
from typing import Any

from cabinvigil.daemon.ask.parse import Ask, RateLimiter, RefusedError, parse_ask
from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import Topics

Reply = Callable[[Mapping[str, Any]], None]
"""Answers an ask; may be called from any thread, once."""
OnAsk = Callable[[Ask, Reply], None]
"""Takes an ask to the core; called from the output's thread, must not block."""
Answer = Callable[[Mapping[str, Any], str, bytes], None]
"""Queues an answer: body, topic ('' is the usual one), correlation."""

FLOOD = 200
"""Refused for their number within ten seconds: no person, and no honest client."""
SHUT_S = 60.0
"""A flooded topic is left alone for so long."""


class RequestGate:
    """The gate before the core, for one cabin's `ask` topic."""

    def __init__(
        self, topics: Topics, on_ask: OnAsk, on_refused: Callable[[str], None]
    ) -> None:
        """Set it up.

        Args:
            topics: of the cabin.
            on_ask: takes what is let in.
            on_refused: told one sentence for what is not, at most every ten seconds.
        """
        self._topics = topics
        self._on_ask = on_ask
        self._on_refused = on_refused
        self._gate = RateLimiter()
        self._crowd = 0
        self._crowd_since_s = float("-inf")

    def arrived(
        self,
        payload: bytes,
        response_topic: str,
        correlation: bytes,
        now: Stamp,
        answer: Answer,
        *,
        is_retained: bool = False,
    ) -> None:
        """Let an ask in, or refuse it; never raises for what came in."""
        self._gate, is_in = self._gate.admit(now.up_s)
        if not is_in:
            self._count_crowd(now.up_s)
            self._refuse("too many asks; at most one a second", now.up_s)
            return
        try:
            if is_retained:
                raise RefusedError("it was retained, and may be of another night")
            if response_topic and not self._topics.is_answer(response_topic):
                raise RefusedError(
                    f"answers go to {self._topics.of('answer')} or below it only"
                )
            wall = now.wall if now.wall >= EARLIEST else None
            ask = parse_ask(payload, "phone", wall)
        except RefusedError as error:
            self._refuse(str(error), now.up_s)
            fits = self._topics.is_answer(response_topic)
            body = {"answer": "refused", "ok": False, "text": str(error)}
            answer(body, response_topic if fits else "", correlation)
            return
        self._let_in(ask, response_topic, correlation, now.up_s, answer)

    def is_flooded(self, now_s: float) -> bool:
        """Say whether the topic should be left alone for a while."""
        return now_s - self._crowd_since_s <= 10.0 and self._crowd >= FLOOD

    def _let_in(
        self, ask: Ask, topic: str, correlation: bytes, now_s: float, answer: Answer
    ) -> None:
        head = {"answer": ask.verb, **({"id": ask.id} if ask.id else {})}

        def reply(body: Mapping[str, Any]) -> None:
            answer({**head, **body}, topic, correlation)

        self._gate, is_repeat = self._gate.is_repeat(ask, now_s)
        if is_repeat:
            reply({"ok": True, "text": "It was done when this was first asked."})
        else:
            try:
                self._on_ask(ask, reply)
            except Exception as error:  # what came in must not end the connection
                self._refuse(f"the watch stumbled over it ({error})", now_s)

    def _refuse(self, why: str, now_s: float) -> None:
        self._gate, count = self._gate.refuse(now_s)
        if count:
            others = f" ({count} refused since the last line)" if count > 1 else ""
            self._on_refused(f"An ask from the phone side was refused: {why}{others}.")

    def _count_crowd(self, now_s: float) -> None:
        if now_s - self._crowd_since_s > 10.0:
            self._crowd, self._crowd_since_s = 0, now_s
        self._crowd += 1
