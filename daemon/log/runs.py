"""Reads a night's log into a tape: run by run, in one pass."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby, islice
from operator import le
from pathlib import Path
from typing import Any, NamedTuple

from cabinvigil.daemon.log.format import DELETED
from cabinvigil.daemon.log.moments import zone_of
from cabinvigil.daemon.log.night import STEP_S, NightSeries
from cabinvigil.daemon.log.picked import Pick, picked
from cabinvigil.daemon.log.reader import Flaws, Logbook
from cabinvigil.daemon.log.room import Room
from cabinvigil.daemon.log.run import Run, UpEvent, share_clocks, step_of
from cabinvigil.daemon.log.timeline import joined
from cabinvigil.daemon.log.trials import only_trial, without_trials

LONGEST_RUN_S = 48 * 3600.0
"""A night's file holds a day; a moment further on is damage."""
BACK_S = 60.0
"""Time does not go back within a run; so far back is another run, or damage."""
BELIEVED_ROWS = 3
"""So many lines in a row that agree make a run whose start is lost."""
KEPT = {"alarm", "fault", "act", "mark", "bump-test", "trial", "stop", DELETED}
OF_THE_AIR = {"air", "estimate", "alarm"}
"""What gas or breath that is held to the parts makes untrue of the cabin."""


class TapeReader:
    """Takes rows in the order of the log."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.runs: list[Run] = []
        self.strayed = 0
        """Lines at a moment that cannot be."""
        self.room = Room()
        self._pending: list[Mapping[str, Any]] = []
        self._step = 0
        self._strays: list[dict[str, Any]] = []

    def add_rows(self, rows: Sequence[dict[str, Any]]) -> None:
        """Take rows that have an `event` and an `up_s`."""
        if self._is_plain(rows):
            run = self.runs[-1]
            for step, together in groupby(rows, key=_row_step):
                if step != self._step or not self._pending:
                    self._flush()
                    self._step = step
                    self._pending = list(together)
                    run.see_clock(self._pending[0])
                else:
                    self._pending += together
            for row in rows if run.trials else ():
                run.see_in_trial(row)
            run.end_s = rows[-1]["up_s"]
            return
        for row in rows:
            self._take_one(row)

    def _is_plain(self, rows: Sequence[dict[str, Any]]) -> bool:
        """Say whether all are air, in order, of the run that goes on: nearly always."""
        if not self.runs or not rows or self._strays:
            return False
        if self.runs[-1].bump_until_s >= rows[0]["up_s"]:
            return False
        if {row["event"] for row in rows} != {"air"}:
            return False
        moments = [row["up_s"] for row in rows]
        in_order = all(map(le, moments, islice(moments, 1, None)))
        end_s = self.runs[-1].end_s
        return in_order and end_s <= moments[0] and moments[-1] - end_s <= LONGEST_RUN_S

    def _take_one(self, row: dict[str, Any]) -> None:
        up_s = row["up_s"]
        run = self.runs[-1] if self.runs else None
        if row["event"] == "start":
            self._start(row)
            return
        if run is None:
            run = self._begin(row, {})
        elif not -BACK_S <= up_s - run.end_s <= LONGEST_RUN_S:
            self._stray(row)
            return
        if self._strays:
            self._give_up_strays()
        self._row(run, row, up_s)

    def close(self) -> None:
        """Take what is still open."""
        self._flush()
        self._give_up_strays()
        share_clocks(self.runs)

    def _row(self, run: Run, row: dict[str, Any], up_s: float) -> None:
        run.end_s = max(run.end_s, up_s)
        if row["event"] == "bump-test":
            run.see_bump_test(row)
        if row["event"] == "trial":
            run.see_trial(row)
        elif run.trials:
            run.see_in_trial(row)
        if up_s <= run.bump_until_s and row["event"] in OF_THE_AIR:
            run.heard.add(step_of(up_s))
        elif row["event"] == "air":
            step = step_of(up_s)
            if step != self._step or not self._pending:
                self._flush()
                self._step = step
                run.see_clock(row)
            self._pending.append(row)
        elif row["event"] == "estimate":
            run.keep(run.estimates, UpEvent(up_s, "estimate", row))
        elif row["event"] in KEPT:
            run.see_clock(row)
            run.keep(run.events, UpEvent(up_s, row["event"], row))

    def _flush(self) -> None:
        if self._pending:
            self.runs[-1].add_step(self._step, self._pending)
            self._pending = []

    def _start(self, row: dict[str, Any]) -> None:
        goes_on = row.get("continues") is True and bool(self.runs)
        if goes_on and -BACK_S <= row["up_s"] - self.runs[-1].end_s <= LONGEST_RUN_S:
            self.runs[-1].see_in_trial(row)
            return
        self._begin(row, row)

    def _begin(self, row: dict[str, Any], head: Mapping[str, Any]) -> Run:
        self._flush()
        self._give_up_strays()
        if self.runs and not self.room.has_run():
            return self.runs[-1]
        run = Run(
            row["up_s"],
            row["up_s"],
            self._slim(head),
            goes_on=self._is_reload(row),
            room=self.room,
        )
        run.see_bump_test(head)
        run.see_trial(head)
        run.see_clock(row)
        self.runs.append(run)
        return run

    def _is_reload(self, row: Mapping[str, Any]) -> bool:
        """Return whether a start is one of the same process."""
        if row.get("reload") is not True or not self.runs:
            return False
        since_s: float = row["up_s"] - self.runs[-1].end_s
        return -BACK_S <= since_s <= LONGEST_RUN_S

    def _slim(self, head: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return a start record that takes little room: a night may have thousands.

        The same config stands once, and of the alarms that were kept only that.
        """
        if not head:
            return head
        slim = dict(head)
        if slim.get("kept") is not None:
            slim["kept"] = {}
        before = next((run.head for run in reversed(self.runs) if run.head), {})
        config = slim.get("config")
        if config is not None and config == before.get("config"):
            slim["config"] = before["config"]
            rest = {key: value for key, value in slim.items() if key != "config"}
            return slim if self.room.has_line(rest) else {}
        return slim if self.room.has_line(slim) else {}

    def _stray(self, row: dict[str, Any]) -> None:
        """Hold a row that does not fit its run, until others tell what it is."""
        last = self._strays[-1]["up_s"] if self._strays else row["up_s"]
        if not 0.0 <= row["up_s"] - last <= BACK_S:
            self._give_up_strays()
        self._strays.append(row)
        if len(self._strays) >= BELIEVED_ROWS:
            rows, self._strays = self._strays, []
            self._begin(rows[0], {})
            self.add_rows(rows)

    def _give_up_strays(self) -> None:
        self.strayed += len(self._strays)
        self._strays = []


def _row_step(row: Mapping[str, Any]) -> int:
    return int(row["up_s"] // STEP_S)


class ReadNight(NamedTuple):
    """All that the files of one night hold, trials and all."""

    runs: Sequence[Run]
    flaws: Flaws
    night: date | None
    """The evening's date; None: not known, or not asked."""

    @property
    def is_empty(self) -> bool:
        """Whether they hold no line of a night."""
        return not any(run.is_told for run in self.runs)

    def whole(self) -> NightSeries:
        """Return all that was measured, in trials too."""
        return replace(joined(self.runs, self.flaws), night=self.night)

    def tape(self, trial: int | None = None) -> NightSeries:
        """Return the night without what was measured in its trials, or one of them.

        Args:
            trial: its number, from 1, as if it were all.
        """
        if trial is None:
            runs = without_trials(self.runs)
        else:
            runs = only_trial(self.runs, trial)
        return replace(joined(runs, self.flaws), night=self.night)


def read_tape(
    paths: Iterable[Path], pick: Pick | None = None, trial: int | None = None
) -> NightSeries:
    """Read the files of one night, in their order: all, or one trial of it.

    Args:
        paths: as `read_night`.
        pick: as `read_night`.
        trial: as `ReadNight.tape`.

    Raises:
        OSError: a file cannot be opened or read.
    """
    return read_night(paths, pick).tape(trial)


def read_night(paths: Iterable[Path], pick: Pick | None = None) -> ReadNight:
    """Read the files of one night, in their order.

    Args:
        paths: the files; with `pick`, those too that may hold some of that night.
        pick: which night of them; None is all that they hold.

    Raises:
        OSError: a file cannot be opened or read.
    """
    logbook = Logbook(*paths)
    reader = TapeReader()
    for rows in logbook.batches():
        reader.add_rows(rows)
    reader.close()
    if reader.room.refused:
        logbook.flaws.unreadable += reader.room.refused
        logbook.flaws.note(
            f"{reader.room.refused} lines or values are more than a night can have, "
            "and were left out."
        )
    if reader.strayed:
        logbook.flaws.unreadable += reader.strayed
        logbook.flaws.note(f"{reader.strayed} lines have an impossible time.")
    runs: Sequence[Run] = reader.runs
    night = None
    if pick is not None:
        head = next((run.head for run in reversed(runs) if run.head), {})
        night, runs = picked(runs, pick, zone_of(head) or pick.zone)
    return ReadNight(runs, logbook.flaws, night)


__all__ = ["STEP_S", "ReadNight", "TapeReader", "read_night", "read_tape"]
