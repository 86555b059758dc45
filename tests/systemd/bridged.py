"""The cabin's broker, the bridge and the broker elsewhere, from the shipped files.

Only addresses, ports and paths are replaced, since the tests have no root and no
certificates of a real host.  The first and the last start through Debian's own main
file, as they do on a person's machine; the bridge has its file for itself.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.outputs.brokers import Certificates, Mosquitto, free_port, passwords
from tests.outputs.listener import Listener

FILES = Path(__file__).parents[2] / "systemd"


def secret(path: Path, text: str, mode: int = 0o600) -> str:
    """Write a password file of a given mode."""
    path.write_text(text)
    path.chmod(mode)
    return str(path)


@dataclass
class Brokers:
    near: Mosquitto
    near_port: int
    phones_port: int
    bridge: Mosquitto
    far: Mosquitto
    far_port: int
    certificates: Certificates
    folder: Path

    def watch(self, **kw: object) -> dict[str, object]:
        """Give what the watch needs to reach the near broker."""
        return {
            "user": "watcher",
            "password_file": secret(self.folder / "watcher-password", "w-secret"),
        } | kw

    def phone(self, session: str = "") -> Listener:
        """Give a phone at the far broker."""
        ca, topic = self.certificates.ca, "cabinvigil/#"
        return Listener(self.far_port, "phone", "p-secret", ca, topic, session)

    def cabin_phone(self) -> Listener:
        """Give a phone on the cabin's Wi-Fi."""
        ca, topic = self.certificates.ca, "cabinvigil/#"
        return Listener(self.phones_port, "phone", "c-secret", ca, topic)


def shipped(name: str, folder: Path, **changes: str) -> str:
    """Take a shipped file with its paths and ports replaced, and nothing else."""
    text = (FILES / name).read_text()
    for old, new in changes.items():
        found = re.subn(old, new, text, flags=re.MULTILINE)
        assert found[1], f"{name} has no {old}"
        text = found[0]
    return text.replace("/etc/mosquitto/cabinvigil", f"{folder}/cabinvigil")


def _cabins(
    folder: Path, port: int, phones: int, between: int, tls: dict[str, str]
) -> Mosquitto:
    passwords(folder / "cabinvigil.passwords", watcher="w-secret")
    passwords(folder / "cabinvigil-phones.passwords", phone="c-secret")
    conf = shipped(
        "mosquitto-cabin.conf", folder,
        **tls | {
            "^listener 1883 127.0.0.1": f"listener {port} 127.0.0.1",
            "^listener 8883": f"listener {phones} 127.0.0.1",
            "127.0.0.1:1899": f"127.0.0.1:{between}",
            "change-me": "i-secret",
        },
    )  # fmt: skip
    return Mosquitto(folder / "run", port, conf, is_included=True)


def _between(
    folder: Path, port: int, far_port: int, certs: Certificates | None
) -> Mosquitto:
    ca = f"bridge_cafile {certs.ca}" if certs else "bridge_insecure false"
    (folder / "data").mkdir(parents=True)
    passwords(folder / "cabinvigil-bridge.passwords", cabin="i-secret")
    acl = (FILES / "mosquitto-bridge.acl").read_text()
    (folder / "cabinvigil-bridge.acl").write_text(acl)
    conf = shipped(
        "mosquitto-bridge.conf", folder,
        **{
            "^log_dest .*\n": "",
            "/var/lib/cabinvigil-bridge/": f"{folder}/data/",
            "^listener 1899": f"listener {port}",
            r"^bridge_cafile .*": ca,
            "shore.example:8883": f"localhost:{far_port}",
            "change-me": "b-secret",
            # The far broker is gone for seconds here, not for hours.
            "^restart_timeout .*": "restart_timeout 1",
        },
    )  # fmt: skip
    return Mosquitto(folder / "run", port, conf)


@contextmanager
def bridged(top: Path, far_port: int = 0) -> Iterator[Brokers]:
    """Run the three in a folder.

    Args:
        top: the folder.
        far_port: where another far broker listens already, without TLS; 0: ours.
    """
    top.mkdir(exist_ok=True)
    certs = Certificates(top / "certs")
    near_port, phones_port, port = (free_port() for _ in range(3))
    is_ours, far_port = not far_port, far_port or free_port()
    near, far = top / "near", top / "far"
    for folder, which in ((near, "cabin"), (far, "shore")):
        folder.mkdir()
        acl = (FILES / f"mosquitto-{which}.acl").read_text()
        (folder / "cabinvigil.acl").write_text(acl)
    tls = {
        r"^cafile .*": f"cafile {certs.ca}",
        r"^certfile .*": f"certfile {certs.crt}",
        r"^keyfile .*": f"keyfile {certs.key}",
    }
    passwords(
        far / "cabinvigil.passwords",
        **{"lapwing-bridge": "b-secret", "phone": "p-secret"},
    )
    shore_conf = shipped(
        "mosquitto-shore.conf", far,
        **tls | {"^listener 8883": f"listener {far_port} 127.0.0.1"},
    )  # fmt: skip
    three = Brokers(
        _cabins(near, near_port, phones_port, port, tls), near_port, phones_port,
        _between(top / "bridge", port, far_port, certs if is_ours else None),
        Mosquitto(far / "run", far_port, shore_conf, is_included=True), far_port,
        certs, top,
    )  # fmt: skip
    try:
        if is_ours:
            three.far.start()
        three.bridge.start()
        three.near.start()
        yield three
    finally:
        three.bridge.stop()
        three.near.stop()
        three.far.stop()
