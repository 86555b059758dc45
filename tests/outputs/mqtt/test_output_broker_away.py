"""The MQTT output while its broker is away, silent, old, or begun again."""

import re
import select
import signal
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import (
    AlarmState,
    Priority,
    Transition,
)
from cabinvigil.daemon.outputs.mqtt import session
from tests.outputs.brokers import (
    mosquitto,
)
from tests.outputs.listener import Listener
from tests.outputs.mqtt.cabin import cabin
from tests.outputs.network import Network
from tests.outputs.silent import RawBroker

pytestmark = [pytest.mark.broker, pytest.mark.usefixtures("quick_back_off")]


def test_alerts_wait_for_a_broker_that_is_away_and_say_their_age(
    tmp_path: Path,
) -> None:
    """An hour of virtual alerts without a broker: order, expiry and age are right."""
    with mosquitto(tmp_path / "b") as real:
        port = real.port
        real.stop()
        with cabin(port) as one:
            one.wait(lambda: "out-of-reach" in one.told.kinds())
            for number in range(60):
                one.alert(f"Alert {number}.", expiry_s=1_800.0)
                one.clock.ahead_s += 60.0
            # The listener first: an alert is not retained for who comes later.
            listens, attend = threading.Event(), one.phone._attend
            one.phone._attend = lambda: (listens.wait(15.0), attend())[1]  # type: ignore[method-assign]
            time.sleep(0.3)  # a try that is under way still finds nobody
            real.start()
            with Listener(port) as phone:
                listens.set()
                phone.wait(
                    lambda: any(
                        e.text.startswith("Alert 59.") for e in phone.on("/alert")
                    )
                )
                got = [int(e.text.split()[1].rstrip(".")) for e in phone.on("/alert")]
            assert got == sorted(got)
            assert got[-1] == 59
            # 1 800 s of life and one a minute: 30 or so were still worth telling.
            assert len(got) <= 30
            assert 29 <= 60 - one.desk.outbox.lost.expired <= 31
            assert one.told.kinds() == ["out-of-reach", "ok"]


def test_alerts_of_an_hour_arrive_in_order_with_their_ages(tmp_path: Path) -> None:
    """None lost below the bound, though none was subscribed for before."""
    with (
        mosquitto(tmp_path / "b") as real,
        Listener(real.port) as phone,
        cabin(real.port) as one,
    ):
        phone.wait(lambda: phone.on("presence"))
        real.process.send_signal(signal.SIGSTOP)  # type: ignore[union-attr]
        try:
            for number in range(120):
                one.alert(f"Alert {number}.", expiry_s=9_000.0)
                one.clock.ahead_s += 30.0
            one.wait(lambda: "out-of-reach" in one.told.kinds(), 20.0)
        finally:
            real.process.send_signal(signal.SIGCONT)  # type: ignore[union-attr]
        one.wait(lambda: one.desk.outbox.alerts_waiting == 0, 20.0)
        phone.wait(lambda: any("Alert 119." in e.text for e in phone.on("/alert")))
    order = [int(e.text.split()[1].rstrip(".")) for e in phone.on("/alert")]
    firsts = list(dict.fromkeys(order))
    assert firsts == list(range(120)), "each came, and first comings are in order"
    # Alert 20 was decided 100 half minutes before the last one.
    text = next(e.text for e in reversed(phone.on("/alert")) if "Alert 20." in e.text)
    (minutes,) = re.findall(r", (\d+)\smin late", text)
    assert 49 <= int(minutes) <= 52


def test_a_broker_that_accepts_and_never_answers_is_one_clear_fault() -> None:
    with RawBroker("silent") as raw, cabin(raw.port, answer_s=0.3) as one:
        one.wait(lambda: len(raw.levels) >= 3)
        began = time.perf_counter()
        for number in range(1_000):
            one.alert(f"Alert {number}.")
        assert time.perf_counter() - began < 5.0, "offers never wait"
        assert one.told.kinds() == ["out-of-reach"]
        assert "does not respond" in one.told[0].text  # type: ignore[union-attr]
        assert one.desk.outbox.alerts_waiting == 500


def test_what_waits_for_a_silent_broker_costs_no_processor(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Seeded chaos: it woke the wait for the broker's word, on and on."""
    looks, really = [0], select.select

    def counted(*args: Any) -> Any:
        looks[0] += 1
        return really(*args)

    monkeypatch.setattr(session.select, "select", counted)
    with RawBroker("silent") as raw, cabin(raw.port, answer_s=1.5) as one:
        one.wait(lambda: raw.levels)
        for number in range(20):
            one.alert(f"Alert {number}.")
        one.wait(lambda: one.told.kinds())
    assert looks[0] < 100


@pytest.mark.parametrize("rule", ["old", "rude"])
def test_an_old_broker_is_spoken_to_in_its_own_version(rule: str) -> None:
    """MQTT 5 refused, or hung up on: then 3.1.1, with all that matters in the text."""
    with RawBroker(rule) as raw, cabin(raw.port) as one:
        one.alert("Oxygen low: 19.4 %.")
        one.wait(lambda: any(b"Oxygen low" in each for each in raw.published))
        assert raw.levels[0] == 5
        assert raw.levels[-1] == 4
        one.wait(lambda: one.told.kinds()[-1] == "ok")
    text = next(each for each in raw.published if b"Oxygen low" in each)
    assert re.search(rb"19\.4 %\. \(\d\d:\d\d\)", text)


def test_a_broker_killed_and_back_gets_all_states_again(tmp_path: Path) -> None:
    """It lost its retained messages with the kill: they stand again on its return."""
    with mosquitto(tmp_path / "b") as real, cabin(real.port) as one:
        one.air(o2_pct=20.5)
        change = Transition(
            "co-level", AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL, Priority.HIGH,
            "CO high.", 0.0,
        )  # fmt: skip
        one.phone.handle(change, one.stamp())
        one.wait(lambda: not one.desk.outbox.has_more and not one.desk.outbox.in_flight)
        real.stop(kill=True)
        one.wait(lambda: "out-of-reach" in one.told.kinds())
        real.start()
        with Listener(real.port) as phone:
            phone.wait(lambda: phone.on("alarm/co-level") and phone.on("presence"))
        assert phone.on("presence")[-1].text == "watching"


def test_a_wrong_host_or_port_is_a_sentence(tmp_path: Path) -> None:
    for given in ({"host": "no-such-host.invalid"}, {"port": 1}):
        with cabin(given.pop("port", 1), **given) as one:
            one.wait(lambda: one.told)
            assert one.told.kinds()[0] == "out-of-reach"


@pytest.mark.parametrize("way", ["cut", "stall", "lose"])
def test_a_network_that_comes_back_is_used_again(tmp_path: Path, way: str) -> None:
    """Reset, held back, or dead without a word: what was said meanwhile arrives."""
    with (
        mosquitto(tmp_path / "b") as real,
        Network(real.port) as network,
        Listener(real.port) as phone,
        cabin(network.port) as one,
    ):
        phone.wait(lambda: phone.on("/presence"))
        getattr(network, way)()
        one.alert("Get out.")
        if way != "stall":
            one.wait(lambda: "out-of-reach" in one.told.kinds())
        assert not phone.on("/alert")
        network.mend()
        phone.wait(lambda: phone.on("/alert"))
        one.wait(lambda: one.desk.outbox.alerts_waiting == 0)
        assert {heard.text.split(" (")[0] for heard in phone.on("/alert")} == {
            "Get out."
        }
