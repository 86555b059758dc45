"""A danger and a note through ntfy itself, as Debian trixie has it.

Run: `python -m tests.tools.ntfy PROGRAM [ALERTS]`.  PROGRAM is its binary: in a folder
outside, `apt-get download ntfy` with trixie's list, then `dpkg-deb -x`.

The rig's sink has ntfy's own publishing rules; this holds it to the real server: the
same pushes are taken by both, with the same priority, title and text, and what the one
refuses the other does too.
"""

import json
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from cabinvigil.daemon.core.model import Priority
from tests.outputs.brokers import free_port, mosquitto
from tests.outputs.listener import Listener
from tests.phone.rig import Sink, Watch, config, running, wait_for
from tests.phone.texts import PERHAPS

WORDS = {1: "min", 2: "low", 3: "default", 4: "high", 5: "max"}
"""ntfy's numbers for the words of its publishing page."""
TEXTS = (
    (Priority.HIGH, "Too little oxygen in 6\u00a0minutes: 19.8\u00a0%. Get out.", 5),
    (Priority.MEDIUM, "Oxygen falls: 20.2\u00a0%. Open the door.", 5),
    (Priority.FAULT, "The oxygen cell is silent.", 3),
    (Priority.LOW, "Water settles on the glass. Open a vent.", 2),
)
REFUSED = (
    {"topic": "lapwing", "message": "x", "priority": 9},
    {"topic": "not a topic", "message": "x"},
    {"message": "x"},
)


@contextmanager
def server(program: str, folder: Path) -> Iterator[int]:
    """Run it on loopback, with its cache in the folder."""
    port = free_port()
    (folder / "server.yml").write_text(
        f"listen-http: 127.0.0.1:{port}\nbase-url: http://127.0.0.1:{port}\n"
        f"cache-file: {folder}/cache.db\n"
        "visitor-request-limit-burst: 100000\nvisitor-message-daily-limit: 100000\n"
    )
    with (folder / "ntfy.log").open("wb") as log:
        process = subprocess.Popen(
            [program, "serve", "--config", str(folder / "server.yml")],
            stdout=log,
            stderr=log,
        )
    try:
        wait_for(lambda: is_healthy(port), 20.0, (folder / "ntfy.log").read_text)
        yield port
    finally:
        process.terminate()
        process.wait(10)


def is_healthy(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/v1/health") as answer:
            return json.loads(answer.read())["healthy"] is True
    except OSError:
        return False


def kept(port: int, topic: str) -> list[dict[str, Any]]:
    """Return what it holds for whoever subscribes."""
    url = f"http://127.0.0.1:{port}/{topic}/json?poll=1"
    with urllib.request.urlopen(url) as answer:
        return [json.loads(line) for line in answer.read().splitlines()]


def refuses(port: int, body: object) -> bool:
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}/", json.dumps(body).encode(), method="POST",
        headers={"Content-Type": "application/json"},
    )  # fmt: skip
    try:
        urllib.request.urlopen(request).close()
    except urllib.error.HTTPError as error:
        return 400 <= error.code < 500
    return False


def main(program: str, alerts: int) -> int:
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with (
            server(program, folder) as port,
            Sink() as sink,
            mosquitto(folder / "broker") as broker,
            Listener(broker.port, topic="none") as listener,
        ):
            to = {
                "Ana": f"ntfy://127.0.0.1:{port}/lapwing",
                "Ben": sink.address("lapwing"),
            }
            log = folder / "broker" / "log"
            with running(config(folder, broker.port, to)) as process:
                wait_for(lambda: "as cabinvigil-phone-states" in log.read_text())
                time.sleep(0.5)
                watch = Watch(listener)
                for priority, text, _ in TEXTS:
                    watch.alert(text, priority)
                wait_for(lambda: len(kept(port, "lapwing")) == 4, 20.0, process.said)
                wait_for(lambda: len(sink.got) == 4, 20.0, process.said)
                wrong += compared(kept(port, "lapwing"), sink)
                began_s = time.perf_counter()
                for number in range(alerts):
                    watch.alert(f"Alert {number}.")
                wait_for(
                    lambda: len(kept(port, "lapwing")) == 4 + alerts, 60.0, process.said
                )
                took_s = time.perf_counter() - began_s
                again = [m for m in kept(port, "lapwing") if PERHAPS in m["title"]]
                wrong += [f"twice: {one}" for one in again]
                print(f"{alerts} more at once: all taken within {took_s:.1f} s")
            for body in REFUSED:
                if refuses(port, body) is not True:
                    wrong.append(f"it takes {body}")
    print(f"{len(wrong)} wrong", *wrong, sep="\n  ")
    return len(wrong)


def compared(messages: list[dict[str, Any]], sink: Sink) -> Iterator[str]:
    """Yield where the real server and the rig's differ, or the priority is not ours."""
    for _, text, priority in TEXTS:
        (real,) = [one for one in messages if one["message"].startswith(text)]
        (ours,) = [one for one in sink.got if one.text.startswith(text)]
        got = real.get("priority", 3)
        print(f"  priority {got} ({WORDS[got]}), {real['title']}: {real['message']}")
        if got != priority:
            yield f"priority {got} in place of {priority}: {text}"
        there = (WORDS[got], real["title"], real["message"])
        if there != (ours.priority, ours.title, ours.text):
            yield f"the rig has {ours}, ntfy {there}"


if __name__ == "__main__":
    sys.exit(bool(main(sys.argv[1], int(sys.argv[2]) if sys.argv[2:] else 100)))
