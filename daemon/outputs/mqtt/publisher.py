"""What the core's commands become on the phone side: the outbox is filled here.

Pure but for its own memory: no thread, no network, no clock.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.daemon.core.model import Alert, Command, Estimate, Record, Transition
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import (
    HEARTBEATS_KEPT,
    STOPPED,
    WATCHING,
    Messages,
    Pending,
    Publication,
)
from cabinvigil.daemon.outputs.mqtt.outbox import Item, Outbox
from cabinvigil.daemon.outputs.mqtt.senml import SeriesReading
from cabinvigil.drivers.kit.quantity import VITAL, is_breathed, split_channel

OLDEST_READING_S = 120.0
"""An older value is not published as a reading: twice the longest tick."""
STALLED_S = 65.0
"""No heartbeat without a step completed within this: the longest tick is 60 s."""
LOOK_AGAIN_S = 1.0
"""While no step is being completed, whether one has been is looked at so often."""


class Publisher:
    """Writes and orders the messages of one cabin."""

    def __init__(
        self, messages: Messages, *, heartbeat_s: float, readings_s: float
    ) -> None:
        """Set it up.

        Args:
            messages: encodes for this cabin.
            heartbeat_s: between two heartbeats.
            readings_s: between two sets of readings.
        """
        self.messages = messages
        self.outbox = Outbox()
        self._heartbeat_s = heartbeat_s
        self._readings_s = readings_s
        self._seq = 0
        self._latest: dict[str, tuple[float, float, bool]] = {}
        self._doubtful = frozenset[str]()
        """Series that the last step did not vouch for."""
        self._readings_due_s = float("-inf")
        self._heartbeat_due_s = float("-inf")
        self._stepped_s = float("-inf")
        self._bump_until_s = float("-inf")
        self._bump_by = ""
        self._watching_s = float("inf")
        """When `WATCHING` was last said; only after a connection was made."""

    def handle(self, command: Command, stamp: Stamp) -> bool:
        """Take a command; return whether something now waits to be sent."""
        match command:
            case Alert():
                self.outbox.put_alert(Pending(command, self._next(), stamp.up_s))
            case Transition():
                seq = self._next()
                said = self.messages.alarm(command, seq, stamp)
                self.outbox.put_state(said, stamp.up_s)
            case Estimate():
                seq = self._next()
                said = self.messages.estimates(command.fields, seq, stamp)
                self.outbox.put_state(said, stamp.up_s)
            case Record(event="bump-test"):
                for_s = command.fields.get("for_s", float("-inf"))
                self._bump_until_s = stamp.up_s + for_s
                self._bump_by = command.fields.get("by", "")
                self._heartbeat_due_s = float("-inf")
                return self.tick(stamp)
            case Record(event="trial"):
                said = self.messages.trial(command.fields, self._next(), stamp)
                self.outbox.put_state(said, stamp.up_s)
            case Record(event="air"):
                self._breathe(command.fields, stamp)
                return self.tick(stamp)
            case _:
                return False
        return True

    def tick(self, now: Stamp) -> bool:
        """Put out the heartbeat and the readings, where they are due."""
        is_put = False
        if now.up_s >= self._heartbeat_due_s:
            is_stepping = now.up_s - self._stepped_s <= STALLED_S
            self._heartbeat_due_s = now.up_s + (
                self._heartbeat_s if is_stepping else LOOK_AGAIN_S
            )
            if is_stepping:
                seq = self._next()
                more = self._bump(now.up_s) | self._unknown(now.up_s)
                said = self.messages.heartbeat(seq, now, self._heartbeat_s, more)
                self.outbox.put_state(said, now.up_s)
                if now.up_s - self._watching_s >= self._heartbeat_s / 2.0:
                    self._say_watching(now)
                is_put = True
        if now.up_s >= self._readings_due_s:
            self._readings_due_s = now.up_s + self._readings_s
            if readings := self._readings(now.up_s):
                self.outbox.put_state(self.messages.readings(readings, now), now.up_s)
                is_put = True
        return is_put

    def due_in_s(self, now_s: float) -> float:
        """Say in how many seconds `tick` may have something to do."""
        return max(0.0, min(self._heartbeat_due_s, self._readings_due_s) - now_s)

    def connected(self, now: Stamp) -> None:
        """Say that the monitor runs, and all that stands; a heartbeat goes at once."""
        self._heartbeat_due_s = float("-inf")
        self._say_watching(now)
        self.outbox.send_states()

    def stopping(self, now: Stamp) -> None:
        """Say that the monitor was stopped in order."""
        self._watching_s = float("inf")
        self.outbox.put_state(self.messages.presence(STOPPED), now.up_s)

    def morning(self, summary: Mapping[str, Any], stamp: Stamp) -> None:
        """Put out the morning's account."""
        said = self.messages.morning(summary, self._next(), stamp)
        self.outbox.put_state(said, stamp.up_s)

    def next(self, now: Stamp) -> tuple[Item, Publication] | None:
        """Take what is to be sent next."""
        return self.outbox.next_due(self.messages, now)

    def _say_watching(self, now: Stamp) -> None:
        """Say so for three heartbeats: a watch that died unnoticed is not believed."""
        self._watching_s = now.up_s
        expiry_s = round(HEARTBEATS_KEPT * self._heartbeat_s)
        said = self.messages.presence(WATCHING, expiry_s)
        self.outbox.put_state(said, now.up_s)

    def _unknown(self, now_s: float) -> dict[str, list[str]]:
        """Return what protects life and nobody knows: silent, warming up, doubtful."""
        known = {
            parts[0].name
            for series, (_, at_s, _) in self._latest.items()
            if now_s - at_s <= STALLED_S
            and series not in self._doubtful
            and is_breathed(series)
            and (parts := split_channel(series)) is not None
        }
        unknown = sorted(set(VITAL) - known)
        return {"unknown": unknown} if unknown else {}

    def _bump(self, now_s: float) -> dict[str, Any]:
        """Return what a heartbeat says of a test of the parts."""
        left_s = self._bump_until_s - now_s
        if left_s <= 0.0:
            return {}
        by = {"bump_by": self._bump_by} if self._bump_by else {}
        return {"bump_for_s": round(left_s, 1), **by}

    def _next(self) -> int:
        self._seq += 1
        return self._seq

    def _breathe(self, fields: Mapping[str, Any], stamp: Stamp) -> None:
        self._stepped_s = stamp.up_s
        at_least = fields.get("at_least", ())
        self._doubtful = frozenset(fields.get("doubtful", ()))
        for series, value in fields.items():
            if isinstance(value, int | float) and split_channel(series) is not None:
                self._latest[series] = (value, stamp.up_s, series in at_least)

    def _readings(self, now_s: float) -> list[SeriesReading]:
        self._latest = {
            series: each
            for series, each in self._latest.items()
            if now_s - each[1] <= OLDEST_READING_S
        }
        return [
            SeriesReading(series, value, now_s - at_s, is_at_least)
            for series, (value, at_s, is_at_least) in self._latest.items()
        ]
