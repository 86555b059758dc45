"""Holds what a struck watch left on the disk against what it had said."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cabinvigil.daemon.log.reader import Logbook
from tests.stricken.life import key_of


@dataclass
class Said:
    """One run's diary."""

    lines: list[dict[str, Any]]

    @classmethod
    def read(cls, path: Path) -> "Said":
        return cls([json.loads(line) for line in path.read_bytes().splitlines()])

    def each(self, what: str, key: str, before: str = "") -> list[Any]:
        """All facts of one kind, in order; with `before`, up to that word."""
        found = []
        for line in self.lines:
            if before and line["what"] == before:
                break
            if line["what"] == what:
                found.append(line[key])
        return found


@dataclass
class Logged:
    """One run in the log."""

    alarms: list[str] = field(default_factory=list)
    air_s: list[float] = field(default_factory=list)


def read_log(folder: Path, newest: int = 10**6) -> tuple[dict[int, Logged], list[str]]:
    """Read all nights with the reader that the review uses, in the order of names.

    Returns:
        By run, what is there; and what the reader had to leave out, torn ends aside.
    """
    runs: dict[int, Logged] = {}
    told: list[str] = []
    for path in sorted((folder / "log").glob("night-*"))[-newest:]:
        book, run = Logbook(path), -1
        for line in book:
            if line.event == "start":
                run = line.fields["run"]
            found = runs.setdefault(run, Logged())
            if line.event == "alarm":
                found.alarms.append(key_of(line.fields, line.up_s))
            elif line.event == "air":
                found.air_s.append(line.up_s)
        if not book.flaws.is_clean:
            told += [f"{path.name}: {text}" for text in book.flaws.told]
    return runs, told


@dataclass
class Account:
    """What all blows together did."""

    blows: int = 0
    decided: int = 0
    synced: int = 0
    in_flight: int = 0
    """Alarm events decided whose sync had not returned, and that are not in the log."""
    in_flight_s: float = 0.0
    """The longest between such a decision and the blow, in real time."""
    most_air_lost_s: float = 0.0
    """In virtual time, a tick a second; of runs whose batches follow that time."""
    saved: int = 0
    early: int = 0
    """Blows that fell before the watch had woken."""
    """The highest number that a save has promised."""
    wrongs: list[str] = field(default_factory=list)
    _saving: dict[int, list[Mapping[str, str]]] = field(
        default_factory=lambda: {0: [{}]}
    )
    _synced: dict[int, list[str]] = field(default_factory=dict)

    def take(self, run: int, said: Said, logged: Logged, blow_s: float) -> None:
        """Add one run whose log has been read.

        Args:
            run: its number.
            said: its diary.
            logged: what its log holds.
            blow_s: when it was struck, in real time.
        """
        decided = said.each("decided", "key")
        # What a sync that ran into the cut has returned is no promise of a disk's.
        synced = said.each("synced", "key", before="struck")
        self._synced[run] = synced
        self.blows += 1
        self.early += not said.each("woke", "number")
        self.decided += len(decided)
        self.synced += len(synced)
        self.wrongs += [f"run {run}: {text}" for text in said.each("bug", "text")]
        self._prefix(run, "alarm events in the log", logged.alarms, decided)
        self._prefix(run, "synced alarm events", synced, logged.alarms)
        self._air(run, said, logged)
        at_s = said.each("decided", "at_s")[len(logged.alarms) :]
        self.in_flight += sum(moment < blow_s for moment in at_s)
        self.in_flight_s = max(
            [self.in_flight_s, *(blow_s - moment for moment in at_s)]
        )

    def settle(self, folder: Path) -> None:
        """Read all once more: what was promised must outlive later runs as well."""
        runs, flaws = read_log(folder)
        self.wrongs += flaws[:-1]  # the last file may be torn: nobody has mended it
        for run, synced in self._synced.items():
            if runs.get(run, Logged()).alarms[: len(synced)] != synced:
                self.wrongs.append(f"run {run}: later runs took what it had synced")

    def _prefix(
        self, run: int, what: str, short: Sequence[Any], long: Sequence[Any]
    ) -> None:
        """The one is the beginning of the other: nothing invented, nothing left out."""
        if list(long[: len(short)]) == list(short):
            return
        at = next(
            (n for n, (a, b) in enumerate(zip(short, long, strict=False)) if a != b),
            min(len(short), len(long)),
        )
        self.wrongs.append(
            f"run {run}: {what}: {len(short)} against {len(long)}, unlike at {at}: "
            f"{short[at : at + 1]} and {long[at : at + 1]}"
        )

    def _air(self, run: int, said: Said, logged: Logged) -> None:
        all_air = said.each("air", "up_s")
        self._prefix(run, "readings", logged.air_s, all_air)
        before = said.each("air", "up_s", before="struck")
        last_s = logged.air_s[-1] if logged.air_s else 0.0
        if before and not said.each("threaded", "at_s"):
            self.most_air_lost_s = max(self.most_air_lost_s, before[-1] - last_s)

    def wake(self, run: int, said: Said) -> None:
        """Hold the state that a run found against all that was saved before it."""
        if said.each("woke", "number"):
            number = said.each("woke", "number")[0]
            found, notes = said.each("woke", "alarms")[0], said.each("woke", "notes")[0]
            if notes:
                self.wrongs.append(f"run {run}: the state was not read well: {notes}")
            if number < self.saved:
                self.wrongs.append(f"run {run}: state {number}, promised {self.saved}")
            if found not in self._saving.get(number, []):
                self.wrongs.append(f"run {run}: state {number} never was so: {found}")
        numbers, states = said.each("saving", "number"), said.each("saving", "alarms")
        for each, alarms in zip(numbers, states, strict=True):
            self._saving.setdefault(each, []).append(alarms)
        promised = said.each("saved", "number", before="struck")
        self.saved = max([self.saved, *promised])

    def line(self) -> str:
        return (
            f"{self.blows} blows ({self.early} before waking): {self.decided} alarm "
            f"events decided, {self.synced} synced, all there; {self.in_flight} in "
            f"flight (at most {self.in_flight_s * 1e3:.0f} ms before the blow); "
            f"{self.saved} states saved; at most {self.most_air_lost_s:.0f} s of "
            f"readings lost; {len(self.wrongs)} wrong"
        )
