"""A phone of the tests: a bare paho client that keeps all it hears, and may write."""

import json
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from tests.contract import held


def asking(verb: str, age_s: float = 0.0, **fields: object) -> str:
    """Write an ask of so many seconds ago."""
    at = datetime.now(UTC) - timedelta(seconds=age_s)
    return json.dumps({"ask": verb, "at": at.isoformat(), **fields})


@dataclass
class Heard:
    topic: str
    payload: bytes
    retain: bool
    at_s: float
    properties: Any = None

    @property
    def text(self) -> str:
        return self.payload.decode()


@dataclass
class Listener:
    """Connects, subscribes to everything, and keeps what comes."""

    port: int
    user: str = ""
    password: str = ""
    ca_file: Path | None = None
    topic: str = "#"
    session: str = ""
    """A name the broker keeps messages for while we are away."""
    heard: list[Heard] = field(default_factory=list)

    def __enter__(self) -> "Listener":
        self._subscribed = threading.Event()
        self.client = paho.Client(
            paho.CallbackAPIVersion.VERSION2, self.session, protocol=paho.MQTTv5
        )
        self.client.reconnect_delay_set(1, 1)
        if self.user:
            self.client.username_pw_set(self.user, self.password)
        if self.ca_file:
            self.client.tls_set(str(self.ca_file))
        self.client.on_message = self._on_message
        self.client.on_subscribe = lambda *_: self._subscribed.set()
        self.client.on_connect = lambda client, *_: client.subscribe(
            self.topic, options=SubscribeOptions(qos=1, retainAsPublished=True)
        )
        kept = Properties(PacketTypes.CONNECT)
        kept.SessionExpiryInterval = 600 if self.session else 0
        self.client.connect(
            "localhost", self.port, clean_start=not self.session, properties=kept
        )
        self.client.loop_start()
        assert self._subscribed.wait(10.0)
        return self

    def __exit__(self, *_: object) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def _on_message(self, _c: Any, _u: Any, message: Any) -> None:
        held.heard(message.topic, message.payload)
        self.heard.append(
            Heard(
                message.topic,
                message.payload,
                message.retain,
                time.perf_counter(),
                message.properties,
            )
        )

    def publish(
        self,
        topic: str,
        payload: bytes | str,
        *,
        retain: bool = False,
        answer_to: str = "",
        correlation: bytes = b"",
        user: Mapping[str, str] | None = None,
        qos: int = 1,
    ) -> None:
        given = Properties(PacketTypes.PUBLISH)
        if answer_to:
            given.ResponseTopic = answer_to
        if correlation:
            given.CorrelationData = correlation
        if user:
            given.UserProperty = list(user.items())
        self.client.publish(topic, payload, qos=qos, retain=retain, properties=given)

    def on(self, tail: str) -> list[Heard]:
        """Give what came on topics that end so."""
        return [each for each in self.heard if each.topic.endswith(tail)]

    def wait(self, what: Callable[[], Any], deadline_s: float = 15.0) -> Any:
        until = time.perf_counter() + deadline_s
        while not (got := what()):
            assert time.perf_counter() < until, [
                (e.topic, e.payload[:60]) for e in self.heard[-20:]
            ]
            time.sleep(0.01)
        return got
