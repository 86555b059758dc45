"""The real command with a real broker: seen from a phone, killed, started again."""

import asyncio
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from cabinvigil.daemon.ask.socket import AskError, ask_watch
from cabinvigil.daemon.core.alarm_status import HEARD_S
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from tests.outputs.brokers import free_port, mosquitto
from tests.outputs.listener import Listener, asking
from tests.running import Air, Ports, config

pytestmark = pytest.mark.broker

MQTT = (
    '[mqtt]\nhost = "127.0.0.1"\nport = {port}\ntls = false\nkeepalive_s = 5\n'
    "readings_s = 1\n"
)


def _start(path: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "cabinvigil.daemon", "run", "--config", str(path)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONWARNINGS": ""},
    )


def _last_words(daemon: subprocess.Popen[bytes]) -> str:
    assert daemon.stderr is not None
    with daemon.stderr:
        return daemon.stderr.read().decode()


async def _until(is_so: Callable[[], object], within_s: float, what: str) -> None:
    end_s = time.perf_counter() + within_s
    while not is_so():
        assert time.perf_counter() < end_s, f"never came: {what}"
        await asyncio.sleep(0.05)


async def _sounding(folder: Path) -> str:
    try:
        answer = await asyncio.to_thread(ask_watch, folder / "ask", {"ask": "status"})
    except AskError:
        return ""
    return str(answer.get("sounding", ""))


async def _sounds_within(folder: Path, pattern: str, within_s: float) -> None:
    end_s = time.perf_counter() + within_s
    while await _sounding(folder) != pattern:
        assert time.perf_counter() < end_s, f"{pattern} never sounded"
        await asyncio.sleep(1.0)  # the socket takes one ask a second


async def test_a_phone_sees_it_all_and_its_death(tmp_path: Path) -> None:
    """Readings, an alarm's state, an alert, presence; `lost` after `kill -9`.

    Started again, the alarm that nobody answered sounds within ten seconds of the
    kill, and is published unacknowledged.  No answer without its moment, retained or
    old quiets it; one of now does, once.  A bad config is refused aloud on SIGHUP and
    the old one goes on; SIGTERM says `stopped`.
    """
    air = Air()
    ports = Ports(tmp_path, air, waits=False)
    port = free_port()
    path = config(tmp_path, MQTT.format(port=port))
    with mosquitto(tmp_path / "broker", port=port), Listener(port) as phone:

        def last(tail: str) -> str:
            heard = phone.on(f"/lapwing/{tail}")
            return heard[-1].text if heard else ""

        said = ""
        daemon = _start(path)
        try:
            await _until(lambda: last("presence") == "watching", 20, "presence")
            await _until(
                lambda: all(word in last("readings") for word in ("co_ppm", "o2_pct")),
                20,
                "readings",
            )
            pack = json.loads(last("readings"))
            names = {record["n"]: record["u"] for record in pack if "u" in record}
            assert names["co_ppm"] == "ppm"
            assert names["o2_pct"] == "/100"
            air.now = AirNow(co_ppm=250.0)
            await _until(lambda: last("alarm/co-level"), 20, "alarm state")
            state = json.loads(last("alarm/co-level"))
            assert (state["state"], state["priority"]) == ("unacknowledged", "high")
            await _until(lambda: "arbon monoxide" in last("alert"), 20, "alert")
            killed_s = time.perf_counter()
            daemon.send_signal(signal.SIGKILL)
            daemon.wait()
            said = _last_words(daemon)
            await _until(lambda: last("presence") == "lost", 20, "the Will")

            air.now = AirNow(co_ppm=0.0)
            seen = len(phone.on("/lapwing/alarm/co-level"))
            daemon = _start(path)
            left_s = 10.0 - (time.perf_counter() - killed_s)
            # The Will itself takes a few seconds; the sound is owed from the start.
            await _sounds_within(tmp_path, "temporal-four", max(left_s, 5.0))
            await _until(
                lambda: len(phone.on("/lapwing/alarm/co-level")) > seen, 20, "again"
            )
            again = json.loads(phone.on("/lapwing/alarm/co-level")[seen].text)
            assert again["state"].endswith("unacknowledged")

            topic = "cabinvigil/lapwing/ask"
            phone.publish(topic, '{"ask": "acknowledge"}')
            phone.publish(topic, asking("acknowledge"), retain=True)
            phone.publish(topic, asking("acknowledge", 31.0))
            await _until(lambda: len(phone.on("/answer")) == 3, 20, "refusals")
            assert not any(json.loads(one.text)["ok"] for one in phone.on("/answer"))
            assert await _sounding(tmp_path) == "temporal-four"
            # An answer is to what has sounded for a while.
            heard_s = time.perf_counter() + HEARD_S + 1.0
            await _until(lambda: time.perf_counter() > heard_s, 10, "heard")
            phone.publish(topic, asking("acknowledge"), user={"name": "Ana's phone"})
            await _until(lambda: len(phone.on("/answer")) == 4, 20, "an answer")
            answer = json.loads(last("answer"))
            assert (answer["ok"], answer["answer"]) == (True, "acknowledge"), answer
            assert await _sounding(tmp_path) != "temporal-four", answer
            phone.publish(topic, asking("acknowledge"))
            await _until(lambda: len(phone.on("/answer")) == 5, 20, "nothing done")
            assert json.loads(last("answer"))["text"].startswith("Nothing was done")

            path.write_text(path.read_text() + "\n[cabin.volume]\nm3 = -1\n")
            daemon.send_signal(signal.SIGHUP)
            # Its state: of texts the phone has had three, and the next must wait.
            await _until(
                lambda: "config" in last("alarm/watch-fault/settings"),
                20,
                "the bad config refused aloud",
            )
            seen = len(phone.on("/lapwing/readings"))
            await _until(
                lambda: len(phone.on("/lapwing/readings")) > seen, 20, "the old goes on"
            )

            daemon.send_signal(signal.SIGTERM)
            assert await asyncio.to_thread(daemon.wait, 15) == 0
            await _until(lambda: last("presence") == "stopped", 10, "farewell")
        finally:
            if daemon.poll() is None:
                daemon.kill()
                daemon.wait()
            said += _last_words(daemon)
            ports.close()
    assert "Traceback" not in said
