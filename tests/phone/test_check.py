"""`phone --check`: what would keep a phone from ringing is BAD; nothing is touched."""

import re
import resource
import socket
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.phone.check import findings
from cabinvigil.daemon.phone.settings import load_phone
from cabinvigil.daemon.phone.silence import KeptSilence
from cabinvigil.daemon.phone.state_folder import (
    TRIED_BYTES,
    is_held,
    lock,
    why_not_kept,
)
from cabinvigil.daemon.phone.store import Store
from tests.outputs.brokers import Mosquitto, free_port, mosquitto
from tests.outputs.listener import Listener
from tests.phone.rig import LOGGED, Sink, Watch, config, listens, running, wait_for

NOW_S = 1_800_000_000.0


@pytest.fixture
def sink() -> Iterator[Sink]:
    with Sink() as one:
        yield one


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as one:
        yield one


@pytest.fixture
def lapwing(broker: Mosquitto) -> Iterator[Watch]:
    """A watch that the broker knows."""
    with Listener(broker.port) as one:
        watch = Watch(one)
        watch.watching()
        yield watch


def bad(path: Path) -> list[tuple[str, str]]:
    """Return the subjects and texts that are not well."""
    return [(f.subject, f.text) for f in findings(load_phone(path), path) if f.is_bad]


def test_a_state_folder_that_takes_nothing_is_bad(tmp_path: Path, sink: Sink) -> None:
    """A file in its place, and a folder of which nothing may be made below."""
    path = config(tmp_path, free_port(), {"Ana": sink.address()})
    assert "state_folder" not in dict(bad(path)), "made at the first start"
    assert not (tmp_path / "state").exists(), "nothing is made by a check"
    (tmp_path / "state").write_text("not a folder")
    assert "Not a directory" in dict(bad(path))["state_folder"]
    assert why_not_kept(tmp_path / "state" / "below").endswith("is not a folder")


def test_a_folder_of_another_user_is_bad(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever runs the tests may be root, who may write everywhere."""
    (tmp_path / "queue.sqlite3").write_bytes(b"")
    monkeypatch.setattr("os.access", lambda *_: False)
    assert why_not_kept(tmp_path) == "queue.sqlite3 in it is another user's"
    assert why_not_kept(tmp_path / "new") == f"{tmp_path} is another user's"


def test_a_disk_that_takes_no_more_is_bad(tmp_path: Path) -> None:
    """As if full: a file may grow no larger than a quarter of what is tried."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (TRIED_BYTES // 4, hard))
    try:
        assert why_not_kept(tmp_path) == "File too large"
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert why_not_kept(tmp_path) == ""
    assert not list(tmp_path.iterdir()), "nothing is left behind"


def test_whether_one_runs_is_known_and_it_is_not_put_out(tmp_path: Path) -> None:
    assert not is_held(tmp_path), "no lock was ever made"
    with lock(tmp_path):
        assert is_held(tmp_path)
    assert not is_held(tmp_path)
    with lock(tmp_path):
        pass


def test_a_port_that_is_taken_is_bad(tmp_path: Path, sink: Sink) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        path = config(tmp_path, free_port(), {"Ana": sink.address()}, page=port)
        assert "Address already in use" in dict(bad(path))["page"]
        with lock(tmp_path / "state"):
            assert "page" in dict(bad(path)), "another's, though one of ours runs"
    assert "page" not in dict(bad(path))


@pytest.mark.broker
def test_the_page_of_the_one_that_runs_is_good(
    tmp_path: Path, lapwing: Watch, broker: Mosquitto, sink: Sink
) -> None:
    path = config(tmp_path, broker.port, {"Ana": sink.address()}, page=free_port())
    with running(path) as process:
        wait_for(lambda: "The page is at" in process.said(), why=process.said)
        assert bad(path) == []
        texts = {f.subject: f.text for f in findings(load_phone(path), path)}
        assert texts["page"].endswith("by the one that runs, 0 devices paired")
        assert process.stop() == 0


@pytest.mark.broker
def test_a_check_throws_out_none_that_runs(tmp_path: Path, sink: Sink) -> None:
    """Each of its connections has a name of its own at the broker."""
    with mosquitto(tmp_path / "broker", LOGGED) as broker:
        log = tmp_path / "broker" / "log"
        path = config(tmp_path, broker.port, {"Ana": sink.address()})
        with running(path) as process:
            wait_for(lambda: listens(log), why=process.said)
            assert "broker" not in dict(bad(path))
            said = log.read_text()
            assert process.stop() == 0
    names = re.findall(r"New client connected from \S+ as (\S+) ", said)
    name = "cabinvigil-phone"
    assert sorted(names) == [name, f"{name}-check", f"{name}-states"]


@pytest.mark.broker
def test_nobody_to_ring_is_bad(
    tmp_path: Path, lapwing: Watch, broker: Mosquitto
) -> None:
    path = config(tmp_path, broker.port, {}, page=free_port())
    assert [subject for subject, _ in bad(path)] == ["to"]


@pytest.mark.broker
@pytest.mark.parametrize(
    ("more", "to_more", "subject", "words"),
    [
        ('cabins = ["lapwign"]', "", "lapwign", "is lapwing meant?"),
        (
            'cabins = ["lapwign"]\nonly_these = true',
            "",
            "lapwign",
            "it will be reported as silent; is lapwing meant?",
        ),
        ("", 'cabins = ["lapwign"]', "Ana", "nobody has heard; is lapwing meant, or"),
        ("", 'cabins = ["lapwign"]', "lapwing", "no address is for it"),
        (
            'cabins = ["lapwing"]\nonly_these = true',
            'cabins = ["plover"]',
            "Ana",
            "is it missing in `cabins`?",
        ),
    ],
)
def test_names_that_fit_nothing_are_bad(
    tmp_path: Path,
    lapwing: Watch,
    broker: Mosquitto,
    sink: Sink,
    more: str,
    to_more: str,
    subject: str,
    words: str,
) -> None:
    to = {"Ana": sink.address()}
    path = config(tmp_path, broker.port, to, more=more, to_more={"Ana": to_more})
    assert words in dict(bad(path))[subject]
    assert sink.got == []


@pytest.mark.broker
def test_a_cabin_that_was_heard_before_is_known(
    tmp_path: Path, broker: Mosquitto, sink: Sink
) -> None:
    """By its run: one that was only expected and told as silent is none."""
    to_more = {"Ana": 'cabins = ["plover"]'}
    path = config(tmp_path, broker.port, {"Ana": sink.address()}, to_more=to_more)
    assert "Ana" in dict(bad(path))
    store = Store(tmp_path / "state")
    store.open()
    kept = KeptSilence("silent", 60.0, 30.0)
    store.keep_cabins({"plover": kept}, NOW_S)
    assert "Ana" in dict(bad(path))
    run = "2026-01-16T21:00:00.000Z"
    store.keep_cabins({"plover": replace(kept, run=run)}, NOW_S)
    assert bad(path) == []
    store.close()


@pytest.mark.parametrize("kind", ["http", "https"])
def test_what_is_pinged_is_reached_and_never_fetched(
    tmp_path: Path, sink: Sink, kind: str
) -> None:
    """The sink speaks no TLS: for https that is bad."""
    more = f'ping_url = "{kind}://127.0.0.1:{sink.port}/x"'
    path = config(tmp_path, free_port(), {"Ana": sink.address()}, more=more)
    assert ("ping_url" in dict(bad(path))) == (kind == "https")
    assert sink.asked == 0
    more = f'ping_url = "{kind}://127.0.0.1:{free_port()}/x"'
    path = config(tmp_path, free_port(), {"Ana": sink.address()}, more=more)
    assert "Connection refused" in dict(bad(path))["ping_url"]


@pytest.mark.parametrize(
    ("address", "is_bad"),
    [
        ("ntfys://ntfy.example.org", True),
        ("ntfy://ntfy.example.org/", True),
        ("ntfys://ntfy.example.org/a-long-name", False),
        ("ntfys://a-long-name", False),
    ],
)
def test_a_server_without_a_topic_is_bad(
    tmp_path: Path, address: str, is_bad: bool
) -> None:
    """The service takes a lone word for a topic of its public server."""
    path = config(tmp_path, free_port(), {"Ana": address})
    (found,) = (one for one in findings(load_phone(path), path) if one.subject == "Ana")
    assert found.is_bad == is_bad
    assert ("ntfy.example.org/TOPIC" in found.text) == is_bad


@pytest.mark.broker
@pytest.mark.parametrize(
    ("word", "told"), [("lost", "died"), ("stopped", "is stopped"), ("watching", "")]
)
def test_a_cabin_that_nobody_monitors_is_bad(
    tmp_path: Path, lapwing: Watch, broker: Mosquitto, sink: Sink, word: str, told: str
) -> None:
    """All was well while the monitor was dead, since the broker knew its name."""
    lapwing.listener.publish("cabinvigil/lapwing/presence", word.encode(), retain=True)
    more = 'cabins = ["lapwing"]'
    path = config(tmp_path, broker.port, {"Ana": sink.address()}, more=more)
    (found,) = (
        one for one in findings(load_phone(path), path) if one.subject == "lapwing"
    )
    assert found.is_bad == (word != "watching")
    assert told in found.text
