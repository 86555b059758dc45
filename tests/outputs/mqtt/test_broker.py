"""The broker's settings: its password file, and the wait between tries."""

import os
import stat
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.outputs.mqtt import broker
from cabinvigil.daemon.outputs.mqtt.broker import Backoff, Broker, BrokerError
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


def test_back_off_doubles_with_jitter_up_to_its_bound(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(broker, "FIRST_WAIT_S", 1.0)
    monkeypatch.setattr(broker, "LONGEST_WAIT_S", 60.0)
    backoff = Backoff(Random(3))
    waits = [backoff.next_s() for _ in range(12)]
    for number, wait_s in enumerate(waits):
        full_s = min(60.0, 2.0**number)
        assert full_s / 2 <= wait_s <= full_s
    assert len(set(waits)) == 12
    backoff.held_for(5.0)
    assert backoff.next_s() > 20.0
    backoff.held_for(60.0)
    assert backoff.next_s() <= 1.0
