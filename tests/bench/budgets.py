"""Every budget of design.md, section 9, beside its floor, as one table.

Run: `python -m tests.bench.budgets` (about six minutes; needs Debian's mosquitto);
name some of `decision running own_import replay card latencies` to have those alone.
A floor is the same work with nothing but the libraries, measured in the same run: the
ratios hold on another machine, the times do not.
"""

import asyncio
import gzip
import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.bench import latency
from tests.bench.decision import floor_ms, mean_ms, setup_of
from tests.bench.outputs import night_of_wear
from tests.bench.processes import LIBRARIES, Daemon, Took, idle_rss_kb, ran, rss_kb
from tests.outputs.brokers import free_port, mosquitto
from tests.running import Air, Ports, config

STARTS = 5
SETTLE_S = 20.0
"""After this `run` holds all that it will: the first texts, the broker's session."""
TICK_S = 0.5
MB = 1e6


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    what: str
    measured: str
    floor: str
    ratio: float | None
    budget: str
    is_within: bool

    def line(self) -> str:
        ratio = "" if self.ratio is None else f"{self.ratio:.2f}"
        mark = "" if self.is_within else "  MISSED"
        return (
            f"{self.what:<46}{self.measured:>18}{self.floor:>18}{ratio:>9}"
            f"   {self.budget}{mark}"
        )


HEAD = f"{'what':<46}{'measured':>18}{'floor':>18}{'ratio':>9}   budget"


def decision() -> Iterator[Row]:
    setup = setup_of(with_trend=True)
    ours, bare = mean_ms(setup), floor_ms(setup)
    what = f"decision, {len(setup.alarms)} alarms, {len(setup.layout.series)} series"
    budget = "1.0 ms a tick"
    yield Row(what, f"{ours:.3f} ms", f"{bare:.3f} ms", ours / bare, budget, ours <= 1)


async def _runs(folder: Path, port: int) -> tuple[list[tuple[float, float]], int]:
    """Start `run` some times on ptys; give what each start took, and the memory."""
    more = f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\ntls = false\n'
    ports = Ports(folder, Air(), waits=False)
    path = config(folder, more)
    path.write_text(path.read_text().replace("tick_s = 0.5", f"tick_s = {TICK_S}"))
    took, kb = [], 0
    try:
        for number in range(STARTS):
            daemon = Daemon(path)
            took.append(await asyncio.to_thread(daemon.ready))
            if number == STARTS - 1:
                await asyncio.sleep(SETTLE_S)
                kb = rss_kb(daemon.process.pid)
            await asyncio.to_thread(daemon.end)
    finally:
        ports.close()
    return took, kb


def running() -> Iterator[Row]:
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        at = Path(folder)
        with mosquitto(at / "broker", port=port):
            took, kb = asyncio.run(_runs(at, port))
    idle_kb = idle_rss_kb()
    memory = (f"{kb / 1e3:.1f} MB", f"{idle_kb / 1e3:.1f} MB", kb / idle_kb)
    yield Row("run: memory, with a broker", *memory, "1.3", kb <= 1.3 * idle_kb)
    bare = [ran(["-c", LIBRARIES]) for _ in range(STARTS)]
    wall_s = min(wall for wall, _ in took)
    floor_s = min(each.wall_s for each in bare)
    for what, ours_s in (
        ("run: start to the first assessed tick", wall_s),
        (f"  the same, less the tick's own {TICK_S} s", wall_s - TICK_S),
    ):
        ratio = ours_s / floor_s
        times = (f"{ours_s:.2f} s", f"{floor_s:.2f} s", ratio)
        yield Row(what, *times, "1.5", ratio <= 1.5)
    cpu_s, floor_s = min(cpu for _, cpu in took), min(each.cpu_s for each in bare)
    ratio = cpu_s / floor_s
    times = (f"{cpu_s:.2f} s", f"{floor_s:.2f} s", ratio)
    yield Row("  processor time of the same", *times, "1.5", ratio <= 1.5)


WHO_PAYS = (
    LIBRARIES
    + """
import dataclasses, time
spent_s = 0.0
plain = dataclasses._process_class
def timed(*given, **more):
    global spent_s
    began_s = time.perf_counter()
    try:
        return plain(*given, **more)
    finally:
        spent_s += time.perf_counter() - began_s
dataclasses._process_class = timed
began_s = time.perf_counter()
import cabinvigil.daemon.commands.run as run
import cabinvigil.daemon.service.app, cabinvigil.daemon.outputs.mqtt.output
run.host_services()
print(time.perf_counter() - began_s, spent_s)
"""
)


def own_import() -> Iterator[Row]:
    """Who pays for the start, beside the libraries: our modules, and making classes."""
    own_s, classes_s = min(
        tuple(map(float, ran(["-c", WHO_PAYS]).out.split())) for _ in range(STARTS)
    )
    yield Row(
        "  of it our own modules, and their dataclasses", f"{own_s:.3f} s",
        f"{classes_s:.3f} s", None, "", is_within=True,
    )  # fmt: skip


def _night(folder: Path, hours: float) -> Path:
    """Make the log of a quiet night at a tick a second."""
    words = ["rehearse", "quiet", "--tick-s", "1", "--hours", str(hours)]
    ran(["-m", "cabinvigil.daemon", *words, "--log", str(folder), "--json"])
    (log,) = folder.glob("night-*")
    return log


def _replayed(log: Path) -> Took:
    return ran(["-m", "cabinvigil.daemon", "replay", str(log), "--json", "--estimates"])


def _bare_read_s(log: Path) -> float:
    began_s = time.process_time()
    with (gzip.open if log.suffix == ".gz" else open)(log, "rb") as file:
        for line in file:
            json.loads(line)
    return time.process_time() - began_s


def _least(log: Path) -> Took:
    """Replay twice: a machine that also does other work only adds to the time."""
    return min((_replayed(log) for _ in range(2)), key=lambda took: took.cpu_s)


def replay() -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        logs = [_night(Path(folder) / str(hours), hours) for hours in (1.0, 2.0)]
        one, two = (_least(log) for log in logs)
        bare_s = min(_bare_read_s(logs[1]) for _ in range(2))
    helped = (ran(["-m", "cabinvigil.daemon", "replay", "--help"]) for _ in range(2))
    start_s = min(each.cpu_s for each in helped)
    one_s, two_s = one.cpu_s - start_s, two.cpu_s - start_s
    speed, floor = 2.0 * 3600.0 / two_s, 2.0 * 3600.0 / bare_s
    yield Row(
        "replay, times real time at 1 Hz", f"{speed:.0f}", f"{floor:.0f}",
        floor / speed, "1000", speed >= 1000.0,
    )  # fmt: skip
    grows = two_s / (2.0 * one_s)
    yield Row(
        "  work for two hours, and for twice one", f"{two_s:.2f} s",
        f"{2.0 * one_s:.2f} s", grows, "1.0 +- 0.25: linear", 0.75 <= grows <= 1.25,
    )  # fmt: skip
    memory = two.peak_kb / one.peak_kb
    yield Row(
        "  peak memory of two hours, and of one", f"{two.peak_kb / 1e3:.1f} MB",
        f"{one.peak_kb / 1e3:.1f} MB", memory, "1.02: constant", memory <= 1.02,
    )  # fmt: skip


def card() -> Iterator[Row]:
    size, syncs, _ = night_of_wear(packed=True)
    plain, _, _ = night_of_wear(packed=False)
    yield Row(
        "card: a 9 h night, ten quantities at 1 Hz", f"{size / MB:.2f} MB",
        f"{plain / MB:.2f} MB plain", size / plain, "5 MB", size <= 5 * MB,
    )  # fmt: skip
    yield Row("card: syncs of the same", str(syncs), "", None, "1500", syncs <= 1500)


def latencies(rounds: int = 100) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        found = asyncio.run(latency.measure(Path(folder), rounds))
    pty, paho, edge, far, edge_flood, far_flood = (each.p99_s for each in found)
    for what, ours_s, floor_s, budget_s in (
        ("frame to buzzer's edge, p99", edge, pty, latency.EDGE_P99_S),
        ("frame to phone beyond two brokers, p99", far, paho, latency.FAR_P99_S),
        ("frame to edge, `ask` flooded (floor: quiet)", edge_flood, edge, 2.0 * edge),
        ("frame to phone, flooded (floor: quiet)", far_flood, far, latency.FAR_P99_S),
    ):
        times = (f"{ours_s * 1e3:.1f} ms", f"{floor_s * 1e3:.1f} ms", ours_s / floor_s)
        budget = f"{budget_s * 1e3:.0f} ms"
        yield Row(what, *times, budget, ours_s <= budget_s)


ALL: Sequence[Callable[[], Iterator[Row]]] = (
    decision,
    running,
    own_import,
    replay,
    card,
    latencies,
)


def main() -> None:
    chosen = [each for each in ALL if each.__name__ in sys.argv[1:]] or [*ALL]
    print(HEAD)
    is_well = True
    for measure in chosen:
        for row in measure():
            is_well = is_well and row.is_within
            print(row.line(), flush=True)
    sys.exit(not is_well)


if __name__ == "__main__":
    main()
