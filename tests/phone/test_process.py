"""The process itself, between a real broker and push servers that misbehave."""

import resource
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import Priority
from tests.outputs.brokers import Mosquitto, free_port, mosquitto
from tests.outputs.listener import Listener
from tests.phone.rig import (
    COMMAND,
    LOGGED,
    Process,
    Sink,
    Watch,
    config,
    listens,
    running,
    wait_for,
)
from tests.soak.phone_kills import kill_amid_alerts

pytestmark = pytest.mark.broker


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker", LOGGED) as running_broker:
        yield running_broker


@pytest.fixture
def listener(broker: Mosquitto) -> Iterator[Listener]:
    with Listener(broker.port) as one:
        yield one


@pytest.fixture
def sink() -> Iterator[Sink]:
    with Sink() as one:
        yield one


def connected(process: Process, count: int = 1) -> None:
    """Wait until the broker has our subscriptions."""
    log = process.path.parent / "broker" / "log"
    wait_for(lambda: listens(log, count), why=process.said)


def test_an_alert_rings_the_phones_that_want_it(
    tmp_path: Path, broker: Mosquitto, listener: Listener, sink: Sink
) -> None:
    to = {"Ana": sink.address("ana"), "Ben": sink.address("ben")}
    path = config(tmp_path, broker.port, to, to_more={"Ben": "second = true"})
    text = "Too little oxygen in 6\u00a0minutes: still 19.8\u00a0%. Get everyone out."
    with running(path) as process:
        connected(process)
        watch = Watch(listener)
        watch.alert(text, Priority.HIGH)
        watch.alert("The oxygen cell is silent.", Priority.FAULT)
        watch.alert(text, Priority.HIGH, escalation=2)
        wait_for(lambda: len(sink.got) == 3, why=process.said)
        assert process.stop() == 0
    by_topic = {(one.topic, one.priority): one for one in sink.got}
    assert set(by_topic) == {("ana", "max"), ("ana", "default"), ("ben", "max")}
    told = by_topic["ana", "max"]
    assert told.text.startswith(text), "unchanged"
    assert told.title == "Lapwing"
    assert by_topic["ben", "max"].text.startswith("Call Lapwing now, no one answers.")


def test_what_was_said_while_it_was_away_is_told_once(tmp_path: Path) -> None:
    """Killed amid alerts, six times; `python -m tests.soak.phone_kills` kills more."""
    tally = kill_amid_alerts(6, tmp_path)
    assert tally.lost == ()
    assert tally.is_good, str(tally)


def told(sink: Sink) -> set[str]:
    return {text.rpartition(" (")[0] for text in sink.texts()}


@pytest.mark.parametrize("mood", ["500", "429", "400", "drops", "hangs"])
def test_a_push_server_that_fails_costs_nothing_but_time(
    tmp_path: Path, broker: Mosquitto, listener: Listener, sink: Sink, mood: str
) -> None:
    """Tried again, the danger given to the next address, and the others told."""
    with Sink() as other:
        to = {"Ana": sink.address("ana"), "Ben": other.address("ben")}
        path = config(tmp_path, broker.port, to, to_more={"Ben": 'from = "high"'})
        sink.mood = mood
        with running(path) as process:
            connected(process)
            Watch(listener).alert("Wake up.", Priority.MEDIUM)
            wait_for(
                lambda: [t for t in other.texts() if t.startswith("Wake up.")],
                45.0,
                process.said,
            )
            sink.mood = "well"
            wait_for(lambda: "Wake up." in told(sink), 45.0, process.said)
            assert process.stop() == 0
        assert "Ana: not delivered (" in process.said()
        assert "Ana cannot be reached" in process.said()
        assert "Traceback" not in process.said()


def test_silence_is_told_and_its_end(
    tmp_path: Path, broker: Mosquitto, listener: Listener, sink: Sink
) -> None:
    path = config(tmp_path, broker.port, {"Ana": sink.address()})
    watch = Watch(listener)
    with running(path) as process:
        connected(process)
        watch.watching()
        watch.beat()
        last_s = time.perf_counter()
        pushed = wait_for(lambda: sink.got, 30.0, process.said)[0]
        # On time to the second: test_silence.py, and tests/bench/phone.py.
        assert 15.0 < pushed.at_s - last_s <= 15.0 + 15.0
        assert "Lapwing is silent since" in pushed.text
        assert pushed.text.endswith("It is not monitored. Call them.")
        assert pushed.priority == "max"
        watch.beat()
        wait_for(lambda: len(sink.got) == 2, 10.0, process.said)
        assert "Lapwing is monitored again" in sink.got[1].text


def test_one_of_several_processes_listens_to_its_own_cabins_alone(
    tmp_path: Path, broker: Mosquitto, listener: Listener, sink: Sink
) -> None:
    names = [f"cabin-{number}" for number in range(250)]
    more = f"cabins = {names}\nonly_these = true"
    path = config(tmp_path, broker.port, {"Ana": sink.address()}, more=more)
    with running(path) as process:
        connected(process)
        Watch(listener, cabin="plover").alert("Not ours.")
        Watch(listener, cabin="cabin-249").alert("Ours.")
        wait_for(lambda: "Ours." in told(sink), why=process.said)
        assert told(sink) == {"Ours."}


def test_the_brokers_death_is_told(tmp_path: Path, broker: Mosquitto) -> None:
    with Sink() as sink, Listener(broker.port) as listener:
        path = config(tmp_path, broker.port, {"Ana": sink.address()})
        with running(path) as process:
            connected(process)
            Watch(listener).beat()
            time.sleep(1.0)
            broker.stop(kill=True)
            gone_s = time.perf_counter()
            pushed = wait_for(lambda: sink.got, 30.0, process.said)[0]
            assert pushed.at_s - gone_s <= 15.0 + 15.0
            assert "out of reach" in pushed.text


def test_two_processes_with_one_config_are_refused(
    tmp_path: Path, broker: Mosquitto, sink: Sink
) -> None:
    path = config(tmp_path, broker.port, {"Ana": sink.address()})
    with running(path) as process:
        connected(process)
        second = subprocess.run(
            [*COMMAND, "--config", str(path)],
            capture_output=True,
            text=True,
            timeout=60,
        )
        assert second.returncode == 3
        assert second.stderr.startswith("cabinvigil: Another cabinvigil phone uses")
        assert second.stderr.count("\n") == 1
        assert process.stop() == 0


def test_a_queue_that_takes_nothing_does_not_hold_up_a_danger(
    tmp_path: Path, broker: Mosquitto, listener: Listener, sink: Sink
) -> None:
    """Held by another, as a full disk holds it; told, and the message goes out."""
    path = config(tmp_path, broker.port, {"Ana": sink.address()})
    with running(path) as process:
        connected(process)
        with sqlite3.connect(tmp_path / "state" / "queue.sqlite3") as db:
            db.execute("BEGIN EXCLUSIVE")
            Watch(listener).alert("Get out.")
            wait_for(lambda: "Get out." in told(sink), 20.0, process.said)
            wait_for(lambda: "takes nothing" in str(sink.texts()), 20.0, process.said)
            db.rollback()
        db.close()
        Watch(listener, cabin="plover").alert("Get out too.")
        wait_for(lambda: "Get out too." in told(sink), 20.0, process.said)


LITTLE_BYTES = 16_384
"""A file may grow no larger: the queue's own log is beyond it after some messages."""


def test_on_a_full_disk_pushes_go_out_and_a_kill_loses_nothing(
    tmp_path: Path, broker: Mosquitto, listener: Listener, sink: Sink
) -> None:
    """Full while it runs, and full at its start: a sentence, and it does its work."""
    path = config(tmp_path, broker.port, {"Ana": sink.address()})
    with running(path) as process:
        connected(process)
        assert process.process is not None
        resource.prlimit(
            process.process.pid, resource.RLIMIT_FSIZE, (LITTLE_BYTES, LITTLE_BYTES)
        )
        watch = Watch(listener)
        for number in range(5):
            watch.alert(f"Get out {number}.")
        wait_for(lambda: "Get out 4." in told(sink), 20.0, process.said)
        wait_for(lambda: "takes nothing" in str(sink.texts()), 20.0, process.said)
        sink.mood = "500"
        watch.alert("Nobody was told.")
        wait_for(lambda: "tried again: Nobody was told." in process.said())
        process.kill()
        sink.mood = "well"
        process.prefix = ("prlimit", f"--fsize={LITTLE_BYTES}")
        process.start()
        wait_for(lambda: "Nobody was told." in told(sink), 20.0, process.said)
        watch.alert("A new one.")
        wait_for(lambda: "A new one." in told(sink), 20.0, process.said)
        assert process.stop() == 0
    assert "Traceback" not in process.said()
    assert process.said().count("takes nothing") == 2


def test_check_says_what_is_well_and_what_is_not_and_rings_nobody(
    tmp_path: Path, broker: Mosquitto, sink: Sink
) -> None:
    """Before the first start, while it runs with one dead address, and after."""
    to = {"Ana": sink.address("ana"), "Ben": "ntfy://127.0.0.1:9/ben"}
    path = config(tmp_path, broker.port, to, page=free_port())

    def check() -> tuple[int, str]:
        ended = subprocess.run(
            [*COMMAND, "--config", str(path), "--check"],
            capture_output=True, text=True, timeout=60,
        )  # fmt: skip
        assert ended.stderr == ""
        return ended.returncode, ended.stdout

    path.chmod(0o644)
    assert f"BAD   address  {path} holds an address, and is open" in check()[1]
    path.chmod(0o640)
    code, said = check()
    assert code == 1
    assert "is open" not in said
    assert f"good  broker  127.0.0.1:{broker.port} lets us in" in said
    assert "good  Ana  127.0.0.1:" in said
    assert "BAD   Ben  127.0.0.1:9 takes nothing" in said
    assert said.startswith("NOT WELL: ")
    broker.stop()
    assert "BAD   broker  The broker at 127.0.0.1:" in check()[1]
    assert sink.got == []


def test_the_wrong_password_is_a_sentence_and_it_goes_on(
    tmp_path: Path, sink: Sink
) -> None:
    port = free_port()
    conf = f"listener {port} 127.0.0.1\nallow_anonymous false\n"
    with mosquitto(tmp_path / "broker", conf, port):
        path = config(
            tmp_path, port, {"Ana": sink.address()}, more='cabins = ["lapwing"]'
        )
        with running(path) as process:
            wait_for(lambda: "does not let" in process.said(), 20.0, process.said)
            assert process.stop() == 0
        assert "Traceback" not in process.said()


def test_two_processes_of_one_client_id_are_told(
    tmp_path: Path, broker: Mosquitto, sink: Sink
) -> None:
    """The broker gives each alert to one of them alone, and says nothing of it."""
    paths = []
    for name in ("ana", "ben"):
        (tmp_path / name).mkdir()
        to = {name.capitalize(): sink.address(name)}
        paths.append(config(tmp_path / name, broker.port, to))
    with running(paths[0]) as one, running(paths[1]) as other:

        def told_topics() -> set[str]:
            return {g.topic for g in sink.got if "have the client_id" in g.text}

        wait_for(lambda: told_topics() == {"ana", "ben"}, 40.0, one.said)
        begun = one.said().count("out of reach")
        wait_for(lambda: listens(tmp_path / "broker" / "log", 12), 40.0, one.said)
        assert one.said().count("out of reach") <= begun + 1, "not each of many turns"
        assert one.said().count("have the client_id") == 1
        assert other.stop() == 0


def test_a_silent_cabin_is_forgotten_by_a_word(
    tmp_path: Path, broker: Mosquitto, listener: Listener, sink: Sink
) -> None:
    """But only one that was told as silent, and while nothing runs there."""
    path = config(tmp_path, broker.port, {"Ana": sink.address()})

    def forget(cabin: str) -> tuple[int, str]:
        ended = subprocess.run(
            [*COMMAND, "--config", str(path), "--forget", cabin],
            capture_output=True, text=True, timeout=60,
        )  # fmt: skip
        return ended.returncode, ended.stdout + ended.stderr

    assert "was cabinvigil phone ever run" in forget("plover")[1]
    lapwing, plover = Watch(listener), Watch(listener, "plover")
    with running(path) as process:
        connected(process)
        for watch in (lapwing, plover):
            watch.watching()
            watch.beat()
        wait_for(lambda: "Plover is silent" in "".join(sink.texts()), 40.0)
        assert "runs with this config; stop it" in forget("plover")[1]
        lapwing.beat()
        wait_for(lambda: "Lapwing is monitored again" in "".join(sink.texts()), 40.0)
        assert process.stop() == 0
    assert forget("plovre")[0] == 2
    assert "is plover meant?" in forget("plovre")[1]
    assert "was not silent" in forget("lapwing")[1]
    assert forget("plover")[0] == 0
    sink.got.clear()
    with running(path) as process:
        connected(process, 2)
        wait_for(lambda: "Lapwing is silent" in "".join(sink.texts()), 40.0)
        assert "Plover" not in "".join(sink.texts())
        plover.beat()
        wait_for(lambda: "Plover is monitored again" in "".join(sink.texts()), 40.0)
        assert process.stop() == 0
