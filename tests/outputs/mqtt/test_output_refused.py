"""The MQTT output before a broker that refuses it: users, certificates, topics."""

import ssl
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import (
    SourceFault,
)
from tests.outputs.brokers import (
    Certificates,
    Mosquitto,
    mosquitto,
    passwords,
    program,
)
from tests.outputs.listener import Listener
from tests.outputs.mqtt.cabin import cabin
from tests.systemd.bridged import secret

pytestmark = [pytest.mark.broker, pytest.mark.usefixtures("quick_back_off")]


@pytest.fixture
def strict(tmp_path: Path, certificates: Certificates) -> Iterator[Mosquitto]:
    """TLS, users and an ACL in which the watcher may not write its alerts."""
    passwords(tmp_path / "passwords", watcher="right", guest="g")
    (tmp_path / "acl").write_text(
        "user watcher\n"
        "topic write cabinvigil/lapwing/presence\n"
        "topic write cabinvigil/lapwing/heartbeat\n"
        "topic read cabinvigil/lapwing/ask\n"
        "user guest\ntopic readwrite cabinvigil/#\n"
    )
    conf = (
        "allow_anonymous false\n"
        f"password_file {tmp_path}/passwords\nacl_file {tmp_path}/acl\n"
        "listener @PORT@ 127.0.0.1\n"
        f"cafile {certificates.ca}\ncertfile {certificates.crt}\n"
        f"keyfile {certificates.key}\n"
    )
    # mosquitto_passwd made the file for root; the broker of the tests runs as we do.
    with mosquitto(tmp_path / "b", conf) as one:
        yield one


def test_with_tls_user_and_password_all_is_well(
    strict: Mosquitto, certificates: Certificates, tmp_path: Path
) -> None:
    with cabin(
        strict.port, tls=True, ca_file=str(certificates.ca), user="guest",
        password_file=secret(tmp_path / "pw", "g\n"),
    ) as one:  # fmt: skip
        with Listener(strict.port, "guest", "g", certificates.ca) as phone:
            one.alert("Over TLS.")
            phone.wait(lambda: phone.on("/alert"))
        assert one.told == []


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"password": "wrong"}, "user 'guest'"),
        ({"user": ""}, "a client without user"),
        ({"ca_file": ""}, "certificate does not hold"),
        ({"ca_file": "other"}, "certificate does not hold"),
        ({"host": "127.0.0.2"}, "host to the name in it"),
        ({"ca_file": "/no/such/file"}, "CA file"),
        ({"password_file": "/no/such/file"}, "password file"),
    ],
)
def test_each_refusal_is_one_clear_fault(
    strict: Mosquitto,
    certificates: Certificates,
    tmp_path: Path,
    change: dict[str, str],
    word: str,
) -> None:
    """Wrong password, wrong certificate, wrong name: said once, with the mend."""
    if change.get("host"):
        strict.stop()
        text = strict.conf.read_text().replace("127.0.0.1\n", "127.0.0.2\n")
        strict.conf.write_text(text)
        strict.process = subprocess.Popen(
            [program("mosquitto"), "-c", str(strict.conf)]
        )
    if change.get("ca_file") == "other":
        change = {"ca_file": str(Certificates(tmp_path / "other").ca)}
    given: dict[str, object] = {
        "tls": True, "ca_file": str(certificates.ca), "user": "guest",
        "password_file": secret(tmp_path / "pw", change.pop("password", "g")),
    } | change  # fmt: skip
    with cabin(strict.port, **given) as one:
        one.wait(lambda: "refused" in one.told.kinds())
        time.sleep(0.4)
        refusals = [e for e in one.told if isinstance(e, SourceFault)]
        assert [e.kind for e in refusals if e.kind == "refused"] == ["refused"]
        (text,) = [e.text for e in refusals if e.kind == "refused"]
        assert word in text
        assert "\n" not in text


def test_an_authority_that_a_strict_tls_refuses_is_told_with_its_mend(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As Python 3.13 refuses one without key usage; here on every Python."""

    def strict_context(cafile: str | None) -> ssl.SSLContext:
        context = lenient_context(cafile=cafile)
        context.verify_flags |= ssl.VerifyFlags.VERIFY_X509_STRICT
        return context

    lenient_context = ssl.create_default_context
    monkeypatch.setattr(ssl, "create_default_context", strict_context)
    short = Certificates(tmp_path / "short", ())
    conf = (
        "allow_anonymous true\nlistener @PORT@ 127.0.0.1\n"
        f"certfile {short.crt}\nkeyfile {short.key}\n"
    )
    with (
        mosquitto(tmp_path / "b", conf) as broker,
        cabin(broker.port, tls=True, ca_file=str(short.ca)) as one,
    ):
        one.wait(lambda: "refused" in one.told.kinds())
        (text,) = [
            e.text
            for e in one.told
            if isinstance(e, SourceFault) and e.kind == "refused"
        ]
    assert "does not include key usage" in text
    assert "hardware.md" in text
    assert "\n" not in text


def test_a_topic_that_may_not_be_written_is_one_clear_fault(
    strict: Mosquitto, certificates: Certificates, tmp_path: Path
) -> None:
    """The broker lets us in and refuses the alerts: that must not pass in silence."""
    with cabin(
        strict.port, tls=True, ca_file=str(certificates.ca), user="watcher",
        password_file=secret(tmp_path / "pw", "right"),
    ) as one:  # fmt: skip
        for number in range(5):
            one.alert(f"Alert {number}.")
        one.wait(lambda: "refused" in one.told.kinds())
        one.air(o2_pct=20.5)
        time.sleep(0.5)
        assert one.told.kinds() == ["refused"]
        assert "ACL" in one.told[0].text  # type: ignore[union-attr]
        assert "cabinvigil/lapwing/alert" in one.told[0].text  # type: ignore[union-attr]
