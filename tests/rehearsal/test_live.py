"""A live rehearsal: asked, heard and answered as the watch itself, and marked so."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from cabinvigil.daemon.ask.socket import ask_status
from cabinvigil.daemon.cli import main
from cabinvigil.daemon.rehearsal import loudspeaker
from tests.outputs.brokers import mosquitto
from tests.outputs.listener import Listener, asking
from tests.phone.rig import wait_for

EXAMPLE = Path(__file__).parents[2] / "config" / "cabin.toml"
REHEARSE = (sys.executable, "-m", "cabinvigil.daemon", "rehearse")


def hear_interrupts() -> None:
    """A suite begun in the background has its programs pass Ctrl-C over."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@contextmanager
def live(folder: Path, port: int, *words: str) -> Iterator[Path]:
    """Play a live night; give its socket."""
    text = EXAMPLE.read_text("utf-8").replace("port = 1883", f"port = {port}")
    (folder / "cabin.toml").write_text(text, "utf-8")
    where = ["--config", str(folder / "cabin.toml"), "--socket", str(folder / "ask")]
    with (folder / "rehearsal.log").open("wb") as log:
        process = subprocess.Popen(
            [*REHEARSE, *words, "--live", *where],
            stdout=log,
            stderr=log,
            preexec_fn=hear_interrupts,  # no thread of ours yet
        )
    try:
        yield folder / "ask"
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0
        said = (folder / "rehearsal.log").read_text("utf-8")
        assert "Traceback" not in said
    finally:
        process.kill()
        process.wait(30)


@pytest.mark.broker
def test_it_is_heard_asked_and_answered_and_marked_in_every_message(
    tmp_path: Path,
) -> None:
    with (
        mosquitto(tmp_path / "broker") as broker,
        Listener(broker.port) as phone,
        live(tmp_path, broker.port, "shut", "--pace", "60") as socket,
    ):
        phone.wait(lambda: phone.on("/alert"), 60.0)
        time.sleep(1.0)  # an answer counts for what had sounded for two seconds
        status = ask_status(socket)
        assert status["ok"]
        assert status["emulated"] is True
        phone.publish(
            "cabinvigil/lapwing/ask",
            asking("acknowledge", id="7"),
            user={"name": "Ana"},
        )
        phone.wait(lambda: phone.on("/answer"))
        assert json.loads(phone.on("/answer")[0].payload)["ok"] is True
        assert phone.on("/readings")
        for heard in phone.heard:
            if heard.topic.endswith("/ask"):
                continue
            marks = dict(heard.properties.UserProperty)
            assert marks["emulated"] == "true", heard.topic
            if heard.topic.endswith(("alert", "alert-second")):
                assert heard.text.startswith("Rehearsal, no alarm. "), heard.text
            elif heard.payload.startswith(b"{"):
                assert json.loads(heard.payload)["emulated"] is True, heard.topic


@pytest.mark.broker
def test_one_that_is_ended_by_hand_is_stopped_and_not_lost(tmp_path: Path) -> None:
    """Else phones are told within two minutes that the cabin is silent."""
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as phone:
        with live(tmp_path, broker.port, "quiet", "--pace", "20"):
            phone.wait(lambda: phone.on("/presence"), 60.0)
        phone.wait(lambda: phone.on("/presence")[-1].payload == b"stopped")


@pytest.mark.broker
def test_a_dead_broker_is_said_and_the_night_goes_on(tmp_path: Path) -> None:
    with live(tmp_path, 1, "quiet", "--pace", "20") as socket:
        log = tmp_path / "rehearsal.log"
        for words in ("is out of reach", "To ask it: --socket"):
            wait_for(lambda words=words: words in log.read_text("utf-8"), 30.0)
        assert ask_status(socket)["ok"]


@pytest.mark.broker
def test_a_cabins_config_is_played_where_the_daemon_has_no_folder(
    tmp_path: Path,
) -> None:
    """A van's owner tries it on a laptop, without /run/cabinvigil."""
    config = tmp_path / "cabin.toml"
    text = EXAMPLE.read_text("utf-8").replace("port = 1883", "port = 1")
    config.write_text(text.replace("/run/cabinvigil", f"{tmp_path}/none"), "utf-8")
    log = tmp_path / "rehearsal.log"
    with log.open("wb") as said:
        process = subprocess.Popen(
            [*REHEARSE, "quiet", "--live", "--pace", "20", "--config", str(config)],
            stdout=said,
            stderr=said,
            env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)},
            preexec_fn=hear_interrupts,  # no thread of ours yet
        )
    try:
        own = tmp_path / f"cabinvigil-rehearsal-{os.getuid()}"
        wait_for(lambda: f"--socket {own}" in log.read_text("utf-8"), 30.0)
        assert ask_status(own)["ok"]
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 0
        assert "Ended early" in log.read_text("utf-8")
    finally:
        process.kill()
        process.wait(30)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--socket", "/x"], "--socket and --sound need --live; add it"),
        (["--sound"], "--socket and --sound need --live; add it"),
        (["--live", "--json"], "--live prints for people; leave out --json or --live"),
    ],
)
def test_what_does_not_go_together_is_a_sentence(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rehearse", "quiet", *words]) == 2
    assert capsys.readouterr().err == f"cabinvigil: {told}\n"


def test_without_a_player_sound_is_refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(loudspeaker, "PROGRAM", "no-such-player")
    assert main(["rehearse", "quiet", "--live", "--sound"]) == 2
    assert "install alsa-utils" in capsys.readouterr().err


def test_a_socket_that_cannot_be_made_is_a_sentence(tmp_path: Path) -> None:
    where = str(tmp_path / "no" / "folder" / "ask")
    ended = subprocess.run(
        [*REHEARSE, "quiet", "--live", "--socket", where],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert ended.returncode == 3
    assert ended.stderr.startswith("cabinvigil: ")
    assert "Traceback" not in ended.stderr


def test_the_loudspeaker_gets_the_tone_as_long_as_the_line_is_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stand-in for aplay keeps the samples that it is fed."""
    kept = tmp_path / "samples"
    player = tmp_path / "player"
    player.write_text(f"#!/bin/sh\nexec cat > {kept}\n")
    player.chmod(0o755)
    monkeypatch.setattr(loudspeaker, "PROGRAM", str(player))
    speaker = loudspeaker.Loudspeaker()
    wait_for(lambda: kept.exists() and kept.stat().st_size > 0)
    speaker.set(on=True)
    wait_for(lambda: any(kept.read_bytes()))
    speaker.close()
    speaker.close()
    data = kept.read_bytes()
    assert set(data[:640]) == {0}, "silence before"
    samples = memoryview(data[: len(data) // 2 * 2]).cast("h")
    loud = [one for one in samples if one]
    assert len(loud) >= loudspeaker.CHUNK
    assert set(map(abs, loud)) == {int(loudspeaker.LEVEL * 32767)}
