"""A thousand connections that end: no thread, descriptor, traceback or memory is left.

Run: `python -m tests.soak.reconnects [CONNECTIONS [SEED]]` (half a minute).  The broker
ends each in another way: at once, with a reset, a refusal, nonsense, a farewell, or in
the middle of a packet.
"""

import gc
import os
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.outputs.mqtt import broker
from tests.outputs.dropping import DroppingBroker
from tests.outputs.mqtt.cabin import Cabin

WAIT_S = 0.002
"""Between two tries, instead of a second to a minute."""
MANY = 60
"""Connections in which everything is loaded that is loaded once."""
OBJECTS = 3
"""Live objects more for each connection that are no leak: caches fill up, and a session
that were left would be some hundred."""


@dataclass
class Held:
    """What was held and told."""

    connections: int = 0
    files: list[int] = field(default_factory=list)
    """Descriptors before, and at the end."""
    growth_files: int = 0
    """Most descriptors in the last fifth, less the most in the first."""
    threads: list[str] = field(default_factory=list)
    """Their names, at the end, less those before."""
    objects: list[int] = field(default_factory=list)
    """Live objects, after the first few connections and at the end."""
    tracebacks: list[str] = field(default_factory=list)
    """What reached the hooks of last resort."""
    kinds: set[str] = field(default_factory=set)
    """Of the faults that the core was told."""
    stumbles: list[str] = field(default_factory=list)
    """Of these, where the output took what the broker sent for a bug of its own."""

    def leftovers(self) -> list[str]:
        """Say what is left over, a sentence each."""
        found = list(self.tracebacks) + list(self.stumbles)
        if self.files[1] > self.files[0] or self.growth_files > 1:
            found.append(f"descriptors: {self.files}, growth {self.growth_files}")
        if self.threads:
            found.append(f"threads: {self.threads}")
        if self.objects[1] - self.objects[0] > OBJECTS * (self.connections - MANY):
            found.append(f"objects: {self.objects}")
        return found


def reconnect(connections: int, seed: int, **settings: Any) -> Held:
    """Connect so often to a broker that ends each connection, and part."""
    held, told = Held(), set[tuple[str, str]]()
    gc.collect()
    before = set(threading.enumerate())
    held.files.append(files())
    with quick(), hooks(held.tracebacks), DroppingBroker(seed) as dropping:
        cabin = Cabin(dropping.port, answer_s=1.0, **settings)
        cabin.phone.start()
        for number in range(10):
            cabin.alert(f"Alert {number}.", expiry_s=9_000.0)
        for count in (MANY, connections):
            while dropping.count < count:
                cabin.air(o2_pct=20.5)
                time.sleep(WAIT_S)
            told |= {(e.kind, e.text) for e in cabin.told if hasattr(e, "kind")}
            cabin.told.clear()
            held.objects.append(objects())
        cabin.phone.stop(5.0)
        held.connections = dropping.count
        fifth = max(1, len(dropping.files) // 5)
        held.growth_files = max(dropping.files[-fifth:]) - max(dropping.files[:fifth])
    held.kinds = {kind for kind, _ in told}
    held.stumbles = sorted(text for kind, text in told if kind == "late")
    del cabin
    gc.collect()
    held.files.append(files())
    held.threads = [t.name for t in threading.enumerate() if t not in before]
    return held


def files() -> int:
    """Count this process's descriptors."""
    return len(os.listdir("/proc/self/fd"))


def objects() -> int:
    """Count what lives, garbage aside."""
    gc.collect()
    return len(gc.get_objects())


@contextmanager
def quick() -> Iterator[None]:
    """Try again at once."""
    usual = broker.FIRST_WAIT_S, broker.LONGEST_WAIT_S
    broker.FIRST_WAIT_S = broker.LONGEST_WAIT_S = WAIT_S
    try:
        yield
    finally:
        broker.FIRST_WAIT_S, broker.LONGEST_WAIT_S = usual


@contextmanager
def hooks(tracebacks: list[str]) -> Iterator[None]:
    """Take down what Python would print of a thread or an object that stumbled."""
    usual = threading.excepthook, sys.unraisablehook

    def note(args: Any) -> None:
        tracebacks.append(f"{args.exc_type.__name__}: {args.exc_value}")

    threading.excepthook = sys.unraisablehook = note
    try:
        yield
        gc.collect()
    finally:
        threading.excepthook, sys.unraisablehook = usual


def main(arguments: list[str]) -> int:
    """Run it plainly and by TLS, and print what was left."""
    connections = int(arguments[0]) if arguments else 1_000
    seed = int(arguments[1]) if len(arguments) > 1 else 1
    is_well = True
    for name, settings in (("plain", {}), ("TLS", {"tls": True})):
        began_s = time.perf_counter()
        held = reconnect(connections, seed, **settings)
        took_s = time.perf_counter() - began_s
        print(
            f"{name}: {held.connections} connections in {took_s:.0f} s; descriptors "
            f"{held.files}, most at one time {held.growth_files:+d}; objects "
            f"{held.objects}; faults {', '.join(sorted(held.kinds))}"
        )
        for text in held.leftovers():
            is_well = False
            print(f"LEFT OVER: {text}")
    return 0 if is_well else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
