"""The certificates that phones depend on: until when each is good.

One that has ended shuts phones out in the middle of a night, and its file or the broker
that shows it has said the day all along.
"""

import socket
import ssl
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.precheck.findings import Finding
from cabinvigil.daemon.settings.ca_certificate import REMEDY, ends_of, of_pem
from cabinvigil.daemon.settings.values import MqttSettings

SOON = timedelta(days=30)
"""A month to renew it in, of the 90 days in which broker-setup does (our choice)."""
AT_ONCE = timedelta(days=2)
"""Tonight, tomorrow, and a day to spare (our choice)."""
CONNECT_S = 5.0
BROKERS_FILES = Path("/etc/mosquitto/certs")
"""Where systemd/broker-setup keeps them on this machine."""
RENEW = "run cabinvigil-broker-setup on this machine, which renews it"
RENEW_THERE = "renew it on that machine, where it is made"
LOOPBACK = ("127.0.0.1", "::1", "localhost")


@dataclass(frozen=True, slots=True)
class Known:
    """One certificate that was found."""

    what: str
    """As a clause's subject: "the certificate of the broker for phones"."""
    ends: datetime
    mend: str


def of_file(path: Path, what: str, mend: str) -> Iterator[Known]:
    """Yield what a file holds: of several the last, since any of them may vouch."""
    try:
        ends = [ends_of(der) for der in of_pem(path.read_bytes())]
    except (OSError, ValueError):
        return  # `config --devices` and the phone's own check tell of such a file
    if ends:
        yield Known(what, max(ends), mend)


def shown_by(host: str, port: int, what: str) -> Iterator[Known]:
    """Yield what a broker shows, good or not; nothing where it cannot be asked.

    Nothing is sent, and nothing believed, but the day on it.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    try:
        with (
            socket.create_connection((host, port), CONNECT_S) as plain,
            context.wrap_socket(plain, server_hostname=host) as wrapped,
        ):
            der = wrapped.getpeercert(binary_form=True)
        ends = ends_of(der or b"")
    except (OSError, ValueError):
        return
    yield Known(what, ends, RENEW_THERE)


def known(
    mqtt: MqttSettings | None, *, is_online: bool, files: Path = BROKERS_FILES
) -> Iterator[Known]:
    """Yield every certificate on the way to the phones that can be looked at.

    Args:
        mqtt: the monitor's broker; None: no phone is told.
        is_online: ask the brokers, too, and not the files alone.
        files: of the broker on this machine.
    """
    if mqtt is None:
        return
    if mqtt.tls:
        if mqtt.ca_file is not None:
            what = f"the authority in {mqtt.ca_file}"
            yield from of_file(Path(mqtt.ca_file), what, REMEDY)
        if is_online:
            what = f"the certificate of {mqtt.host}"
            yield from shown_by(mqtt.host, mqtt.real_port, what)
    if mqtt.host in LOOPBACK:
        yield from _own(files, is_online=is_online)


def _own(files: Path, *, is_online: bool) -> Iterator[Known]:
    """Yield those of the broker here, and of the one that it bridges to."""
    what = "the certificate of this machine's broker"
    yield from of_file(files / "cabinvigil.crt", what, RENEW)
    what = "the authority of this machine's broker"
    yield from of_file(files / "cabinvigil-ca.crt", what, REMEDY)
    what = "the authority of the second broker"
    yield from of_file(files / "cabinvigil-shore-ca.crt", what, REMEDY)
    try:
        far = (files / "cabinvigil-shore.host").read_text("utf-8").strip()
    except (OSError, ValueError):
        return
    host, _, port = far.rpartition(":")
    if is_online and port.isdecimal():
        yield from shown_by(
            host, int(port), f"the certificate of {host}, the second broker"
        )


def judged(found: Iterable[Known], now: datetime) -> Iterator[Finding]:
    """Judge them; one that is good for long is told once, the first to end."""
    sound = []
    for one in found:
        left, day = one.ends - now, f"{one.ends:%Y-%m-%d}"
        if now < EARLIEST:
            text = (
                f"{one.what} ends on {day}, and the clock is not set, so it cannot "
                "be checked"
            )
            yield Finding("certificate", "mind", text)
        elif left <= timedelta(0):
            text = f"{one.what} ended on {day}, phones refuse it: {one.mend}"
            yield Finding("certificate", "bad", text)
        elif left <= AT_ONCE:
            text = f"{one.what} ends on {day}, then phones refuse it: {one.mend}"
            yield Finding("certificate", "bad", text)
        elif left <= SOON:
            text = f"{one.what} ends on {day}, in {left.days} days: {one.mend}"
            yield Finding("certificate", "mind", text)
        else:
            sound.append(one)
    if sound:
        first = min(sound, key=lambda one: one.ends)
        text = f"{first.what} is good until {first.ends:%Y-%m-%d}"
        more = f", and {len(sound) - 1} for longer" if len(sound) > 1 else ""
        yield Finding("certificate", "good", text + more)
