"""Real brokers for the tests: Debian's mosquitto on free ports, each in its folder.

A test that needs a broker and finds none fails, and says how to get one.
"""

import itertools
import os
import re
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

HOW = "mosquitto is not installed; as root: apt-get install -y mosquitto"


def program(name: str) -> str:
    """Find mosquitto or its helpers: Debian keeps the broker in /usr/sbin."""
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")
    if found is None:
        pytest.fail(HOW)
    return found


_PORTS = itertools.count()


def free_port() -> int:
    """Find a port that nobody else takes meanwhile.

    Below the range that the kernel gives to outgoing connections, each test process in
    a range of its own, and no port twice: one that is merely free now may be taken by a
    neighbour before the broker has it.
    """
    worker = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    first = 14_000 + 2_000 * (worker % 8)
    while True:
        port = first + (os.getpid() % 1000 + next(_PORTS)) % 2_000
        with socket.socket() as sock:
            try:
                sock.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port


DEBIANS_OWN = Path("/etc/mosquitto/mosquitto.conf")


class Mosquitto:
    """One broker; `conf` is its whole configuration but for the log."""

    def __init__(
        self, folder: Path, port: int, conf: str, *, is_included: bool = False
    ) -> None:
        """Prepare it.

        Args:
            folder: its own.
            port: where it is to listen.
            conf: its configuration.
            is_included: start it through Debian's own main file, which includes ours
                as it does on a person's machine; only the paths in it are replaced.
        """
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.port = port
        self.conf = folder / "mosquitto.conf"
        # As root it would become the user mosquitto, and could not read the folder.
        user = "user root\n" if os.geteuid() == 0 else ""
        if is_included:
            (folder / "conf.d").mkdir(exist_ok=True)
            (folder / "conf.d" / "cabinvigil.conf").write_text(conf)
            conf = _debians_own(folder)
        else:
            conf = f"log_dest file {folder}/log\n{conf}"
        self.conf.write_text(user + conf)
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(
            [program("mosquitto"), "-c", str(self.conf)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until = time.perf_counter() + 10.0
        while True:
            try:
                with socket.create_connection(("127.0.0.1", self.port), 0.2):
                    return
            except OSError:
                if self.process.poll() is not None:
                    pytest.fail(f"mosquitto ended at once: {self.log()}")
                if time.perf_counter() > until:
                    self.stop(kill=True)
                    pytest.fail(f"mosquitto does not listen: {self.log()}")
                time.sleep(0.02)

    def stop(self, *, kill: bool = False) -> None:
        if self.process is not None:
            self.process.kill() if kill else self.process.terminate()
            self.process.wait(10)
            self.process = None

    def log(self) -> str:
        path = self.folder / "log"
        return path.read_text(errors="replace") if path.exists() else "no log"


def _debians_own(folder: Path) -> str:
    """Return Debian's main file with its four paths moved into a folder."""
    if not DEBIANS_OWN.exists():
        pytest.fail(HOW)
    text = DEBIANS_OWN.read_text()
    (folder / "data").mkdir(exist_ok=True)
    for key, path in (
        ("persistence_location", f"{folder}/data/"),
        ("log_dest file", f"{folder}/log"),
        ("include_dir", f"{folder}/conf.d"),
    ):
        text, count = re.subn(rf"^{key} .*", f"{key} {path}", text, flags=re.MULTILINE)
        assert count == 1, f"{DEBIANS_OWN} has no {key}"
    # Trixie's has it no longer.
    return re.sub(r"^pid_file .*", f"pid_file {folder}/pid", text, flags=re.MULTILINE)


@contextmanager
def mosquitto(folder: Path, conf: str = "", port: int = 0) -> Iterator[Mosquitto]:
    """Run a broker; without a configuration it lets everybody in on loopback."""
    port = port or free_port()
    conf = conf or f"listener {port} 127.0.0.1\nallow_anonymous true\n"
    broker = Mosquitto(folder, port, conf.replace("@PORT@", str(port)))
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


def passwords(path: Path, **users: str) -> None:
    """Write a password file."""
    path.touch(mode=0o600)
    for user, password in users.items():
        subprocess.run(
            [program("mosquitto_passwd"), "-b", str(path), user, password], check=True
        )


class Certificates:
    """A certificate authority and a server's certificate for localhost."""

    KEY_USAGE = ("-addext", "keyUsage=critical,keyCertSign,cRLSign")
    """As hardware.md has a reader make it: Python 3.13 and later ask for it."""

    def __init__(self, folder: Path, usage: Sequence[str] = KEY_USAGE) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.ca, self.crt, self.key = (
            folder / name for name in ("ca.crt", "srv.crt", "srv.key")
        )
        ca_key = folder / "ca.key"
        names = folder / "names"
        names.write_text(
            "subjectAltName=DNS:localhost,IP:127.0.0.1\n"
            "basicConstraints=critical,CA:FALSE\n"
            "keyUsage=critical,digitalSignature\n"
            "extendedKeyUsage=serverAuth\n"
            "subjectKeyIdentifier=hash\n"
            "authorityKeyIdentifier=keyid\n"
        )
        curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
        self._openssl(
            "req", "-x509", *curve, "-keyout", ca_key, "-out", self.ca,
            "-days", "2", "-subj", "/CN=test authority", *usage,
        )  # fmt: skip
        self._openssl(
            "req", *curve, "-keyout", self.key, "-out", folder / "srv.csr",
            "-subj", "/CN=localhost",
        )  # fmt: skip
        self._openssl(
            "x509", "-req", "-in", folder / "srv.csr", "-CA", self.ca, "-CAkey", ca_key,
            "-CAcreateserial", "-out", self.crt, "-days", "2", "-extfile", names,
        )  # fmt: skip

    def expire(self) -> None:
        """Have the server's certificate end yesterday."""
        folder = self.ca.parent
        self._openssl(
            "x509", "-req", "-in", folder / "srv.csr", "-CA", self.ca,
            "-CAkey", folder / "ca.key", "-CAcreateserial", "-out", self.crt,
            "-days", "-1", "-extfile", folder / "names",
        )  # fmt: skip

    @staticmethod
    def _openssl(*args: object) -> None:
        subprocess.run(
            ["openssl", *map(str, args)], check=True, capture_output=True, timeout=60
        )
