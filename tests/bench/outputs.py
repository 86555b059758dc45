"""What the outputs cost and how quick they are, each beside its floor in one run.

Run: `python -m tests.bench.outputs` (about two minutes; needs Debian's mosquitto).
"""

import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import paho.mqtt.client as paho

from cabinvigil.daemon.core.model import Alert, Estimate, Priority, Record
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.output import Phone
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from tests.outputs.listener import Listener
from tests.systemd.bridged import Brokers, bridged

NIGHT_S = 32_400


class Clock:
    def monotonic(self) -> float:
        return time.perf_counter()

    def wall(self) -> datetime:
        return datetime.now(UTC)


def row(what: str, *figures: str) -> None:
    print(f"{what:<52}" + "".join(f"{figure:>16}" for figure in figures), flush=True)


def share(values: list[float], part: float) -> float:
    return sorted(values)[min(len(values) - 1, int(len(values) * part))]


# --- the phone ---------------------------------------------------------------------


def latencies_s(
    send: Callable[[int], None], phone: Listener, tail: str, count: int
) -> list[float]:
    """Send alerts one by one; give the time until the far phone has each."""
    out = []
    for number in range(count):
        before = len(phone.on(tail))
        began = time.perf_counter()
        send(number)
        while len(phone.on(tail)) == before:
            time.sleep(0.0002)
            if time.perf_counter() - began > 10.0:
                sys.exit("an alert did not arrive in 10 s")
        out.append(phone.on(tail)[-1].at_s - began)
        time.sleep(0.005)
    return out


def make_phone(brokers: Brokers) -> Phone:
    clock = Clock()
    messages = Messages(Topics("lapwing"), run_of(clock.wall()), UTC)
    desk = Publisher(messages, heartbeat_s=30.0, readings_s=10.0)
    given = brokers.watch()
    broker = Broker(
        "localhost", brokers.near_port, "cabinvigil-lapwing", tls=False,
        user=str(given["user"]), password_file=str(given["password_file"]),
    )  # fmt: skip
    return Phone(
        broker, desk, clock, print, dice=Random(1),
        on_ask=lambda ask, reply: reply({"ok": True}), on_refused=lambda text: None,
    )  # fmt: skip


def bare_sender(brokers: Brokers) -> paho.Client:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.username_pw_set("watcher", "w-secret")
    client.connect("localhost", brokers.near_port)
    client.loop_start()
    time.sleep(0.5)
    return client


def phone_side(count: int = 300) -> None:
    clock = Clock()
    alert = Alert("o2-low", Priority.HIGH, "Oxygen low: 19.4 %. Open the door now.")
    tail = "lapwing/alert"
    row("alert to a phone beyond two brokers, TLS", "median", "p99", "worst")
    with (
        tempfile.TemporaryDirectory() as folder,
        bridged(Path(folder)) as brokers,
        brokers.phone() as phone,
    ):
        time.sleep(3.0)
        client = bare_sender(brokers)
        topic = "cabinvigil/lapwing/alert"
        bare = latencies_s(
            lambda n: client.publish(topic, alert.text, qos=1) and None,
            phone, tail, count,
        )  # fmt: skip
        client.disconnect()
        client.loop_stop()
        one = make_phone(brokers)
        one.start()
        time.sleep(1.0)
        ours = latencies_s(
            lambda n: one.handle(alert, Stamp(float(n), clock.wall())),
            phone,
            tail,
            count,
        )
        one.stop(2.0)
        for who, got in (("bare paho", bare), ("phone output", ours)):
            row(
                f"  {who}, {len(got)} alerts",
                *(f"{1e3 * v:.2f} ms" for v in
                  (statistics.median(got), share(got, 0.99), max(got))),
            )  # fmt: skip


# --- the log -----------------------------------------------------------------------


def night_of_wear(*, packed: bool) -> tuple[int, int, float]:
    """Write nine hours at 1 Hz with ten quantities; give bytes, syncs, seconds."""
    wear = {"bytes": 0, "syncs": 0}
    real_write, real_sync = os.write, os.fsync

    def write(fd: int, data: bytes) -> int:
        wear["bytes"] += len(data)
        return real_write(fd, data)

    def sync(fd: int) -> None:
        wear["syncs"] += 1

    dice, start = random.Random(1), datetime(2025, 1, 14, 21, 0, tzinfo=UTC)
    os.write, os.fsync = write, sync  # type: ignore[assignment]
    try:
        with tempfile.TemporaryDirectory() as folder:
            nights = Nights(
                Path(folder), keep_days=90, max_bytes=10**9, packed=packed, zone=UTC
            )
            recorder = Recorder(nights, Clock(), print, inline=True)
            lines = [(Record("start", {"version": "0"}), Stamp(0.0, start))]
            for second in range(NIGHT_S):
                stamp = Stamp(float(second), start + timedelta(seconds=second))
                lines.append((Record("air", ten_quantities(dice)), stamp))
                if second % 60 == 0:
                    fields = {"o2_rate_pct_per_h": [-0.1, 0.0, 0.1]}
                    lines.append((Estimate(fields), stamp))  # type: ignore[arg-type]
            began = time.process_time()
            for command, stamp in lines:
                recorder.handle(command, stamp)
            recorder.stop(1.0)
            took_s = time.process_time() - began
    finally:
        os.write, os.fsync = real_write, real_sync
    return wear["bytes"], wear["syncs"], took_s


def ten_quantities(dice: random.Random) -> dict[str, float]:
    def near(value: float, noise: float, decimals: int) -> float:
        return round(value + dice.gauss(0.0, noise), decimals)

    return {
        "o2_pct": near(20.4, 0.01, 3), "co_ppm": near(2, 0.5, 1),
        "co2_ppm": near(1500, 15, 0), "gas_lel_pct": near(0, 0.2, 1),
        "temp_c": near(18, 0.02, 2), "rh_pct": near(55, 0.1, 1),
        "pressure_hpa": near(941, 0.03, 2), "pm2_5_ugm3": near(12, 1, 1),
        "voc_index": near(100, 2, 0), "supply_v": near(12.8, 0.003, 3),
    }  # fmt: skip


def log() -> None:
    row("log: nine hours, 1 Hz, ten quantities", "MB", "syncs", "us a line")
    for name, packed in (("packed as written", True), ("plain", False)):
        size, syncs, took_s = night_of_wear(packed=packed)
        row(
            f"  {name}",
            f"{size / 1e6:.2f}", str(syncs), f"{1e6 * took_s / NIGHT_S:.0f}",
        )  # fmt: skip


if __name__ == "__main__":
    log()
    phone_side()
