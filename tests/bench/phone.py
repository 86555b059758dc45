"""From a frame in the cabin to a push accepted, beside a bare subscriber that posts.

Run: `python -m tests.bench.phone [ALERTS]` (about six minutes; Debian's mosquitto).

Two sides get the same alerts, by turns, and post to push servers of one kind: the
product, and a loop that subscribes and posts with apprise, keeping nothing.  By turns,
each on a topic of its own, since whoever runs the one does not run the other: both at
once would fight for the machine's cores, and the one with more to do would lose by what
the other does.  The loop subscribes to alerts alone, and no flood reaches it.

Then the same beside a flood of 1,000 messages a second; then a thousand cabins: the
processor's time, the memory, each silence on time, and alerts meanwhile; then each way
in which a cabin can fall silent.
"""

import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import apprise
import paho.mqtt.client as paho

from tests.outputs.brokers import mosquitto
from tests.outputs.listener import Listener
from tests.outputs.network import Network
from tests.phone.rig import Process, Sink, Watch, config, running, wait_for
from tests.soak.dropping_network import Watch as OutputWatch
from tests.soak.dropping_network import die, stepping
from tests.systemd.bridged import bridged

CABINS = 1_000
BUDGET_MB = 150.0
RATIO = 1.5
BARE = "bare"
"""In place of `cabinvigil`, before what only the loop is to hear."""


def p(values: list[float], share: float) -> float:
    """Return a percentile, in milliseconds."""
    values = sorted(values)
    return 1000.0 * values[min(len(values) - 1, round(share * (len(values) - 1)))]


@contextmanager
def bare(port: int, address: str) -> Iterator[None]:
    """Subscribe and post, in a process of its own: what there is to beat."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.phone", "bare", str(port), address]
    )
    time.sleep(3.0)
    try:
        yield
    finally:
        process.kill()
        process.wait()


def be_bare(port: int, address: str) -> None:
    """Subscribe and post, for ever."""
    push = apprise.Apprise.instantiate(address + "?priority=max")
    push.request_rate_per_sec = 0.0
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.on_message = lambda _c, _u, message: push.notify(
        title="Lapwing", body=message.payload.decode()
    )
    client.on_connect = lambda *_: client.subscribe(f"{BARE}/+/alert", qos=1)
    client.connect("127.0.0.1", port)
    client.loop_forever()


def measure(port: int, sinks: dict[str, Sink], alerts: int) -> dict[str, list[float]]:
    """Send alerts one by one; return how long each side took to have it accepted."""
    took: dict[str, list[float]] = {name: [] for name in sinks}
    dice = random.Random(1)
    with Listener(port, topic="none") as listener:
        watches = {name: Watch(listener) for name in sinks}
        if BARE in watches:
            watches[BARE].root = BARE
        for number in range(alerts):
            for name, sink in sinks.items():
                text = f"Alert {number} of {os.getpid()}."
                began_s = time.perf_counter()
                watches[name].alert(text)
                got = wait_for(
                    lambda sink=sink, text=text: [
                        one for one in sink.got if one.text.startswith(text)
                    ]
                )
                took[name].append(got[0].at_s - began_s)
                sink.got.clear()
                time.sleep(dice.uniform(0.05, 0.15))
    return took


def told(what: str, took: dict[str, list[float]]) -> None:
    rows = {name: (p(v, 0.5), p(v, 0.99)) for name, v in took.items()}
    ratio = rows["phone"][1] / rows["bare"][1]
    cells = "; ".join(
        f"{n} p50 {a:.1f} ms, p99 {b:.1f} ms" for n, (a, b) in rows.items()
    )
    word = "ok" if ratio <= RATIO else "OVER"
    print(f"{what}: {cells}; ratio of p99 {ratio:.2f} ({word}, at most {RATIO})")


@contextmanager
def flood(port: int, per_s: int) -> Iterator[None]:
    """Publish readings of other cabins, so many a second."""
    ends = threading.Event()

    def run() -> None:
        client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", port)
        client.loop_start()
        number = 0
        while not ends.wait(0.05):
            for _ in range(per_s // 20):
                number += 1
                topic = f"cabinvigil/cabin-{number % 500}/readings"
                client.publish(topic, b'[{"n":"o2_pct","u":"/100","v":20.5}]')
        client.loop_stop()

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        ends.set()
        thread.join()


def usage(process: Process) -> tuple[float, float]:
    """Return the processor's seconds so far, and the resident memory in MB."""
    assert process.process is not None
    stat = Path(f"/proc/{process.process.pid}/stat").read_text().rpartition(")")[2]
    fields = stat.split()
    ticks = int(fields[11]) + int(fields[12])
    status = Path(f"/proc/{process.process.pid}/status").read_text()
    (kb,) = [line.split()[1] for line in status.splitlines() if "VmRSS" in line]
    return ticks / os.sysconf("SC_CLK_TCK"), int(kb) / 1024.0


def thousand(folder: Path) -> None:
    """A thousand cabins, each with a heartbeat and readings; then all fall silent."""
    with mosquitto(folder / "broker") as broker, Sink() as sink:
        path = config(folder, broker.port, {"Ana": sink.address()})
        with running(path) as process, Listener(broker.port, topic="none") as listener:
            connected(process)
            watches = [Watch(listener, f"cabin-{n}", 30.0) for n in range(CABINS)]
            for watch in watches:
                watch.watching()
            began_cpu, _ = usage(process)
            began_s = time.perf_counter()
            rounds, latencies, last_s = 0, [], 0.0
            while time.perf_counter() - began_s < 90.0:
                start_s = time.perf_counter()
                for watch in watches:
                    if rounds % 3 == 0:
                        watch.beat()
                        last_s = time.perf_counter()
                    watch.readings(o2_pct=20.5, co2_ppm=900.0, co_ppm=2.0, temp_c=18.0)
                text = f"Alert {rounds}."
                sent_s = time.perf_counter()
                watches[rounds].alert(text)
                wait_for(lambda text=text: any(text in t for t in sink.texts()))
                latencies.append(sink.got[-1].at_s - sent_s)
                rounds += 1
                time.sleep(max(0.0, 10.0 - (time.perf_counter() - start_s)))
            cpu, mb = usage(process)
            share = (cpu - began_cpu) / (time.perf_counter() - began_s)
            sink.got.clear()
            wait_for(lambda: counted(sink) >= CABINS, 150.0, process.said)
            late_s = sink.got[-1].at_s - last_s
            print(
                f"{CABINS} cabins: {100 * share:.1f} % of one core, {mb:.0f} MB "
                f"(at most {BUDGET_MB:.0f}); alerts p50 {p(latencies, 0.5):.0f} ms, "
                f"worst {p(latencies, 1.0):.0f} ms; all {counted(sink)} silences told "
                f"within {late_s:.1f} s of the last heartbeat (at most 95)"
            )


def counted(sink: Sink) -> int:
    """Return how many silences were told, in however many texts."""
    count = 0
    for text in sink.texts():
        words = text.split()
        if " are silent" in text:
            count += int(words[0])
        elif " is silent" in text:
            count += 1
    return count


def connected(process: Process) -> None:
    log = process.path.parent / "broker" / "log"
    wait_for(lambda: "as cabinvigil-phone-states" in log.read_text(), why=process.said)
    time.sleep(0.5)


def silences(folder: Path) -> None:
    """Each way to fall silent, with a heartbeat of 5 s: 15 s and 5 s at most."""
    speaker = [sys.executable, "-m", "tests.bench.phone", "speak"]
    for way in ("kill -9", "SIGSTOP", "broker killed"):
        place = folder / way.replace(" ", "")
        place.mkdir()
        with mosquitto(place / "broker") as broker, Sink() as sink:
            path = config(place, broker.port, {"Ana": sink.address()})
            with running(path) as process:
                connected(process)
                watch = subprocess.Popen([*speaker, str(broker.port)])
                time.sleep(12.0)
                end_s = time.perf_counter()
                if way == "broker killed":
                    broker.stop(kill=True)
                else:
                    number = signal.SIGKILL if way == "kill -9" else signal.SIGSTOP
                    watch.send_signal(number)
                pushed = wait_for(lambda sink=sink: sink.got, 40.0, process.said)[0]
                print(f"{way}: told {pushed.at_s - end_s:.1f} s after (at most 20)")
                watch.kill()
                watch.wait()


def far_silences(folder: Path) -> None:
    """The same from elsewhere: our own bridge is cut, or the cabin has no power.

    Near broker and bridge are the shipped files; without power nothing says farewell,
    and what stands between holds its connections for ever.
    """
    for way in ("bridge cut", "power cut"):
        place = folder / way.replace(" ", "")
        place.mkdir()
        with (
            mosquitto(place / "broker") as far,
            Network(far.port) as network,
            bridged(place / "cabin", far_port=network.port) as brokers,
            Sink() as sink,
        ):
            path = config(place, far.port, {"Ana": sink.address()})
            with running(path) as process:
                connected(process)
                watch = OutputWatch(
                    "lapwing", brokers.near_port, 1, period_s=5.0, **brokers.watch()
                )
                with stepping([watch]):
                    time.sleep(15.0)
                    assert not sink.got, sink.texts()
                    end_s = time.perf_counter()
                    if way == "bridge cut":
                        network.cut()
                    else:
                        network.stall()
                        brokers.near.stop(kill=True)
                        brokers.bridge.stop(kill=True)
                    pushed = wait_for(lambda sink=sink: sink.got, 40.0, process.said)
                    late_s = pushed[0].at_s - end_s
                    print(f"{way}: told {late_s:.1f} s after (at most 20)")
                    print(f"  {pushed[0].text}", flush=True)
                die([watch])


def speak(port: int) -> None:
    """Be a watch that speaks, for ever."""
    with Listener(port, topic="none") as listener:
        watch = Watch(listener)
        watch.watching()
        while True:
            watch.beat()
            time.sleep(watch.period_s)


def main(alerts: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with mosquitto(folder / "broker") as broker, Sink() as ours, Sink() as theirs:
            path = config(folder, broker.port, {"Ana": ours.address()})
            sinks = {"phone": ours, "bare": theirs}
            with running(path) as process, bare(broker.port, theirs.address()):
                connected(process)
                told("one by one", measure(broker.port, sinks, alerts))
                with flood(broker.port, 1_000):
                    time.sleep(2.0)
                    told("beside a flood", measure(broker.port, sinks, alerts))
                print(f"memory after it: {usage(process)[1]:.0f} MB")
        (folder / "silent").mkdir()
        silences(folder / "silent")
        far_silences(folder / "silent")
        (folder / "many").mkdir()
        thousand(folder / "many")


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["bare", port, address]:
            be_bare(int(port), address)
        case ["far"]:
            with tempfile.TemporaryDirectory() as name:
                far_silences(Path(name))
        case ["speak", port]:
            speak(int(port))
        case words:
            main(int(words[0]) if words else 300)
