"""The MQTT output beside a real broker: what a subscriber sees."""

import json
import signal
import subprocess
import sys
import time

import pytest

from cabinvigil.daemon.core.model import (
    AlarmState,
    Alert,
    Priority,
    Transition,
)
from tests.outputs.brokers import (
    Mosquitto,
)
from tests.outputs.listener import Listener, asking
from tests.outputs.mqtt.cabin import QUIET_NIGHT, cabin

pytestmark = [pytest.mark.broker, pytest.mark.usefixtures("quick_back_off")]


def test_a_subscriber_sees_presence_readings_alarms_and_alerts(
    open_broker: Mosquitto,
) -> None:
    """The whole contract of one cabin, as any MQTT 5 client gets it."""
    top = "cabinvigil/plover/"
    with Listener(open_broker.port, topic="cabinvigil/plover/#") as phone:
        with cabin(open_broker.port, name="plover") as one:
            one.air(o2_pct=20.5, temp_c=18.2)
            change = Transition(
                "o2-low", AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL, Priority.HIGH,
                "Oxygen low.", 0.0,
            )  # fmt: skip
            one.phone.handle(change, one.stamp())
            one.alert("Oxygen low: 19.4 %. Open the door.")
            one.phone.morning(QUIET_NIGHT)
            phone.wait(lambda: phone.on("/alert") and phone.on("/morning"))
            phone.wait(lambda: phone.on("/readings") and phone.on("/alarm/o2-low"))
            assert one.told == []
        phone.wait(lambda: [e for e in phone.on("presence") if e.text == "stopped"])
    assert [e.text for e in phone.on("presence")] == ["watching", "stopped"]
    alert = phone.on("/alert")[0]
    assert alert.text.startswith("Oxygen low: 19.4 %. Open the door. (")
    assert not alert.retain
    assert alert.properties.MessageExpiryInterval in {3_599, 3_600}
    assert json.loads(phone.on("/alarm/o2-low")[0].text)["state"] == "unacknowledged"
    assert json.loads(phone.on("/readings")[0].text)[0]["u"] == "/100"
    assert all(e.topic.startswith(top) for e in phone.heard)
    retained = {e.topic.removeprefix(top) for e in phone.heard if e.retain}
    assert {"presence", "readings", "alarm/o2-low", "morning"} <= retained
    assert "heartbeat" not in retained, "else an old one would arrive as if new"


def test_two_cabins_behind_one_broker_do_not_touch(open_broker: Mosquitto) -> None:
    with (
        Listener(open_broker.port) as phone,
        cabin(open_broker.port, name="curlew") as first,
        cabin(open_broker.port, name="dunlin") as second,
    ):
        phone.wait(lambda: len({e.topic for e in phone.on("presence")}) >= 2)
        phone.publish("cabinvigil/curlew/ask", asking("acknowledge"))
        first.wait(lambda: first.asks)
        assert second.asks == []
        first.alert("Only the first.")
        phone.wait(lambda: phone.on("curlew/alert"))
        assert phone.on("dunlin/alert") == []


WATCHER = """
import sys, time
from datetime import UTC, datetime
from cabinvigil.daemon.core.model import Record
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.output import Phone

class Clock:
    monotonic = staticmethod(time.perf_counter)
    wall = staticmethod(lambda: datetime.now(UTC))

broker = Broker("localhost", int(sys.argv[1]), "cabinvigil-teal", tls=False)
run = run_of(datetime.now(UTC))
desk = Publisher(Messages(Topics("teal"), run), heartbeat_s=5.0, readings_s=1.0)
phone = Phone(broker, desk, Clock(), print, on_ask=print, on_refused=print)
phone.start()
phone.handle(Record("air", {"o2_pct": 20.5}), Stamp(0.0, datetime.now(UTC)))
time.sleep(60)
"""


def test_after_kill_minus_nine_the_broker_says_lost(open_broker: Mosquitto) -> None:
    """A real process, killed without warning: the Will speaks, retained, at once."""
    with Listener(open_broker.port, topic="cabinvigil/teal/#") as phone:
        watcher = subprocess.Popen(
            [sys.executable, "-c", WATCHER, str(open_broker.port)]
        )
        try:
            phone.wait(lambda: [e.text for e in phone.on("presence")] == ["watching"])
            killed_s = time.perf_counter()
            watcher.send_signal(signal.SIGKILL)
            phone.wait(lambda: [e for e in phone.on("presence") if e.text == "lost"])
        finally:
            watcher.kill()
            watcher.wait()
        assert phone.on("presence")[-1].at_s - killed_s < 2.0
        assert phone.on("presence")[-1].retain


def test_a_bug_in_a_message_reaches_neither_core_nor_connection(
    open_broker: Mosquitto,
) -> None:
    with cabin(open_broker.port, name="whimbrel") as one:
        broken = Alert("o2-low", Priority.HIGH, "x", expiry_s=float("nan"))
        one.phone.handle(broken, one.stamp())
        bad = Transition("a", "no state", AlarmState.NORMAL, Priority.LOW, "", 0.0)  # type: ignore[arg-type]
        one.phone.handle(bad, one.stamp())
        assert "late" in one.told.kinds()
