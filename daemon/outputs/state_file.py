"""Keeps the state across restarts: no cut at any instant leaves an unreadable one.

Written to a new file, synced, renamed, and the folder synced; the file before is kept.
What is torn or changed is found by its sum and left aside, and said so.
"""

import hashlib
import json
import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from threading import Condition, Thread
from typing import Any

from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink

FORMAT = 1
"""Of the file's first line; what the second line holds has a version of its own."""
LARGEST = 1 << 20
"""Bytes: a hundred alarms take some thirty thousand."""
REST_S = 0.5
"""Between two writes, so that a chattering alarm does not wear the card."""
SAME_BOOT_S = 10.0
"""Wall and monotonic clock may differ by so much over the time that was down."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What was found at the start."""

    body: Any = None
    """What was saved; None: nothing that could be read."""
    down_s: float | None = None
    """How long nothing has been saved; None: cannot be told."""
    notes: tuple[str, ...] = ()
    """A sentence on everything that was not as it should be."""


@dataclass(frozen=True, slots=True)
class _File:
    """One file that was whole."""

    number: int
    body: Any
    wall: datetime | None
    monotonic_s: float


@dataclass(slots=True)
class StateFile:
    """The file, the one before, and the new one while it is being written."""

    path: Path
    _number: int = field(default=0, init=False)

    @property
    def _new(self) -> Path:
        return self.path.with_name(self.path.name + ".new")

    @property
    def _before(self) -> Path:
        return self.path.with_name(self.path.name + ".before")

    def save(self, body: Mapping[str, Any], wall: datetime, monotonic_s: float) -> None:
        """Replace the state; when this returns, no power cut takes it away.

        Args:
            body: fit for JSON.
            wall: now.
            monotonic_s: now, of a clock that begins anew with each boot only.

        Raises:
            OSError: the disk did not take it; the state before still stands.
        """
        text = json.dumps(body, separators=(",", ":"), allow_nan=False).encode()
        head = {
            "format": FORMAT,
            "number": self._number + 1,
            "bytes": len(text),
            "sha256": hashlib.sha256(text).hexdigest(),
            "wall": wall.isoformat(),
            "monotonic_s": monotonic_s,
        }
        self.path.parent.mkdir(parents=True, exist_ok=True)
        _write(self._new, json.dumps(head).encode() + b"\n" + text + b"\n")
        # Both names are whole files at every instant, so a cut between the two
        # renames leaves the state before under its second name.
        with suppress(FileNotFoundError):
            os.replace(self.path, self._before)
        os.replace(self._new, self.path)
        _sync_folder(self.path.parent)
        self._number += 1

    def load(self, wall: datetime, monotonic_s: float) -> Kept:
        """Read the newest state that is whole; never raises, whatever it finds."""
        notes: list[str] = []
        found: list[_File] = []
        for path in (self.path, self._new, self._before):
            try:
                found.append(_read(path))
            except FileNotFoundError:
                continue
            except _NewerError as error:
                notes.append(self._set_aside(path, error))
                return Kept(None, None, tuple(notes))
            except (OSError, ValueError) as error:
                if path != self._new:  # a torn new file is what a cut leaves
                    notes.append(f"The state file {path.name} is not whole ({error}).")
        if not found:
            return Kept(None, None, tuple(notes))
        newest = max(found, key=lambda each: each.number)
        self._number = newest.number
        if notes:
            notes.append("The state saved before it is taken instead.")
        down_s = down_for_s(newest.wall, newest.monotonic_s, wall, monotonic_s)
        return Kept(newest.body, down_s, tuple(notes))

    def _set_aside(self, path: Path, error: "_NewerError") -> str:
        aside = path.with_name(f"{path.name}.format{error.form}")
        with suppress(OSError):
            os.replace(path, aside)
        return (
            f"The state is of a newer version (format {error.form}): it is kept as "
            f"{aside.name} and not used; bring the software up to date."
        )


def down_for_s(
    saved_wall: datetime | None, saved_s: float, wall: datetime, now_s: float
) -> float | None:
    """Say for how long the watch was down; None where no clock can tell.

    Within one boot the monotonic clock tells, and the wall clock agrees with it; after
    a boot only the wall clock can, where both moments are ones it can be right about.
    """
    if saved_wall is None:
        return None
    by_wall_s = (wall - saved_wall).total_seconds()
    by_boot_s = now_s - saved_s
    if by_boot_s >= 0.0 and abs(by_wall_s - by_boot_s) <= SAME_BOOT_S:
        return by_boot_s
    if saved_wall >= EARLIEST and by_wall_s >= 0.0:
        return by_wall_s
    return None


class StateSaver:
    """Saves from a thread of its own: a hung disk holds up no decision.

    One slot: where the disk is slow, the newest state waits and older ones are left
    out.
    """

    name = "state"

    def __init__(
        self, file: StateFile, clock: Clock, report: FaultSink, *, inline: bool = False
    ) -> None:
        """Set it up.

        Args:
            file: where to.
            clock: for the moments in the file.
            report: takes faults.
            inline: no thread; each save is done at once.
        """
        self._file = file
        self._clock = clock
        self._health = FaultLatch(self.name, report)
        self._inline = inline
        self._wake = Condition()
        self._slot: Callable[[], Mapping[str, Any]] | None = None
        self._ends = False
        self._thread: Thread | None = None

    def offer(self, make: Callable[[], Mapping[str, Any]]) -> None:
        """Save what `make` gives, soon; never blocks, never raises.

        Args:
            make: called later, from the thread; must hold on to frozen values only.
        """
        if self._inline:
            self._save(make)
            return
        with self._wake:
            self._slot = make
            self._wake.notify()

    def note(self, text: str) -> None:
        """Tell what was wrong with the state that was found, or what is lost of it.

        It is over with the next save that succeeds: the state is whole again.
        """
        self._health.fault("out-of-range", text, text)

    def start(self) -> None:
        """Start the saving thread."""
        if self._inline or (self._thread and self._thread.is_alive()):
            return
        self._ends = False
        self._thread = Thread(target=self._run, name=self.name, daemon=True)
        self._thread.start()

    def stop(self, deadline_s: float) -> None:
        """Save what waits, at most for so long."""
        with self._wake:
            self._ends = True
            self._wake.notify()
        if self._thread is not None:
            self._thread.join(deadline_s)

    def _run(self) -> None:
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._slot is not None or self._ends)
                make, self._slot = self._slot, None
                ends = self._ends
            if make is not None and not self._save(make):
                with self._wake:  # the newest waits for the disk, not for an event
                    self._slot = self._slot or make
                    self._wake.wait_for(lambda: self._ends, 10.0)
            if ends:
                return
            with self._wake:
                self._wake.wait_for(lambda: self._ends, REST_S)

    def _save(self, make: Callable[[], Mapping[str, Any]]) -> bool:
        try:
            self._file.save(make(), self._clock.wall(), self._clock.monotonic())
        except OSError as error:
            self._health.fault(
                "not-writable",
                f"The state cannot be saved to {self._file.path} ({error.strerror}): "
                f"watching goes on, but a restart would forget acknowledgements; "
                f"look at the disk.",
            )
            return False
        except Exception as error:  # a bug here must not end the keeping
            text = f"{type(error).__name__}: {error}"
            with suppress(Exception):
                self._health.fault("late", f"Saving the state stumbled ({text}).", text)
            return True
        self._health.ok()
        return True


class _NewerError(ValueError):
    """A file of a format that this version does not know."""

    def __init__(self, form: str) -> None:
        super().__init__(form)
        self.form = form


def _read(path: Path) -> _File:
    """Read a file, and hold it against its sum.

    Raises:
        FileNotFoundError: there is none.
        OSError: it cannot be read.
        ValueError: it is not whole, or of a newer format.
    """
    with path.open("rb") as file:
        head_line, _, rest = file.read(LARGEST).partition(b"\n")
    try:
        head = json.loads(head_line)
        form = head["format"]
        if form != FORMAT:
            raise _NewerError("".join(c for c in str(form)[:20] if c.isalnum()))
        text = rest[: head["bytes"]]
        if hashlib.sha256(text).hexdigest() != head["sha256"]:
            raise ValueError("its sum does not fit")
        number, monotonic_s = int(head["number"]), float(head["monotonic_s"])
        return _File(number, json.loads(text), _moment(head.get("wall")), monotonic_s)
    except _NewerError:
        raise
    except (
        ArithmeticError,
        AttributeError,
        KeyError,
        RecursionError,
        TypeError,
        ValueError,
    ) as error:
        raise ValueError(str(error).splitlines()[0][:80] or "torn") from error


def _moment(text: Any) -> datetime | None:
    try:
        moment = datetime.fromisoformat(text)
        return moment.astimezone(UTC) if moment.tzinfo else None
    except (TypeError, ValueError, OverflowError):
        return None


def _write(path: Path, data: bytes) -> None:
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o640)
    try:
        view = memoryview(data)
        while view:
            view = view[os.write(fd, view) :]
        os.fsync(fd)
    finally:
        os.close(fd)


def _sync_folder(folder: Path) -> None:
    fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
