"""Two brokers and a bridge, from the shipped files as they are.

Only addresses, ports and paths are replaced, since the tests have no root and no
certificates of a real host.
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


def shipped(name: str, folder: Path, **changes: str) -> str:
    """Take a shipped file with its paths and ports replaced, and nothing else."""
    text = (FILES / name).read_text()
    for old, new in changes.items():
        found = re.subn(old, new, text, flags=re.MULTILINE)
        assert found[1], f"{name} has no {old}"
        text = found[0]
    return text.replace("/etc/mosquitto/cabinvigil", f"{folder}/cabinvigil")


@contextmanager
def bridged(top: Path) -> Iterator[Brokers]:
    """Run the pair in a folder."""
    certs = Certificates(top / "certs")
    near_port, far_port = free_port(), free_port()
    near, far = top / "near", top / "far"
    for folder, which, users in (
        (near, "cabin", {"watcher": "w-secret", "phone": "p-secret"}),
        (far, "shore", {"lapwing-bridge": "b-secret", "phone": "p-secret"}),
    ):
        folder.mkdir()
        (folder / "data").mkdir()
        acl = (FILES / f"mosquitto-{which}.acl").read_text()
        (folder / "cabinvigil.acl").write_text(acl)
        passwords(folder / "cabinvigil.passwords", **users)
    tls = {
        r"^cafile .*": f"cafile {certs.ca}",
        r"^certfile .*": f"certfile {certs.crt}",
        r"^keyfile .*": f"keyfile {certs.key}",
    }
    cabin_conf = shipped(
        "mosquitto-cabin.conf", near,
        **tls | {
            "/var/lib/mosquitto/": f"{near}/data/",
            "^listener 1883 127.0.0.1": f"listener {near_port} 127.0.0.1",
            "^listener 8883": f"listener {free_port()} 127.0.0.1",
            r"^bridge_cafile .*": f"bridge_cafile {certs.ca}",
            "shore.example:8883": f"localhost:{far_port}",
            "change-me": "b-secret",
            # The far broker is gone for seconds here, not for hours.
            "^restart_timeout 2 30": "restart_timeout 1",
        },
    )  # fmt: skip
    shore_conf = shipped(
        "mosquitto-shore.conf", far,
        **tls | {
            "/var/lib/mosquitto/": f"{far}/data/",
            "^listener 8883": f"listener {far_port} 127.0.0.1",
        },
    )  # fmt: skip
    pair = Brokers(
        Mosquitto(near / "run", near_port, cabin_conf), near_port,
        Mosquitto(far / "run", far_port, shore_conf), far_port,
        certs, top,
    )  # fmt: skip
    try:
        pair.far.start()
        pair.near.start()
        yield pair
    finally:
        pair.near.stop()
        pair.far.stop()
