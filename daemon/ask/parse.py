"""What a person may ask from outside, by phone or on the machine's socket. Pure.

Whatever bytes come, the outcome is an `Ask` or one `RefusedError` with a sentence.  No
ask can change a limit, run anything, or silence a standing high: the core bounds every
act that an ask becomes, and nothing here reaches past the core.
"""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.text.errors import CabinvigilError

Origin = Literal["phone", "socket"]

LARGEST = 2048
"""Bytes of one ask: the longest honest one is under 400."""
LONGEST_TEXT = 200
LONGEST_ID = 64
OLDEST_S = 120.0
"""An ask that states an older moment is refused: a bridge may deliver it hours late,
and an acknowledgement of then must not quiet an alarm of now."""
AHEAD_S = 600.0
"""A phone's clock may run ahead of the cabin's by so much."""
SHELVE_AT_MOST_S = 24 * 3600.0
"""More is refused as a mistake; each alarm's own limit is the core's."""

_ACTS: Mapping[str, ActKind] = {
    kind.value: kind for kind in ActKind if kind is not ActKind.OUT_OF_SERVICE
}
_SOCKET_ACTS: Mapping[str, ActKind] = {
    "out-of-service": ActKind.OUT_OF_SERVICE,
}
"""Taking a guard out of service needs a hand in the cabin, not a phone anywhere."""
STATUS = "status"

_KEYS = {"ask", "alarm", "text", "for_s", "id", "at"}
_ALARM = re.compile(r"[a-z0-9][a-z0-9_-]*(/[A-Za-z0-9._-]+)?")
_NEEDS_ALARM = {"shelve", "unshelve", "out-of-service", "return-to-service"}


class RefusedError(CabinvigilError, ValueError):
    """An ask is not taken; the message says why, and how to mend it."""


@dataclass(frozen=True, slots=True)
class Ask:
    """One ask that is well formed."""

    verb: str
    act: Act | None
    """What the core is to be told; None for `status`."""
    id: str = ""
    """The asker's own word for it, given back in the answer."""


def parse_ask(data: bytes, by: Origin, wall: datetime | None = None) -> Ask:
    """Read one ask.

    Args:
        data: a JSON object, `{"ask": "acknowledge", "alarm": "o2-low"}`.
        by: where it came from.
        wall: now, to refuse a stale one; None where the clock cannot be believed.

    Raises:
        RefusedError: whatever else the bytes are.
    """
    fields = _object(data)
    unknown = sorted(fields.keys() - _KEYS)
    if unknown:
        raise RefusedError(
            f"the key '{unknown[0]:.40}' is not known; known are "
            f"{', '.join(sorted(_KEYS))}"
        )
    verb = fields.get("ask")
    verbs = _verbs(by)
    if not isinstance(verb, str) or verb not in verbs:
        raise RefusedError(f"'ask' must be one of {', '.join(verbs)}")
    _check_moment(fields.get("at"), wall)
    word = _text(fields, "id", LONGEST_ID)
    if verb == STATUS:
        return Ask(STATUS, None, word)
    return Ask(verb, _act(verb, fields, by), word)


def _verbs(by: Origin) -> list[str]:
    own = _SOCKET_ACTS if by == "socket" else {}
    return sorted({*_ACTS, *own, STATUS})


def _object(data: bytes) -> dict[str, Any]:
    if len(data) > LARGEST:
        raise RefusedError(f"{len(data)} bytes are too many; at most {LARGEST}")
    try:
        fields = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise RefusedError(
            'it is no JSON object such as {"ask": "acknowledge"}'
        ) from error
    if not isinstance(fields, dict):
        raise RefusedError('it is no JSON object such as {"ask": "acknowledge"}')
    return fields


def _act(verb: str, fields: Mapping[str, Any], by: Origin) -> Act:
    alarm = _text(fields, "alarm", LONGEST_ID)
    if alarm and not _ALARM.fullmatch(alarm):
        raise RefusedError("'alarm' must be an alarm's id, such as o2-low")
    if not alarm and verb in _NEEDS_ALARM:
        raise RefusedError(f"'{verb}' needs 'alarm', the id of one alarm")
    text = _text(fields, "text", LONGEST_TEXT)
    if verb == "mark" and not text:
        raise RefusedError("'mark' needs 'text', the words to note")
    for_s = fields.get("for_s", 0.0)
    is_number = isinstance(for_s, int | float) and not isinstance(for_s, bool)
    if not is_number or not 0.0 <= for_s <= SHELVE_AT_MOST_S:
        raise RefusedError(
            f"'for_s' must be seconds from 0 to {SHELVE_AT_MOST_S:.0f}, as a number"
        )
    kind = _ACTS.get(verb) or _SOCKET_ACTS[verb]
    return Act(kind, alarm, by, text, float(for_s))


def _text(fields: Mapping[str, Any], key: str, longest: int) -> str:
    """Take a field as one printable line."""
    value = fields.get(key, "")
    if not isinstance(value, str):
        raise RefusedError(f"'{key}' must be a text")
    if len(value) > longest:
        raise RefusedError(f"'{key}' has {len(value)} characters; at most {longest}")
    line = " ".join(value.split())
    if not line.isprintable():
        raise RefusedError(f"'{key}' holds characters that cannot be shown")
    return line


def _check_moment(at: Any, wall: datetime | None) -> None:
    if at is None:
        return
    try:
        moment = datetime.fromisoformat(at)
        moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        age_s = 0.0 if wall is None else (wall - moment).total_seconds()
    except (TypeError, ValueError, OverflowError) as error:
        raise RefusedError(
            "'at' must be a moment such as 2025-01-14T21:00:00Z"
        ) from error
    if age_s > OLDEST_S:
        raise RefusedError(
            f"it was asked {timedelta(seconds=round(age_s))} ago and may be about "
            f"another alarm; ask again"
        )
    if age_s < -AHEAD_S:
        raise RefusedError("'at' lies in the future; set the asking phone's clock")


@dataclass(frozen=True, slots=True)
class RateLimiter:
    """Caps how often is asked, and finds repeats. Frozen: each call gives the next.

    Buckets: ten asks at once, then one a second; more than a person with a fright
    sends, less than costs the watch anything.
    """

    tokens: float = 10.0
    at_s: float = 0.0
    refused: int = 0
    """Refused since the last `told_s`."""
    told_s: float = float("-inf")
    recent: tuple[tuple[float, str], ...] = field(default=())
    """(moment, id and content) of the last asks that brought an id."""

    BURST = 10.0
    PER_S = 1.0
    TELL_EVERY_S = 10.0
    """Refusals are told in one line each ten seconds, with their number."""
    REPEAT_S = 120.0
    REPEATS_KEPT = 32

    def admit(self, now_s: float) -> "tuple[RateLimiter, bool]":
        """Take one token, where there is one."""
        tokens = min(self.BURST, self.tokens + (now_s - self.at_s) * self.PER_S)
        is_in = tokens >= 1.0
        left = tokens - 1.0 if is_in else tokens
        return replace(self, tokens=left, at_s=now_s), is_in

    def is_repeat(self, ask: Ask, now_s: float) -> "tuple[RateLimiter, bool]":
        """Say whether the same ask with the same id came before.

        MQTT may deliver twice.  Acknowledging twice is harmless, and is never held
        for a repeat: a client that gives all asks one id must not be locked out.
        """
        if not ask.id or ask.verb in {STATUS, ActKind.ACKNOWLEDGE.value}:
            return self, False
        key = f"{ask.id}\n{ask.act}"
        kept = tuple(e for e in self.recent if now_s - e[0] <= self.REPEAT_S)
        if any(known == key for _, known in kept):
            return replace(self, recent=kept), True
        kept = (*kept, (now_s, key))[-self.REPEATS_KEPT :]
        return replace(self, recent=kept), False

    def refuse(self, now_s: float) -> "tuple[RateLimiter, int]":
        """Count a refusal; return how many to tell of now, 0 for none yet."""
        count = self.refused + 1
        if now_s - self.told_s < self.TELL_EVERY_S:
            return replace(self, refused=count), 0
        return replace(self, refused=0, told_s=now_s), count
