"""`broker-setup`, on both machines: run twice, then its brokers carry a heartbeat."""

import os
import re
import shutil
import subprocess
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.outputs.brokers import Mosquitto, free_port, program
from tests.outputs.listener import Listener
from tests.outputs.mqtt.cabin import cabin
from tests.systemd.bridged import FILES

SCRIPT = FILES / "broker-setup"


def run(top: Path, *words: str, rc: int = 0) -> str:
    """Call it for a machine whose root is a folder; return what it says."""
    program("mosquitto_passwd")
    done = subprocess.run(
        ["bash", str(SCRIPT), *words],
        env=os.environ | {"DESTDIR": str(top)},
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == rc, done.stderr
    return done.stdout + done.stderr


@pytest.fixture
def machines(tmp_path: Path) -> tuple[Path, Path]:
    """Both ends, set up as the script itself says."""
    pi, shore = tmp_path / "pi", tmp_path / "shore"
    said = run(pi, "plover", "--shore", "localhost", "--phone", "ana")
    assert "--elsewhere localhost --bridge-password plover-bridge" in said
    secret = pi / "etc/mosquitto/cabinvigil-secrets/plover-bridge"
    run(shore, "plover", "--elsewhere", "localhost", "--bridge-password", str(secret),
        "--phone", "ben")  # fmt: skip
    shutil.copy(
        shore / "etc/mosquitto/certs/cabinvigil-ca.crt",
        pi / "etc/mosquitto/certs/cabinvigil-shore-ca.crt",
    )
    run(pi, "plover")
    return pi, shore


def content(top: Path) -> dict[str, str]:
    files = (e for e in top.rglob("*") if e.is_file())
    return {str(e.relative_to(top)): e.read_text() for e in files}


@pytest.mark.broker
def test_a_second_run_changes_nothing(machines: tuple[Path, Path]) -> None:
    pi, shore = machines
    before = content(pi), content(shore)
    secret = str(pi / "etc/mosquitto/cabinvigil-secrets/plover-bridge")
    for said in (
        run(pi, "plover"),
        run(pi, "plover", "--shore", "localhost"),
        run(shore, "plover", "--elsewhere", "localhost", "--bridge-password", secret),
    ):
        assert "nothing to change" in said
    assert before == (content(pi), content(shore))


@pytest.mark.broker
def test_what_is_secret_is_open_to_nobody_else(machines: tuple[Path, Path]) -> None:
    """Keys, passwords and what holds one; and none is the one of the shipped files."""
    for top in machines:
        for name, text in content(top).items():
            mode = (top / name).stat().st_mode & 0o777
            if re.search(r"key$|password|secrets|\.conf$", name):
                assert not mode & 0o007, name
            assert "change-me" not in text, name
            assert "lapwing" not in text, name


@pytest.mark.broker
def test_a_cabin_and_a_phone_more_keep_those_before(
    machines: tuple[Path, Path], tmp_path: Path
) -> None:
    """For a fleet: the other machine's rights are of all its cabins and phones."""
    _, shore = machines
    secret = tmp_path / "siskin-bridge"
    secret.write_text("s-secret\n")
    run(shore, "siskin", "--elsewhere", "localhost", "--phone", "cleo",
        "--bridge-password", str(secret))  # fmt: skip
    acl = (shore / "etc/mosquitto/cabinvigil.acl").read_text()
    users = re.findall(r"^user (\S+)", acl, re.MULTILINE)
    assert sorted(users) == ["ben", "cleo", "plover-bridge", "siskin-bridge"]
    block = acl.split("user plover-bridge\n")[1].split("\nuser ")[0]
    assert "siskin" not in block


@pytest.mark.broker
def test_the_brokers_as_set_up_carry_a_heartbeat_to_the_phones(
    machines: tuple[Path, Path], tmp_path: Path
) -> None:
    """All three run from the written files; ports and folders alone are replaced."""
    pi, shore = machines
    watch, phones, between, far = (free_port() for _ in range(4))
    ports = {
        "listener 1883 ": f"listener {watch} ",
        "127.0.0.1:1899": f"127.0.0.1:{between}",
        "listener 1899 ": f"listener {between} ",
        "localhost:8883": f"localhost:{far}",
        "log_dest stderr\n": "",
        "/var/lib/cabinvigil-bridge/": f"{tmp_path}/bridge/",
    }
    (tmp_path / "bridge").mkdir()

    def broker(top: Path, name: str, tls_port: int, port: int) -> Mosquitto:
        text = (top / "etc/mosquitto" / name).read_text()
        for old, new in {**ports, "listener 8883": f"listener {tls_port}"}.items():
            text = text.replace(old, new)
        text = text.replace("/etc/mosquitto/", f"{top}/etc/mosquitto/")
        is_included = name.startswith("conf.d")
        folder = tmp_path / f"run{port}"
        return Mosquitto(folder, port, text, is_included=is_included)

    user = {
        "user": "watcher",
        "password_file": str(pi / "etc/cabinvigil/mqtt-password"),
    }
    with ExitStack() as stack:
        for one in (
            broker(shore, "conf.d/cabinvigil.conf", far, far),
            broker(pi, "cabinvigil-bridge.conf", far, between),
            broker(pi, "conf.d/cabinvigil.conf", phones, watch),
        ):
            one.start()
            stack.callback(one.stop)
        heard = []
        for top, port, name in ((pi, phones, "ana"), (shore, far, "ben")):
            secret = top / "etc/mosquitto/cabinvigil-secrets" / name
            heard.append(
                stack.enter_context(
                    Listener(
                        port, name, secret.read_text().strip(),
                        top / "etc/mosquitto/certs/cabinvigil-ca.crt", "cabinvigil/#",
                    )
                )
            )  # fmt: skip
        one = stack.enter_context(cabin(watch, name="plover", **user))
        heard[1].wait(lambda: [e.text for e in heard[1].on("/bridge")][-1:] == ["1"])
        one.air(o2_pct=20.5)
        one.alert("Oxygen low: 19.4 %.")
        for phone in heard:
            phone.wait(lambda phone=phone: phone.on("plover/heartbeat"))
            phone.wait(lambda phone=phone: phone.on("plover/alert"))
        assert one.told == []


@pytest.mark.broker
def test_its_certificates_pass_the_strict_check(machines: tuple[Path, Path]) -> None:
    """What Python 3.13 asks for by default: key usage, and whose key signed."""
    for top in machines:
        certs = top / "etc/mosquitto/certs"
        ca = certs / "cabinvigil-ca.crt"
        for one in (ca, certs / "cabinvigil.crt"):
            said = subprocess.run(
                ["openssl", "verify", "-x509_strict", "-CAfile", str(ca), str(one)],
                capture_output=True, text=True, timeout=60,
            )  # fmt: skip
            assert said.returncode == 0, said.stderr


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["Lap Wing"], "lower-case"),
        (["lapwing-" + "a" * 40], "40 lower-case"),  # as `[cabin] name`
        (["lapwing", "--phone", "watcher"], "no phone can be named"),
        (["lapwing", "--shore", "a b"], "neither a host's name"),
        (["lapwing", "--shore", "shore.example:8883"], "leave out https:// and the"),
        (["lapwing", "--name", "--phone"], "neither a host's name"),
        (["lapwing", "--name", "10.42.0.300"], "four numbers up to 255"),
        (["lapwing", "--shore", ""], "wants a word"),
        (["lapwing", "--shore"], "wants a word"),
        (["lapwing", "--else", "x"], "does not know"),
        (["lapwing", "--elsewhere", "shore.example"], "--bridge-password wants"),
    ],
)
def test_a_wrong_call_is_told_in_one_sentence(
    tmp_path: Path, words: list[str], why: str
) -> None:
    said = run(tmp_path, *words, rc=2)
    assert why in said
    assert len(said.splitlines()) == 1


def names_in(top: Path) -> str:
    """The names that the broker's certificate is good for."""
    certs = top / "etc/mosquitto/certs"
    return subprocess.run(
        ["openssl", "x509", "-noout", "-ext", "subjectAltName", "-in",
         str(certs / "cabinvigil.crt")],
        capture_output=True, text=True, check=True, timeout=60,
    ).stdout  # fmt: skip


def public_key(*words: str) -> str:
    done = subprocess.run(
        ["openssl", *words], capture_output=True, text=True, check=True, timeout=60
    )
    return done.stdout


@pytest.mark.broker
def test_a_name_once_given_stays(tmp_path: Path) -> None:
    """The hotspot's address: a phone that knows the broker by it is not shut out."""
    run(tmp_path, "plover", "--name", "10.42.0.1")
    assert "nothing to change" in run(tmp_path, "plover")
    run(tmp_path, "plover", "--name", "fd00::1", "--name", "plover.example")
    for name in ("10.42.0.1", "FD00:0:0:0:0:0:0:1", "plover.example", "localhost"):
        assert f":{name}" in names_in(tmp_path)
    assert "nothing to change" in run(tmp_path, "plover", "--name", "10.42.0.1")


@pytest.mark.broker
@pytest.mark.parametrize("program_name", ["openssl", "mosquitto_passwd"])
@pytest.mark.parametrize("call", range(1, 6))
def test_killed_half_way_it_goes_on_when_it_is_run_again(
    tmp_path: Path, program_name: str, call: int
) -> None:
    """At each call of a program: key, certificate and names fit, brokers start anew."""
    top, stubs = tmp_path / "pi", tmp_path / "stubs"
    run(top, "plover")
    stubs.mkdir()
    stub = stubs / program_name
    real = shutil.which(program_name)
    stub.write_text(
        f"""#!/bin/sh
echo >>{tmp_path}/calls
[ $(wc -l <{tmp_path}/calls) -lt {call} ] || kill -9 0
exec {real} "$@"
"""
    )
    stub.chmod(0o755)
    words = ["plover", "--name", "10.42.0.1", "--phone", "ana", "--phone", "ben"]
    killed = subprocess.run(
        ["bash", str(SCRIPT), *words],
        env=os.environ
        | {"DESTDIR": str(top), "PATH": f"{stubs}:{os.environ['PATH']}"},
        capture_output=True, text=True, timeout=60, start_new_session=True, check=False,
    )  # fmt: skip
    said = run(top, *words)
    certs = top / "etc/mosquitto/certs"
    assert "10.42.0.1" in names_in(top)
    assert public_key(
        "pkey", "-pubout", "-in", str(certs / "cabinvigil.key")
    ) == public_key("x509", "-noout", "-pubkey", "-in", str(certs / "cabinvigil.crt"))
    if killed.returncode == 0:
        assert program_name == "mosquitto_passwd"
        assert "nothing to change" in said
        return
    assert "start mosquitto yourself" in said
    assert "nothing to change" in run(top, *words)


@pytest.mark.broker
def test_what_was_set_up_by_hand_keeps_its_password(tmp_path: Path) -> None:
    """The watch that runs knows it; nothing of it is written over."""
    password = tmp_path / "etc/cabinvigil/mqtt-password"
    password.parent.mkdir(parents=True)
    password.write_text("by-hand\n")
    run(tmp_path, "plover")
    assert password.read_text() == "by-hand\n"
    assert "nothing to change" in run(tmp_path, "plover")


@pytest.mark.broker
def test_a_password_that_cannot_be_kept_is_never_an_empty_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: whoever gives no password would be let in."""
    top, stub = tmp_path / "pi", tmp_path / "stubs/openssl"
    stub.parent.mkdir()
    real = shutil.which("openssl")
    stub.write_text(f'#!/bin/sh\n[ "$1" != rand ] || exit 1\nexec {real} "$@"\n')
    stub.chmod(0o755)
    with monkeypatch.context() as patch:
        patch.setenv("PATH", f"{stub.parent}:{os.environ['PATH']}")
        assert "is the disk full?" in run(top, "plover", rc=2)
    assert not (top / "etc/cabinvigil/mqtt-password").exists()
    assert "gave the user watcher a password" in run(top, "plover")


@pytest.mark.broker
def test_neither_end_is_made_into_the_other(machines: tuple[Path, Path]) -> None:
    """An option forgotten, or typed on the wrong machine: nothing is written over."""
    pi, shore = machines
    before = content(pi), content(shore)
    secret = str(pi / "etc/mosquitto/cabinvigil-secrets/plover-bridge")
    words = ["plover", "--elsewhere", "localhost", "--bridge-password", secret]
    assert "set up as a cabin's Pi" in run(pi, *words, rc=2)
    assert "set up as the other end" in run(shore, "plover", "--phone", "ben", rc=2)
    assert before == (content(pi), content(shore))


@pytest.mark.broker
def test_the_wrong_authority_is_told_and_not_taken(machines: tuple[Path, Path]) -> None:
    """Both machines' have the same name, and one is carried to the other."""
    pi, shore = (top / "etc/mosquitto/certs" for top in machines)
    other = pi / "cabinvigil-shore-ca.crt"
    kept = other.read_text()
    shutil.copy(pi / "cabinvigil-ca.crt", other)
    assert "is this machine's own" in run(machines[0], "plover", rc=2)
    other.write_text("no certificate")
    assert "is no certificate" in run(machines[0], "plover", rc=2)
    other.write_text(kept)
    shutil.copy(shore / "cabinvigil-ca.crt", pi)
    said = run(machines[0], "plover", rc=2)
    assert "is not the authority of the key beside it" in said
    (pi / "cabinvigil-ca.crt").unlink()
    assert "made an authority" in run(machines[0], "plover")


@pytest.mark.broker
def test_a_cabin_that_the_config_names_otherwise_is_told(tmp_path: Path) -> None:
    """Else the watch would speak, and its broker let nobody hear it."""
    config = tmp_path / "etc/cabinvigil/cabin.toml"
    config.parent.mkdir(parents=True)
    config.write_text('[watch]\n[cabin]\npeople = 2\nname = "plover" # ours\n')
    assert "CHECK" not in run(tmp_path, "plover")
    said = run(tmp_path, "siskin")
    assert 'says name = "plover"' in said
    assert 'write name = "siskin" there' in said
