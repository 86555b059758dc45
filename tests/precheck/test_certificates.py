"""Until when each certificate on the way to the phones is good."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.precheck.certificates import (
    Known,
    judged,
    known,
    of_file,
    shown_by,
)
from cabinvigil.daemon.settings.ca_certificate import ends_of, of_pem
from cabinvigil.daemon.settings.values import MqttSettings
from tests.outputs.brokers import Certificates, Mosquitto, free_port

NOW = datetime(2026, 11, 29, 21, 0, tzinfo=UTC)


def made(file: Path, days: int) -> Path:
    """Make a certificate that ends so many days from now."""
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt",
         "ec_paramgen_curve:P-256", "-nodes", "-keyout", str(file.parent / "key"),
         "-out", str(file), "-days", str(days), "-subj", "/CN=here"],
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    return file


def openssls_end(file: Path) -> datetime:
    said = subprocess.run(
        ["openssl", "x509", "-noout", "-enddate", "-dateopt", "iso_8601", "-in", file],
        check=True, capture_output=True, text=True, timeout=60,
    ).stdout.strip()  # fmt: skip
    return datetime.fromisoformat(said.partition("=")[2])


@pytest.mark.parametrize("days", [1, 820, 7300, 9000, 40_000])
def test_the_day_is_the_one_that_openssl_reads(tmp_path: Path, days: int) -> None:
    """Both ways in which a certificate spells it: before 2050, and from then on."""
    file = made(tmp_path / "some.crt", days)
    (der,) = of_pem(file.read_bytes())
    assert ends_of(der) == openssls_end(file)


@given(st.binary(max_size=400))
def test_any_bytes_are_a_day_or_no_certificate(data: bytes) -> None:
    try:
        assert ends_of(data).tzinfo is UTC
    except ValueError:
        return


def test_a_certificate_cut_anywhere_is_none(tmp_path: Path) -> None:
    """Each of its beginnings, and each with one byte changed, is read without a bug."""
    (der,) = of_pem(made(tmp_path / "some.crt", 5).read_bytes())
    for end in range(len(der)):
        with pytest.raises(ValueError, match=r".*"):
            ends_of(der[:end])
    for at in range(len(der)):
        for flip in (0x01, 0x80, 0xFF):
            try:
                ends_of(der[:at] + bytes([der[at] ^ flip]) + der[at + 1 :])
            except ValueError:
                continue


@pytest.mark.parametrize(
    ("left", "word", "text"),
    [
        (timedelta(days=400), "good", "this broker is good until 2028-01-03"),
        (timedelta(days=30, hours=1), "good", "is good until 2026-12-29"),
        (timedelta(days=30), "mind", "ends on 2026-12-29, in 30 days: mend it"),
        (timedelta(days=2, hours=1), "mind", "ends on 2026-12-01, in 2 days: mend it"),
        (timedelta(days=2), "bad", "ends on 2026-12-01, then phones refuse it: mend"),
        (timedelta(seconds=0), "bad", "ended on 2026-11-29, phones refuse it: mend it"),
        (timedelta(days=-90), "bad", "ended on 2026-08-31, phones refuse it: mend it"),
    ],
)
def test_it_is_told_a_month_before_and_stops_the_night_two_days_before(
    left: timedelta, word: str, text: str
) -> None:
    (found,) = judged([Known("this broker", NOW + left, "mend it")], NOW)
    assert (found.subject, found.word) == ("certificate", word)
    assert text in found.text


def test_the_first_to_end_speaks_for_all_that_are_good() -> None:
    ends = [NOW + timedelta(days=days) for days in (500, 100, 900)]
    some = [Known(f"no. {n}", end, "mend it") for n, end in enumerate(ends)]
    (found,) = judged(some, NOW)
    assert found.text == "no. 1 is good until 2027-03-09, and 2 for longer"
    assert list(judged([], NOW)) == []


def test_a_clock_that_is_not_set_judges_none() -> None:
    """A Pi without a battery clock takes an old one for one of the future."""
    unset = datetime(1970, 1, 1, tzinfo=UTC)
    (found,) = judged([Known("it", NOW - timedelta(days=9), "mend it")], unset)
    assert (found.word, "clock is not set" in found.text) == ("mind", True)


def test_of_an_authoritys_file_the_last_counts(tmp_path: Path) -> None:
    """An old one beside the new is as it is kept while brokers change over."""
    old, new = made(tmp_path / "old.crt", 1), made(tmp_path / "new.crt", 50)
    both = tmp_path / "both.crt"
    both.write_bytes(old.read_bytes() + new.read_bytes())
    (found,) = of_file(both, "the authority", "mend it")
    assert found.ends == openssls_end(new)
    both.write_text("no certificate")
    assert list(of_file(both, "the authority", "mend it")) == []
    assert list(of_file(tmp_path / "none", "the authority", "mend it")) == []


@contextmanager
def tls_broker(folder: Path, *, is_expired: bool) -> Iterator[int]:
    certs, port = Certificates(folder / "certs"), free_port()
    if is_expired:
        certs.expire()
    conf = (
        f"listener {port} 127.0.0.1\nallow_anonymous true\n"
        f"cafile {certs.ca}\ncertfile {certs.crt}\nkeyfile {certs.key}\n"
    )
    broker = Mosquitto(folder / "broker", port, conf)
    broker.start()
    try:
        yield port
    finally:
        broker.stop()


@pytest.mark.broker
@pytest.mark.parametrize("is_expired", [False, True])
def test_a_real_brokers_day_is_read_though_it_is_past(
    tmp_path: Path, is_expired: bool
) -> None:
    """Who checks it as TLS does hears only "expired", and of one that ends soon not."""
    with tls_broker(tmp_path, is_expired=is_expired) as port:
        (found,) = shown_by("localhost", port, "the certificate of localhost")
    assert found.ends == openssls_end(tmp_path / "certs/srv.crt")
    (finding,) = judged([found], datetime.now(UTC))
    assert finding.word == "bad"  # the tests' own lasts two days
    assert ("ended on" in finding.text) is is_expired


def test_a_broker_that_is_not_there_is_told_by_the_phones_own_check() -> None:
    assert list(shown_by("localhost", free_port(), "it")) == []


@pytest.mark.broker
def test_with_the_broker_here_its_files_and_the_far_one_are_looked_at(
    tmp_path: Path,
) -> None:
    """As systemd/broker-setup leaves them; the far broker is asked for its own."""
    files = tmp_path / "files"
    files.mkdir()
    for name in ("cabinvigil.crt", "cabinvigil-ca.crt", "cabinvigil-shore-ca.crt"):
        made(files / name, 500)
    here = MqttSettings(host="127.0.0.1", tls=False)
    with tls_broker(tmp_path, is_expired=True) as port:
        (files / "cabinvigil-shore.host").write_text(f"localhost:{port}\n")
        online = list(known(here, is_online=True, files=files))
        offline = list(known(here, is_online=False, files=files))
    assert len(offline) == 3
    assert online[:3] == offline
    assert online[3].what == "the certificate of localhost, the second broker"
    (bad, good) = judged(online, datetime.now(UTC))
    assert bad.word == "bad"
    assert "renew it on that machine" in bad.text
    assert "and 2 for longer" in good.text
    (files / "cabinvigil-shore.host").write_text("nonsense\n")
    assert len(list(known(here, is_online=True, files=files))) == 3


@pytest.mark.broker
def test_a_broker_elsewhere_is_asked_and_its_authority_read(tmp_path: Path) -> None:
    with tls_broker(tmp_path, is_expired=False) as port:
        ca = str(tmp_path / "certs/ca.crt")
        there = MqttSettings(host="localhost", port=port, ca_file=ca)
        online = [one.what for one in known(there, is_online=True, files=tmp_path)]
        offline = [one.what for one in known(there, is_online=False, files=tmp_path)]
    assert online == [f"the authority in {ca}", "the certificate of localhost"]
    assert offline == online[:1]
    assert list(known(None, is_online=True)) == []
