"""What `phone.toml` says: the broker, whom to ring, the page; or all its mistakes."""

import ipaddress
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit

from attrs import frozen

from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.outputs.mqtt.messages import URGENCY_OF_WORD
from cabinvigil.daemon.phone.texts import PhoneTexts
from cabinvigil.daemon.settings.checks import Location, Word, one_of
from cabinvigil.daemon.settings.errors import (
    BadValueError,
    ConfigError,
    Mistake,
    one_line,
    shown,
)
from cabinvigil.daemon.settings.read import read_bytes, read_toml
from cabinvigil.daemon.settings.read_table import shape
from cabinvigil.daemon.settings.values import LANGUAGE, BrokerPlace, TopicWord, changed
from cabinvigil.daemon.settings.with_units import in_our_units
from cabinvigil.daemon.settings.words import languages, load_words

USUAL_PHONE_CONFIG = Path("/etc/cabinvigil/phone.toml")
"""Where the phone's unit looks for its config, and a command that is given none."""
PHONE_USER = "cabinvigil-phone"
"""The user that the phone's unit runs as (systemd/cabinvigil-phone.sysusers)."""
NO_CONFIG = "check the name, or begin with the example config/phone.toml"
TOKEN_FILE = "devices.json"
MOST_RECIPIENTS = 50
"""Addresses of one config: a crew and its neighbours (our choice)."""


class HourRange:
    """Two times of day, from and to, that may lie around midnight."""

    def check(self, value: str) -> str:
        """Return the text, or say how it is written."""
        try:
            begin, end = minutes_of(value)
        except ValueError:
            raise BadValueError(
                f"is {shown(value)}, not a part of a day",
                'write two local times, like "22:00-07:00"',
            ) from None
        if begin == end:
            raise BadValueError(
                f"is {shown(value)}: it ends as it begins, which may be all day or "
                f"never",
                'leave it out for never; for all day write from = "high" instead',
            )
        return value


class WebAddress:
    """An address to be fetched."""

    def check(self, value: str) -> str:
        """Return the address, or say what it must be."""
        try:
            parts = urlsplit(value)
            is_good = parts.scheme in ("http", "https") and bool(parts.hostname)
            is_good = is_good and parts.port != 0  # read, so that a bad one is found
        except ValueError:
            is_good = False
        if is_good and value.isprintable() and " " not in value:
            return value
        raise BadValueError(
            f"is {shown(value)}, not a web address",
            "write it whole, beginning with https:// or http://",
        )


class HostAndPort:
    """A host or address with its port: `127.0.0.1:8484`, `[::1]:8484`."""

    def check(self, value: str) -> str:
        """Return the text, or say how it is written."""
        try:
            split_host(value)
        except ValueError:
            raise BadValueError(
                f"is {shown(value)}, not a host with a port",
                'write it like "127.0.0.1:8484"',
            ) from None
        return value


def minutes_of(span: str) -> tuple[int, int]:
    """Return a span's two ends in minutes of the day.

    Raises:
        ValueError: it is not written like `22:00-07:00`.
    """
    ends = []
    for end in span.split("-"):
        hour, minute = end.split(":")
        if not (len(hour) == len(minute) == 2 and (hour + minute).isdecimal()):
            raise ValueError(span)
        if int(hour) > 23 or int(minute) > 59:
            raise ValueError(span)
        ends.append(int(hour) * 60 + int(minute))
    begin, end_min = ends
    return begin, end_min


def split_host(text: str) -> tuple[str, int]:
    """Return host and port.

    Raises:
        ValueError: it is not written like `127.0.0.1:8484`.
    """
    parts = urlsplit(f"//{text}")
    if not parts.hostname or parts.port is None or parts.path or "@" in text:
        raise ValueError(text)
    if not text.isascii() or not text.isprintable() or " " in text:
        raise ValueError(text)
    return parts.hostname, parts.port


def is_loopback(host: str) -> bool:
    """Return whether an address leads no further than this machine."""
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


@frozen(kw_only=True)
class BrokerAccess(BrokerPlace):
    """The broker to listen at."""

    client_id: Annotated[
        str, Word(r"[A-Za-z0-9-]+", "use letters, digits and hyphens", 60)
    ] = "cabinvigil-phone"
    """The broker keeps alerts under this name while this process is away."""

    def as_broker(self) -> Broker:
        """Return where it is, as the MQTT session takes it."""
        return Broker(
            host=self.host,
            port=self.real_port,
            client_id=self.client_id,
            tls=self.tls,
            ca_file=self.ca_file or "",
            user=self.user or "",
            password_file=self.password_file or "",
            keepalive_s=10,
            answer_s=5.0,
            meanwhile="",
        )


@frozen(kw_only=True)
class Recipient:
    """One address that is sounded: a phone, a mailbox."""

    name: Annotated[str, Word(r"[^\x00-\x1f\x7f]+", "use letters and spaces", 40)]
    address: str | None = None
    """As apprise writes it: `ntfys://ntfy.example.org/lapwing`."""
    address_file: Annotated[str, Location()] | None = None
    """A file with the address alone: it holds a password or a token."""
    from_: Literal["high", "medium", "fault", "low"] = "low"
    """The least grave priority that sounds it."""
    second: bool = False
    """Somebody elsewhere: gets `alert-second` in place of `alert`."""
    quiet: Annotated[str, HourRange()] | None = None
    """Local hours in which it waits, but never for what is high."""
    cabins: tuple[TopicWord, ...] = ()
    """Rung for these alone; none named: for all."""

    @property
    def least_urgency(self) -> int:
        """Return `from` as a number from 2 to 5."""
        return URGENCY_OF_WORD[self.from_]


@frozen(kw_only=True)
class PageSettings:
    """The live page."""

    listen: Annotated[str, HostAndPort()] = "127.0.0.1:8484"
    hosts: Annotated[tuple[Annotated[str, HostAndPort()], ...], "as typed"] = ()
    """What the browser's address line may say, besides the loopback's names; needed off
    the loopback."""
    https: bool = False
    """A proxy in front speaks TLS: links begin with https."""
    open_to_read: bool = False
    """Off the loopback, whoever is on the network may read; else paired devices."""
    may_answer: bool = False
    """Paired devices may answer an alarm, and mark a moment."""
    token_file: Annotated[str, Location()] | None = None
    """The paired devices; none named: in the state folder."""
    units: Literal["si", "us"] = "si"
    """In which it shows numbers."""
    phone_number: (
        Annotated[str, Word(r"\+?[0-9 ()/-]+", "use digits and spaces", 30)] | None
    ) = None
    """Of the cabin, shown where nobody watches."""

    @property
    def host_and_port(self) -> tuple[str, int]:
        """Return where to listen."""
        return split_host(self.listen)

    @property
    def is_local(self) -> bool:
        """Whether nothing but this machine reaches it."""
        return is_loopback(self.host_and_port[0])


@frozen(kw_only=True)
class PhoneSettings:
    """All that `phone.toml` says, checked."""

    broker: BrokerAccess
    to: tuple[Recipient, ...] = ()
    page: PageSettings | None = None
    ping_url: Annotated[str, WebAddress()] | None = None
    """Fetched each minute while all is well."""
    state_folder: Annotated[str, Location()] = "/var/lib/cabinvigil-phone"
    cabins: tuple[TopicWord, ...] = ()
    """Expected from the first moment, though the broker knows nothing of them."""
    language: Annotated[str, Word(r"[a-z]{2,3}", LANGUAGE)] = "en"
    """Of what this process says itself; a cabin's alarms have the cabin's own."""
    words: str | None = None
    """A message file of one's own, in place of the language's."""
    only_these: bool = False
    """Listen to no others: one of several processes that share the cabins."""

    @property
    def token_path(self) -> Path:
        """Return the file of the paired devices."""
        named = None if self.page is None else self.page.token_file
        return Path(named or f"{self.state_folder}/{TOKEN_FILE}")


def load_phone(path: Path) -> PhoneSettings:
    """Read `phone.toml`.

    Raises:
        ConfigError: with every mistake in it.
    """
    name = one_line(str(path))
    reader = PHONE_USER if path == USUAL_PHONE_CONFIG else ""
    plain = in_our_units(read_toml(path, NO_CONFIG, reader), [])
    mistakes: list[Mistake] = []
    settings = shape(PhoneSettings, plain, name, "", mistakes)
    if settings is not None:
        if settings.words is not None:
            settings = changed(settings, words=str(path.parent / settings.words))
        mistakes += _mistakes(settings, name)
    if mistakes or settings is None:
        raise ConfigError(mistakes)
    return settings


def _mistakes(settings: PhoneSettings, file: str) -> Iterator[Mistake]:
    """Check what must fit together."""
    if not settings.to and settings.page is None:
        yield Mistake(
            file, "", "names neither an address nor a page", "add [[to]] or [page]"
        )
    try:
        if settings.words is None:
            one_of(settings.language, languages())
        texts_of(settings)
    except BadValueError as error:
        mend = f"{error.mend}; or name a file of your own with `words`"
        yield Mistake(file, "language", error.what, mend)
    except ConfigError as error:
        yield from error.mistakes
    if len(settings.to) > MOST_RECIPIENTS:
        what = f"has {len(settings.to)} addresses"
        yield Mistake(file, "to", what, f"use {MOST_RECIPIENTS} at most")
    names: set[str] = set()
    for number, one in enumerate(settings.to):
        at = f"to[{number}]"
        if one.name in names:
            yield Mistake(
                file, f"{at}.name", f"is {shown(one.name)} twice", "name each once"
            )
        names.add(one.name)
        if (one.address is None) == (one.address_file is None):
            what = "has both or neither of address and address_file"
            yield Mistake(file, at, what, "give one of the two")
    if settings.to and all(one.second for one in settings.to):
        yield Mistake(
            file,
            "to",
            "are all second",
            "remove `second` from one: otherwise no phone is first",
        )
    if settings.only_these and not settings.cabins:
        yield Mistake(
            file, "only_these", "is true, and no cabin is named", "name `cabins`"
        )
    page = settings.page
    if page is not None and not page.is_local and not page.hosts:
        yield Mistake(
            file,
            "page.hosts",
            "is missing, and the page is reached from outside this machine",
            'add what phones type, like `hosts = ["lapwing.local:8484"]`',
        )


def texts_of(settings: PhoneSettings) -> PhoneTexts:
    """Return what this process says itself, in its config's language.

    Raises:
        ConfigError: the message file's mistakes, all of them.
    """
    return PhoneTexts.of(load_words(settings.language, settings.words), load_words())


def links_of(settings: PageSettings) -> tuple[str, ...]:
    """Return where the page is found, as a person types it."""
    kind = "https" if settings.https else "http"
    names = settings.hosts or (settings.listen,)
    return tuple(f"{kind}://{name}/" for name in names)


LONGEST_ADDRESS = 2000


def address_of(recipient: Recipient) -> str:
    """Return an address, out of its file where it has one.

    Raises:
        ConfigError: the file cannot be read, or holds no address.
    """
    if recipient.address is not None:
        return recipient.address
    path = Path(recipient.address_file or "")
    text = read_bytes(path, one_line(str(path))).decode("utf-8", "replace").strip()
    if not text or len(text) > LONGEST_ADDRESS or not text.isprintable():
        raise ConfigError(
            [Mistake(one_line(str(path)), "", "holds no address", "write one line")]
        )
    return text
