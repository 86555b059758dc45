"""What is told to which address, now or later, and when again: pure.

A `PhoneMessage` goes to every address that wants it, and from an address that does not
take it to the next that has not had it.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from cabinvigil.daemon.outputs.mqtt.messages import (
    NOTE,
    OUT,
    PHONE_TEST,
    WAKE,
)
from cabinvigil.daemon.phone.inbound import TextHeard
from cabinvigil.daemon.phone.settings import Recipient, minutes_of
from cabinvigil.daemon.phone.silence import SilenceNews
from cabinvigil.daemon.phone.texts import PhoneTexts
from cabinvigil.daemon.text.moments import time_of_day

FIRST_RETRY_S, LONGEST_RETRY_S = 2.0, 60.0
"""Between two tries at an address; doubling (our choice: a push server that restarts is
back in seconds, and one that is gone is asked once a minute)."""
DEAD_TRIES = 3
"""After so many failures in a row an address is told to the others as dead, and what it
did not take goes to the next (our choice: 14 s with the retries above)."""
EXPIRY_S: Mapping[str, float] = {
    # A silence is worth telling as long as a danger is (core/notification).
    "silent": 6 * 3600.0,
    "again": 3600.0,
    "stopped": 3600.0,
    "back": 3600.0,
    "rehearsed": 3600.0,
}
MOST_NAMED = 12
"""Cabins named in one text, where many fall silent at once."""


@dataclass(frozen=True, slots=True)
class PhoneMessage:
    """One message for people."""

    id: str
    cabin: str
    """What it is about, several cabins apart by spaces; '' where it is about none."""
    title: str
    text: str
    urgency: int
    expires_s: float
    """So long it is worth telling."""
    is_second: bool | None = None
    """For second addresses, or for the others; None: for both."""
    is_unsure: bool = False
    """It may have been told before: a kill or a broken connection came between."""

    is_test: bool = False
    """The precheck's: what becomes of it is reported to the cabin."""
    over: int = OUT
    """Of a message that all is well: the urgency of what is over."""

    @property
    def cabins(self) -> tuple[str, ...]:
        """The cabins that it is about."""
        return tuple(self.cabin.split())

    def titled(self, texts: PhoneTexts) -> str:
        """Return the title, with a word where nobody can tell whether this is new."""
        return texts("perhaps", title=self.title) if self.is_unsure else self.title


def name_of(cabin: str) -> str:
    """Return a cabin's topic word as people write it."""
    return cabin.replace("-", " ").capitalize()


def ring_of(heard: TextHeard, *, is_first: bool = True) -> PhoneMessage:
    """Return the ring of a text of the monitor, which is passed on unchanged.

    Args:
        heard: as it came.
        is_first: False where the broker has sent it before: a process that was killed
            before it had kept it may have told it.
    """
    return PhoneMessage(
        heard.id,
        heard.cabin,
        name_of(heard.cabin),
        heard.text,
        heard.urgency,
        heard.expires_s,
        heard.is_second,
        is_unsure=not is_first,
        is_test=heard.alarm == PHONE_TEST,
    )


# --- silence, in words ----------------------------------------------------------------


def silence_rings(
    news: Sequence[SilenceNews],
    texts: PhoneTexts,
    now_s: float,
    wall: datetime,
    where: str,
    ident: str,
    unresolved: Callable[[str], str] = lambda _cabin: "",
) -> list[PhoneMessage]:
    """Return the rings of what one look at the cabins found.

    Where many fall silent at once it is the broker or the network: one text names them.

    Args:
        news: of one look.
        texts: in the language of who reads them.
        now_s: monotonic, as in `news`.
        wall: now, in the zone of who reads it.
        where: the broker's address.
        ident: makes the ids of this look unlike those of any other.
        unresolved: the text of what was not over in a cabin when it was last heard.
    """
    rings = []
    for kind in EXPIRY_S:
        some = [one for one in news if one.kind == kind]
        if len(some) > 3:
            rings.append(_many(kind, some, texts, where, ident))
        else:
            rings += [
                _one(each, texts, now_s, wall, where, ident, unresolved(each.cabin))
                for each in some
            ]
    return rings


def _one(
    news: SilenceNews,
    texts: PhoneTexts,
    now_s: float,
    wall: datetime,
    where: str,
    ident: str,
    unresolved: str,
) -> PhoneMessage:
    name = name_of(news.cabin)
    moment = _moment(news.since_s, now_s, wall)
    match news.kind:
        case "stopped":
            last = texts("last", moment=moment) if moment else ""
            text = texts("stopped", cabin=name, last=last)
        case "back" if news.for_s > 0.0:
            form = "back_after" if news.over < OUT else "back_after_silence"
            text = texts(form, cabin=name, span=texts.span(news.for_s))
        case "back" | "rehearsed":
            text = texts(news.kind, cabin=name)
        case _:
            since = texts("since", moment=moment) if moment else ""
            text = texts(news.kind, cabin=name, since=since)
            text = _with_cause(text, texts, news.cause, where)
            if unresolved:
                text = texts("unresolved", text=text, alarms=unresolved)
    return PhoneMessage(
        f"{news.kind}-{news.cabin}-{ident}",
        news.cabin,
        name,
        text,
        news.urgency,
        EXPIRY_S[news.kind],
        over=news.over,
    )


def _many(
    kind: str, news: Sequence[SilenceNews], texts: PhoneTexts, where: str, ident: str
) -> PhoneMessage:
    names = [name_of(one.cabin) for one in news]
    named = ", ".join(names[:MOST_NAMED])
    if len(names) > MOST_NAMED:
        named = texts("more", names=named, count=len(names) - MOST_NAMED)
    text = texts(f"{kind}_many", count=len(names), names=named)
    text = _with_cause(text, texts, news[0].cause, where)
    return PhoneMessage(
        f"{kind}-{len(names)}-{ident}",
        " ".join(one.cabin for one in news),
        texts("cabins", count=len(names)),
        text,
        news[0].urgency,
        EXPIRY_S[kind],
        over=max(one.over for one in news),
    )


def _moment(since_s: float | None, now_s: float, wall: datetime) -> str:
    if since_s is None:
        return ""
    moment = wall.fromtimestamp(wall.timestamp() - (now_s - since_s), wall.tzinfo)
    if now_s - since_s > 20 * 3600.0:
        return f"{moment:%d.%m.} {time_of_day(moment)}"
    return time_of_day(moment)


def _with_cause(text: str, texts: PhoneTexts, cause: str, where: str) -> str:
    return texts(cause, text=text, where=where) if cause else text


# --- to whom --------------------------------------------------------------------------


def covers(recipient: Recipient, *cabins: str) -> bool:
    """Return whether an address is for one of some cabins, or there are none."""
    if not recipient.cabins or not cabins:
        return True
    return not set(cabins).isdisjoint(recipient.cabins)


def wants(recipient: Recipient, ring: PhoneMessage) -> bool:
    """Return whether an address is sounded by a message at all."""
    if not covers(recipient, *ring.cabins):
        return False
    # That all is well again is for whoever heard of the rest, and for nobody else.
    urgency = ring.over if ring.urgency < NOTE else ring.urgency
    return urgency >= recipient.least_urgency and _fits(recipient, ring)


def _fits(recipient: Recipient, ring: PhoneMessage) -> bool:
    return ring.is_second is None or ring.is_second == recipient.second


def addressed(recipients: Sequence[Recipient], ring: PhoneMessage) -> list[str]:
    """Return the names that a message goes to.

    What wakes people goes to somebody, whatever the config says of whom it is for: to
    those of its cabin, first or second, and only where it has none to all others.
    """
    names = [one.name for one in recipients if wants(one, ring)]
    if names or ring.urgency < WAKE:
        return names
    own = [one for one in recipients if covers(one, *ring.cabins)] or recipients
    return [one.name for one in own if _fits(one, ring)] or [one.name for one in own]


def next_after(
    recipients: Sequence[Recipient],
    name: str,
    had: Iterable[str],
    cabins: Sequence[str],
) -> str | None:
    """Return the address that a message goes to where this one does not take it.

    Args:
        recipients: in the config's order.
        name: that did not take it.
        had: who has had it, or is to have it anyway.
        cabins: that it is about; whoever is for others comes last.
    """
    names = [one.name for one in recipients]
    at = names.index(name) if name in names else -1
    known = {name, *had}
    others = [
        one
        for one in (*recipients[at + 1 :], *recipients[: max(at, 0)])
        if one.name not in known
    ]
    others.sort(key=lambda one: not covers(one, *cabins))
    return others[0].name if others else None


def is_quiet(recipient: Recipient, ring_urgency: int, local: datetime | None) -> bool:
    """Return whether an address is to be left alone now.

    Args:
        recipient: with its quiet hours.
        ring_urgency: of the message; what is high never waits.
        local: now; None where no clock is believed: then nothing waits.
    """
    if recipient.quiet is None or ring_urgency >= OUT or local is None:
        return False
    begin, end = minutes_of(recipient.quiet)
    now_min = local.hour * 60 + local.minute
    if begin <= end:
        return begin <= now_min < end
    return now_min >= begin or now_min < end


def retry_in_s(tries: int) -> float:
    """Return how long to wait after so many failures in a row."""
    return float(min(LONGEST_RETRY_S, FIRST_RETRY_S * 2.0 ** min(tries - 1, 16)))


def dead_text(texts: PhoneTexts, name: str, reason: str) -> str:
    """Return what the others are told of an address that does not take messages."""
    why = f" ({reason})" if reason else ""
    return texts("unreachable", name=name, why=why)
