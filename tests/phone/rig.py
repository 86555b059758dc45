"""Real parts around the phone's end: broker, push servers, a watch's messages.

The HTTP sink behaves by the publishing rules of ntfy: what it would refuse is refused,
with its own codes.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

from cabinvigil.daemon.core.model import AlarmState, Alert, Priority, Transition
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import (
    ROOT,
    Messages,
    Pending,
    Publication,
    Topics,
    run_of,
)
from cabinvigil.daemon.outputs.mqtt.senml import SeriesReading
from cabinvigil.daemon.phone.listener import TAILS
from tests.outputs.listener import Listener

PRIORITIES = {
    *("1", "2", "3", "4", "5"),
    *("min", "low", "default", "high", "urgent", "max"),
}
LONGEST_MESSAGE = 4096
COMMAND = (sys.executable, "-m", "cabinvigil.daemon", "phone")


@dataclass
class Pushed:
    """One message that a sink accepted."""

    text: str
    title: str
    priority: str
    topic: str
    at_s: float


@dataclass
class Sink:
    """A push server; `mood` says how it behaves."""

    port: int = 0
    mood: str = "well"
    """`well`, `hangs`, `drops`, or a status such as `500`."""
    got: list[Pushed] = field(default_factory=list)
    asked: int = 0

    def __enter__(self) -> "Sink":
        sink = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self) -> None:
                sink.asked += 1
                self.answer(200, {"ok": True})

            def do_POST(self) -> None:
                sink.asked += 1
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                if sink.mood == "hangs":
                    time.sleep(8.0)
                elif sink.mood == "drops":
                    self.close_connection = True
                    return
                elif sink.mood != "well":
                    status = int(sink.mood)
                    self.answer(status, {"code": status * 100 + 1, "error": "moody"})
                    return
                self.publish(body)

            def publish(self, body: bytes) -> None:
                try:
                    said = json.loads(body)
                    topic, text = said["topic"], said["message"]
                except (ValueError, KeyError, TypeError):
                    self.answer(400, {"code": 40024, "error": "no valid JSON"})
                    return
                priority = self.headers.get("X-Priority", "default")
                if not re.fullmatch(r"[-_A-Za-z0-9]{1,64}", topic):
                    self.answer(400, {"code": 40009, "error": "invalid topic"})
                elif priority not in PRIORITIES:
                    self.answer(400, {"code": 40007, "error": "invalid priority"})
                elif len(text.encode()) > LONGEST_MESSAGE:
                    self.answer(413, {"code": 41301, "error": "too large"})
                else:
                    pushed = Pushed(
                        text,
                        said.get("title", ""),
                        priority,
                        topic,
                        time.perf_counter(),
                    )
                    sink.got.append(pushed)
                    self.answer(200, {"id": os.urandom(6).hex(), "event": "message"})

            def answer(self, status: int, body: Mapping[str, Any]) -> None:
                data = json.dumps(body).encode()
                self.send_response(status)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)

            def log_message(self, *_: object) -> None:
                pass

        class Server(ThreadingHTTPServer):
            def handle_error(self, *_: object) -> None:
                """A client that was killed is no error here."""

        self.server = Server(("127.0.0.1", self.port), Handler)
        self.server.daemon_threads = True
        self.port = self.server.server_address[1]
        Thread(target=self.server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self.server.shutdown()
        self.server.server_close()

    def address(self, topic: str = "lapwing") -> str:
        return f"ntfy://127.0.0.1:{self.port}/{topic}"

    def texts(self) -> list[str]:
        return [one.text for one in self.got]


@dataclass
class Watch:
    """What a watch says, by its own encoder, on a listener's connection."""

    listener: Listener
    cabin: str = "lapwing"
    period_s: float = 5.0
    began: datetime = field(default_factory=lambda: datetime.now(UTC))
    seq: int = 0
    root: str = ROOT
    """Before its topics, in place of what a watch has there."""
    bump: Mapping[str, float | str] = field(default_factory=dict)
    """What its heartbeats say of a test of the parts."""

    def __post_init__(self) -> None:
        self.messages = Messages(Topics(self.cabin), run_of(self.began), UTC)

    def stamp(self) -> Stamp:
        wall = datetime.now(UTC)
        return Stamp((wall - self.began).total_seconds(), wall)

    def next(self) -> int:
        self.seq += 1
        return self.seq

    def send(self, publication: Publication) -> None:
        self.listener.publish(
            publication.topic.replace(ROOT, self.root, 1),
            publication.payload,
            retain=publication.retain,
            user=dict(publication.user),
            qos=publication.qos,
        )

    def watching(self) -> None:
        self.send(self.messages.presence("watching"))

    def beat(self) -> None:
        self.send(self._heartbeat())

    def _heartbeat(self) -> Publication:
        stamp, seq = self.stamp(), self.next()
        return self.messages.heartbeat(seq, stamp, self.period_s, self.bump)

    def alert(
        self,
        text: str,
        priority: Priority = Priority.HIGH,
        escalation: int = 0,
        alarm: str = "o2-low",
    ) -> None:
        stamp = self.stamp()
        alert = Alert(alarm, priority, text, escalation)
        pending = Pending(alert, self.next(), stamp.up_s)
        self.send(self.messages.alert(pending, stamp))

    def alarm(
        self,
        alarm: str = "o2-low",
        state: AlarmState = AlarmState.UNACKNOWLEDGED,
        priority: Priority = Priority.HIGH,
        text: str = "Oxygen 19.2 %. Get everyone outside now.",
    ) -> None:
        stamp = self.stamp()
        change = Transition(alarm, state, AlarmState.NORMAL, priority, text, stamp.up_s)
        self.send(self.messages.alarm(change, self.next(), stamp))

    def readings(self, **values: float) -> None:
        given = [SeriesReading(series, value, 0.0) for series, value in values.items()]
        self.send(self.messages.readings(given, self.stamp()))

    def estimates(self, **fields: Any) -> None:
        self.send(self.messages.estimates(fields, self.next(), self.stamp()))


def config(
    folder: Path,
    broker: int,
    to: Mapping[str, str],
    *,
    more: str = "",
    page: int = 0,
    page_more: str = "",
    to_more: Mapping[str, str] | None = None,
) -> Path:
    """Write a phone.toml."""
    lines = [f'state_folder = "{folder}/state"', more, "[broker]"]
    lines += ['host = "127.0.0.1"', f"port = {broker}", "tls = false"]
    for name, address in to.items():
        lines += ["[[to]]", f'name = "{name}"', f'address = "{address}"']
        lines.append((to_more or {}).get(name, ""))
    if page:
        lines += ["[page]", f'listen = "127.0.0.1:{page}"', page_more]
    path = folder / "phone.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    path.chmod(0o640)  # it holds addresses, which --check wants closed to others
    return path


@dataclass
class Process:
    """The command itself, in a process of its own."""

    path: Path
    log: Path
    process: subprocess.Popen[bytes] | None = None
    prefix: tuple[str, ...] = ()
    """What starts it, such as `prlimit`."""

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [*self.prefix, *COMMAND, "--config", str(self.path)],
                stdout=log,
                stderr=log,
            )

    def kill(self) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait(10)

    def stop(self) -> int:
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(15)

    def said(self) -> str:
        return self.log.read_text("utf-8") if self.log.exists() else ""


@contextmanager
def running(path: Path) -> Iterator[Process]:
    """Run `cabinvigil phone` until the end of the block."""
    process = Process(path, path.parent / "phone.log")
    process.start()
    try:
        yield process
    finally:
        if process.process is not None and process.process.poll() is None:
            process.kill()


LOGGED = "listener @PORT@ 127.0.0.1\nallow_anonymous true\nlog_type all\n"
"""A broker's configuration: its log tells of subscriptions too."""


def listens(log: Path, count: int = 1) -> bool:
    """Return whether the phone's end has subscribed to all of it, so many times over.

    A connection is not enough: what is published before the subscriptions is lost.
    """
    said = log.read_text().count("Sending SUBACK to cabinvigil-phone")
    return said >= count * len(TAILS)


def wait_for(
    what: Callable[[], Any], deadline_s: float = 20.0, why: object = ""
) -> Any:
    """Wait until something is true, and return it."""
    until_s = time.perf_counter() + deadline_s
    while not (got := what()):
        assert time.perf_counter() < until_s, why() if callable(why) else why
        time.sleep(0.02)
    return got
