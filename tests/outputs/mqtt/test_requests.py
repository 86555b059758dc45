"""The gate for asks by MQTT, and the words for what stands against a broker; pure."""

import ssl
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import pytest

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.broker import Broker, connect_error
from cabinvigil.daemon.outputs.mqtt.messages import Topics
from cabinvigil.daemon.outputs.mqtt.requests import FLOOD, Reply, RequestGate

WALL = datetime(2025, 1, 15, 2, 0, tzinfo=UTC)


class Desk:
    def __init__(self) -> None:
        self.asks: list[Ask] = []
        self.refused: list[str] = []
        self.answers: list[tuple[Mapping[str, Any], str, bytes]] = []
        self.gate = RequestGate(Topics("lapwing"), self.on_ask, self.refused.append)

    def on_ask(self, ask: Ask, reply: Reply) -> None:
        self.asks.append(ask)
        reply({"ok": True})

    def arrive(
        self, payload: bytes, now_s: float = 0.0, wall: datetime = WALL, **kw: Any
    ) -> None:
        self.gate.arrived(
            payload, kw.pop("topic", ""), kw.pop("correlation", b""),
            Stamp(now_s, wall), lambda *answer: self.answers.append(answer), **kw,
        )  # fmt: skip


def test_a_repeat_is_answered_and_not_done_again() -> None:
    desk = Desk()
    for _ in range(2):
        desk.arrive(b'{"ask": "mark", "text": "vent open", "id": "1"}')
    assert len(desk.asks) == 1
    assert [answer[0]["ok"] for answer in desk.answers] == [True, True]
    assert "first asked" in desk.answers[1][0]["text"]


def test_answers_carry_what_the_asker_gave() -> None:
    desk = Desk()
    topic = "cabinvigil/lapwing/answer/me"
    desk.arrive(b'{"ask": "status", "id": "7"}', topic=topic, correlation=b"\x01")
    desk.arrive(b"nonsense", topic=topic, correlation=b"\x02")
    assert desk.answers[0] == (
        {"answer": "status", "id": "7", "ok": True}, topic, b"\x01"
    )  # fmt: skip
    assert desk.answers[1][1:] == (topic, b"\x02")
    assert desk.answers[1][0]["ok"] is False


def test_where_the_clock_cannot_be_right_no_ask_is_called_stale() -> None:
    """Booted in 1970: the phone's moment is years ahead, and its owner is awake."""
    data = b'{"ask": "acknowledge", "at": "2025-01-15T02:00:00Z"}'
    desk = Desk()
    desk.arrive(data, wall=datetime(1970, 1, 1, 1, tzinfo=UTC))
    assert len(desk.asks) == 1
    desk.arrive(data, 5.0, wall=datetime(2025, 1, 15, 3, tzinfo=UTC))
    assert len(desk.asks) == 1
    assert "another alarm" in desk.answers[-1][0]["text"]


def test_a_retained_ask_is_refused_whatever_the_broker_was_asked() -> None:
    """MQTT 5 spares us retained ones; with 3.1.1 they come."""
    desk = Desk()
    desk.arrive(b'{"ask": "acknowledge"}', is_retained=True)
    assert desk.asks == []
    assert "retained" in desk.answers[0][0]["text"]


def test_a_crowd_within_ten_seconds_is_a_flood_and_a_trickle_is_none() -> None:
    desk = Desk()
    for number in range(FLOOD + 20):
        desk.arrive(b'{"ask": "status"}', number / 1_000)
    assert desk.gate.is_flooded(0.3)
    assert not desk.gate.is_flooded(20.0)
    assert len(desk.answers) == 10, "refused for their number: not even answered"
    slow = Desk()
    for number in range(2_000):
        slow.arrive(b'{"ask": "status"}', number / 10)
        assert not slow.gate.is_flooded(number / 10)


@pytest.mark.parametrize(
    ("error", "kind", "word"),
    [
        (TimeoutError("timed out"), "out-of-reach", "no answer in 5 s"),
        (ConnectionRefusedError(111, "Connection refused"), "out-of-reach", "refused"),
        (OSError(), "out-of-reach", "OSError"),
        (ValueError("bad host"), "out-of-reach", "bad host"),
        (ValueError(), "out-of-reach", "ValueError"),
        (ssl.SSLError(1, "[SSL] x"), "refused", "is port 8883 its TLS port?"),
    ],
)
def test_whatever_the_network_says_becomes_one_sentence(
    error: Exception, kind: str, word: str
) -> None:
    broker = Broker("shore.example", 8883, "cabinvigil-lapwing")
    got = connect_error(broker, error)
    assert got.kind == kind
    assert word in got.text
    assert "shore.example:8883" in got.text
    assert got.text.endswith(".")
