"""Pushes a message to an address, through apprise; the only file that knows it.

A push service's urgency stands in its address, so that one address makes one object for
each urgency.  The numbers and words are each service's own.
"""

import logging
from collections.abc import Mapping
from contextlib import suppress
from threading import get_ident
from typing import Any, Protocol
from urllib.parse import parse_qsl, urlsplit

import apprise

from cabinvigil.daemon.outputs.mqtt.messages import BROKEN, NOTE, OUT, WAKE, WELL
from cabinvigil.daemon.settings.errors import one_line

LONGEST_REASON = 120
LEVELS: Mapping[int, tuple[str, ...]] = {
    # urgency: words for a priority in the services' own tongues, the first known wins.
    # What orders people out or wakes them overrides do-not-disturb, the rest does not.
    5: ("emergency", "max", "urgent", "critical", "high"),
    4: ("emergency", "max", "urgent", "critical", "high"),
    3: ("default", "normal", "moderate"),
    2: ("low", "default", "normal"),
    1: ("low", "default", "normal"),
}
TYPES: Mapping[int, apprise.NotifyType] = {
    # By urgency: what a service that tells kinds of message apart makes of it.
    OUT: apprise.NotifyType.FAILURE,
    WAKE: apprise.NotifyType.WARNING,
    BROKEN: apprise.NotifyType.WARNING,
    NOTE: apprise.NotifyType.INFO,
    WELL: apprise.NotifyType.SUCCESS,
}
MAIL = ("mailto", "mailtos")
MAIL_HEADERS: Mapping[bool, str] = {
    # X-Priority: 1 is the highest, as mail programs have it (unverified).
    True: "+X-Priority=1&+Importance=high",
    False: "+X-Priority=3",
}


class Push(Protocol):
    """Takes a message to an address; blocks while it does."""

    def __call__(self, title: str, text: str, urgency: int, /) -> str:
        """Push; return '' where the service accepted it, else why not.

        Raises:
            NoWordError: nobody can tell whether it did.
        """
        ...


class NoWordError(Exception):
    """The service was reached and gave no word: it may have told the message."""


class BadAddressError(ValueError):
    """An address that apprise does not know."""


class ApprisePush:
    """One address, as one object for each urgency; used from one thread at a time."""

    def __init__(self, address: str) -> None:
        """Read the address.

        Raises:
            BadAddressError: it is none.
        """
        parts = urlsplit(address)
        if not (parts.netloc or parts.path.strip("/")):
            raise BadAddressError("it names neither a server nor a topic")
        self._address = address
        self._objects: dict[int, Any] = {}
        self._object(OUT)

    def __call__(self, title: str, text: str, urgency: int, /) -> str:
        """Push; return '' where the service accepted it, else why not.

        Raises:
            NoWordError: nobody can tell whether it did.
        """
        with _Reasons() as reasons:
            try:
                is_sent = self._object(urgency).notify(
                    body=text,
                    title=title,
                    notify_type=TYPES[urgency],
                    body_format=apprise.NotifyFormat.TEXT,
                )
            except Exception as error:  # whatever a library of a hundred services does
                return one_line(f"{type(error).__name__}: {error}")[:LONGEST_REASON]
        if is_sent:
            return ""
        reason = reasons.last(self._address) or "refused"
        if reasons.is_without_word:
            raise NoWordError(reason)
        return reason

    def _object(self, urgency: int) -> Any:
        found = self._objects.get(urgency)
        if found is None:
            made = apprise.Apprise.instantiate(
                with_urgency(self._address, urgency), suppress_exceptions=True
            )
            if made is None or len(made) == 0:
                raise BadAddressError("it is not one that apprise knows")
            # Its own pause between two messages, 5.5 s for some: a danger waits for
            # nothing, and how many go is bounded before they come here.
            made.request_rate_per_sec = 0.0
            found = self._objects[urgency] = made
        return found


def with_urgency(address: str, urgency: int) -> str:
    """Return an address with its service's own word for an urgency.

    One that names its priority itself keeps it.
    """
    parts = urlsplit(address)
    if any(key == "priority" for key, _ in parse_qsl(parts.query)):
        return address
    joint = "&" if parts.query else "?"
    if parts.scheme in MAIL:
        return f"{address}{joint}{MAIL_HEADERS[urgency >= WAKE]}"
    known = _priorities(address)
    word = next((one for one in LEVELS[urgency] if one in known), None)
    return address if word is None else f"{address}{joint}priority={word}"


def _priorities(address: str) -> frozenset[str]:
    """Return the words that a service has for its priorities."""
    made = apprise.Apprise.instantiate(address, suppress_exceptions=True)
    template = getattr(made, "template_args", {}).get("priority", {})
    values = template.get("values", ())
    words = values.values() if isinstance(values, Mapping) else values
    return frozenset(str(word).lower() for word in words)


NO_WORD = frozenset(
    {
        *("Read timed out", "RemoteDisconnected", "Connection reset"),
        *("BadStatusLine", "IncompleteRead", "UNEXPECTED_EOF"),
        "Connection unexpectedly closed",
    }
)
"""In what apprise says of a connection that was had and lost (requests, smtplib): the
service may have taken the message.  One that was never had is none of these."""


class _Reasons(logging.Handler):
    """Listens to what apprise logs while it pushes: its only way to say why not."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self._lines: list[str] = []
        self.is_without_word = False
        """Whether a connection was lost before the service said anything."""
        self._logger = logging.getLogger("apprise")
        self._logger.setLevel(logging.DEBUG)
        # It names addresses, passwords and all: nothing of it goes anywhere else.
        self._logger.propagate = False
        self._thread = get_ident()

    def __enter__(self) -> "_Reasons":
        self._logger.addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        self._logger.removeHandler(self)

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread != self._thread:
            return  # another address is being pushed to
        with suppress(Exception):
            line = record.getMessage()
            if record.levelno >= logging.WARNING:
                self._lines.append(line)
            elif any(word in line for word in NO_WORD):
                self.is_without_word = True

    def last(self, address: str) -> str:
        """Return the last line, without what the address keeps secret."""
        if not self._lines:
            return ""
        line = one_line(" ".join(self._lines[-1].split()))
        parts = urlsplit(address)
        for secret in (parts.password, parts.username, parts.path.strip("/")):
            if secret and len(secret) > 3:
                line = line.replace(secret, "***")
        return line[:LONGEST_REASON].rstrip(" .,:")
