"""Requests to the MQTT output through a real broker: answered, refused, bounded."""

import json
import threading
import time

import pytest

from cabinvigil.daemon.ask import limits
from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.outputs.mqtt.requests import Reply
from tests.outputs.brokers import (
    Mosquitto,
)
from tests.outputs.listener import Listener, asking
from tests.outputs.mqtt.cabin import Cabin, cabin

pytestmark = [pytest.mark.broker, pytest.mark.usefixtures("quick_back_off")]


def test_an_ask_is_answered_where_the_asker_waits(open_broker: Mosquitto) -> None:
    """Response topic and correlation data of MQTT 5 (check_values mqtt5_properties)."""
    with Listener(open_broker.port) as phone, cabin(open_broker.port) as one:
        phone.wait(lambda: phone.on("lapwing/presence"))
        phone.publish(
            "cabinvigil/lapwing/ask", asking("acknowledge", 1.0, id="7"),
            answer_to="cabinvigil/lapwing/answer/me", correlation=b"\x00\x01",
            user={"name": "Ana's phone"},
        )  # fmt: skip
        phone.wait(lambda: phone.on("answer/me"))
        (got,) = phone.on("answer/me")
        assert got.properties.CorrelationData == b"\x00\x01"
        body = json.loads(got.text)
        assert {**body, "answer": "acknowledge", "id": "7", "ok": True} == body
        phone.publish("cabinvigil/lapwing/ask", '{"ask": "status"}')
        phone.wait(lambda: phone.on("lapwing/answer"))
        assert [a.verb for a in one.asks] == ["acknowledge", "status"]
        assert one.asks[0].act is not None
        assert one.asks[0].act.text == "Ana's phone"
        assert 1.0 <= one.asks[0].act.age_s < 5.0


def test_what_is_refused_is_answered_and_told(open_broker: Mosquitto) -> None:
    with Listener(open_broker.port) as phone, cabin(open_broker.port) as one:
        phone.wait(lambda: phone.on("lapwing/presence"))
        phone.publish(
            "cabinvigil/lapwing/ask", '{"ask": "silence for ever"}',
            answer_to="cabinvigil/lapwing/alert",
        )  # fmt: skip
        phone.wait(lambda: phone.on("lapwing/answer"))
        body = json.loads(phone.on("lapwing/answer")[0].text)
        assert body["ok"] is False
        assert "below it only" in body["text"]
        assert phone.on("lapwing/alert") == []
        assert one.asks == []
        one.wait(lambda: one.refused)
        assert "refused" in one.refused[0]


@pytest.mark.parametrize("size", [2049, 5000, 60_000])
def test_an_ask_that_is_too_long_is_answered_and_told(
    open_broker: Mosquitto, size: int
) -> None:
    """Not dropped by the broker, which would tell nobody."""
    with Listener(open_broker.port) as phone, cabin(open_broker.port) as one:
        phone.wait(lambda: phone.on("lapwing/presence"))
        phone.publish("cabinvigil/lapwing/ask", "x" * size)
        phone.wait(lambda: phone.on("lapwing/answer"))
        body = json.loads(phone.on("lapwing/answer")[0].text)
        assert body["ok"] is False
        assert body["text"] == f"{size} bytes are too many; at most 2048"
        one.wait(lambda: one.refused)


@pytest.mark.parametrize("is_v5", [True, False])
def test_a_retained_ask_is_not_obeyed(open_broker: Mosquitto, is_v5: bool) -> None:
    """Retained weeks ago, or just now while the watch listens: it quiets nothing.

    A broker takes the flag off what it hands to a standing subscription, unless it is
    asked not to; MQTT 3.1.1 cannot ask, and there only its age tells: a second one of
    the same moment, which comes as if new, is refused once it is old.
    """
    name = "knot" if is_v5 else "sanderling"
    topic = f"cabinvigil/{name}/ask"
    with Listener(open_broker.port) as phone:
        phone.publish(topic, asking("acknowledge"), retain=True)
        phone.wait(lambda: phone.on(f"{name}/ask"))
        one = Cabin(open_broker.port, name=name)
        one.phone._is_v5 = is_v5
        one.phone.start()
        try:
            # Retained from an earlier test, a first presence may say `stopped`.
            phone.wait(
                lambda: any("watching" in e.text for e in phone.on(f"{name}/presence"))
            )
            age_s = 0.0 if is_v5 else 31.0
            phone.publish(topic, asking("acknowledge", age_s), retain=True)
            phone.wait(lambda: len(phone.on(f"{name}/answer")) >= (1 if is_v5 else 2))
            phone.publish(topic, asking("status"))
            one.wait(lambda: one.asks)
            assert [a.verb for a in one.asks] == ["status"]
            assert one.refused
            why = [json.loads(e.text)["text"] for e in phone.on(f"{name}/answer")]
            assert "without retain" in why[0]
            assert is_v5 or "another alarm" in why[1]
        finally:
            one.phone.stop(2.0)
        phone.publish(topic, "", retain=True)


def test_a_core_that_stumbles_over_an_ask_costs_no_connection(
    open_broker: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = Cabin(open_broker.port, name="ruff")

    def bug(ask: Ask, reply: Reply) -> None:
        raise ZeroDivisionError("bug")

    monkeypatch.setattr(one.phone._asked, "_on_ask", bug)
    one.phone.start()
    with Listener(open_broker.port) as phone:
        phone.wait(lambda: phone.on("ruff/presence"))
        phone.publish("cabinvigil/ruff/ask", '{"ask": "status"}')
        one.wait(lambda: one.refused)
        one.alert("Still here.")
        phone.wait(lambda: phone.on("ruff/alert"))
    one.phone.stop(2.0)
    assert "internal error" in one.refused[0]
    assert one.told == []


def test_a_flood_is_told_once_and_shuts_no_phone_out(
    open_broker: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some thousand asks: a handful get in, alerts go on, and the phone is answered.

    Oversize ones never reach us: MQTT 5 lets us state the largest packet we take.  The
    fault ends with the flood.
    """
    monkeypatch.setattr(limits, "FLOOD", 100)
    top = "cabinvigil/sanderling"
    with (
        Listener(open_broker.port, topic=f"{top}/#") as phone,
        Listener(open_broker.port, topic=f"{top}/presence") as flooder,
        cabin(open_broker.port, name="sanderling") as one,
    ):
        phone.wait(lambda: phone.on("presence"))
        flooder.publish(f"{top}/ask", b"x" * 1_000_000)
        ends = threading.Event()

        def flood() -> None:
            number = 0
            while not ends.is_set():
                number += 1
                payload = asking("acknowledge", text=f"{number % 3}")
                flooder.publish(f"{top}/ask", payload, qos=0)
                if number % 20 == 0:
                    time.sleep(0.005)

        thread = threading.Thread(target=flood)
        thread.start()
        try:
            one.wait(lambda: "babbling" in one.told.kinds())
            one.alert("In the flood.")
            phone.wait(lambda: phone.on("/alert"))
            for number in range(3):
                answered = f"{top}/answer/{number}"
                phone.publish(f"{top}/ask", asking("acknowledge"), answer_to=answered)
                phone.wait(lambda answered=answered: phone.on(answered))
        finally:
            ends.set()
            thread.join()
        assert all(json.loads(e.text)["ok"] for e in phone.on("answer/0"))
        assert one.told.kinds() == ["babbling"]
        assert len(one.refused) <= 3
        # Nothing may be under way while the clock jumps: it would be long overdue.
        phone.publish(f"{top}/ask", asking("status"), answer_to=f"{top}/answer/end")
        phone.wait(lambda: phone.on("answer/end"))
        one.wait(lambda: not one.desk.outbox.in_flight and not one.desk.outbox.has_more)
        one.clock.ahead_s += 31.0
        one.wait(lambda: one.told.kinds() == ["babbling", "ok"])
        assert "cabinvigil/sanderling/ask" in one.told[0].text  # type: ignore[union-attr]
