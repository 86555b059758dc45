"""The night's account on the phone: the real command, the real broker, a real night."""

import asyncio
import json
import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import jsonschema
import pytest

from cabinvigil.daemon.log.folder import night_of
from tests.outputs.brokers import free_port, mosquitto
from tests.outputs.listener import Listener
from tests.outputs.mqtt.test_contract import payload_schema
from tests.review import logs
from tests.running import Air, Ports, config

pytestmark = pytest.mark.broker

MQTT = '[mqtt]\nhost = "127.0.0.1"\nport = {port}\ntls = false\nmorning_at = "07:00"\n'


def morning_zone(now: datetime) -> str:
    """A zone, as POSIX writes it, in which it is now between 07:00 and 08:00."""
    return f"XXX{now.hour - 7:+d}"


def run(path: Path, zone: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "cabinvigil.daemon", "run", "--config", str(path)],
        env=os.environ | {"TZ": zone, "PYTHONWARNINGS": ""},
    )


async def test_the_phone_gets_the_night_and_finds_it_again(tmp_path: Path) -> None:
    """Published once the hour has come, as the contract has it; the broker keeps it."""
    now = datetime.now(UTC)
    zone = morning_zone(now)
    start = now - timedelta(hours=4)
    data = logs.begin(start) + logs.air(logs.still_air(0.0, 3 * 3600.0, 30.0), start)
    (tmp_path / "log").mkdir()
    local = now - timedelta(hours=now.hour - 7)
    name = f"night-{night_of(local, UTC)}.jsonl"
    logs.write(tmp_path / "log", data, name)
    ports, port = Ports(tmp_path, Air(), waits=False), free_port()
    path = config(tmp_path, MQTT.format(port=port))
    with mosquitto(tmp_path / "broker", port=port), Listener(port) as phone:
        daemon = run(path, zone)
        try:
            end_s = time.perf_counter() + 30.0
            while not phone.on("/lapwing/morning"):
                assert daemon.poll() is None
                assert time.perf_counter() < end_s, "the morning never came"
                await asyncio.sleep(0.05)
            daemon.send_signal(signal.SIGTERM)
            assert await asyncio.to_thread(daemon.wait, 15) == 0
        finally:
            daemon.kill()
            daemon.wait()
            ports.close()
        with Listener(port, topic="cabinvigil/+/morning") as later:
            later.wait(lambda: later.heard)
            [kept] = later.heard
    assert kept.retain
    told = json.loads(kept.text)
    jsonschema.Draft7Validator(payload_schema("morning")).validate(told)
    assert told["text"].startswith(("Safe", "NOT MONITORED"))
    assert told["night"] == name.removesuffix(".jsonl")
    assert 3.0 <= told["hours"] < 5.0
