"""A text stands behind nothing: in the mailbox, at the broker, in the thread."""

from pathlib import Path

import pytest

from cabinvigil.daemon.outputs.mqtt.requests import Envelope
from cabinvigil.daemon.outputs.mqtt.session import Arrived
from cabinvigil.daemon.phone.inbound import (
    BeatHeard,
    Inbound,
    PresenceHeard,
    ReadingsHeard,
    TextHeard,
)
from cabinvigil.daemon.phone.listener import ASIDE_S, TAILS, Aside, Mail, Mailbox
from tests.outputs.brokers import mosquitto
from tests.outputs.listener import Listener
from tests.phone.rig import LOGGED, Sink, Watch, config, listens, running, wait_for


def mail(heard: Inbound, *, is_retained: bool = False) -> Mail:
    return Mail(heard, 0.0, is_retained, Arrived("", b"", Envelope()), 1)


def readings(cabin: str, o2_pct: float) -> Mail:
    return mail(ReadingsHeard(cabin, {"o2_pct": (o2_pct, 0.0, False)}))


def text(number: int) -> Mail:
    return mail(
        TextHeard("lapwing", False, f"{number}", "o2-low", 5, f"{number}", 60.0)
    )


def test_texts_come_first_then_life_then_so_many_of_the_rest() -> None:
    box = Mailbox()
    for number in range(10):
        box.put(f"plover-{number}/readings", readings(f"plover-{number}", 20.5))
    beat = mail(BeatHeard("lapwing", "run", 1, 5.0, 30.0))
    box.put("lapwing/heartbeat", beat)
    for number in range(3):
        box.put("lapwing/alert", text(number))
    first = box.next_mails(3)
    assert first[:4] == [text(0), text(1), text(2), beat]
    assert [one.heard.cabin for one in first[4:]] == ["plover-0", "plover-1"]
    # What comes meanwhile goes before what waits.
    box.put("lapwing/alert", text(3))
    assert box.next_mails(1) == [text(3), readings("plover-2", 20.5)]
    assert not box.is_empty
    assert len(box.next_mails(100)) == 7
    assert box.is_empty


def test_a_flood_of_texts_keeps_no_sign_of_life_waiting() -> None:
    box = Mailbox()
    for number in range(50):
        box.put("lapwing/alert", text(number))
    beat = mail(BeatHeard("lapwing", "run", 1, 5.0, 30.0))
    box.put("lapwing/heartbeat", beat)
    assert box.next_mails(20) == [*(text(number) for number in range(50)), beat]


def test_of_a_state_the_newest_waits_and_no_retained_one_undoes_it() -> None:
    box = Mailbox()
    old = mail(PresenceHeard("lapwing", "lost"), is_retained=True)
    new = mail(PresenceHeard("lapwing", "watching"))
    for one in (old, new, old):
        box.put("lapwing/presence", one)
    for o2_pct in (20.5, 20.4):
        box.put("lapwing/readings", readings("lapwing", o2_pct))
    assert box.next_mails(20) == [new, readings("lapwing", 20.4)]


def test_states_stand_aside_for_a_text_and_are_read_under_a_flood_of_texts() -> None:
    aside = Aside()
    assert aside.left_s(100.0) == 0.0
    aside.text(100.0)
    assert aside.left_s(100.0) == pytest.approx(ASIDE_S)
    read_s, step_s = 0.0, ASIDE_S / 10.0
    for step in range(1, 1001):
        now_s = 100.0 + step * step_s
        aside.text(now_s)
        read_s += step_s if aside.left_s(now_s) == 0.0 else 0.0
    assert read_s == pytest.approx(0.5 * 1000 * step_s, rel=0.1)


@pytest.mark.broker
def test_no_state_comes_by_the_connection_of_the_texts(tmp_path: Path) -> None:
    """Not even where the broker kept what a version with but one subscribed to."""
    log = tmp_path / "broker" / "log"
    with mosquitto(tmp_path / "broker", LOGGED) as broker, Sink() as sink:
        topic, name = "cabinvigil/+/readings", "cabinvigil-phone"
        with Listener(broker.port, topic=topic, session=name):
            pass
        path = config(tmp_path, broker.port, {"Ana": sink.address()})
        with running(path) as process, Listener(broker.port, topic="none") as listener:
            wait_for(lambda: listens(log), why=process.said)
            undone = sum(not qos for qos in TAILS.values())
            wait_for(lambda: log.read_text().count("Sending UNSUBACK") >= undone)
            watch = Watch(listener)
            watch.readings(o2_pct=20.5)
            watch.alert("Out.")
            wait_for(lambda: sink.got, why=process.said)
            wait_for(
                lambda: "PUBLISH to cabinvigil-phone-states" in log.read_text(),
                why=process.said,
            )
            said = log.read_text()
    sent = [line for line in said.splitlines() if "Sending PUBLISH to cab" in line]
    by = {tail: [one for one in sent if f"/{tail}'" in one] for tail in TAILS}
    assert len(by["alert"]) == 1
    assert "to cabinvigil-phone " in by["alert"][0]
    assert len(by["readings"]) == 1
    assert "to cabinvigil-phone-states " in by["readings"][0]
