"""Authorities that a strict TLS refuses, judged beside OpenSSL's own handshake."""

import re
import ssl
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.outputs.mqtt.broker import Broker, connect_error
from cabinvigil.daemon.settings.ca_certificate import (
    STRICT_CODES,
    count_certificates,
    is_strict,
    strict_flaw,
)
from tests.outputs.brokers import Certificates

PAGE = (Path(__file__).parents[2] / "hardware.md").read_text("utf-8")
(SECTION, *_) = re.split(
    r"^##+ ", PAGE.split("### A certificate authority\n")[1], flags=re.MULTILINE
)
(MAKE,) = re.findall(r"^```sh\n(.*?)^```$", SECTION, re.DOTALL | re.MULTILINE)
REISSUE = MAKE.splitlines()[1]
USAGE = " -addext keyUsage=critical,keyCertSign,cRLSign"
SHORT = MAKE.replace(USAGE, "")


def sh(commands: str, folder: Path) -> None:
    subprocess.run(
        ["sh", "-euc", commands], cwd=folder, check=True, capture_output=True
    )


def handshake(folder: Path, name: str = "shore", ca: str = "ca.crt") -> None:
    """Shake hands as strictly as Python 3.13 does, on whichever runs.

    Raises:
        SSLError: the client refuses.
    """
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(folder / f"{name}.crt", folder / f"{name}.key")
    client = ssl.create_default_context(cafile=str(folder / ca))
    client.verify_flags |= ssl.VerifyFlags.VERIFY_X509_STRICT
    up, down = ssl.MemoryBIO(), ssl.MemoryBIO()
    sides = [
        client.wrap_bio(down, up, server_hostname="shore.example"),
        server.wrap_bio(up, down, server_side=True),
    ]
    for _ in range(4):
        for side in sides:
            with suppress(ssl.SSLWantReadError):
                side.do_handshake()
    assert sides[0].getpeercert()


def test_the_pages_commands_make_what_every_python_accepts(tmp_path: Path) -> None:
    sh(MAKE, tmp_path)
    handshake(tmp_path)
    pem = (tmp_path / "ca.crt").read_bytes()
    assert count_certificates(pem) == 1
    assert strict_flaw(pem, "broker.example") == ""


def test_an_authority_issued_anew_keeps_what_it_has_signed(tmp_path: Path) -> None:
    """The short way is refused; the page's mend needs no new broker's certificate."""
    assert SHORT != MAKE
    sh(SHORT, tmp_path)
    assert strict_flaw((tmp_path / "ca.crt").read_bytes(), "b") == "has no key usage"
    with pytest.raises(ssl.SSLCertVerificationError) as refusal:
        handshake(tmp_path)
    assert refusal.value.verify_code in STRICT_CODES
    sh(REISSUE, tmp_path)
    handshake(tmp_path)
    assert strict_flaw((tmp_path / "ca.crt").read_bytes(), "b") == ""


def test_a_strict_refusal_is_one_sentence_with_its_mend(tmp_path: Path) -> None:
    sh(SHORT, tmp_path)
    with pytest.raises(ssl.SSLCertVerificationError) as refusal:
        handshake(tmp_path)
    text = connect_error(Broker("shore.example", 8883, "me"), refusal.value).text
    assert "key usage" in text
    assert "hardware.md" in text
    assert "\n" not in text


CONSTRAINTS = ("basicConstraints=critical,CA:TRUE", "basicConstraints=CA:TRUE")
USES = ("keyUsage=critical,keyCertSign,cRLSign", "keyUsage=keyCertSign")
KEY, NO_KEY = "subjectKeyIdentifier=hash", "subjectKeyIdentifier=none"


@pytest.mark.parametrize(
    ("extensions", "flaw"),
    [
        ((CONSTRAINTS[0], USES[0], KEY), ""),
        ((KEY, USES[1], CONSTRAINTS[0]), ""),
        (("basicConstraints=critical,CA:TRUE,pathlen:0", USES[0], KEY), ""),
        ((CONSTRAINTS[0], KEY), "key usage"),
        ((CONSTRAINTS[1], USES[0], KEY), "critical"),
        ((CONSTRAINTS[0], USES[0], NO_KEY), "subject key identifier"),
    ],
)
def test_it_says_what_the_handshake_will_say(
    extensions: tuple[str, ...], flaw: str, tmp_path: Path
) -> None:
    """Each thing that an authority may lack, beside OpenSSL's own judgement."""
    (tmp_path / "conf").write_text(
        "[req]\ndistinguished_name = name\n[name]\n[v3]\n" + "\n".join(extensions)
    )
    made = MAKE.replace(USAGE, " -config conf -extensions v3", 1)
    if NO_KEY in extensions:
        made = made.replace(" authorityKeyIdentifier=keyid", "")
    sh(made, tmp_path)
    found = strict_flaw((tmp_path / "ca.crt").read_bytes(), "elsewhere")
    if flaw:
        assert flaw in found
        with pytest.raises(ssl.SSLCertVerificationError) as refusal:
            handshake(tmp_path)
        assert refusal.value.verify_code in STRICT_CODES
    else:
        assert found == ""
        handshake(tmp_path)


def test_a_brokers_own_certificate_is_no_authority(tmp_path: Path) -> None:
    """Trusted itself, it passes the strict check without key usage."""
    sh(
        "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes "
        "-keyout own.key -out own.crt -days 9 -subj /CN=shore.example "
        "-addext subjectAltName=DNS:shore.example,IP:192.0.2.7",
        tmp_path,
    )
    handshake(tmp_path, "own", "own.crt")
    pem = (tmp_path / "own.crt").read_bytes()
    assert strict_flaw(pem, "shore.example") == ""
    assert strict_flaw(pem, "192.0.2.7") == ""


def test_one_good_authority_in_a_file_is_enough(tmp_path: Path) -> None:
    """Which of them signed the broker's certificate shows only when connecting."""
    short = Certificates(tmp_path / "short", ()).ca.read_bytes()
    good = Certificates(tmp_path / "good").ca.read_bytes()
    assert strict_flaw(short, "b") == strict_flaw(short + short, "b") != ""
    assert strict_flaw(short + good, "b") == strict_flaw(good + short, "b") == ""
    assert count_certificates(short + good) == 2


def test_this_python_is_as_strict_as_it_is_said_to_be() -> None:
    assert is_strict() is (sys.version_info >= (3, 13))


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    folder = tmp_path_factory.mktemp("authority")
    return Certificates(folder, ()).ca.read_bytes()


@given(data=st.data())
def test_a_mangled_file_is_no_claim_and_no_error(
    short: bytes, data: st.DataObject
) -> None:
    """Any bytes at any place: read, or let be."""
    at = data.draw(st.integers(0, len(short)))
    length = data.draw(st.integers(0, 40))
    put = data.draw(st.binary(max_size=40))
    mangled = short[:at] + put + short[at + length :]
    assert strict_flaw(mangled, "b") in {
        "",
        "has no key usage",
        "does not mark its basic constraints as critical",
    }
    assert count_certificates(mangled) in (0, 1)
