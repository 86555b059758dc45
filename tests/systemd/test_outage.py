"""Twelve hours without the broker elsewhere, and a power cut inside them.

The watch's clock is moved; the brokers' own are not, so that nothing expires meanwhile.
"""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import AlarmState, Priority, Transition
from tests.outputs.listener import Listener
from tests.outputs.mqtt.cabin import Cabin, cabin
from tests.systemd.bridged import Brokers, bridged

pytestmark = [pytest.mark.broker, pytest.mark.xdist_group("bridge")]

CHANGES = 500
ALERTS = 100
ALARMS = ("co-level", "co2-level", "cold", "o2-low", "sensor-stale/bunk-o2")
HOURS = 12.0


@pytest.fixture
def brokers(tmp_path: Path) -> Iterator[Brokers]:
    with bridged(tmp_path) as three:
        yield three


def change(one: Cabin, number: int) -> None:
    """Move one alarm on, and tell of each fifth; an hour has some forty of them."""
    states = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
    after, before = states[number % 2], states[1 - number % 2]
    alarm = ALARMS[number % len(ALARMS)]
    one.wait(lambda: settled(one), 30.0)  # else what is under way looks unanswered
    one.clock.ahead_s += HOURS * 3_600.0 / CHANGES
    said = Transition(alarm, after, before, Priority.HIGH, f"{number}.", 0.0)
    one.phone.handle(said, one.stamp())
    if number % (CHANGES // ALERTS) == 0:
        one.alert(f"Told {number}.", expiry_s=2 * HOURS * 3_600.0)


def settled(one: Cabin) -> bool:
    box = one.desk.outbox
    return not box.has_more and not box.in_flight


def told(phone: Listener) -> list[int]:
    texts = (e.text for e in phone.on("lapwing/alert"))
    return [int(text.split()[1].rstrip(".")) for text in texts if "Told" in text]


def last_states(phone: Listener) -> dict[str, str]:
    found = {e.topic.partition("alarm/")[2]: e.text for e in phone.heard}
    return {alarm: found.get(alarm, "") for alarm in ALARMS}


@pytest.mark.parametrize("is_cut", [False, True])
def test_every_alert_in_order_and_each_alarms_last_state_arrive(
    brokers: Brokers, is_cut: bool
) -> None:
    """None twice; the cut kills both of the cabin's brokers at once, in the middle."""
    with (
        cabin(brokers.near_port, **brokers.watch()) as one,
        brokers.phone("phone-session") as phone,
    ):
        phone.wait(lambda: [e.text for e in phone.on("/bridge")][-1:] == ["1"])
        one.wait(lambda: settled(one))
        brokers.far.stop()
        for number in range(CHANGES):
            change(one, number)
            if is_cut and number == CHANGES // 2:
                one.wait(lambda: settled(one), 30.0)
                time.sleep(0.3)  # what came in the very last moment may be lost
                brokers.near.stop(kill=True)
                brokers.bridge.stop(kill=True)
                brokers.bridge.start()
                brokers.near.start()
        one.wait(lambda: settled(one), 30.0)
        brokers.far.start()
        last = CHANGES - CHANGES // ALERTS
        phone.wait(lambda: last in told(phone), 60.0)
        newest = {alarm: f'"{CHANGES - 5 + n}."' for n, alarm in enumerate(ALARMS)}
        phone.wait(
            lambda: all(
                newest[alarm] in text for alarm, text in last_states(phone).items()
            ),
            60.0,
        )
        assert told(phone) == list(range(0, CHANGES, CHANGES // ALERTS))
        # A bridge that comes back sends the newest retained one between the older ones.
        for alarm in ALARMS:
            seqs = [
                int(e.text.partition('"seq":')[2].partition(",")[0])
                for e in phone.on(f"alarm/{alarm}")
            ]
            assert seqs[-1] == max(seqs), "whoever obeys `seq` ends with the newest"


def test_a_retry_queues_no_repeat_of_what_is_retained(brokers: Brokers) -> None:
    """Each did, of each: a night without a network left no room for an alert."""
    with cabin(brokers.near_port, **brokers.watch()) as one:
        for number in range(len(ALARMS)):
            change(one, number)
        one.wait(lambda: settled(one))
        brokers.far.stop()
        retries = brokers.bridge.log().count("(step 1)")
        one.wait(lambda: brokers.bridge.log().count("(step 1)") >= retries + 2, 120.0)
        brokers.far.start()
        with brokers.phone() as phone:
            phone.wait(
                lambda: [e.text for e in phone.on("/bridge")][-1:] == ["1"], 40.0
            )
            phone.wait(lambda: phone.on("alarm/cold"), 40.0)
            one.alert("After it.")
            phone.wait(lambda: [e for e in phone.on("alert") if "After" in e.text])
            assert len(phone.on("alarm/cold")) <= 3, (
                "retained, at connecting, by the watch"
            )


def test_an_expired_certificate_elsewhere_leaves_the_cabins_phone_alone(
    brokers: Brokers,
) -> None:
    """The bridge's mosquitto 2.0.11 then spins, which its unit bounds and ends."""
    certs = brokers.certificates
    with (
        brokers.cabin_phone() as phone,
        cabin(brokers.near_port, **brokers.watch()) as one,
    ):
        one.wait(lambda: settled(one))
        brokers.far.stop()
        certs.expire()
        brokers.far.start()
        one.wait(lambda: "certificate verify failed" in brokers.bridge.log(), 40.0)
        one.alert("Oxygen low: 19.4 %.")
        phone.wait(lambda: [e for e in phone.on("alert") if "19.4" in e.text])
        brokers.bridge.stop(kill=True)  # a spinning one heeds nothing else


def test_the_bridge_back_is_given_all_that_stands(brokers: Brokers) -> None:
    """And down, it is told to the cabin, which hears it from its own broker."""
    with cabin(brokers.near_port, **brokers.watch()) as one, brokers.phone() as phone:
        phone.wait(lambda: [e.text for e in phone.on("/bridge")][-1:] == ["1"])
        change(one, 0)
        one.wait(lambda: settled(one))
        phone.wait(lambda: phone.on("alarm/co-level"))
        brokers.far.stop()
        one.wait(lambda: one.phone._bridge._down_s is not None)
        one.clock.ahead_s += 61.0
        one.wait(lambda: "out-of-reach" in one.told.kinds())
        assert "second phones get nothing" in str(one.told)
        # As where the far broker lost all it kept.
        for file in (brokers.far.folder / "data").iterdir():
            file.unlink()
        heard = len(phone.on("alarm/co-level"))
        brokers.far.start()
        phone.wait(lambda: len(phone.on("alarm/co-level")) > heard, 40.0)
        one.wait(lambda: one.told.kinds()[-1] == "ok", 40.0)
