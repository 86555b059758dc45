"""Whether a press on the page is passed to the monitor: pure, but for its own memory.

Never stronger than the button in the cabin: it quiets one stand of one alarm, once, and
the monitor itself decides what that means.
"""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.ask.parse import LONGEST_TEXT, one_line
from cabinvigil.daemon.phone.board import Board
from cabinvigil.daemon.phone.inbound import LONGEST_WORD

OLDEST_VIEW_S = 5.0
"""What a page showed longer ago may no longer be so (../page: data older than 5 s)."""
PER_STAND, PER_HOUR = 3, 6
"""Answers passed on for one stand, and in an hour of one cabin, all devices together
(our choice: the button's own flood is six a minute)."""
MARKS_PER_HOUR = 12
"""Marks passed on in an hour of one cabin, all devices together (our choice: a vent
moved every five minutes)."""
HOUR_S = 3600.0
MOST_BYTES = 1024
_KEYS = {"cabin", "alarm", "stand", "as_of_ms"}
_MARK_KEYS = {"cabin", "text"}


@dataclass(frozen=True, slots=True)
class PagePress:
    """A press that may be passed on."""

    cabin: str
    alarm: str
    stand: int


@dataclass(frozen=True, slots=True)
class PageMark:
    """A mark that may be passed on."""

    cabin: str
    text: str


class RefusedPressError(ValueError):
    """A press is not passed on; the message is a sentence for who pressed."""


@dataclass(slots=True)
class AnswerGate:
    """Judges presses; not thread-safe."""

    board: Board
    _stands: dict[tuple[str, str, int], int] = field(default_factory=dict)
    _hour: dict[str, deque[float]] = field(default_factory=dict)
    _marks: dict[str, deque[float]] = field(default_factory=dict)

    def judge(self, body: Any, now_s: float) -> PagePress:
        """Return what is to be asked of the monitor.

        Args:
            body: as it came, any JSON.
            now_s: monotonic, on the clock of the views' `as_of_ms`.

        Raises:
            RefusedPressError: with the reason.
        """
        cabin, alarm, stand, as_of_ms = _read(body)
        age_s = now_s - as_of_ms / 1000.0
        if not -0.5 <= age_s <= OLDEST_VIEW_S:
            raise RefusedPressError(
                "Not passed on: what the page showed is too old. Look again."
            )
        standing = self.board.stand_of(cabin, alarm, now_s)
        if standing is None:
            raise RefusedPressError(
                "Nothing to acknowledge: that alarm does not sound."
            )
        if standing != stand:
            raise RefusedPressError(
                "Not passed on: it has sounded again since. Look again, then press."
            )
        key = (cabin, alarm, stand)
        hour = _last_hour(self._hour, cabin, now_s)
        if self._stands.get(key, 0) >= PER_STAND or len(hour) >= PER_HOUR:
            raise RefusedPressError(
                "Not passed on: acknowledged too often from here. Press the button "
                "in the cabin."
            )
        if len(self._stands) > 1000:
            self._stands.clear()
        self._stands[key] = self._stands.get(key, 0) + 1
        hour.append(now_s)
        return PagePress(cabin, alarm, stand)

    def judge_mark(self, body: Any, now_s: float) -> PageMark:
        """Return what is to be noted in the monitor's log.

        Args:
            body: as it came, any JSON.
            now_s: monotonic.

        Raises:
            RefusedPressError: with the reason.
        """
        if not isinstance(body, Mapping) or set(body) != _MARK_KEYS:
            raise RefusedPressError(DISAGREE)
        cabin, text = body["cabin"], body["text"]
        is_text = isinstance(cabin, str) and isinstance(text, str)
        if not is_text or len(cabin) > LONGEST_WORD or len(text) > LONGEST_TEXT:
            raise RefusedPressError(DISAGREE)
        if not self.board.knows(cabin):
            raise RefusedPressError("Not passed on: there is no such cabin.")
        marks = _last_hour(self._marks, cabin, now_s)
        if len(marks) >= MARKS_PER_HOUR:
            raise RefusedPressError(
                f"Not passed on: {MARKS_PER_HOUR} marks came from here within an hour."
            )
        marks.append(now_s)
        return PageMark(cabin, one_line(text))


def _last_hour(
    by_cabin: dict[str, deque[float]], cabin: str, now_s: float
) -> deque[float]:
    hour = by_cabin.setdefault(cabin, deque())
    while hour and now_s - hour[0] > HOUR_S:
        hour.popleft()
    return hour


DISAGREE = "Not passed on: the page and this server do not agree."


def _read(body: Any) -> tuple[str, str, int, float]:
    wrong = RefusedPressError(DISAGREE)
    if not isinstance(body, Mapping) or set(body) != _KEYS:
        raise wrong
    cabin, alarm = body["cabin"], body["alarm"]
    stand, as_of_ms = body["stand"], body["as_of_ms"]
    is_text = isinstance(cabin, str) and isinstance(alarm, str)
    if not is_text or max(len(cabin), len(alarm)) > LONGEST_WORD:
        raise wrong
    if isinstance(stand, bool) or not isinstance(stand, int):
        raise wrong
    if isinstance(as_of_ms, bool) or not isinstance(as_of_ms, int | float):
        raise wrong
    if not 0 <= as_of_ms < 1e15:
        raise wrong
    return cabin, alarm, stand, float(as_of_ms)
