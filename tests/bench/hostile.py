"""What hostile messages do to the watch: its steps, its sound, its memory.

Run: `python -m tests.bench.hostile [seconds of flood]` (about two minutes; needs
Debian's mosquitto).  The real command with a CO alarm that stands.  It is sent twenty
messages of a megabyte, ten thousand random and mutated ones, and a thousand a second
for a minute on `ask`, and the mutated ones on the socket too.
"""

import asyncio
import json
import random
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho

from cabinvigil.daemon.ask.socket import AskError, ask_watch
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from tests.bench.latency import flood
from tests.bench.processes import Daemon, rss_kb
from tests.outputs.brokers import mosquitto
from tests.running import Air, Ports, config

MESSAGES = 10_000
OVERSIZE = 20
GROWTH_MB = 4.0
"""What the buffers of a flood may hold on to, once: our own choice; all that is sent
is fifteen times as much."""
TICK_S = 0.5
GAP_S = 4.0 * TICK_S
"""The longest between two assessed ticks: our own choice, below any alarm's delay."""
TOPIC = "cabinvigil/lapwing/ask"
MOMENT = "2026-01-16T22:59:50.000000Z"
"""Where the moment of an ask stands; the ask goes out with that of its sending."""
HONEST = tuple(
    json.dumps(fields).encode()
    for fields in (
        {"ask": "acknowledge", "alarm": "co-level", "id": "7", "at": MOMENT},
        {"ask": "shelve", "alarm": "co-level", "for_s": 3600, "at": MOMENT},
        {"ask": "out-of-service", "alarm": "co-level"},
        {"ask": "mark", "text": "roof vent open 2 cm", "at": MOMENT},
        {"ask": "status"},
    )
)


def mutated(dice: random.Random) -> bytes:
    """Random bytes, or an honest ask with a few of them changed."""
    if dice.random() < 0.5:
        return dice.randbytes(dice.choice((0, 1, 40, 400, 4_000)))
    now = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"
    data = bytearray(dice.choice(HONEST).replace(MOMENT.encode(), now.encode()))
    for _ in range(dice.randint(1, 6)):
        place = dice.randrange(len(data))
        data[place : place + dice.randint(0, 3)] = dice.randbytes(dice.randint(0, 3))
        data = data or bytearray(b"{")
    return bytes(data)


def by_mqtt(port: int) -> None:
    """Send the oversize ones, then the mutated ones, a thousand a second."""
    dice = random.Random(11)
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for _ in range(OVERSIZE):
        client.publish(TOPIC, b'{"ask":' + b" " * 1_000_000 + b'"status"}', qos=1)
    for number in range(MESSAGES):
        client.publish(TOPIC, mutated(dice), qos=0)
        if number % 10 == 9:
            time.sleep(0.01)
    client.disconnect()
    client.loop_stop()


def by_socket(path: Path) -> int:
    """Send the mutated ones as lines, as fast as they are taken; give the answers."""
    dice, answers = random.Random(12), 0
    for _ in range(MESSAGES // 100):
        with socket.socket(socket.AF_UNIX) as sock, suppress(OSError):
            sock.settimeout(5.0)
            sock.connect(str(path))
            lines = [mutated(dice).replace(b"\n", b" ") for _ in range(100)]
            sock.sendall(b"\n".join(lines) + b"\n")
            sock.shutdown(socket.SHUT_WR)
            while data := sock.recv(65_536):
                answers += data.count(b"\n")
    return answers


@contextmanager
def memory(pid: int) -> Iterator[list[int]]:
    """Look at the resident memory four times a second."""
    seen, ends = [rss_kb(pid)], threading.Event()

    def look() -> None:
        while not ends.wait(0.25):
            seen.append(rss_kb(pid))

    thread = threading.Thread(target=look)
    thread.start()
    try:
        yield seen
    finally:
        ends.set()
        thread.join()


async def measure(folder: Path, port: int, flood_s: float) -> dict[str, Any]:
    more = f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\ntls = false\n'
    air = Air()
    ports = Ports(folder, air, waits=False)
    daemon = Daemon(config(folder, more))
    try:
        await asyncio.to_thread(daemon.ready)
        air.now = AirNow(co_ppm=400.0)
        await asyncio.sleep(8.0)
        with memory(daemon.process.pid) as seen:
            began_s = time.perf_counter()
            await asyncio.to_thread(by_mqtt, port)
            answers = await asyncio.to_thread(by_socket, folder / "ask")
            with flood(port):
                await asyncio.sleep(flood_s)
            await asyncio.sleep(2.0)
            took_s = time.perf_counter() - began_s
        return {
            "first_kb": seen[0], "most_kb": max(seen), "last_kb": seen[-1],
            "took_s": took_s, "answers": answers,
            "status": await asyncio.to_thread(status, folder / "ask"),
        }  # fmt: skip
    finally:
        await asyncio.to_thread(daemon.end)
        ports.close()


def status(path: Path) -> dict[str, Any]:
    """Ask as a person would, once the crowd has gone."""
    for _ in range(10):
        with suppress(AskError):
            answer = ask_watch(path, {"ask": "status"})
            if answer["ok"]:
                return answer
        time.sleep(1.0)
    return {}


def steps(folder: Path) -> tuple[float, int, int]:
    """Give the longest between two ticks, the refusals told, and acts let in."""
    at_s: list[float] = []
    refusals = acts = 0
    for path in sorted((folder / "log").glob("night-*")):
        for line in Logbook(path):
            if line.event == "air":
                at_s.append(line.up_s)
            refusals += line.event == "fault" and line.fields.get("kind") == "refused"
            acts += line.event in ("act", "mark")
    return max(b - a for a, b in pairwise(at_s)), refusals, acts


def main() -> None:
    flood_s = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    with tempfile.TemporaryDirectory() as top, mosquitto(Path(top) / "b") as broker:
        found = asyncio.run(measure(Path(top), broker.port, flood_s))
        gap_s, refusals, acts = steps(Path(top))
    growth_mb = (found["most_kb"] - found["first_kb"]) / 1e3
    standing = {one["alarm"] for one in found["status"].get("alarms", ())}
    print(
        f"{OVERSIZE} of a megabyte, {MESSAGES} mutated, {flood_s:.0f} s of flood, and "
        f"{MESSAGES} on the socket ({found['answers']} answered), in "
        f"{found['took_s']:.0f} s\n"
        f"memory: {found['first_kb'] / 1e3:.1f} MB before, at most "
        f"{found['most_kb'] / 1e3:.1f}, {found['last_kb'] / 1e3:.1f} after\n"
        f"longest between two ticks of {TICK_S} s: {gap_s:.2f} s\n"
        f"{acts} acts let in, {refusals} lines on what was refused\n"
        f"after it: sounding {found['status'].get('sounding')!r}, "
        f"{len(standing)} alarms shown"
    )
    wrong = []
    if growth_mb > GROWTH_MB:
        wrong.append(f"memory grew by {growth_mb:.1f} MB, over {GROWTH_MB}")
    if gap_s > GAP_S:
        wrong.append(f"the watch stood still for {gap_s:.1f} s, over {GAP_S}")
    if not found["status"]:
        wrong.append("nobody is answered after it")
    if refusals == 0:
        wrong.append("no refusal was logged")
    print("\n".join(wrong) or "unharmed")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
