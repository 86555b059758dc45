"""The phone side without a broker: every message goes to a function, in its order.

For tests of what a phone would get; needs no MQTT package.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

from cabinvigil.daemon.core.model import Command
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import Publication
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher


class InlinePhone:
    """An `Output` that delivers at once."""

    name = "mqtt"

    def __init__(
        self, desk: Publisher, deliver: Callable[[Publication, Stamp], None]
    ) -> None:
        """Set it up.

        Args:
            desk: makes and orders the messages.
            deliver: given each message, with the moment of its going.
        """
        self._desk = desk
        self._deliver = deliver
        desk.connected(Stamp(0.0, datetime.fromtimestamp(0.0, UTC)))

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Take a command, and deliver what it makes."""
        if self._desk.handle(command, stamp):
            self._drain(stamp)

    def morning(self, summary: Mapping[str, Any], stamp: Stamp) -> None:
        """Deliver the morning's account."""
        self._desk.morning(summary, stamp)
        self._drain(stamp)

    def start(self) -> None:
        """Nothing to start."""

    def stop(self, deadline_s: float) -> None:
        """Nothing to wait for."""

    def _drain(self, stamp: Stamp) -> None:
        while (taken := self._desk.next(stamp)) is not None:
            self._deliver(taken[1], stamp)
