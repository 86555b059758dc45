"""What a person may ask from outside, by phone or on the machine's socket. Pure.

Whatever bytes come, the outcome is an `Ask` or one `RefusedError` with a sentence.  No
ask can change a limit, run anything, or silence a standing high: the core bounds every
act that an ask becomes, and nothing here reaches past the core.
"""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Literal

from cabinvigil.daemon.core.answers import ANSWERS_BY
from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.text.durations import seconds
from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.plain import plain

Origin = Literal["phone", "socket"]

LARGEST = 2048
"""Bytes of one ask: the longest honest one is under 400."""
LONGEST_TEXT = 200
LONGEST_ID = 64
LONGEST_NAME = 40
"""Of the asker's name, which is told to both phones; the rest is left out."""
OLDEST_S = 120.0
"""An ask that states an older moment is refused: a bridge may deliver it hours late."""
AHEAD_S = 600.0
"""A phone's clock may run ahead of the cabin's by so much."""
ANSWER_OLDEST_S = 30.0
"""An answer to an alarm may be no older, nor further ahead: one of then must not quiet
an alarm of now (our choice: a slow network's delay, and clocks that a network sets)."""
SHELVE_AT_MOST_S = 24 * 3600.0
"""More is refused as a mistake; each alarm's own limit is the core's."""

_SOCKET_ACTS: Mapping[str, ActKind] = {
    kind.value: kind
    for kind in (ActKind.OUT_OF_SERVICE, ActKind.BUMP_TEST, ActKind.BUMP_END)
}
"""Taking a guard out of service, and holding gas to a part, needs a hand in the cabin,
not a phone anywhere."""
_ACTS: Mapping[str, ActKind] = {
    kind.value: kind for kind in ActKind if kind.value not in _SOCKET_ACTS
}
STATUS = "status"
DELIVERED, UNDELIVERED = "delivered", "undelivered"
REPORTS = frozenset({DELIVERED, UNDELIVERED})
"""What a phone's end says of the test before bed: no ask of the monitor."""

_KEYS = {"ask", "alarm", "text", "for_s", "id", "at"}
_ALARM = re.compile(r"[a-z0-9][a-z0-9_-]*(/[A-Za-z0-9._-]+)?")
_NEEDS_ALARM = {"shelve", "unshelve", "out-of-service", "return-to-service"}
_NEEDS_TEXT = {"mark": "the words to note", "trial": "what is tried, in a few words"}
_NEEDS_MOMENT = frozenset(_ACTS) - {ActKind.MARK.value} | REPORTS
"""What a phone may ask for only with the moment at which it did."""
AGE_DECIMALS = 3
"""As the log writes it, so that a replay decides as was decided."""
EXAMPLE_MOMENT = "2025-01-14T21:00:00Z"


class RefusedError(CabinvigilError, ValueError):
    """An ask is not taken; the message says why, and how to mend it."""


@dataclass(frozen=True, slots=True)
class Ask:
    """One ask that is well formed."""

    verb: str
    act: Act | None
    """What the core is to be told; None for `status` and for reports."""
    id: str = ""
    """The asker's own word for it, given back in the answer."""
    text: str = ""
    """Of a report: which address, and why not."""


def parse_ask(
    data: bytes,
    by: Origin,
    wall: datetime | None = None,
    *,
    name: str = "",
    shows_retained: bool = True,
) -> Ask:
    """Read one ask.

    Args:
        data: a JSON object, `{"ask": "acknowledge", "alarm": "o2-low", "at": ...}`.
        by: where it came from.
        wall: now, to refuse a stale one; None where the clock cannot be believed.
        name: the asker's, where it came beside the bytes.
        shows_retained: whether what a broker kept for late comers would be seen as
            that; where not, its moment alone tells a kept mark from one of now.

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
    needs_moment = by == "phone" and (
        verb in _NEEDS_MOMENT or (verb != STATUS and not shows_retained)
    )
    age_s = _age_s(verb, fields.get("at"), wall, is_needed=needs_moment)
    word = _text(fields, "id", LONGEST_ID)
    if verb == STATUS:
        return Ask(STATUS, None, word)
    if verb in REPORTS:
        return Ask(verb, None, word, _text(fields, "text", LONGEST_TEXT))
    act = _act(verb, fields, by)
    if act.kind in ANSWERS_BY:
        who = act.text or one_line(name) or word
        act = replace(act, text=who[:LONGEST_NAME].rstrip(), age_s=age_s)
    return Ask(verb, act, word)


def _verbs(by: Origin) -> list[str]:
    own = _SOCKET_ACTS if by == "socket" else REPORTS
    return sorted({*_ACTS, *own, STATUS})


def _object(data: bytes) -> dict[str, Any]:
    if len(data) > LARGEST:
        raise RefusedError(f"{len(data)} bytes are too many; at most {LARGEST}")
    try:
        fields = json.loads(data.decode("utf-8"), object_pairs_hook=_once)
    except RefusedError:
        raise
    except (ValueError, RecursionError) as error:
        raise RefusedError(
            'it is not a JSON object such as {"ask": "acknowledge"}'
        ) from error
    if not isinstance(fields, dict):
        raise RefusedError('it is not a JSON object such as {"ask": "acknowledge"}')
    return fields


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Take no key twice: readers differ in which of them counts.

    Raises:
        RefusedError: names the key.
    """
    fields = dict(pairs)
    if len(fields) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise RefusedError(f"the key '{twice:.40}' is there twice; give it once")
    return fields


def _act(verb: str, fields: Mapping[str, Any], by: Origin) -> Act:
    alarm = _text(fields, "alarm", LONGEST_ID)
    if alarm and not _ALARM.fullmatch(alarm):
        raise RefusedError("'alarm' must be an alarm's id, such as o2-low")
    if not alarm and verb in _NEEDS_ALARM:
        raise RefusedError(f"'{verb}' needs 'alarm', the id of one alarm")
    text = _text(fields, "text", LONGEST_TEXT)
    if verb in _NEEDS_TEXT and not text:
        raise RefusedError(f"'{verb}' needs 'text', {_NEEDS_TEXT[verb]}")
    for_s = fields.get("for_s", 0.0)
    is_number = isinstance(for_s, int | float) and not isinstance(for_s, bool)
    if not is_number or not 0.0 <= for_s <= SHELVE_AT_MOST_S:
        raise RefusedError(
            f"'for_s' must be seconds from 0 to {SHELVE_AT_MOST_S:.0f}, as a number"
        )
    if verb == "shelve" and not for_s:
        raise RefusedError("'shelve' needs 'for_s', the seconds to put it off for")
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


def one_line(text: str) -> str:
    """Return a text as one printable line; what cannot be shown is left out."""
    return " ".join(plain(text).split())


def _age_s(verb: str, at: Any, wall: datetime | None, *, is_needed: bool) -> float:
    """Return how long ago an ask was sent, in seconds; 0 where it does not say.

    Raises:
        RefusedError: it must say and does not, or is too old, or nobody can tell.
    """
    if is_needed and wall is None:
        raise RefusedError(
            "the cabin's clock is not set, so the age of this is unknown: press the "
            "button in the cabin"
        )
    if at is None:
        if is_needed:
            raise RefusedError(
                f"'{verb}' needs 'at', the moment at which it was sent, such as "
                f"{EXAMPLE_MOMENT}"
            )
        return 0.0
    return _checked_age_s(verb, at, wall)


def _checked_age_s(verb: str, at: Any, wall: datetime | None) -> float:
    try:
        moment = datetime.fromisoformat(at)
        moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        age_s = 0.0 if wall is None else (wall - moment).total_seconds()
    except (TypeError, ValueError, OverflowError) as error:
        raise RefusedError(f"'at' must be a moment such as {EXAMPLE_MOMENT}") from error
    is_answer = _ACTS.get(verb) in ANSWERS_BY
    if age_s > (ANSWER_OLDEST_S if is_answer else OLDEST_S):
        raise RefusedError(
            f"by the cabin's clock it was asked {seconds(age_s)} ago and may be about "
            f"another alarm; ask again"
        )
    if age_s < -(ANSWER_OLDEST_S if is_answer else AHEAD_S):
        raise RefusedError(
            f"by the cabin's clock 'at' is {seconds(-age_s)} in the future; set the "
            "phone's clock, or the cabin's"
        )
    return max(0.0, round(age_s, AGE_DECIMALS))
