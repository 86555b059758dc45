"""What goes from here to the monitor: answers, marks, and reports on a test."""

import asyncio
import os
from typing import Any

from cabinvigil.daemon.ask.parse import DELIVERED, LONGEST_TEXT, UNDELIVERED
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.mqtt.messages import Publication, Topics
from cabinvigil.daemon.phone.answers import AnswerGate
from cabinvigil.daemon.phone.board import Board
from cabinvigil.daemon.phone.inbound import AnswerHeard
from cabinvigil.daemon.phone.listener import Listener
from cabinvigil.daemon.phone.rings import PhoneMessage
from cabinvigil.daemon.text.json import dumps
from cabinvigil.daemon.text.moments import utc_text

ANSWER_S = 0.9
"""For the monitor's answer to a press: the page says within a second if none came."""
EXPIRY_S = 30
"""The monitor refuses an answer that is older."""
OWN_NAME = "cabinvigil-phone"


class Asks:
    """Passes presses on; used from the loop."""

    def __init__(self, board: Board, listener: Listener, clock: Clock) -> None:
        """Set it up.

        Args:
            board: says what can be answered.
            listener: sends.
            clock: for the moment of each ask.
        """
        self._gate = AnswerGate(board)
        self._listener = listener
        self._clock = clock
        self._asked: dict[str, asyncio.Future[AnswerHeard]] = {}

    async def answer(self, body: Any, device: str) -> tuple[bool, str]:
        """Pass an answer on; return whether the monitor took it, and a sentence.

        Raises:
            RefusedPressError: it is not passed on.
        """
        press = self._gate.judge(body, self._clock.monotonic())
        return await self._ask(
            press.cabin,
            {"ask": "acknowledge", "alarm": press.alarm, "text": device},
            device,
        )

    async def mark(self, body: Any, device: str) -> tuple[bool, str]:
        """Pass a mark on; return whether the monitor took it, and a sentence.

        Raises:
            RefusedPressError: it is not passed on.
        """
        mark = self._gate.judge_mark(body, self._clock.monotonic())
        text = mark.text or f"marked by {device}"
        ok, said = await self._ask(mark.cabin, {"ask": "mark", "text": text}, device)
        if ok and not mark.text:
            said = f"{said} Without words: '{text}'."
        return ok, said

    def report(self, ring: PhoneMessage, name: str, reason: str) -> None:
        """Report to a cabin what became of its test.

        Args:
            ring: the test.
            name: of the address.
            reason: why it did not take it; '' where it did.
        """
        verb, text = (UNDELIVERED, f"{name}: {reason}") if reason else (DELIVERED, name)
        self._publish(ring.cabin, {"ask": verb, "text": text[:LONGEST_TEXT]}, OWN_NAME)

    def answered(self, heard: AnswerHeard) -> None:
        """Take what the monitor answers."""
        future = self._asked.get(heard.id)
        if future is not None and not future.done():
            future.set_result(heard)

    async def _ask(
        self, cabin: str, body: dict[str, str], device: str
    ) -> tuple[bool, str]:
        ident = os.urandom(8).hex()
        loop = asyncio.get_running_loop()
        heard: asyncio.Future[AnswerHeard] = loop.create_future()
        self._asked[ident] = heard
        try:
            if not self._publish(cabin, {**body, "id": ident}, device):
                return (
                    False,
                    "Not received: the broker is out of reach. Use the button.",
                )
            async with asyncio.timeout(ANSWER_S):
                said = await heard
        except TimeoutError:
            return False, (
                "Not received: the monitor did not respond. Press again, or go there."
            )
        finally:
            self._asked.pop(ident, None)
        return said.ok, said.text or ("Heard." if said.ok else "Refused.")

    def _publish(self, cabin: str, body: dict[str, str], name: str) -> bool:
        body = {**body, "at": utc_text(self._clock.wall())}
        return self._listener.ask(
            Publication(
                Topics(cabin).of("ask"),
                dumps(body).encode(),
                expiry_s=EXPIRY_S,
                user=(("name", name),),
            )
        )
