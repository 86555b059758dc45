"""A night as the watch steps through it, and its log cut into files at any moments."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    Event,
    Record,
    SourceFault,
    SourceOk,
)
from cabinvigil.daemon.core.snapshot import restore, resume
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.service.status import start_fields
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings, example
from tests.outputs.hands import HandClock, Told

EVENING = datetime(2026, 12, 16, 21, 0, tzinfo=UTC)
Steps = list[tuple[float, Event]]


@cache
def lapwing() -> Settings:
    """The packaged example."""
    return example()


class CutNights(Nights):
    """Turns its file at given moments, as noon and a clock's step do."""

    def __init__(self, folder: Path, cuts: Sequence[datetime]) -> None:
        super().__init__(folder, keep_days=1e4, max_bytes=10**9, packed=True, zone=UTC)
        self._cuts = sorted(cuts)

    def night_of(self, wall: datetime) -> date:
        turned = sum(1 for cut in self._cuts if wall >= cut)
        return date(2026, 12, 16) + timedelta(days=turned)


def any_night(random: Random, hours: float = 1.5, tick_s: float = 10.0) -> Steps:
    """Air that crosses limits and comes back, faults, acts, tests: all that happens."""
    level = {
        "o2_pct": 20.7,
        "co_ppm": 1.0,
        "co2_ppm": 900.0,
        "temp_c": 15.0,
        "rh_pct": 60.0,
        "pressure_hpa": 990.0,
        "temp_c_glass": 6.0,
        "supply_v": 12.7,
    }
    noise = {
        "o2_pct": 0.01, "co_ppm": 0.3, "co2_ppm": 6.0, "temp_c": 0.02,
        "rh_pct": 0.1, "pressure_hpa": 0.05, "temp_c_glass": 0.05, "supply_v": 0.004,
    }  # fmt: skip
    slope = dict.fromkeys(level, 0.0)
    steps: Steps = []
    at_s = 1.0
    while at_s < hours * 3600.0:
        if random.random() < 0.02:
            slope["o2_pct"] = random.choice((-6e-4, -2e-4, 0.0, 8e-4))
            slope["co_ppm"] = random.choice((-0.2, 0.0, 0.02, 0.15))
            slope["co2_ppm"] = random.choice((-8.0, -1.0, 1.0, 4.0))
            slope["supply_v"] = random.choice((-4e-4, 0.0, 2e-4))
        for key, per_s in slope.items():
            level[key] += per_s * tick_s
        level["o2_pct"] = min(max(level["o2_pct"], 16.0), 20.8)
        level["co_ppm"] = min(max(level["co_ppm"], 0.0), 400.0)
        level["co2_ppm"] = min(max(level["co2_ppm"], 450.0), 30_000.0)
        level["supply_v"] = min(max(level["supply_v"], 10.5), 13.0)
        values = {
            key: round(one + random.gauss(0.0, noise[key]), 3)
            for key, one in level.items()
            if random.random() > 0.05
        }
        doubtful = frozenset({"o2_pct"} if random.random() < 0.01 else ())
        steps.append((round(at_s, 3), Air(values, frozenset(), doubtful)))
        if random.random() < 0.02:
            steps.append((round(at_s + 0.5 * tick_s, 3), _happening(random)))
        at_s += tick_s
    return steps


def _happening(random: Random) -> Event:
    name = random.choice(("bunk-o2", "bunk-co", "mqtt", "bunk-co2"))
    return random.choice(
        (
            Act(ActKind.ACKNOWLEDGE),
            Act(ActKind.ACKNOWLEDGE, by="phone", age_s=3.0),
            Act(ActKind.MARK, by="phone", text="vent open"),
            Act(ActKind.SHELVE, "cold", for_s=600.0),
            Act(ActKind.TEST),
            Act(ActKind.BUMP_TEST, by="socket"),
            Act(ActKind.BUMP_END, by="socket"),
            SourceFault(name, "absent", f"{name} is silent."),
            SourceOk(name),
        )
    )


@dataclass(frozen=True)
class Said:
    """What a file's own lines, or a replay of it, say rang."""

    at_s: float
    alarm: str
    was: str
    state: str
    priority: str


def played(
    folder: Path,
    steps: Steps,
    cuts: Sequence[float] = (),
    settings: Settings | None = None,
    start: datetime = EVENING,
    kept: dict[str, Any] | None = None,
    at_end: Callable[[Watcher], None] = lambda _watcher: None,
) -> list[Path]:
    """Let the watch step through a night and write it; return its files in order.

    Args:
        folder: of the log.
        steps: the night.
        cuts: `up_s` at which the file turns.
        settings: what runs; None: the packaged example.
        start: the clock at `up_s` 0.
        kept: what the run before left.
        at_end: takes the watcher.
    """
    settings = settings or lapwing()
    clock = HandClock(start)
    nights = CutNights(folder, [start + timedelta(seconds=cut) for cut in cuts])
    recorder = Recorder(nights, clock, Told(), inline=True)
    watcher = Watcher(compose_settings(settings, wall=clock.wall()), clock, [recorder])
    fields = start_fields(settings, watcher.composed.today)
    if kept is not None:
        state, _ = restore(watcher.composed.setup, kept, 0.0, down_s=60.0)
        watcher.adopt(watcher.composed, state)
        fields |= {"kept": kept, "down_s": 60.0}
    watcher.hand_out([Record("start", fields, urgent=True)], 0.0)
    watcher.hand_out(resume(watcher.state, 0.0) if kept else [], 0.0)
    for at_s, event in steps:
        clock.now_s = at_s
        watcher.step(event)
    watcher.hand_out([Record("stop", {"reason": "stopped on request"})], watcher.up_s())
    recorder.stop(1.0)
    at_end(watcher)
    return [one.path for one in nights.files()]


def in_file(path: Path) -> list[Said]:
    """What the file's own alarm lines say."""
    return [
        said(line.up_s, line.fields) for line in Logbook(path) if line.event == "alarm"
    ]


def said(at_s: float, fields: dict[str, Any]) -> Said:
    """One alarm's move, from a line of a log or of a replay."""
    words = (fields[key] for key in ("alarm", "was", "state", "priority"))
    return Said(at_s, *words)


def in_replay(text: str) -> list[Said]:
    """What `replay --json` printed."""
    rows = [json.loads(line) for line in text.splitlines()]
    return [said(row["time_s"], row) for row in rows if row["event"] == "alarm"]
