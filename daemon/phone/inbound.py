"""What the broker brings, read: any bytes on any topic become a message or nothing.

Whoever holds the broker may write what he likes there.  So every length is bounded,
every number is finite, and no letter may steer a screen.
"""

import json
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from cabinvigil.daemon.outputs.mqtt.messages import (
    LOST,
    OUT,
    ROOT,
    STOPPED,
    URGENCY_OF_WORD,
    WAKE,
    WATCHING,
    WELL,
)
from cabinvigil.daemon.phone.labels import LABELS

LARGEST_PAYLOAD = 65_536
"""Bytes; the largest that a monitor sends, a morning's account, has a tenth of it."""
LONGEST_TEXT = 600
"""Letters of a text; the longest sentence has 300 (our choice)."""
LONGEST_WORD = 80
MOST_SERIES = 64
LONGEST_AGE_S = 86_400.0
LONGEST_BUMP_S = 300.0
"""Of a test of the parts (core/bump)."""

_CABIN = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_ALARM = re.compile(r"[a-z0-9][a-z0-9_-]*(/[A-Za-z0-9._-]+)?")
_SERIES = re.compile(r"[a-z][a-z0-9_]*(__[A-Za-z0-9._-]+)?(/at-least)?")


@dataclass(frozen=True, slots=True)
class BeatHeard:
    """The monitor completes steps."""

    cabin: str
    run: str
    seq: int
    up_s: float
    """Seconds since the monitor's start, as it said so."""
    period_s: float
    is_emulated: bool = False
    """A rehearsal: its air is invented."""
    bump_for_s: float = 0.0
    """Gas or breath is held to the parts, for so long at most."""
    bump_by: str = ""
    """`breath`, `gas`, or '' where nobody said."""
    unknown: tuple[str, ...] = ()
    """What protects life and nothing there measures beyond doubt now."""


@dataclass(frozen=True, slots=True)
class PresenceHeard:
    """`watching`, `stopped` or `lost`."""

    cabin: str
    word: str


@dataclass(frozen=True, slots=True)
class BridgeHeard:
    """Whether the bridge between two brokers stands."""

    cabin: str
    is_up: bool


@dataclass(frozen=True, slots=True)
class AlarmHeard:
    """The state of one alarm."""

    cabin: str
    alarm: str
    state: str
    priority: str
    urgency: int
    text: str
    since: str
    """When the condition was raised, ISO 8601 by the cabin's clock."""
    run: str
    seq: int


@dataclass(frozen=True, slots=True)
class TextHeard:
    """A sentence for a person."""

    cabin: str
    is_second: bool
    text: str
    alarm: str
    urgency: int
    id: str
    """The same for the same message, however often it comes."""
    expires_s: float
    """So long it is still worth telling, from `at`."""


@dataclass(frozen=True, slots=True)
class ReadingsHeard:
    """The newest values: by series the value, its age, and whether it is at least."""

    cabin: str
    values: Mapping[str, tuple[float, float, bool]]


@dataclass(frozen=True, slots=True)
class EstimatesHeard:
    """What the trend says, keys as in the log."""

    cabin: str
    fields: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class MorningHeard:
    """The night's account in one line."""

    cabin: str
    text: str
    verdict: str


@dataclass(frozen=True, slots=True)
class TrialHeard:
    """Nobody is inside: a trial was begun, or has ended."""

    cabin: str
    is_on: bool
    text: str
    until: str
    run: str

    def shown(self, run: str) -> list[str] | None:
        """Return its words and end; None where another run of the monitor is alive.

        The broker keeps what a monitor said that died in a trial; nobody says its end.
        """
        return [self.text, self.until] if run == self.run else None


@dataclass(frozen=True, slots=True)
class AnswerHeard:
    """What became of an ask of ours."""

    cabin: str
    id: str
    ok: bool
    text: str


Inbound = (
    BeatHeard
    | PresenceHeard
    | BridgeHeard
    | AlarmHeard
    | TextHeard
    | ReadingsHeard
    | EstimatesHeard
    | MorningHeard
    | TrialHeard
    | AnswerHeard
)


def read(
    topic: str, payload: bytes, user: tuple[tuple[str, str], ...] = ()
) -> Inbound | None:
    """Return what a message says; None where it says nothing that we know.

    Args:
        topic: as it came.
        payload: any bytes.
        user: user properties of MQTT 5.
    """
    root, _, rest = topic.partition("/")
    cabin, _, tail = rest.partition("/")
    is_ours = root == ROOT and len(cabin) <= 40 and _CABIN.fullmatch(cabin)
    if not is_ours or len(payload) > LARGEST_PAYLOAD:
        return None
    try:
        return _read(cabin, tail, payload, user)
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return None


def _read(
    cabin: str, tail: str, payload: bytes, user: tuple[tuple[str, str], ...]
) -> Inbound | None:
    match tail:
        case "presence":
            word = payload[:20].decode("ascii")
            is_known = word in (WATCHING, STOPPED, LOST)
            return PresenceHeard(cabin, word) if is_known else None
        case "bridge":
            is_known = payload in (b"0", b"1")
            return BridgeHeard(cabin, payload == b"1") if is_known else None
        case "alert" | "alert-second":
            return _text(cabin, tail == "alert-second", payload, user)
    if not payload:
        return None  # a retained message that was taken away
    body = json.loads(payload)
    if tail == "readings":
        return _readings(cabin, body)
    if not isinstance(body, dict):
        return None
    match tail:
        case "heartbeat":
            period_s = min(600.0, max(5.0, _number(body["period_s"])))
            up_s, is_emulated = _number(body["up_s"]), body.get("emulated") is True
            bump_s = min(LONGEST_BUMP_S, max(0.0, _number(body.get("bump_for_s", 0))))
            by = body.get("bump_by") if body.get("bump_by") in ("breath", "gas") else ""
            said = body.get("unknown")
            names = said if isinstance(said, list) else []
            unknown = tuple(name for name in LABELS if name in names)
            return BeatHeard(
                *(cabin, *_head(body), up_s, period_s, is_emulated, bump_s, str(by)),
                unknown,
            )
        case "estimates":
            return EstimatesHeard(cabin, _estimates(body))
        case "morning":
            verdict = plain(str(body.get("verdict", "")), LONGEST_WORD)
            return MorningHeard(cabin, plain(str(body["text"])), verdict)
        case "trial":
            text, until = plain(str(body.get("text", ""))), body.get("until", "")
            is_on = body["state"] == "begun"
            ends = plain(str(until), LONGEST_WORD)
            return TrialHeard(cabin, is_on, text, ends, _head(body)[0])
    if tail.startswith("alarm/"):
        return _alarm(cabin, tail.removeprefix("alarm/"), body)
    if tail.startswith("answer"):
        ident = plain(str(body.get("id", "")), LONGEST_WORD)
        text = plain(str(body.get("text", "")))
        return AnswerHeard(cabin, ident, body.get("ok") is True, text)
    return None


def plain(text: str, longest: int = LONGEST_TEXT) -> str:
    """Return a text without what steers a screen: controls, marks of direction."""
    letters = (
        letter if unicodedata.category(letter)[0] != "C" else "?"
        for letter in text[:longest]
    )
    return "".join(letters).replace("\u2028", " ").replace("\u2029", " ")


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError("no number")
    number = float(value)
    if not math.isfinite(number) or abs(number) > 1e12:
        raise ValueError("no number of this world")
    return number


def _head(body: Mapping[str, Any]) -> tuple[str, int]:
    return plain(str(body["run"]), LONGEST_WORD), int(_number(body["seq"]))


def _alarm(cabin: str, alarm: str, body: Mapping[str, Any]) -> AlarmHeard | None:
    if len(alarm) > LONGEST_WORD or not _ALARM.fullmatch(alarm):
        return None
    run, seq = _head(body)
    priority = plain(str(body["priority"]), LONGEST_WORD)
    # Of a version that does not say it, or of another's hand: by the word.
    urgency = URGENCY_OF_WORD.get(priority, WAKE)
    return AlarmHeard(
        cabin,
        alarm,
        plain(str(body["state"]), LONGEST_WORD),
        priority,
        urgency,
        plain(str(body["text"])),
        plain(str(body.get("since", "")), LONGEST_WORD),
        run,
        seq,
    )


def _text(
    cabin: str, is_second: bool, payload: bytes, user: tuple[tuple[str, str], ...]
) -> TextHeard | None:
    text = plain(payload.decode("utf-8", "replace"))
    if not text.strip():
        return None
    given = dict(user[:20])
    # MQTT 3.1.1 has no properties.  Rather too loud than not heard.
    urgency, expires_s = WAKE, 3600.0
    if given.get("urgency", "").isdecimal():
        urgency = min(OUT, max(WELL, int(given["urgency"][:2])))
    known = "|".join(given.get(key, "")[:LONGEST_WORD] for key in ("run", "seq"))
    if known == "|":
        known = text
    else:
        expires_s = _expires_s(given)
    digest = sha256(f"{cabin}|{is_second}|{known}".encode()).hexdigest()[:24]
    alarm = plain(given.get("alarm", ""), LONGEST_WORD)
    return TextHeard(cabin, is_second, text, alarm, urgency, digest, expires_s)


def _expires_s(given: Mapping[str, str]) -> float:
    """Return from `at` to `expires`, both by the cabin's clock."""
    try:
        begin, end = (
            datetime.fromisoformat(given[key][:30]) for key in ("at", "expires")
        )
        return min(LONGEST_AGE_S, max(60.0, (end - begin).total_seconds()))
    except (KeyError, ValueError, TypeError):
        return 3600.0


def _readings(cabin: str, pack: Any) -> ReadingsHeard | None:
    """Read a SenML pack (RFC 8428) as the monitor writes it."""
    if not isinstance(pack, list):
        return None
    values: dict[str, tuple[float, float, bool]] = {}
    for record in pack[: 2 * MOST_SERIES]:
        name = str(record["n"])
        if len(name) > LONGEST_WORD or not _SERIES.fullmatch(name):
            continue
        series, is_mark, _ = name.partition("/at-least")
        if is_mark:
            if series in values and record.get("vb") is True:
                values[series] = (*values[series][:2], True)
        elif "v" in record:
            age_s = max(0.0, -_number(record.get("t", 0.0)))
            values[series] = (_number(record["v"]), min(age_s, LONGEST_AGE_S), False)
    return ReadingsHeard(cabin, values)


_TRIPLES = ("o2_rate_pct_per_h", "o2_settles_pct", "air_changes_per_h")


def _estimates(body: Mapping[str, Any]) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    for key in (*_TRIPLES, "o2_minutes_to_19_5"):
        value = body.get(key)
        if isinstance(value, list) and len(value) == 3:
            fields[key] = [None if one is None else _number(one) for one in value]
    return fields
