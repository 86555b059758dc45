"""Requests to the MQTT output through a real broker: answered, refused, bounded."""

import json
import threading
import time

import pytest

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.outputs.mqtt import requests
from cabinvigil.daemon.outputs.mqtt.requests import Reply
from tests.outputs.brokers import (
    Mosquitto,
)
from tests.outputs.listener import Listener
from tests.outputs.mqtt.cabin import Cabin, cabin

pytestmark = [pytest.mark.broker, pytest.mark.usefixtures("quick_back_off")]


def test_an_ask_is_answered_where_the_asker_waits(open_broker: Mosquitto) -> None:
    """Response topic and correlation data of MQTT 5 (check_values mqtt5_properties)."""
    with Listener(open_broker.port) as phone, cabin(open_broker.port) as one:
        phone.wait(lambda: phone.on("lapwing/presence"))
        phone.publish(
            "cabinvigil/lapwing/ask", '{"ask": "acknowledge", "id": "7"}',
            answer_to="cabinvigil/lapwing/answer/me", correlation=b"\x00\x01",
        )  # fmt: skip
        phone.wait(lambda: phone.on("answer/me"))
        (got,) = phone.on("answer/me")
        assert got.properties.CorrelationData == b"\x00\x01"
        body = json.loads(got.text)
        assert {**body, "answer": "acknowledge", "id": "7", "ok": True} == body
        phone.publish("cabinvigil/lapwing/ask", '{"ask": "status"}')
        phone.wait(lambda: phone.on("lapwing/answer"))
        assert [a.verb for a in one.asks] == ["acknowledge", "status"]


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


def test_a_retained_ask_is_not_obeyed(open_broker: Mosquitto) -> None:
    """Someone retained an acknowledgement weeks ago: it must not quiet tonight."""
    with Listener(open_broker.port) as phone:
        topic = "cabinvigil/knot/ask"
        phone.publish(topic, '{"ask": "acknowledge"}', retain=True)
        phone.wait(lambda: phone.on("knot/ask"))
        with cabin(open_broker.port, name="knot") as one:
            phone.wait(lambda: phone.on("knot/presence"))
            phone.publish(topic, '{"ask": "status"}')
            one.wait(lambda: one.asks)
            assert [a.verb for a in one.asks] == ["status"]
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
    assert "stumbled" in one.refused[0]
    assert one.told == []


def test_a_flood_is_bounded_and_cut_off(
    open_broker: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """2 000 asks in a burst: a handful get in, alerts go on, then the topic is shut.

    Oversize ones never reach us: MQTT 5 lets us state the largest packet we take.
    """
    monkeypatch.setattr(requests, "FLOOD", 100)
    with (
        Listener(open_broker.port, topic="cabinvigil/sanderling/#") as phone,
        cabin(open_broker.port, name="sanderling") as one,
    ):
        phone.wait(lambda: phone.on("presence"))
        topic = "cabinvigil/sanderling/ask"
        phone.publish(topic, b"x" * 1_000_000)
        ends = threading.Event()

        def flood() -> None:
            for number in range(2_000):
                phone.publish(topic, f'{{"ask": "mark", "text": "{number}"}}', qos=0)
                if number % 20 == 0:
                    time.sleep(0.005)
            ends.set()

        thread = threading.Thread(target=flood)
        thread.start()
        one.alert("In the flood.")
        phone.wait(lambda: phone.on("/alert"))
        thread.join()
        one.wait(lambda: "babbling" in one.told.kinds())
        assert ends.is_set()
        assert len(one.asks) <= 30
        assert len(one.refused) <= 3
        one.clock.ahead_s += 61.0
        one.wait(lambda: one.phone._shut_until_s is None)
        one.alert("After the flood.")
        one.wait(lambda: one.told.kinds()[-1] == "ok")
        before = len(one.asks)
        phone.publish(topic, '{"ask": "status"}')
        one.wait(lambda: len(one.asks) > before)
