"""The brokers' shipped files, run as they are: the cabin's, the bridge's, the far one.

See `bridged.py` for what is replaced in them.
"""

import re
import signal
import threading
import time
from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise

import pytest

from cabinvigil.daemon.core.model import AlarmState, Priority, Transition
from tests.outputs.listener import Listener, asking
from tests.outputs.mqtt.cabin import QUIET_NIGHT, Cabin, cabin
from tests.systemd.bridged import FILES, Brokers, bridged

pytestmark = [pytest.mark.broker, pytest.mark.xdist_group("bridge")]


@pytest.fixture(scope="module")
def brokers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Brokers]:
    with bridged(tmp_path_factory.mktemp("bridge")) as pair:
        yield pair


def is_up(phone: Listener) -> bool:
    return [e.text for e in phone.on("/bridge")][-1:] == ["1"]


def test_the_whole_contract_crosses_and_asks_come_back(brokers: Brokers) -> None:
    """Expiry, moment and properties arrive; an ask from afar is answered there."""
    with brokers.phone() as phone, cabin(brokers.near_port, **brokers.watch()) as one:
        phone.wait(lambda: is_up(phone))
        until_s = time.perf_counter() + 60.0
        one.air(o2_pct=20.5)
        while not (phone.on("lapwing/heartbeat") and phone.on("lapwing/readings")):
            # What no broker keeps is lost while the bridge comes up: it comes again.
            assert time.perf_counter() < until_s
            time.sleep(1.0)
            one.air(o2_pct=20.5)
        change = Transition(
            "o2-low", AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL, Priority.HIGH,
            "Oxygen low.", 0.0,
        )  # fmt: skip
        one.phone.handle(change, one.stamp())
        one.alert("Oxygen low: 19.4 %.")
        one.phone.morning(QUIET_NIGHT)
        for tail in ("presence", "heartbeat", "readings", "alarm/o2-low", "alert"):
            phone.wait(lambda tail=tail: phone.on(f"lapwing/{tail}"))
        (alert,) = phone.on("lapwing/alert")
        assert 3_590 <= alert.properties.MessageExpiryInterval <= 3_600
        assert dict(alert.properties.UserProperty)["alarm"] == "o2-low"
        assert (
            phone.on("readings")[0].properties.ContentType == "application/senml+json"
        )
        phone.publish(
            "cabinvigil/lapwing/ask", asking("acknowledge", id="9"),
            answer_to="cabinvigil/lapwing/answer/me", correlation=b"\x07",
        )  # fmt: skip
        phone.wait(lambda: phone.on("answer/me"))
        assert phone.on("answer/me")[0].properties.CorrelationData == b"\x07"
        assert len(one.asks) == 1
        assert one.told == []
        # The phone may not speak in the watch's stead.
        phone.publish("cabinvigil/lapwing/alert", "All is well.")
        phone.publish("cabinvigil/lapwing/presence", "watching", retain=True)
        one.alert("A second one.")
        phone.wait(lambda: len(phone.on("lapwing/alert")) >= 2)
        assert "All is well." not in [e.text for e in phone.on("lapwing/alert")]


CUT = 500
"""Alerts in a cut hour: as many as the watch itself would keep (`ALERTS_KEPT`)."""


def test_alerts_of_a_cut_hour_cross_with_their_ages(brokers: Brokers) -> None:
    """The far broker gone, an hour of virtual alerts, then back: none is lost.

    The phone has a session that the far broker keeps: it reads on where it stopped.
    What was worth telling for a second only has expired meanwhile, at the near broker.
    """
    with (
        cabin(brokers.near_port, **brokers.watch()) as one,
        brokers.phone("phone-session") as phone,
    ):
        one.wait(lambda: not one.desk.outbox.in_flight and not one.desk.outbox.has_more)
        brokers.far.stop()
        one.alert("Brief.", expiry_s=1.0)
        one.wait(lambda: one.desk.outbox.alerts_waiting == 0)
        for number in range(CUT):
            one.alert(f"Cut {number}.", expiry_s=7_200.0)
            # Its moment is of both clocks, which jump between two looks at them.
            one.wait(lambda: one.desk.outbox.alerts_waiting == 0)
            one.clock.ahead_s += 3_600.0 / CUT
        time.sleep(1.5)  # the broker's clock is its own: no test moves it
        brokers.far.start()
        last = f"Cut {CUT - 1}."
        phone.wait(lambda: [e for e in phone.on("alert") if last in e.text], 30)
    cut = [e for e in phone.on("alert") if e.text.startswith("Cut")]
    order = list(dict.fromkeys(int(e.text.split()[1].rstrip(".")) for e in cut))
    assert sorted(order) == list(range(CUT))
    # Mosquitto keeps the order but for a message that comes in while a session is taken
    # up again: that one may overtake the queue (one of 500 in one of some 40 runs).
    assert sum(after < before for before, after in pairwise(order)) <= 2
    moments = sorted({dict(e.properties.UserProperty)["at"] for e in cut})
    span = datetime.fromisoformat(moments[-1]) - datetime.fromisoformat(moments[0])
    assert 3_580.0 <= span.total_seconds() <= 3_605.0
    for each in cut:  # a 3.1.1 phone has the text alone
        moment = dict(each.properties.UserProperty)["at"]
        assert f"({moment[11:16]}" in each.text
        assert each.properties.MessageExpiryInterval <= 7_200
    assert not [e for e in phone.heard if e.text.startswith("Brief")]


@pytest.mark.parametrize("is_v5", [True, False])
def test_what_was_retained_at_the_far_broker_is_not_obeyed_when_the_bridge_comes_back(
    brokers: Brokers, is_v5: bool
) -> None:
    """Each time the bridge connects it brings the ask again, as if it were new.

    MQTT 5 keeps the flag on its way, so that a young one too is refused; with 3.1.1
    the near broker takes it off, and its age is what tells.
    """
    age_s = 0.0 if is_v5 else 31.0
    with brokers.phone() as phone:
        phone.wait(lambda: is_up(phone))
        one = Cabin(brokers.near_port, **brokers.watch())
        one.phone._is_v5 = is_v5
        one.phone.start()
        topic = "cabinvigil/lapwing/ask"
        try:
            one.wait(lambda: not one.desk.outbox.has_more)
            brokers.far.stop()
            brokers.far.start()
            phone.wait(lambda: phone.client.is_connected())
            phone.publish(topic, asking("acknowledge", age_s), retain=True)
            phone.wait(lambda: phone.on("lapwing/answer"), 30.0)
            brokers.far.stop()
            brokers.far.start()
            phone.wait(lambda: len(phone.on("lapwing/answer")) > 1, 30.0)
            assert one.asks == []
            phone.publish(topic, asking("acknowledge", text="Ana's phone"))
            one.wait(lambda: one.asks)
            assert [ask.act.text for ask in one.asks if ask.act] == ["Ana's phone"]
            assert len(one.refused) == 1, "told once, and not each time it comes"
        finally:
            phone.publish(topic, "", retain=True)
            one.phone.stop(2.0)


def test_the_far_side_learns_of_a_watch_that_died(brokers: Brokers) -> None:
    """The connection breaks without farewell: `lost`, retained, beyond the bridge."""
    with brokers.phone() as phone:
        one = Cabin(brokers.near_port, **brokers.watch())
        one.phone.start()
        phone.wait(lambda: [e for e in phone.on("presence") if e.text == "watching"])
        phone.wait(lambda: is_up(phone))
        # As the kernel does for a killed process: the socket closes, nothing is said.
        one.phone._thread.end()
        one.phone._is_done = lambda: _vanish(one)  # type: ignore[method-assign]
        one.phone._wakeup.ring()
        # At once, and not after one and a half keep-alives, which are 22 s.
        phone.wait(lambda: phone.on("presence")[-1].text == "lost")
        one.phone.stop(1.0)


def test_the_far_side_learns_of_a_watch_that_froze(brokers: Brokers) -> None:
    """Nothing is closed and nothing said: `lost` after one and a half keep-alives."""
    thawed = threading.Event()
    with brokers.phone() as phone:
        one = Cabin(brokers.near_port, **brokers.watch(keepalive_s=2))
        one.phone.start()
        phone.wait(lambda: is_up(phone))
        phone.wait(
            lambda: (
                phone.on("presence")[-1:]
                and phone.on("presence")[-1].text == "watching"
            )
        )
        one.phone._is_done = lambda: thawed.wait(60.0)  # type: ignore[method-assign]
        one.phone._wakeup.ring()
        began = time.perf_counter()
        # How soon it comes is a figure of the bench: here a busy machine may take long.
        phone.wait(lambda: phone.on("presence")[-1].text == "lost", 40.0)
        assert time.perf_counter() - began > 1.0
        thawed.set()
        one.phone.stop(1.0)


def _vanish(one: Cabin) -> bool:
    raise OSError("killed")


def test_the_far_side_learns_of_a_bridge_that_died(brokers: Brokers) -> None:
    """The bridge's own notice: 0 at once after a kill, 1 again after the return."""
    with brokers.phone() as phone:
        phone.wait(lambda: is_up(phone))
        brokers.bridge.stop(kill=True)
        phone.wait(lambda: phone.on("/bridge")[-1].text == "0")
        brokers.bridge.start()
        phone.wait(lambda: phone.on("/bridge")[-1].text == "1", 30.0)


def test_the_far_side_hears_the_watch_again_after_its_broker_died(
    brokers: Brokers,
) -> None:
    """The bridge stands meanwhile: what tells is a heartbeat that does not come."""
    with cabin(brokers.near_port, **brokers.watch()) as one, brokers.phone() as phone:
        one.wait(lambda: not one.desk.outbox.has_more)
        brokers.near.stop(kill=True)
        one.wait(lambda: "out-of-reach" in one.told.kinds())
        brokers.near.start()
        one.alert("After the kill.")
        phone.wait(lambda: [e for e in phone.on("alert") if "After" in e.text], 30.0)


def test_a_frozen_near_broker_is_told_by_the_watch_itself(brokers: Brokers) -> None:
    """It accepts nothing and closes nothing: out of reach after the deadline."""
    with cabin(brokers.near_port, **brokers.watch(answer_s=0.5)) as one:
        one.wait(lambda: not one.desk.outbox.has_more)
        assert brokers.near.process is not None
        brokers.near.process.send_signal(signal.SIGSTOP)
        try:
            one.alert("Into the frozen broker.")
            one.wait(lambda: "out-of-reach" in one.told.kinds())
        finally:
            brokers.near.process.send_signal(signal.SIGCONT)
        one.wait(lambda: one.desk.outbox.alerts_waiting == 0)


def test_each_bridge_may_write_its_own_cabin_alone() -> None:
    """A fleet on one broker: no line of one cabin's user names another's topics."""
    user = ""
    for line in (FILES / "mosquitto-shore.acl").read_text().splitlines():
        if line.startswith("user "):
            user = line.split()[1]
        elif line.startswith("topic write cabinvigil/") and user.endswith("-bridge"):
            assert line.split("/")[1] == user.removesuffix("-bridge")


def test_the_files_name_every_topic_of_the_contract() -> None:
    """What the watch publishes is let through by the ACL and carried by the bridge."""
    tails = {
        "presence", "heartbeat", "readings", "estimates", "alarm/#", "alert",
        "alert-second", "morning", "answer/#",
    }  # fmt: skip
    for name, comes_in in (("cabin", ["ask", "bridge"]), ("bridge", ["ask"])):
        conf = (FILES / f"mosquitto-{name}.conf").read_text()
        assert set(re.findall(r"^topic (\S+) out", conf, re.MULTILINE)) == tails
        assert re.findall(r"^topic (\S+) in", conf, re.MULTILINE) == comes_in
    users = (("cabin", "watcher"), ("bridge", "cabin"), ("shore", "lapwing-bridge"))
    for name, user in users:
        acl = (FILES / f"mosquitto-{name}.acl").read_text()
        block = acl.split(f"user {user}\n")[1].split("\nuser ")[0]
        rule = r"^topic (?:read)?write cabinvigil/lapwing/(\S+)"
        allowed = set(re.findall(rule, block, re.MULTILINE))
        assert tails <= allowed


def test_no_file_opens_a_listener_that_it_does_not_name(brokers: Brokers) -> None:
    """A bound above the listeners makes mosquitto open its usual port besides."""
    for broker, named in ((brokers.near, 2), (brokers.bridge, 1), (brokers.far, 1)):
        opened = re.findall(r"Opening ipv4 listen socket on port (\d+)", broker.log())
        assert len(set(opened)) == named
        assert "1883" not in opened
