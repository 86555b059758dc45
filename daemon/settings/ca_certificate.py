"""What a strict check has against an authority's certificate, read from its file.

Python 3.13 and later ask TLS for OpenSSL's strict check of what RFC 5280 demands of an
authority; one that was made the short way worked before, and is refused there.  `ssl`
says so only once a broker answers: to say it before, the few fields are read here.
"""

import base64
import ipaddress
import re
import ssl
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

STRICT_CODES = range(80, 94)
"""What only the strict check refuses: X509_V_ERR_PATHLEN_INVALID_FOR_NON_CA to
X509_V_ERR_EXTENSIONS_REQUIRE_VERSION_3 of OpenSSL 3.0's x509_vfy.h."""
REMEDY = "issue it again, see hardware.md under 'A certificate authority'"
LONGEST_BYTES = 1 << 20
"""A bundle of all public authorities has 0.25 MB (our choice: four times that)."""
_PEM = re.compile(
    rb"-----BEGIN CERTIFICATE-----(.*?)-----END CERTIFICATE-----", re.DOTALL
)
# Identifiers and tags in DER: RFC 5280, 4.1 and 4.2.1; X.690.
_BASIC_CONSTRAINTS = b"\x55\x1d\x13"
_KEY_USAGE = b"\x55\x1d\x0f"
_SUBJECT_KEY = b"\x55\x1d\x0e"
_EXTENSIONS = 0xA3
_VERSION = 0xA0
_MOMENTS = {0x17: "%y%m%d%H%M%SZ", 0x18: "%Y%m%d%H%M%SZ"}
"""UTCTime, of years to 2049, and GeneralizedTime (RFC 5280, 4.1.2.5)."""
_TRUE = b"\x01\x01\xff"
_NAME_TAGS = (0x82, 0x0C, 0x13, 0x16)
"""dNSName, and the strings that a common name is written in."""
_ADDRESS_TAG = 0x87


@dataclass(frozen=True, slots=True)
class _Extension:
    is_critical: bool
    value: bytes


def is_strict() -> bool:
    """Return whether TLS checks strictly here: Python 3.13 and later do."""
    flags = ssl.create_default_context().verify_flags
    return bool(flags & ssl.VerifyFlags.VERIFY_X509_STRICT)


def count_certificates(pem: bytes) -> int:
    """Return how many certificates a file holds that TLS can read."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    try:
        context.load_verify_locations(cadata=pem.decode("ascii"))
    except (ValueError, OSError):
        return 0
    return context.cert_store_stats()["x509"]


def of_pem(pem: bytes) -> Iterator[bytes]:
    """Yield each certificate of a file, in DER.

    Raises:
        ValueError: what stands between the marks is no Base64.
    """
    for block in _PEM.finditer(pem):
        yield base64.b64decode(block[1])


def ends_of(der: bytes) -> datetime:
    """Return the moment after which a certificate is good no more (RFC 5280, 4.1.2.5).

    Raises:
        ValueError: that is no certificate.
    """
    try:
        ((_, certificate),) = _fields(der)
        signed, *_ = _fields(certificate)
        fields = [one for one in _fields(signed[1]) if one[0] != _VERSION]
        _serial, _algorithm, _issuer, (_, validity), *_ = fields
        _, (tag, moment) = _fields(validity)
        form = _MOMENTS[tag]
    except (LookupError, TypeError) as error:
        raise ValueError("no certificate") from error
    return datetime.strptime(moment.decode("ascii"), form).replace(tzinfo=UTC)


def strict_flaw(pem: bytes, host: str) -> str:
    """Return what the strict check has against the authorities in a file.

    Args:
        pem: the file's content.
        host: the broker's name or address.

    Returns:
        '' where one of them would pass, where one cannot be read, and where one bears
        the broker's own name: a certificate that is trusted itself, with no authority
        above it, is not checked as one.
    """
    names = _names(host)
    first = ""
    for block in _PEM.finditer(pem):
        try:
            der = base64.b64decode(block[1])
            flaw = _flaw(_extensions(der))
        except ValueError:
            return ""
        if not flaw or any(name in der for name in names):
            return ""
        first = first or flaw
    return first


def _names(host: str) -> list[bytes]:
    """Return how a certificate may bear a name, with its tag and length before it."""
    try:
        address = ipaddress.ip_address(host).packed
    except ValueError:
        name = host.encode()
        return [bytes((tag, len(name))) + name for tag in _NAME_TAGS if len(name) < 128]
    return [bytes((_ADDRESS_TAG, len(address))) + address]


def _flaw(extensions: Mapping[bytes, _Extension]) -> str:
    constraints = extensions.get(_BASIC_CONSTRAINTS)
    if constraints is None or _TRUE not in constraints.value:
        return ""  # no authority: every Python refuses it, and says so when connecting
    if _KEY_USAGE not in extensions:
        return "has no key usage"
    if not constraints.is_critical:
        return "does not mark its basic constraints as critical"
    if _SUBJECT_KEY not in extensions:
        return "has no subject key identifier"
    return ""


def _extensions(der: bytes) -> dict[bytes, _Extension]:
    """Return a certificate's extensions by their identifiers.

    Raises:
        ValueError: that is no certificate.
    """
    found: dict[bytes, _Extension] = {}
    ((_, certificate),) = _fields(der)
    signed, *_ = _fields(certificate)
    for tag, value in _fields(signed[1]):
        if tag == _EXTENSIONS:
            ((_, listed),) = _fields(value)
            for _, extension in _fields(listed):
                # An identifier, whether it is critical (left out: no), and the value.
                (_, identifier), *critical, (_, octets) = _fields(extension)
                found[identifier] = _Extension((1, b"\xff") in critical, octets)
    return found


def _fields(der: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield (tag, value) of each field.

    Raises:
        ValueError: a field is longer than what is there.
    """
    at = 0
    while at < len(der):
        if at + 2 > len(der):
            raise ValueError("cut off")
        tag, length, at = der[at], der[at + 1], at + 2
        if length & 0x80:
            octets = length & 0x7F
            length = int.from_bytes(der[at : at + octets], "big")
            at += octets
        if at + length > len(der):
            raise ValueError("cut off")
        yield tag, der[at : at + length]
        at += length
