"""A phone output beside a broker, and what it did."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from random import Random

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.core.model import (
    Alert,
    Priority,
    Record,
)
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.output import Phone
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.outputs.mqtt.requests import Reply
from tests.outputs.hands import Told


class JumpClock:
    """Real time, that a test can move forward: an hour passes in no time."""

    def __init__(self) -> None:
        self.ahead_s = 0.0

    def monotonic(self) -> float:
        return time.perf_counter() + self.ahead_s

    def wall(self) -> datetime:
        return datetime.now(UTC) + timedelta(seconds=self.ahead_s)


class Cabin:
    """A phone output and what it told."""

    def __init__(self, port: int, **kw: object) -> None:
        self.clock = JumpClock()
        self.began_s = self.clock.monotonic()
        self.told = Told()
        self.asks: list[Ask] = []
        self.refused: list[str] = []
        name = str(kw.pop("name", "lapwing"))
        given: dict[str, object] = {
            "host": "localhost", "port": port, "client_id": f"cabinvigil-{name}",
            "tls": False, "keepalive_s": 5, "connect_s": 2.0, "answer_s": 2.0,
        } | kw  # fmt: skip
        messages = Messages(Topics(name), run_of(datetime.now(UTC)), UTC)
        self.desk = Publisher(messages, heartbeat_s=30.0, readings_s=1.0)
        self.phone = Phone(
            Broker(**given),  # type: ignore[arg-type]
            self.desk,
            self.clock,
            self.told,
            on_ask=self.on_ask,
            on_refused=self.refused.append,
            dice=Random(1),
        )

    def on_ask(self, ask: Ask, reply: Reply) -> None:
        self.asks.append(ask)
        reply({"ok": True, "text": "done"})

    def stamp(self) -> Stamp:
        return Stamp(self.clock.monotonic() - self.began_s, self.clock.wall())

    def alert(self, text: str, **kw: object) -> None:
        command = Alert("o2-low", Priority.HIGH, text, **kw)  # type: ignore[arg-type]
        self.phone.handle(command, self.stamp())

    def air(self, **values: float) -> None:
        self.phone.handle(Record("air", values), self.stamp())

    def wait(self, what: Callable[[], object], deadline_s: float = 15.0) -> None:
        until = time.perf_counter() + deadline_s
        while not what():
            assert time.perf_counter() < until, (self.told, self.refused)
            time.sleep(0.01)


@contextmanager
def cabin(port: int, **kw: object) -> Iterator[Cabin]:
    one = Cabin(port, **kw)
    one.phone.start()
    try:
        yield one
    finally:
        one.phone.stop(2.0)


QUIET_NIGHT = {
    "night": "night-2025-01-14", "cabin": "plover", "emulated": True,
    "begins": None, "ends": None, "hours": 9.0, "verdict": "safe", "well": True,
    "reasons": [], "missing": [], "damaged": [],
    "air_changes_per_h": None, "gas_kg": None, "gas_kwh": None,
    "water_left_kg": None, "tonight": [], "text": "SAFE.", "closest": [],
    "glass_wet_h": 0.0, "gaps": 0,
}  # fmt: skip
"""As short an account as the contract lets pass."""
