"""The rolling log: batched so that a card lasts, synced at once for what matters.

Readings wait up to `BATCH_S`; an alarm, fault or act takes everything before it to
the card at once.  A disk that is full, read-only or gone is told of and tried again,
and the last hours wait in memory.
"""

import errno
import os
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, date, datetime
from threading import Lock
from typing import Any, NamedTuple

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import Command
from cabinvigil.daemon.core.state import State
from cabinvigil.daemon.log.earlier_part import spared
from cabinvigil.daemon.log.folder import Nights, OpenNight
from cabinvigil.daemon.log.format import DELETED, LOG_FORMAT, STATE
from cabinvigil.daemon.log.lines import Entry, Renderer, entry_of
from cabinvigil.daemon.log.queue import PriorityDropQueue
from cabinvigil.daemon.log.set_aside import SetAside
from cabinvigil.daemon.log.whole_state import CHUNK, to_text
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink, Stamp
from cabinvigil.daemon.outputs.disk import make_ours
from cabinvigil.daemon.outputs.thread import HUNG_S, OutputThread
from cabinvigil.daemon.text.errors import bug_text
from cabinvigil.daemon.text.moments import utc_text

BATCH_S = 25.0
"""Between two syncs on a quiet night: 1 296 in nine hours, within design.md section
9 (1 500 syncs), and within section 8 (at most 30 s of readings lost)."""
BATCH_LINES = 256
"""About 64 kB: a batch is written sooner where this many lines wait."""
INBOX_LINES = 12_000
"""Lines that wait while the disk hangs: about three hours at one a second."""
PENDING_BYTES = 4 << 20
"""Lines that wait while the disk refuses: four to five hours at one a second."""
TIDY_S = 3_600.0
"""Between two looks at the caps."""
STATES_HELD, STATES_EACH = 2 * BATCH_LINES, 64
"""Beyond so many lines that wait, of one in so many alone what was known before it is
held: states share the most, and yet three hours of them took 127 MB (measured)."""
AT_START_ONLY = ("kept", "down_s", "reload")
"""What a start tells of that moment; no file that goes on repeats it."""
STEADY_S = 30.0
"""So long after the last entry that could not be written its fault is over, with the
next batch, so within a minute: our choice, since one that comes with each batch
would else begin and end all night."""

DISK, ENTRY = "", "entry"
"""What of the log may have a fault, each with its own end."""

GOES_ON = "Monitoring continues, and the last hours wait in memory."
"""What a fault of the disk means for a night."""
_REMEDIES = {
    errno.ENOSPC: "the disk is full: make room",
    errno.EROFS: (
        "the disk is read-only, which usually means that the card is "
        "failing: replace it"
    ),
    errno.EACCES: "it belongs to another user: {mend}",
    errno.ENOENT: "the folder is missing: is the disk plugged in?",
    errno.EIO: "the disk is failing: replace it",
}


_Entry = tuple[Entry, Stamp, State | None]


class _Line(NamedTuple):
    night: date
    stamp: Stamp
    data: bytes
    is_start: bool
    is_kept: bool
    """Given up last, when memory for waiting lines runs out."""
    aside: SetAside = SetAside()
    """The bump test and the trial in which it stands."""
    state: State | None = None
    """What was known just before it; None: not known any more."""


class Recorder:
    """An `Output` that writes the rolling log."""

    name = "log"

    def __init__(
        self,
        nights: Nights,
        clock: Clock,
        report: FaultSink,
        *,
        inline: bool = False,
    ) -> None:
        """Set it up; nothing is written before the first command.

        Args:
            nights: the folder.
            clock: asked for monotonic time only, and not at all inline.
            report: takes faults, from this output's thread.
            inline: no thread; batches follow the commands' own stamps.
        """
        self._nights = nights
        self._clock = clock
        self._inline = inline
        self._health = FaultLatch(self.name, report)
        self._renderer = Renderer()
        self._lock = Lock()
        self._inbox: PriorityDropQueue[_Entry] = PriorityDropQueue(INBOX_LINES)
        self._known: State | None = None
        self._handled = 0
        self._thread = OutputThread(
            self.name,
            self._round,
            self._health,
            "The log had an internal error ({bug}) and continues.",
            last=self._finish,
            clock=clock,
            hung=f"The log's disk has not responded for {HUNG_S:.0f} s: monitoring "
            "continues, and the last hours wait in memory; check the disk.",
        )
        # Below here: touched by the thread alone.
        self._pending: PriorityDropQueue[_Line] = PriorityDropQueue(PENDING_BYTES)
        self._start_fields: Mapping[str, Any] = {}
        self._run = ""
        """The moment at which the run began, by the clock as it then was: its name."""
        self._aside = SetAside()
        self._file: OpenNight | None = None
        self._file_night: date | None = None
        self._due_s = float("-inf")
        self._tidied_s = float("-inf")
        self._told_lost = 0
        self._has_left_out = False
        self._left_out_s = float("-inf")
        self._newest = Stamp(0.0, datetime.fromtimestamp(0, UTC))

    def know(self, state: State) -> None:
        """Take what is known before the next command: a new file begins with it."""
        self._known = state

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Take what belongs in the log; never blocks, never raises."""
        entry = entry_of(command)
        if entry is None:
            return
        if self._inline:
            self._take(entry, stamp, self._known)
            self._work(stamp.up_s, now=entry.urgent)
            return
        self._handled += 1
        with self._lock:
            is_held = len(self._inbox) < STATES_HELD or not self._handled % STATES_EACH
            known = self._known if is_held else None
            self._inbox.put((entry, stamp, known), important=entry.urgent)
            is_pressing = self._is_pressing()
        self._thread.keep()
        if is_pressing:
            self._thread.wake()

    def start(self) -> None:
        """Start the writing thread."""
        if not self._inline:
            self._thread.start()

    def stop(self, deadline_s: float) -> None:
        """Write what waits, at most for so long, and close the file."""
        if self._inline:
            self._work(float("inf"), now=True)
            self._close()
            return
        self._thread.stop(deadline_s)

    # --- the thread ----------------------------------------------------------

    def _round(self) -> float:
        """Write what waits, where it is due; return how long it is not."""
        self._catch_up()
        return min(self._due_s - self._clock.monotonic(), BATCH_S)

    def _finish(self) -> None:
        """Write all that waits, and close the file."""
        try:
            self._catch_up(now=True)
        finally:
            self._close()

    def _catch_up(self, *, now: bool = False) -> None:
        with self._lock:
            is_pressing = self._is_pressing()
            taken = self._inbox.take_all()
        now_s = self._clock.monotonic()
        for entry, stamp, known in taken:
            self._take(entry, stamp, known)
        self._work(now_s, now=now or is_pressing)

    def _is_pressing(self) -> bool:
        return self._inbox.holds_important or len(self._inbox) >= BATCH_LINES

    def _take(self, entry: Entry, stamp: Stamp, known: State | None) -> None:
        """Render an entry into the lines that wait; one that cannot be costs itself."""
        try:
            if entry.event == "start":
                entry = self._as_start(entry, stamp)
            if entry.event == "air" and self._aside.has_trial(stamp.up_s):
                entry = entry._replace(fields={**entry.fields, "trial": True})
            data = self._renderer.render(
                entry, stamp, lambda why: self._leave_out(entry, why)
            )
            night = self._nights.night_of(stamp.wall)
        except Exception as error:
            self._leave_out(entry, bug_text(error))
            return
        self._aside = self._aside.after(entry, stamp.up_s)
        is_start = entry.event == "start"
        waiting = len(self._pending)
        if waiting >= STATES_HELD and waiting % STATES_EACH:
            known = None
        line = _Line(night, stamp, data, is_start, entry.urgent, self._aside, known)
        self._pending.put(line, len(data), important=entry.urgent)
        self._newest = stamp

    def _as_start(self, entry: Entry, stamp: Stamp) -> Entry:
        """Add what each start says of the log, and keep it for the next files."""
        is_reload = entry.fields.get("reload") is True and bool(self._run)
        self._run = self._run if is_reload else utc_text(stamp.wall)
        fields = {"run": self._run, **entry.fields, "log_format": LOG_FORMAT}
        self._start_fields = fields
        if is_reload:
            fields = {**fields, **self._aside.fields(stamp.up_s)}
        return entry._replace(fields=fields, urgent=True)

    def _leave_out(self, entry: Entry, why: str) -> None:
        self._has_left_out = True
        text = f"An entry '{entry.event}' cannot be written to the log ({why}): it "
        text += "alone is left out; please report this."
        with suppress(Exception):  # nobody there to be told: the rest is written
            self._health.fault("unwritable", text, concern=ENTRY)

    def _work(self, now_s: float, *, now: bool) -> None:
        """Write the batch where it is due, and tidy the folder now and then."""
        if not now and now_s < self._due_s:
            return
        self._due_s = now_s + BATCH_S
        if not len(self._pending):
            return
        try:
            newest = self._write()
            if self._file is not None and now_s - self._tidied_s >= TIDY_S:
                self._tidied_s = now_s
                try:
                    self._nights.tidy(self._file.path, newest.wall, spared)
                finally:
                    self._tell_deleted(newest)
        except OSError as error:
            self._close()
            self._health.fault("not-writable", self._cannot(error), str(error.errno))
        else:
            self._health.ok(DISK)
            self._look_at_entries(now_s)

    def _tell_deleted(self, newest: Stamp) -> None:
        """Say in the log itself which nights had to go for size."""
        if gone := self._nights.take_deleted():
            nights = sorted({str(each.night) for each in gone})
            fields = {"why": "size", "nights": nights}
            self._take(Entry(DELETED, fields, True), newest, self._known)

    def _look_at_entries(self, now_s: float) -> None:
        if self._has_left_out:
            self._has_left_out, self._left_out_s = False, now_s
        elif now_s - self._left_out_s >= STEADY_S:
            self._health.ok(ENTRY)

    def _write(self) -> Stamp:
        """Write all that waits, night by night; return the newest line's stamp.

        Raises:
            OSError: the disk refused; what it did not take still waits.
        """
        lost = self._lost()
        lines = self._pending.take_all()
        waiting = len(lines)
        if lost > self._told_lost:
            lines.append(self._lost_line(lost - self._told_lost))
        done = 0
        try:
            while done < len(lines):
                night = lines[done].night
                if self._file is None or self._file_night != night:
                    done += self._open(lines[done])
                    continue
                end = next(
                    (n for n in range(done, len(lines)) if lines[n].night != night),
                    len(lines),
                )
                self._file.append(b"".join(line.data for line in lines[done:end]))
                done = end
        finally:
            for line in lines[done:waiting]:
                self._pending.put(line, len(line.data), important=line.is_kept)
        self._told_lost = lost
        return lines[-1].stamp

    def _open(self, line: _Line) -> int:
        """Open the night of a line; return 1 where the line went in as its first."""
        self._close()
        took = 0

        def first_line(number: int) -> bytes:
            nonlocal took
            took = int(line.is_start)
            data = line.data if line.is_start else self._continuation(line)
            rest = b"" if line.is_start else self._state(line)
            return data[:-2] + b',"file_no":%d}\n' % number + rest

        self._file = self._nights.open(line.stamp.wall, first_line)
        self._file_night = line.night
        return took

    def _continuation(self, line: _Line) -> bytes:
        """Say at the top of a new file what runs, though it did not start here."""
        ran = {k: v for k, v in self._start_fields.items() if k not in AT_START_ONLY}
        fields = {"log_format": LOG_FORMAT, **ran, "continues": True}
        fields.update(line.aside.fields(line.stamp.up_s))
        return self._renderer.render(Entry("start", fields, True), line.stamp)

    def _state(self, line: _Line) -> bytes:
        """Return what was known at that moment, so that the file stands alone."""
        if line.state is None:
            return b""
        text = to_text(line.state)
        pieces = [text[at : at + CHUNK] for at in range(0, len(text), CHUNK)]
        lines = [
            Entry(STATE, {"piece": n, "pieces": len(pieces), "known": piece}, True)
            for n, piece in enumerate(pieces, 1)
        ]
        return b"".join(self._renderer.render(one, line.stamp) for one in lines)

    def _lost(self) -> int:
        """Count the lines that had to go since the start."""
        return sum(
            queue.dropped_routine + queue.dropped_important
            for queue in (self._pending, self._inbox)
        )

    def _lost_line(self, count: int) -> _Line:
        """Say in the log itself how many lines it lacks."""
        text = f"{count} lines were lost while the log's disk failed."
        fields = {"source": self.name, "kind": "queue-full", "text": text}
        data = self._renderer.render(Entry("fault", fields, True), self._newest)
        night = self._nights.night_of(self._newest.wall)
        return _Line(night, self._newest, data, is_start=False, is_kept=True)

    def _cannot(self, error: OSError) -> str:
        remedy = _REMEDIES.get(error.errno or 0, os.strerror(error.errno or errno.EIO))
        remedy = remedy.format(mend=make_ours(self._nights.folder))
        return (
            f"The log cannot be written to {self._nights.folder}; {remedy}. {GOES_ON}"
        )

    def _close(self) -> None:
        if self._file is not None:
            self._file.close()
        self._file = self._file_night = None
