"""A network that drops a fifth of the time: no silence is told where there is none.

Run: `python -m tests.soak.dropping_network [MINUTES] [CABINS] [PHONES] [SEED]` (20, 24
and 4; twenty-two minutes).

The watch's own MQTT output behind a network each, Debian's mosquitto, and the phone's
end as a process; besides, phone's ends that are behind such a network themselves.  A
heartbeat comes each 10 s in place of 30, so 20 minutes of 24 cabins are 24 hours of
one.  Of every five seconds the network drops one, for up to two heartbeats: it resets
and refuses, or holds all back, or what is open dies and nobody is told.  At the end the
watches die, and each silence must be told within three heartbeats and 5 s.
"""

import random
import re
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.core.model import Record
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.output import Phone
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from tests.outputs.brokers import mosquitto
from tests.outputs.network import Network
from tests.phone.rig import Sink, config, running, wait_for

PERIOD_S = 10.0
USUAL_PERIOD_S = 30.0
LONGEST_DROP_S = 2.0 * PERIOD_S
LATEST_S = 3.0 * PERIOD_S + 5.0
LEAST_UP_S = {"watch": 5.0, "phone": 1.2 * PERIOD_S}
"""Between two drops: time to come back and to be heard.  What the watch says meanwhile
waits in it; what is said while a phone's end is away is lost to it, so that it needs
the next heartbeat."""


@dataclass
class Played:
    """What a network did."""

    down_s: float = 0.0
    drops: int = 0
    whole_s: float = 0.0
    falsely: list[str] = field(default_factory=list)


class Watch:
    """The watch's output, which completes a step whenever it is told to."""

    def __init__(
        self,
        name: str,
        port: int,
        seed: int,
        *,
        period_s: float = PERIOD_S,
        **more: Any,
    ) -> None:
        self.name = name
        # Detection scaled as the heartbeat is: 15 s and 10 s beside 30 s.
        broker = Broker(
            "127.0.0.1", port, f"cabinvigil-{name}", tls=False, keepalive_s=5,
            answer_s=10.0 * PERIOD_S / USUAL_PERIOD_S, **more,
        )  # fmt: skip
        messages = Messages(Topics(name), run_of(datetime.now(UTC)), UTC)
        desk = Publisher(messages, heartbeat_s=period_s, readings_s=PERIOD_S / 3.0)
        self._clock = SystemClock()
        self._began_s = self._clock.monotonic()
        self.phone = Phone(
            broker, desk, self._clock, lambda _event: None,
            on_ask=lambda _ask, _reply: None, on_refused=lambda _text: None,
            dice=random.Random(seed),
        )  # fmt: skip

    def step(self) -> None:
        up_s = self._clock.monotonic() - self._began_s
        air = Record("air", {"o2_pct": 20.7, "co2_ppm": 900.0, "co_ppm": 1.0})
        self.phone.handle(air, Stamp(up_s, self._clock.wall()))


NOTICED_S = 21.0
"""A phone's end takes so long to notice that its connection is dead (a keep-alive of
10 s, twice), which is not scaled: until then a drop of that kind is not over."""


def drop(
    network: Network, played: Played, seed: int, least_up_s: float, end: threading.Event
) -> None:
    """Have a network drop, until the end."""
    dice = random.Random(seed)
    began_s = time.perf_counter()
    mean_up_s = 4.0 * LONGEST_DROP_S / 2.0 - least_up_s
    while not end.wait(least_up_s + dice.expovariate(1.0 / mean_up_s)):
        way = dice.choice((network.cut, network.stall, network.lose))
        down_s = dice.uniform(0.0, LONGEST_DROP_S)
        way()
        end.wait(down_s)
        network.mend()
        played.down_s += down_s
        played.drops += 1
        if way == network.lose and least_up_s == LEAST_UP_S["phone"]:
            end.wait(max(0.0, NOTICED_S - down_s))
    played.whole_s = time.perf_counter() - began_s


@contextmanager
def stepping(watches: list[Watch]) -> Iterator[None]:
    """Let the watches live."""
    end = threading.Event()

    def run() -> None:
        while not end.wait(1.0):
            for watch in watches:
                watch.step()

    for watch in watches:
        watch.phone.start()
    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        end.set()
        thread.join()


def die(watches: list[Watch]) -> None:
    """End them as a kill does: none says farewell."""
    ends = []
    for watch in watches:
        watch.phone.be_lost()
        ends.append(threading.Thread(target=watch.phone.stop, args=(0.5,)))
    for thread in ends:
        thread.start()
    for thread in ends:
        thread.join()


def named(sink: Sink) -> list[str]:
    """Return the silences that were told."""
    return [text for text in sink.texts() if "silent" in text]


def is_told(name: str, sink: Sink) -> bool:
    spelt = name.replace("-", " ").capitalize()
    return any(re.search(rf"\b{spelt}\b", text) for text in named(sink))


@dataclass
class End:
    """A phone's end, what it pushed, and its cabins."""

    sink: Sink
    names: list[str]
    played: list[Played]


def play(
    folder: Path, minutes: float, cabins: int, phones: int, seed: int
) -> list[str]:
    """Play it; return what was wrong.

    Args:
        folder: for the broker, and for each phone's end.
        minutes: to play.
        cabins: behind a network each.
        phones: phone's ends behind a network of their own, with a cabin each.
        seed: of the networks' dice.
    """
    wrong: list[str] = []
    over, drops, watches = threading.Event(), [], list[Watch]()
    with ExitStack() as stack:
        broker = stack.enter_context(mosquitto(folder / "broker"))
        ends = []
        for number in range(1 + phones):
            sink = stack.enter_context(Sink())
            played = Played()
            if number == 0:
                port, names = broker.port, [f"a-{n}" for n in range(cabins)]
            else:
                network = stack.enter_context(Network(broker.port))
                port, names = network.port, [f"b-{number}"]
                args = (network, played, seed * 1000 + number, LEAST_UP_S["phone"])
                drops.append(threading.Thread(target=drop, args=(*args, over)))
            place = folder / f"phone{number}"
            place.mkdir()
            path = config(
                place, port, {"Ana": sink.address()},
                more=f"cabins = {names}\nonly_these = true".replace("'", '"'),
            )  # fmt: skip
            text = path.read_text().replace(
                "[broker]", f'[broker]\nclient_id = "cabinvigil-phone-{number}"'
            )
            path.write_text(text)
            stack.enter_context(running(path))
            ends.append(End(sink, names, [played] if number else []))
        for number, name in enumerate(ends[0].names):
            network, played = stack.enter_context(Network(broker.port)), Played()
            ends[0].played.append(played)
            watches.append(Watch(name, network.port, number))
            args = (network, played, seed * 2000 + number, LEAST_UP_S["watch"])
            drops.append(threading.Thread(target=drop, args=(*args, over)))
        watches += [Watch(n, broker.port, 9) for one in ends[1:] for n in one.names]
        stack.callback(die, watches)
        alive = stack.enter_context(ExitStack())
        alive.enter_context(stepping(watches))
        time.sleep(10.0)
        for thread in drops:
            thread.start()
        time.sleep(60.0 * minutes)
        over.set()
        for thread in drops:
            thread.join()
        time.sleep(PERIOD_S)
        for one in ends:
            wrong += named(one.sink)
        said(ends, wrong)
        alive.close()
        wrong += killed(ends, watches)
    return wrong


def said(ends: list[End], wrong: list[str]) -> None:
    for what, some in (("watches", ends[:1]), ("phone's ends", ends[1:])):
        played = [one for end in some for one in end.played]
        whole_s = sum(one.whole_s for one in played)
        print(
            f"{len(played)} {what} behind a network each, "
            f"{whole_s * USUAL_PERIOD_S / PERIOD_S / 3600.0:.1f} h scaled to a "
            f"heartbeat of 30 s: {sum(one.drops for one in played)} drops, "
            f"{100.0 * sum(one.down_s for one in played) / whole_s:.0f} % of the time"
        )
    print(f"false silences: {len(wrong)}", *wrong[:10], sep="\n  ", flush=True)


def killed(ends: list[End], watches: list[Watch]) -> list[str]:
    """Kill every watch; return which was not told in time."""
    for one in ends:
        one.sink.got.clear()
    die(watches)
    began_s = time.perf_counter()
    for one in ends:
        for name in one.names:
            wait_for(
                lambda name=name, one=one: is_told(name, one.sink), 60.0,
                lambda name=name, one=one: f"{name}: {one.sink.texts()}",
            )  # fmt: skip
    took_s = max(one.sink.got[-1].at_s for one in ends) - began_s
    count = sum(len(one.names) for one in ends)
    print(f"all {count} killed: told within {took_s:.1f} s (at most {LATEST_S:.0f})")
    return [] if took_s <= LATEST_S else [f"told after {took_s:.1f} s"]


if __name__ == "__main__":
    usual = (20.0, 24.0, 4.0, 1.0)
    given = [float(word) for word in sys.argv[1:]]
    minutes, *counts = (*given, *usual[len(given) :])
    with tempfile.TemporaryDirectory() as name:
        found = play(Path(name), minutes, *(int(count) for count in counts))
    sys.exit(bool(found))
