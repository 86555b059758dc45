"""`kill -9` of the phone's end amid alerts: each is delivered, and none twice unsaid.

Run: `python -m tests.soak.phone_kills [KILLS] [SEED]` (200: ten to fifteen minutes).

A kill may hit a push between the moment at which the service took it and the one at
which it is crossed out: nobody can tell, so that one is pushed again, and its title
says that it was perhaps told already.  At most one alert a kill and address was under
way.
"""

import random
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from tests.outputs.brokers import mosquitto
from tests.outputs.listener import Listener
from tests.phone.rig import Process, Sink, Watch, config, running, wait_for
from tests.phone.texts import PERHAPS

ADDRESSES = ("ana", "ben")


@dataclass(frozen=True)
class Tally:
    """What became of all alerts."""

    kills: int
    sent: int
    lost: tuple[str, ...]
    twice: int
    """Deliveries beyond the first, of all addresses."""
    unsaid: int
    """Of these, such as do not say that they were perhaps told already."""
    once: int
    """Such as say so, and came once."""

    @property
    def is_good(self) -> bool:
        """Whether all is as it must be."""
        at_most = self.kills * len(ADDRESSES)
        return not (self.lost or self.unsaid or self.twice > at_most)

    def __str__(self) -> str:
        return (
            f"{self.kills} kills, {self.sent} alerts to {len(ADDRESSES)} addresses: "
            f"{len(self.lost)} lost; {self.twice} twice "
            f"(at most {self.kills * len(ADDRESSES)}), {self.unsaid} of them without "
            f"a word that it may be; {self.once} said so and came once"
        )


def kept_text(text: str) -> str:
    """Return an alert's text without its moment."""
    return text.rpartition(" (")[0]


def kill_amid_alerts(kills: int, folder: Path, seed: int = 1) -> Tally:
    """Kill it so often, at any instant, with alerts before, during and after."""
    dice, sent = random.Random(seed), list[str]()
    with (
        mosquitto(folder / "broker") as broker,
        Listener(broker.port, topic="none") as listener,
        Sink() as sink,
    ):
        to = {name: sink.address(name) for name in ADDRESSES}
        process_path = config(folder, broker.port, to)
        watch = Watch(listener)

        def alert() -> None:
            sent.append(f"Alert {len(sent)}.")
            watch.alert(sent[-1])

        with running(process_path) as process:
            connected(process, 1)
            for kill in range(kills):
                for _ in range(dice.randrange(5)):
                    alert()
                    time.sleep(dice.expovariate(1 / 0.02))
                process.kill()
                alert()
                process.start()
                if dice.random() < 0.8:
                    connected(process, kill + 2, deadline_s=5.0)
                time.sleep(dice.uniform(0.0, 0.3))
            wait_for(lambda: not lost(sink, sent), 120.0, lambda: lost(sink, sent)[:5])
            time.sleep(2.0)
        return tally_of(kills, sink, sent)


def tally_of(kills: int, sink: Sink, sent: list[str]) -> Tally:
    counts = Counter((one.topic, kept_text(one.text)) for one in sink.got)
    plain = Counter(
        (one.topic, kept_text(one.text))
        for one in sink.got
        if not one.title.endswith(PERHAPS)
    )
    return Tally(
        kills,
        len(sent),
        tuple(lost(sink, sent)),
        twice=sum(count - 1 for count in counts.values()),
        unsaid=sum(count - 1 for count in plain.values() if count > 1),
        once=sum(1 for key, count in counts.items() if count == 1 and not plain[key]),
    )


def lost(sink: Sink, sent: list[str]) -> list[str]:
    got = {(one.topic, kept_text(one.text)) for one in list(sink.got)}
    wanted = [(topic, text) for topic in ADDRESSES for text in sent]
    return [f"{topic}: {text}" for topic, text in wanted if (topic, text) not in got]


def connected(process: Process, count: int, deadline_s: float = 20.0) -> None:
    """Wait until it came to the broker so often; it may be killed before it does."""
    log = process.path.parent / "broker" / "log"
    until_s = time.perf_counter() + deadline_s
    while log.read_text().count("as cabinvigil-phone-states") < count:
        if time.perf_counter() > until_s:
            return
        time.sleep(0.02)


if __name__ == "__main__":
    wanted = [int(word) for word in sys.argv[1:]]
    with tempfile.TemporaryDirectory() as name:
        tally = kill_amid_alerts(*(wanted[:1] or [200]), Path(name), *wanted[1:])
    print(tally)
    sys.exit(not tally.is_good)
