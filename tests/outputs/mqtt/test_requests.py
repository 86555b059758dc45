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
from cabinvigil.daemon.outputs.mqtt.requests import Envelope, Reply, RequestGate

WALL = datetime(2025, 1, 15, 2, 0, tzinfo=UTC)
ANSWER = b'{"ask": "acknowledge", "at": "2025-01-15T01:59:58Z"}'


class Desk:
    def __init__(self) -> None:
        self.asks: list[Ask] = []
        self.refused: list[str] = []
        self.body: Mapping[str, Any] = {"ok": True}
        self.answers: list[tuple[Mapping[str, Any], str, bytes]] = []
        self.gate = RequestGate(Topics("lapwing"), self.on_ask, self.refused.append)

    def on_ask(self, ask: Ask, reply: Reply) -> None:
        self.asks.append(ask)
        reply(self.body)

    def arrive(
        self, payload: bytes, now_s: float = 0.0, wall: datetime = WALL, **kw: Any
    ) -> None:
        envelope = Envelope(kw.pop("topic", ""), kw.pop("correlation", b""), **kw)
        self.gate.arrived(
            payload,
            envelope,
            Stamp(now_s, wall),
            lambda *answer: self.answers.append(answer),
        )

    def last(self) -> Mapping[str, Any]:
        return self.answers[-1][0]


def test_a_repeat_is_answered_and_not_done_again() -> None:
    desk = Desk()
    for _ in range(2):
        desk.arrive(b'{"ask": "mark", "text": "vent open", "id": "1"}')
    assert len(desk.asks) == 1
    assert desk.answers[0] == desk.answers[1]


@pytest.mark.parametrize(
    "ask",
    [
        b'{"ask": "delivered", "text": "Ana", "at": "2025-01-15T01:59:58Z"}',
        b'{"ask": "undelivered", "text": "Ana: 500", "at": "2025-01-15T01:59:58Z"}',
        b'{"ask": "acknowledge", "alarm": "precheck", "at": "2025-01-15T01:59:58Z"}',
    ],
)
def test_what_is_for_the_precheck_does_nothing_and_is_not_answered(ask: bytes) -> None:
    desk = Desk()
    desk.arrive(ask)
    assert (desk.asks, desk.answers, desk.refused) == ([], [], [])


def test_the_repeat_of_what_did_nothing_is_answered_as_that() -> None:
    desk = Desk()
    desk.body = {"ok": False, "text": "Nothing was done: cold is not shelved."}
    for _ in range(2):
        desk.arrive(b'{"ask": "mark", "text": "vent open", "id": "1"}')
    assert len(desk.asks) == 1
    assert [answer[0]["ok"] for answer in desk.answers] == [False, False]


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


@pytest.mark.parametrize("shows_retained", [True, False])
def test_where_the_clock_is_not_set_nothing_is_answered_from_outside(
    shows_retained: bool,
) -> None:
    """Booted in 1970: an answer of last night would look like one of now."""
    desk = Desk()
    unset = datetime(1970, 1, 1, 1, tzinfo=UTC)
    desk.arrive(ANSWER, wall=unset, shows_retained=shows_retained)
    assert desk.asks == []
    assert desk.last()["ok"] is False
    assert "clock is not set" in desk.last()["text"]
    desk.arrive(b'{"ask": "status"}', wall=unset, shows_retained=shows_retained)
    assert desk.last()["ok"] is True


@pytest.mark.parametrize("shows_retained", [True, False])
def test_an_answer_needs_its_moment_in_both_versions(shows_retained: bool) -> None:
    """A bridge may bring it late, and 3.1.1 does not show what was retained."""
    desk = Desk()
    desk.arrive(b'{"ask": "acknowledge"}', shows_retained=shows_retained)
    assert desk.asks == []
    assert "needs 'at'" in desk.last()["text"]
    desk.arrive(ANSWER, wall=WALL.replace(hour=3), shows_retained=shows_retained)
    assert desk.asks == []
    assert "another alarm" in desk.last()["text"]
    desk.arrive(ANSWER, shows_retained=shows_retained)
    assert desk.asks[0].act is not None
    assert desk.asks[0].act.age_s == 2.0


def test_who_answers_is_named_by_the_user_property() -> None:
    desk = Desk()
    user = (("colour", "red"), ("name", "Ana's\nphone"), ("name", "another"))
    desk.arrive(ANSWER, user=user)
    assert desk.asks[0].act is not None
    assert desk.asks[0].act.text == "Ana's phone"


def test_a_retained_ask_is_refused_whatever_it_asks_and_told_once() -> None:
    """It comes with every connection; whoever sends one by mistake learns why."""
    desk = Desk()
    for number in range(20):
        for payload in (ANSWER, b'{"ask": "mark", "text": "x"}', b'{"ask": "status"}'):
            desk.arrive(payload, 60.0 * number, is_retained=True)
    assert desk.asks == []
    assert "without retain" in desk.last()["text"]
    assert "empty retained message" in desk.last()["text"]
    assert len(desk.refused) < 10, "nor does it fill the log, by turns"
    again = Desk()
    for number in range(20):
        again.arrive(ANSWER, 60.0 * number, is_retained=True)
    assert len(again.refused) == 1
    again.arrive(b"", 2000.0, is_retained=True)
    assert len(again.answers) == 20, "who clears it is no asker"
    assert len(again.refused) == 1


ANA = {"user": (("name", "Ana's phone"),)}
ELI = {"topic": "cabinvigil/lapwing/answer/eli"}


@pytest.mark.parametrize("phone", [ANA, ELI, {"payload": "text"}])
@pytest.mark.parametrize(
    "junk", [b'{"ask": "mark", "text": "x"}', ANSWER, b"\xff", b'{"ask": "status"}']
)
@pytest.mark.parametrize("is_named", [True, False])
def test_a_flood_costs_its_own_sender_and_not_the_phone(
    phone: dict[str, Any], junk: bytes, is_named: bool
) -> None:
    """Whatever is sent in such numbers, by somebody with a name or without."""
    payload = ANSWER
    if "payload" in phone:  # 3.1.1: the name stands in the payload alone
        phone, payload = {}, ANSWER.replace(b"{", b'{"text": "Ana", ', 1)
    flooder = {"user": (("name", "flooder"),)} if is_named else {}
    desk = Desk()
    for number in range(5_000):
        desk.arrive(junk, number / 1_000, **flooder)
    assert desk.gate.is_flooded(5.0)
    before = len(desk.asks)
    desk.arrive(payload, 5.0, **phone)
    assert len(desk.asks) == before + 1
    assert desk.last()["ok"] is True
    assert len(desk.refused) <= 2
    assert not desk.gate.is_flooded(30.0)


@pytest.mark.parametrize(
    ("error", "kind", "word"),
    [
        (TimeoutError("timed out"), "out-of-reach", "no reply in 5 s"),
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
    assert got.text[-1] in ".?"
    assert got.text[-2].isalnum() or got.text[-2] in ")`"
