"""A named night, played once for all tests that look at it."""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from cabinvigil.daemon.core.model import Command
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.moments import TRAILERS_ZONE
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.rehearsal.cabin import Truth
from cabinvigil.daemon.rehearsal.fitted import staged
from cabinvigil.daemon.rehearsal.narrator import LineWriter
from cabinvigil.daemon.rehearsal.nights import NIGHTS
from cabinvigil.daemon.rehearsal.play import emulated_night, play
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.replay.json_lines import spell
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer

HOURS = {
    "quiet": 4.0,
    "shut": 1.6,
    "icing": 7.0,
    "sooty": 6.0,
    "leak": 3.8,
    "failing": 7.7,
    "flat": 6.5,
    "crowded": 3.0,
    "alarm": 2.7,
}
"""Until the night's story is told; `cabinvigil rehearse` plays all nine hours."""


@dataclass
class Played:
    """What a night gave."""

    name: str
    log: Path
    truths: list[Truth] = field(default_factory=list)
    lines: list[dict[str, Any]] = field(default_factory=list)
    """Transitions and estimates, spelled as `rehearse --json` does."""
    commands: list[tuple[float, Command]] = field(default_factory=list)

    @property
    def alarms(self) -> list[dict[str, Any]]:
        """The transitions alone."""
        return [line for line in self.lines if line["event"] == "alarm"]

    def rings(self, start: str = "") -> list[dict[str, Any]]:
        """The moments at which an alarm whose name starts so left `normal`."""
        return [
            line
            for line in self.alarms
            if line["was"] == "normal" and line["alarm"].startswith(start)
        ]

    def crossing_s(self, o2_pct: float) -> float | None:
        """When the true oxygen first was at or below a level."""
        return next((t.time_s for t in self.truths if t.o2_pct <= o2_pct), None)


def play_night(
    name: str, folder: Path, *, tick_s: float = 10.0, hours: float | None = None
) -> Played:
    """Play a night in virtual time, with its rolling log kept in the folder."""
    settings = staged(name, example())
    settings = replace(settings, watch=changed(settings.watch, tick_s=tick_s))
    played = Played(name, folder)

    def write(command: Command, time_s: float) -> None:
        played.commands.append((time_s, command))
        line = spell(command, time_s, estimates=True)
        if line is not None:
            played.lines.append(line)

    def outputs(clock: Any, report: Any) -> list[Any]:
        nights = Nights(
            folder, keep_days=3650, max_bytes=1 << 40, packed=False, zone=TRAILERS_ZONE
        )
        return [LineWriter(write), Recorder(nights, clock, report, inline=True)]

    rehearsal = emulated_night(settings, renderer("en"), NIGHTS[name], hours, seed=1)
    run_virtual(play(rehearsal, outputs, played.truths.append))
    (played.log,) = folder.glob("*.jsonl*")
    return played
