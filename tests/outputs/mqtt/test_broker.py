"""The broker's settings: its password file, and the wait between tries."""

import os
import stat
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.outputs.mqtt import broker
from cabinvigil.daemon.outputs.mqtt.broker import (
    LONGEST_WAIT_S,
    QUICK_FOR_S,
    Backoff,
    Broker,
    BrokerError,
)
from cabinvigil.daemon.phone.silence import GRACE_S
from tests.systemd.bridged import secret


@pytest.mark.parametrize(
    ("text", "mode", "word"),
    [
        ("pw", 0o644, "chmod 640"), ("pw", 0o660, "chmod 640"), ("", 0o600, "one line"),
        ("a\nb", 0o600, "one line"), ("x" * 1025, 0o600, "one line"),
    ],
)  # fmt: skip
def test_a_password_file_that_others_read_is_refused(
    tmp_path: Path, text: str, mode: int, word: str
) -> None:
    path = secret(tmp_path / "pw", text, mode)
    with pytest.raises(BrokerError, match=word) as caught:
        broker.read_password(Broker("h", 1, "c", password_file=path))
    assert caught.value.kind == "refused"
    assert stat.S_IMODE(os.stat(path).st_mode) == mode


def test_passwords_are_read_as_they_are(tmp_path: Path) -> None:
    path = secret(tmp_path / "pw", " pass wörd \r\n", 0o640)
    assert (
        broker.read_password(Broker("h", 1, "c", password_file=path)) == " pass wörd "
    )
    assert broker.read_password(Broker("h", 1, "c")) is None
    Path(path).write_bytes(b"\xff")
    with pytest.raises(BrokerError, match="UTF-8"):
        broker.read_password(Broker("h", 1, "c", password_file=path))


def test_back_off_is_brief_for_minutes_and_then_doubles_up_to_its_bound() -> None:
    """With jitter; a connection that held begins it anew."""
    backoff = Backoff(Random(3))
    away_s, waits = 0.0, []
    while away_s < QUICK_FOR_S:
        waits.append(backoff.next_s())
        backoff.held_for(0.5)
        away_s += waits[-1] + 0.5
    assert all(0.5 <= wait_s <= 1.0 for wait_s in waits)
    assert len(set(waits)) == len(waits)
    slow = [backoff.next_s() for _ in range(12)]
    for number, wait_s in enumerate(slow):
        full_s = min(LONGEST_WAIT_S, 2.0**number)
        assert full_s / 2 <= wait_s <= full_s
    backoff.held_for(5.0)
    assert backoff.next_s() > LONGEST_WAIT_S / 2
    backoff.held_for(60.0)
    assert backoff.next_s() <= 1.0


def test_a_network_that_returns_is_used_before_a_silence_is_told() -> None:
    """Away for two heartbeats, a third before it: three seconds are left."""
    for seed in range(200):
        backoff, now_s = Backoff(Random(seed)), 0.0
        while now_s < 2 * 30.0:  # each try is refused at once
            now_s += backoff.next_s()
        assert now_s - 2 * 30.0 <= GRACE_S
