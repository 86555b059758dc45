"""The phone side against real brokers, and against brokers that misbehave."""

import json
import os
import re
import signal
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.core.model import (
    AlarmState,
    Alert,
    Priority,
    Record,
    SourceFault,
    Transition,
)
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt import broker, requests
from cabinvigil.daemon.outputs.mqtt.broker import Backoff, Broker, BrokerError
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.output import Phone
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.outputs.mqtt.requests import Reply
from tests.outputs.brokers import (
    Certificates,
    Mosquitto,
    mosquitto,
    passwords,
    program,
)
from tests.outputs.hands import Told
from tests.outputs.listener import Listener
from tests.outputs.silent import RawBroker
from tests.systemd.bridged import secret

pytestmark = pytest.mark.broker


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Back off in tenths of a second: the doubling is tested by itself."""
    monkeypatch.setattr(broker, "FIRST_WAIT_S", 0.05)
    monkeypatch.setattr(broker, "LONGEST_WAIT_S", 0.2)


class JumpClock:
    """Real time, that a test can move forward: an hour passes in no time."""

    def __init__(self) -> None:
        self.ahead_s = 0.0

    def monotonic(self) -> float:
        return time.perf_counter() + self.ahead_s

    def wall(self) -> datetime:
        return datetime.now(UTC) + timedelta(seconds=self.ahead_s)


class Cabin:
    """A phone output and what it told."""

    def __init__(self, port: int, **kw: object) -> None:
        self.clock = JumpClock()
        self.began_s = self.clock.monotonic()
        self.told = Told()
        self.asks: list[Ask] = []
        self.refused: list[str] = []
        name = str(kw.pop("name", "lapwing"))
        given: dict[str, object] = {
            "host": "localhost", "port": port, "client_id": f"cabinvigil-{name}",
            "tls": False, "keepalive_s": 5, "connect_s": 2.0, "answer_s": 2.0,
        } | kw  # fmt: skip
        messages = Messages(Topics(name), run_of(datetime.now(UTC)), UTC)
        self.desk = Publisher(messages, heartbeat_s=30.0, readings_s=1.0)
        self.phone = Phone(
            Broker(**given),  # type: ignore[arg-type]
            self.desk,
            self.clock,
            self.told,
            on_ask=self.on_ask,
            on_refused=self.refused.append,
            dice=Random(1),
        )

    def on_ask(self, ask: Ask, reply: Reply) -> None:
        self.asks.append(ask)
        reply({"ok": True, "text": "done"})

    def stamp(self) -> Stamp:
        return Stamp(self.clock.monotonic() - self.began_s, self.clock.wall())

    def alert(self, text: str, **kw: object) -> None:
        command = Alert("o2-low", Priority.HIGH, text, **kw)  # type: ignore[arg-type]
        self.phone.handle(command, self.stamp())

    def air(self, **values: float) -> None:
        self.phone.handle(Record("air", values), self.stamp())

    def wait(self, what: Callable[[], object], deadline_s: float = 15.0) -> None:
        until = time.perf_counter() + deadline_s
        while not what():
            assert time.perf_counter() < until, (self.told, self.refused)
            time.sleep(0.01)


@contextmanager
def cabin(port: int, **kw: object) -> Iterator[Cabin]:
    one = Cabin(port, **kw)
    one.phone.start()
    try:
        yield one
    finally:
        one.phone.stop(2.0)


@pytest.fixture(scope="module")
def open_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path_factory.mktemp("broker")) as one:
        yield one


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return Certificates(tmp_path_factory.mktemp("certs"))


QUIET_NIGHT = {
    "night": "night-2025-01-14", "cabin": "plover", "emulated": True,
    "begins": None, "ends": None, "hours": 9.0, "verdict": "safe", "well": True,
    "reasons": [], "air_changes_per_h": None, "gas_kg": None, "gas_kwh": None,
    "water_left_kg": None, "tonight": [], "text": "SAFE.", "closest": [],
    "glass_wet_h": 0.0, "gaps": 0,
}  # fmt: skip
"""As short an account as the contract lets pass."""


# --- what a subscriber sees --------------------------------------------------------


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
    assert {"presence", "heartbeat", "readings", "alarm/o2-low", "morning"} <= retained


def test_two_cabins_behind_one_broker_do_not_touch(open_broker: Mosquitto) -> None:
    with (
        Listener(open_broker.port) as phone,
        cabin(open_broker.port, name="curlew") as first,
        cabin(open_broker.port, name="dunlin") as second,
    ):
        phone.wait(lambda: len({e.topic for e in phone.on("presence")}) >= 2)
        phone.publish("cabinvigil/curlew/ask", '{"ask": "acknowledge"}')
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


# --- the broker away, silent, old ----------------------------------------------------


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
    (minutes,) = re.findall(r", (\d+) min late", text)
    assert 49 <= int(minutes) <= 52


def test_a_broker_that_accepts_and_never_answers_is_one_clear_fault() -> None:
    with RawBroker("silent") as raw, cabin(raw.port, answer_s=0.3) as one:
        one.wait(lambda: len(raw.levels) >= 3)
        began = time.perf_counter()
        for number in range(1_000):
            one.alert(f"Alert {number}.")
        assert time.perf_counter() - began < 5.0, "offers never wait"
        assert one.told.kinds() == ["out-of-reach"]
        assert "does not answer" in one.told[0].text  # type: ignore[union-attr]
        assert one.desk.outbox.alerts_waiting == 500


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
    assert b"no. 1)" in text


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


# --- who may ---------------------------------------------------------------------


@pytest.fixture
def strict(tmp_path: Path, certificates: Certificates) -> Iterator[Mosquitto]:
    """TLS, users and an ACL in which the watcher may not write its alerts."""
    passwords(tmp_path / "passwords", watcher="right", guest="g")
    (tmp_path / "acl").write_text(
        "user watcher\n"
        "topic write cabinvigil/lapwing/presence\n"
        "topic write cabinvigil/lapwing/heartbeat\n"
        "topic read cabinvigil/lapwing/ask\n"
        "user guest\ntopic readwrite cabinvigil/#\n"
    )
    conf = (
        "allow_anonymous false\n"
        f"password_file {tmp_path}/passwords\nacl_file {tmp_path}/acl\n"
        "listener @PORT@ 127.0.0.1\n"
        f"cafile {certificates.ca}\ncertfile {certificates.crt}\n"
        f"keyfile {certificates.key}\n"
    )
    # mosquitto_passwd made the file for root; the broker of the tests runs as we do.
    with mosquitto(tmp_path / "b", conf) as one:
        yield one


def test_with_tls_user_and_password_all_is_well(
    strict: Mosquitto, certificates: Certificates, tmp_path: Path
) -> None:
    with cabin(
        strict.port, tls=True, ca_file=str(certificates.ca), user="guest",
        password_file=secret(tmp_path / "pw", "g\n"),
    ) as one:  # fmt: skip
        with Listener(strict.port, "guest", "g", certificates.ca) as phone:
            one.alert("Over TLS.")
            phone.wait(lambda: phone.on("/alert"))
        assert one.told == []


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"password": "wrong"}, "user 'guest'"),
        ({"user": ""}, "a client without user"),
        ({"ca_file": ""}, "certificate does not hold"),
        ({"ca_file": "other"}, "certificate does not hold"),
        ({"host": "127.0.0.2"}, "host to the name in it"),
        ({"ca_file": "/no/such/file"}, "CA file"),
        ({"password_file": "/no/such/file"}, "password file"),
    ],
)
def test_each_refusal_is_one_clear_fault(
    strict: Mosquitto,
    certificates: Certificates,
    tmp_path: Path,
    change: dict[str, str],
    word: str,
) -> None:
    """Wrong password, wrong certificate, wrong name: said once, with the mend."""
    if change.get("host"):
        strict.stop()
        text = strict.conf.read_text().replace("127.0.0.1\n", "127.0.0.2\n")
        strict.conf.write_text(text)
        strict.process = subprocess.Popen(
            [program("mosquitto"), "-c", str(strict.conf)]
        )
    if change.get("ca_file") == "other":
        change = {"ca_file": str(Certificates(tmp_path / "other").ca)}
    given: dict[str, object] = {
        "tls": True, "ca_file": str(certificates.ca), "user": "guest",
        "password_file": secret(tmp_path / "pw", change.pop("password", "g")),
    } | change  # fmt: skip
    with cabin(strict.port, **given) as one:
        one.wait(lambda: "refused" in one.told.kinds())
        time.sleep(0.4)
        refusals = [e for e in one.told if isinstance(e, SourceFault)]
        assert [e.kind for e in refusals if e.kind == "refused"] == ["refused"]
        (text,) = [e.text for e in refusals if e.kind == "refused"]
        assert word in text
        assert "\n" not in text


def test_a_topic_that_may_not_be_written_is_one_clear_fault(
    strict: Mosquitto, certificates: Certificates, tmp_path: Path
) -> None:
    """The broker lets us in and refuses the alerts: that must not pass in silence."""
    with cabin(
        strict.port, tls=True, ca_file=str(certificates.ca), user="watcher",
        password_file=secret(tmp_path / "pw", "right"),
    ) as one:  # fmt: skip
        for number in range(5):
            one.alert(f"Alert {number}.")
        one.wait(lambda: "refused" in one.told.kinds())
        one.air(o2_pct=20.5)
        time.sleep(0.5)
        assert one.told.kinds() == ["refused"]
        assert "ACL" in one.told[0].text  # type: ignore[union-attr]
        assert "cabinvigil/lapwing/alert" in one.told[0].text  # type: ignore[union-attr]


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


# --- asks ------------------------------------------------------------------------


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


def test_a_bug_in_a_message_reaches_neither_core_nor_connection(
    open_broker: Mosquitto,
) -> None:
    with cabin(open_broker.port, name="whimbrel") as one:
        broken = Alert("o2-low", Priority.HIGH, "x", expiry_s=float("nan"))
        one.phone.handle(broken, one.stamp())
        bad = Transition("a", "no state", AlarmState.NORMAL, Priority.LOW, "", 0.0)  # type: ignore[arg-type]
        one.phone.handle(bad, one.stamp())
        assert "late" in one.told.kinds()
