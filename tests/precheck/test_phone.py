"""The phone before bed: by a real broker, to a real phone's end, and what is said."""

import io
import os
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from cabinvigil.daemon.precheck import phone as phone_check
from cabinvigil.daemon.precheck.findings import Finding, WatchStatus
from cabinvigil.daemon.precheck.phone import PhoneTest, judge, phone, typed_line
from tests.outputs.brokers import Mosquitto, free_port, mosquitto
from tests.outputs.listener import Listener, asking
from tests.outputs.silent import RawBroker
from tests.phone.rig import LOGGED, Sink, config, listens, running, wait_for
from tests.precheck.test_ways import CLOCK, WELL, cabin


def mqtt(port: int) -> str:
    return f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\ntls = false\n'


@pytest.mark.broker
def test_a_phone_that_answers_by_a_real_broker(tmp_path: Path) -> None:
    """The test comes as an alert does; what the phone asks is its answer."""
    lines: list[str] = []
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as person:

        def answer() -> None:
            got = person.wait(lambda: person.on("/alert"))
            assert "only a test" in got[0].text
            assert dict(got[0].properties.UserProperty)["alarm"] == "precheck"
            assert dict(got[0].properties.UserProperty)["urgency"] == "5"
            person.publish("cabinvigil/lapwing/ask", b"\xffgarbage")
            person.publish("cabinvigil/lapwing/ask", asking("status"))
            person.publish("cabinvigil/lapwing/ask", asking("acknowledge", text="Ana"))

        thread = threading.Thread(target=answer)
        thread.start()
        settings = cabin(tmp_path, mqtt(broker.port))
        found = phone(settings, WELL, CLOCK, lines.append)
        thread.join(10.0)
        assert not [one for one in person.heard if one.topic.endswith("precheck")]
        heard = person.wait(lambda: person.on("/answer"))
        assert '"ok":true,"text":"Heard: the test reached you."' in heard[0].text
    assert (found.word, found.text) == ("good", "acknowledged by Ana")
    assert "acknowledge it within 60 s." in lines[0]


@pytest.mark.broker
def test_a_phone_that_is_silent_is_bad(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A retained ask of another day is no answer."""
    monkeypatch.setattr(phone_check, "PHONE_S", 1.0)
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as old:
        old.publish("cabinvigil/lapwing/ask", asking("acknowledge"), retain=True)
        old.wait(lambda: old.on("/ask"))
        settings = cabin(tmp_path, mqtt(broker.port))
        found = phone(settings, WELL, CLOCK, lambda _line: None)
    assert found.word == "bad"
    assert found.text == (
        "the broker accepted it, nobody acknowledged within 1 s, and no "
        "`cabinvigil phone` passed it on: does `cabinvigil phone` "
        "run, and reach this broker?"
    )


@pytest.mark.broker
def test_a_phone_whose_answers_would_be_refused_tonight_is_bad(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was set up without the moment: better known now than in a danger."""
    monkeypatch.setattr(phone_check, "PHONE_S", 2.0)
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as person:

        def answer() -> None:
            person.wait(lambda: person.on("/alert"))
            person.publish("cabinvigil/lapwing/ask", '{"ask": "acknowledge"}')

        thread = threading.Thread(target=answer)
        thread.start()
        found = phone(cabin(tmp_path, mqtt(broker.port)), WELL, CLOCK, lambda _: None)
        thread.join(10.0)
    assert found.word == "bad"
    assert "would refuse tonight: 'acknowledge' needs 'at'" in found.text


def test_a_broker_that_is_away_is_bad(tmp_path: Path) -> None:
    """In the broker's own sentence."""
    settings = cabin(tmp_path, mqtt(free_port()))
    found = phone(settings, WELL, CLOCK, lambda _line: None)
    assert found.word == "bad"
    assert "out of reach" in found.text


def test_a_cabin_without_a_phone_is_to_mind(tmp_path: Path) -> None:
    """And a fault that the watch knows of is not tried again."""
    found = phone(cabin(tmp_path), WELL, CLOCK, lambda _line: None)
    assert found.word == "mind"
    faulty = WatchStatus({}, frozenset(), {}, {"mqtt": "the broker is away"})
    told = phone(cabin(tmp_path, mqtt(1)), faulty, CLOCK, lambda _line: None)
    assert (told.word, told.text) == ("bad", "the broker is away")


@pytest.mark.broker
def test_a_broker_of_old_is_spoken_to_as_it_speaks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(phone_check, "PHONE_S", 1.0)
    with RawBroker("old") as old:
        phone(cabin(tmp_path, mqtt(old.port)), WELL, CLOCK, lambda _line: None)
        assert old.levels == [5, 4]
        assert any(b"only a test" in body for body in old.published)


@pytest.fixture
def broker(tmp_path: Path) -> "Mosquitto":
    with mosquitto(tmp_path / "broker", LOGGED) as one:
        yield one  # type: ignore[misc]


def checked(
    folder: Path,
    broker: Mosquitto,
    to: dict[str, str],
    typed: Callable[[], str | None],
) -> Finding:
    """Check the phone with a phone's end that runs beside it."""
    path = config(folder, broker.port, to)
    log = folder / "broker" / "log"
    with running(path) as process:
        wait_for(lambda: listens(log), why=process.said)
        settings = cabin(folder, mqtt(broker.port))
        return phone(settings, WELL, CLOCK, lambda _line: None, typed)


@pytest.mark.broker
def test_a_push_app_answers_nothing_and_a_yes_at_the_keyboard_does(
    tmp_path: Path, broker: Mosquitto
) -> None:
    with Sink() as sink:
        found = checked(
            tmp_path, broker, {"Ana's phone": sink.address()},
            lambda: "y\n" if sink.got else "what?\n",
        )  # fmt: skip
        assert sink.got[0].text.startswith("This is only a test.")
        assert sink.got[0].priority == "max", "as a danger's"
    assert found == Finding(
        "phone", "good", "Ana's phone: push accepted; you typed that it sounded"
    )


@pytest.mark.broker
def test_an_address_that_is_not_reached_is_to_mind(
    tmp_path: Path, broker: Mosquitto
) -> None:
    with Sink() as sink:
        to = {"Ana": sink.address(), "Ben": "ntfy://127.0.0.1:9/ben"}
        found = checked(tmp_path, broker, to, lambda: "y" if sink.got else None)
    assert found.word == "mind"
    assert found.text.startswith(
        "Ana: push accepted; you typed that it sounded; Ben not reached ("
    )
    assert found.text.endswith("): `cabinvigil phone --test` tries it again")


@pytest.mark.broker
def test_a_push_that_was_accepted_and_woke_nobody_is_bad(
    tmp_path: Path, broker: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(phone_check, "PHONE_S", 8.0)
    with Sink() as sink:
        found = checked(tmp_path, broker, {"Ana": sink.address()}, lambda: None)
    assert found == Finding(
        "phone", "bad",
        "Ana: push accepted; nobody acknowledged within 8 s: is it on and loud, and "
        "may its app sound at night?",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("test", "word", "text"),
    [
        (PhoneTest(answered_by="Ana"), "good", "acknowledged by Ana"),
        (PhoneTest(typed=True), "good", "you typed that it sounded"),
        (PhoneTest(answered_by="Ana", typed=True, took=["Ana", "Ben"]), "good",
         "Ana, Ben: push accepted; acknowledged by Ana"),
        (PhoneTest(failed={"Ben": "500"}), "bad",
         ("Ben not reached (500); nobody acknowledged within 60 s: `cabinvigil phone "
          "--test` tries it again")),
        (PhoneTest(refused="no 'at'"), "bad",
         "it sent what the monitor would refuse tonight: no 'at'"),
        (PhoneTest(refused="no 'at'", answered_by="Ana"), "good",
         "acknowledged by Ana"),
    ],
)  # fmt: skip
def test_each_outcome_is_one_sentence(test: PhoneTest, word: str, text: str) -> None:
    assert judge(test) == Finding("phone", word, text)  # type: ignore[arg-type]


def test_the_keyboard_is_looked_at_and_never_waited_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Nothing, a line, its end, and where there is none at all."""
    read_fd, write_fd = os.pipe()
    with os.fdopen(read_fd, encoding="utf-8") as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        assert typed_line() is None
        os.write(write_fd, b"y\n")
        assert typed_line() == "y\n"
        assert typed_line() is None
        os.close(write_fd)
        assert typed_line() is None
    assert typed_line() is None, "it is closed"
    monkeypatch.setattr("sys.stdin", io.StringIO("y\n"))
    assert typed_line() is None, "no file to look at"
