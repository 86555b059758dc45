"""What somebody who holds the far broker, or a phone's password, cannot do."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.outputs.brokers import free_port
from tests.outputs.listener import Listener, asking
from tests.outputs.mqtt.cabin import cabin
from tests.systemd.bridged import Brokers, bridged, secret
from tests.systemd.hostile_far_end import HostileBroker

pytestmark = [pytest.mark.broker, pytest.mark.xdist_group("bridge")]

FORGED = [
    ("cabinvigil/lapwing/alert", b"All clear. You may go back in."),
    ("cabinvigil/lapwing/alert-second", b"Lapwing: all is well."),
    ("cabinvigil/lapwing/presence", b"stopped"),
    ("cabinvigil/lapwing/alarm/co-level", b'{"state":"normal"}'),
    ("cabinvigil/lapwing/heartbeat", b"{}"),
    ("cabinvigil/lapwing/bridge/here", b"0"),
]
MANY = 30_000
"""Retained topics, which filled 243 MB of one broker in 0.6 s."""


@contextmanager
def beside_a_hostile_far_end(
    top: Path, messages: list[tuple[str, bytes]]
) -> Iterator[tuple[Brokers, HostileBroker]]:
    port = free_port()
    far = HostileBroker(port, messages)
    try:
        with bridged(top, far_port=port) as brokers:
            yield brokers, far
    finally:
        far.close()


def test_a_hostile_far_broker_writes_nothing_but_asks_at_the_cabin(
    tmp_path: Path,
) -> None:
    """The forged ones come before an ask that is let through: so they were dropped."""
    ask = ("cabinvigil/lapwing/ask", asking("mark", text="x").encode())
    with (
        beside_a_hostile_far_end(tmp_path, [*FORGED, ask]) as (brokers, far),
        brokers.cabin_phone() as phone,
        cabin(brokers.near_port, **brokers.watch()) as one,
    ):
        assert far.has_written.wait(20.0)
        phone.wait(lambda: phone.on("lapwing/ask"))
        one.alert("Oxygen low: 19.4 %.")
        phone.wait(lambda: [e for e in phone.on("alert") if "19.4" in e.text])
        forged = {payload for _, payload in FORGED}
        assert [e for e in phone.heard if e.payload in forged - {b"0"}] == []
        assert [e.text for e in phone.on("bridge/here")][-1] == "1"
        assert one.asks == [], "retained: of another night, perhaps"
        one.wait(lambda: b"cabinvigil/lapwing/alert" in far.heard)


def test_a_hostile_far_broker_fills_neither_broker_nor_ends_the_cabins(
    tmp_path: Path,
) -> None:
    """The bridge keeps no more than its bound, and the cabin's phone goes on."""
    flood = [(f"cabinvigil/lapwing/ask/{n}", b"x" * 4_000) for n in range(MANY)]
    with (
        beside_a_hostile_far_end(tmp_path, flood) as (brokers, far),
        brokers.cabin_phone() as phone,
        cabin(brokers.near_port, **brokers.watch()) as one,
    ):
        far.has_written.wait(5.0)  # it may take as long as it likes to send
        for broker, bound_mb in ((brokers.near, 40.0), (brokers.bridge, 60.0)):
            assert broker.process is not None
            if broker.process.poll() is None:
                assert _resident_mb(broker.process.pid) < bound_mb
        assert brokers.near.process is not None
        assert brokers.near.process.poll() is None
        one.alert("Oxygen low: 19.4 %.")
        phone.wait(lambda: [e for e in phone.on("alert") if "19.4" in e.text])


def _resident_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return float(line.split()[1]) / 1_024.0
    return 0.0


def test_a_phones_password_takes_nobodys_session(tmp_path: Path) -> None:
    """A stolen one, under the watch's client id, and at both of the broker's doors."""
    with (
        bridged(tmp_path / "first") as brokers,
        brokers.cabin_phone() as phone,
        cabin(brokers.near_port, **brokers.watch()) as one,
    ):
        one.wait(lambda: not one.desk.outbox.has_more)
        stolen = Listener(
            brokers.phones_port, "phone", "c-secret", brokers.certificates.ca,
            "cabinvigil/#", session="cabinvigil-lapwing",
        )  # fmt: skip
        with stolen:
            time.sleep(0.5)
            stolen.publish("cabinvigil/lapwing/presence", "stopped", retain=True)
            one.alert("Oxygen low: 19.4 %.")
            stolen.wait(lambda: [e for e in stolen.on("alert") if "19.4" in e.text])
        assert one.told == [], "the watch kept its connection"
        assert "stopped" not in [e.text for e in phone.on("presence")]
    with bridged(tmp_path / "again") as brokers:
        own = {"user": "phone", "password_file": secret(tmp_path / "p", "c-secret")}
        with cabin(brokers.near_port, **own) as one:
            one.wait(lambda: "refused" in one.told.kinds())
