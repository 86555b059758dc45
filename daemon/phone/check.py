"""Whether the phone's end would work, without ringing anybody."""

import http.client
import socket
import sqlite3
import ssl
import stat
from collections.abc import Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from urllib.parse import urlsplit

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.outputs.mqtt.broker import BrokerError
from cabinvigil.daemon.outputs.mqtt.messages import LOST, ROOT, STOPPED
from cabinvigil.daemon.outputs.mqtt.session import Arrived, MqttSession, SessionTerms
from cabinvigil.daemon.outputs.mqtt.wakeup import Wakeup
from cabinvigil.daemon.phone.devices import DeviceError, Devices
from cabinvigil.daemon.phone.inbound import PresenceHeard, read
from cabinvigil.daemon.phone.listener import TERMS
from cabinvigil.daemon.phone.page import POLICY
from cabinvigil.daemon.phone.rings import DEAD_TRIES, covers
from cabinvigil.daemon.phone.settings import (
    PageSettings,
    PhoneSettings,
    Recipient,
    address_of,
)
from cabinvigil.daemon.phone.silence import MOST_CABINS
from cabinvigil.daemon.phone.state_folder import is_held, why_not_kept
from cabinvigil.daemon.phone.store import Store
from cabinvigil.daemon.settings.errors import nearest
from cabinvigil.daemon.settings.values import OPEN_TO_OTHERS

CONNECT_S = 4.0
LISTEN_S = 1.5
"""For what the broker has kept, which it sends at once (our choice)."""
_HEARD = "SELECT name FROM cabin WHERE run != ''"
"""Of the queue: a cabin that was only expected is no sign that it is spelt so."""
TOPIC_SCHEMES = ("ntfy", "ntfys")
"""Of an address `SCHEME://HOST/TOPIC`; with one word alone it is the topic."""
KEPT_TAILS = ("presence", "readings", "bridge", "heartbeat")
"""By which a cabin is known: the first three are retained."""


PRESENCE: Mapping[str, str] = MappingProxyType(
    {
        LOST: "its monitor died, or lost its broker: it is not monitored; look there",
        STOPPED: "its monitor is stopped: it is not monitored until it is started",
    }
)
"""What is wrong with a cabin of which the broker has kept this."""


@dataclass(frozen=True, slots=True)
class CheckFinding:
    """One thing that was looked at."""

    subject: str
    text: str
    is_bad: bool = False


def findings(settings: PhoneSettings, config: Path) -> Iterator[CheckFinding]:
    """Yield what is well and what is not, one thing after the other.

    Args:
        settings: of the phone's end.
        config: the file that they came from.
    """
    yield from _open_files(settings, config)
    session = _Heard()
    yield _broker(settings, session)
    yield from _state_folder(settings)
    known, waits = _queue(settings)
    yield from waits
    if not settings.to:
        text = "no messages, only the page; add [[to]]"
        yield CheckFinding("to", text, is_bad=True)
    yield from _cabins(settings, session, known)
    for one in settings.to:
        yield _address(one)
    if settings.page is not None:
        yield _page(settings.page, settings)
    if settings.ping_url is not None:
        yield _ping(settings.ping_url)


@dataclass(slots=True)
class _Heard:
    """What the broker has kept."""

    is_in: bool = False
    cabins: set[str] = field(default_factory=set)
    presence: dict[str, str] = field(default_factory=dict)
    """By cabin."""


def _broker(settings: PhoneSettings, heard: _Heard) -> CheckFinding:
    broker = settings.broker.as_broker()
    # Another name: the one that runs must not be put out.
    other = replace(broker, client_id=f"{broker.client_id}-check")
    error = None
    for is_v5 in (True, False):
        wakeup = Wakeup()
        wakeup.open()
        try:
            session = MqttSession(
                *(other, None, wakeup.fileno(), SystemClock()),
                is_v5=is_v5,
                terms=SessionTerms(largest_packet=TERMS.largest_packet),
            )
            session.connect()
            heard.is_in = True
            _take_kept(session, heard)
            session.close(is_orderly=True)
        except BrokerError as found:
            error = found
        else:
            return CheckFinding("broker", f"{broker.where} lets us in")
        finally:
            wakeup.close()
        if not error.is_version:
            break
    text = error.text if error is not None else ""
    return CheckFinding("broker", text, is_bad=True)


def _open_files(settings: PhoneSettings, config: Path) -> Iterator[CheckFinding]:
    """Yield each file with an address in it that any user of the machine may read.

    A mailbox's password stands in its address, and who knows a topic may push to it.
    """
    holders = [Path(one.address_file) for one in settings.to if one.address_file]
    if any(one.address for one in settings.to):
        holders.append(config)
    for path in holders:
        with suppress(OSError):  # what cannot be read, was told
            mode = stat.S_IMODE(path.stat().st_mode)
            if mode & OPEN_TO_OTHERS:
                text = (
                    f"{path} holds an address, and is open to others "
                    f"(mode {mode:04o}); `sudo chmod 640 {path}`"
                )
                yield CheckFinding("address", text, is_bad=True)


def _take_kept(session: MqttSession, found: _Heard) -> None:
    """Take what the broker knows of the cabins."""
    clock = SystemClock()
    session.follow((f"{ROOT}/+/{tail}", 0) for tail in KEPT_TAILS)
    until_s = clock.monotonic() + LISTEN_S
    while len(found.cabins) < MOST_CABINS:
        if (left_s := until_s - clock.monotonic()) <= 0.0:
            return
        for event in session.pump(left_s):
            if isinstance(event, Arrived):
                heard = read(event.topic, event.payload, event.envelope.user)
                if heard is not None:
                    found.cabins.add(heard.cabin)
                if isinstance(heard, PresenceHeard):
                    found.presence[heard.cabin] = heard.word


def _state_folder(settings: PhoneSettings) -> Iterator[CheckFinding]:
    folder = Path(settings.state_folder)
    if why := why_not_kept(folder):
        text = f"nothing can be kept in {folder} ({why}); is this the service's user?"
        yield CheckFinding("state_folder", text, is_bad=True)


def _cabins(
    settings: PhoneSettings, session: _Heard, known: set[str]
) -> Iterator[CheckFinding]:
    """Yield which cabins nobody hears of, and which addresses are for none."""
    there = known | session.cabins
    if session.is_in:
        for cabin in settings.cabins:
            if cabin in there:
                continue
            meant = nearest(cabin, sorted(there - {*settings.cabins}))
            typo = f"; is {meant} meant?" if meant else ""
            text = (
                f"the broker has nothing from it: it will be reported as silent{typo}"
            )
            yield CheckFinding(cabin, text, is_bad=True)
    for cabin, word in sorted(session.presence.items()):
        if settings.only_these and cabin not in settings.cabins:
            continue
        text = PRESENCE.get(word, "")
        yield CheckFinding(cabin, text or "its monitor is connected", bool(text))
    expected = set(settings.cabins)
    if not settings.only_these:
        expected |= there
    for one in settings.to:
        for cabin in one.cabins:
            if cabin not in expected:
                meant = nearest(cabin, sorted(expected))
                typo = f"is {meant} meant, or is it" if meant else "is it"
                text = f"is for {cabin}, of which nobody has heard; {typo} missing"
                yield CheckFinding(one.name, f"{text} in `cabins`?", is_bad=True)
    for cabin in sorted(expected):
        if settings.to and not any(covers(one, cabin) for one in settings.to):
            text = (
                "no address is for it: a waking alarm goes to all, the rest to nobody"
            )
            yield CheckFinding(cabin, text, is_bad=True)


def _queue(settings: PhoneSettings) -> tuple[set[str], list[CheckFinding]]:
    """Return the cabins that are known, and what waits, by address.

    A service that runs has the file open too.
    """
    store = Store(Path(settings.state_folder))
    try:
        if not store.path.exists():
            text = f"{store.path} is made at the first start"
            return set(), [CheckFinding("queue", text)]
        uri = f"{store.path.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(uri, uri=True, timeout=2.0)) as db:
            known = {name for (name,) in db.execute(_HEARD)}
            rows = db.execute(
                "SELECT recipient, COUNT(*), MAX(tries) FROM delivery"
                " GROUP BY recipient"
            ).fetchall()
    except (sqlite3.Error, OSError) as error:
        return set(), [CheckFinding("queue", f"{store.path}: {error}", is_bad=True)]
    found = []
    for name, count, tries in rows:
        text = f"{count} messages wait for {name}, the oldest tried {tries} times"
        found.append(CheckFinding("queue", text, is_bad=tries >= DEAD_TRIES))
    return known, found or [CheckFinding("queue", "nothing waits")]


def _address(one: Recipient) -> CheckFinding:
    """Look whether the server of an address takes connections, where it names one."""
    parts = urlsplit(address_of(one))
    try:
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if parts.scheme in TOPIC_SCHEMES and "." in (host or "") and len(parts.path) < 2:
        text = (
            f"its address names no topic: it would go to the topic {host} of a public "
            f"server; write it as {parts.scheme}://{host}/TOPIC"
        )
        return CheckFinding(one.name, text, is_bad=True)
    if host is None or port is None:
        return CheckFinding(one.name, "its address can be read; --test sends there")
    try:
        socket.create_connection((host, port), CONNECT_S).close()
    except OSError as error:
        why = error.strerror or type(error).__name__
        return CheckFinding(
            one.name, f"{host}:{port} takes nothing ({why})", is_bad=True
        )
    return CheckFinding(one.name, f"{host}:{port} takes connections")


def _page(page: PageSettings, settings: PhoneSettings) -> CheckFinding:
    """Look whether the page could listen, or is served already."""
    try:
        count = len(Devices(settings.token_path).load())
    except DeviceError as error:
        return CheckFinding("page", str(error), is_bad=True)
    devices = "1 device" if count == 1 else f"{count} devices"
    why = why_not_bound(*page.host_and_port)
    if not why:
        return CheckFinding("page", f"{page.listen} is free, {devices} paired")
    if is_held(Path(settings.state_folder)) and _is_served(page):
        text = f"served at {page.listen} by the one that runs, {devices} paired"
        return CheckFinding("page", text)
    text = f"it cannot listen at {page.listen} ({why}); set `listen` to a free port"
    return CheckFinding("page", text, is_bad=True)


def why_not_bound(host: str, port: int) -> str:
    """Return why nothing can listen there, as the page does; '' where it can."""
    try:
        places = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
        for family, kind, protocol, _, address in places:
            with socket.socket(family, kind, protocol) as one:
                one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                if family == socket.AF_INET6:
                    one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
                one.bind(address)
    except (OSError, OverflowError) as error:
        return getattr(error, "strerror", None) or str(error)
    return ""


def _is_served(page: PageSettings) -> bool:
    """Return whether what listens there is our page."""
    host, port = page.host_and_port
    here = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    connection = http.client.HTTPConnection(here, port, timeout=CONNECT_S)
    with closing(connection), suppress(OSError, http.client.HTTPException):
        connection.request("GET", "/", headers={"Host": page.listen})
        said = connection.getresponse().headers
        return said.get("Content-Security-Policy") == POLICY
    return False


def _ping(url: str) -> CheckFinding:
    """Look whether the address to be fetched is served, without fetching it.

    Fetched, it would say to whoever watches that this process lives, which a check does
    not know; and one that runs tells by itself when it is not answered well.
    """
    parts = urlsplit(url)
    host = parts.hostname or ""
    port = parts.port or (443 if parts.scheme == "https" else 80)
    try:
        with socket.create_connection((host, port), CONNECT_S) as plain:
            if parts.scheme == "https":
                context = ssl.create_default_context()
                context.wrap_socket(plain, server_hostname=host).close()
    except (OSError, ValueError) as error:
        why = getattr(error, "verify_message", "") or getattr(error, "strerror", "")
        text = f"{host}:{port} takes nothing ({why or type(error).__name__})"
        return CheckFinding("ping_url", text, is_bad=True)
    text = f"{host}:{port} takes connections; it is fetched only while this runs"
    return CheckFinding("ping_url", text)
