"""Keeps the state across restarts: no cut at any instant leaves an unreadable one.

Written to a new file, synced, renamed, and the folder synced; the file before is kept.
What is torn or changed is found by its sum and left aside, and said so.  What the disk
does not give now is neither: it may be whole, and nothing is written over it.
"""

import hashlib
import json
import os
from collections import deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink
from cabinvigil.daemon.outputs.disk import (
    give_to_owner_of,
    sync_folder,
    write_synced,
)
from cabinvigil.daemon.outputs.thread import HUNG_S, OutputThread
from cabinvigil.daemon.settings.accounts import user_name

FORMAT = 1
"""Of the file's first line; what the second line holds has a version of its own."""
LARGEST = 1 << 20
"""Bytes: a hundred alarms take some thirty thousand."""
REST_S = 0.5
"""Between two writes, so that a chattering alarm does not wear the card."""
AGAIN_S = 10.0
"""After a write that the disk refused, or sooner at the end."""
SAME_BOOT_S = 10.0
"""Wall and monotonic clock may differ by so much over the time that was down."""

MakeBody = Callable[[], Mapping[str, Any]]
"""Makes a state fit for JSON."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What was found at the start."""

    body: Any = None
    """What was saved; None: nothing that could be read."""
    down_s: float | None = None
    """How long nothing has been saved; None: cannot be told."""
    notes: tuple[str, ...] = ()
    """A sentence on everything that was not as it should be."""


class UnreadError(Exception):
    """The disk does not give a file that may hold the newest state; says why."""


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

    @property
    def _files(self) -> tuple[Path, ...]:
        """Where a state may be: the one that is being replaced last."""
        return self.path, self._new, self._before

    def save(self, body: Mapping[str, Any], wall: datetime, monotonic_s: float) -> None:
        """Replace the state; when this returns, no power cut takes it away.

        Args:
            body: fit for JSON.
            wall: now.
            monotonic_s: now, of a clock that begins again with each boot only.

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
        sync_folder(self.path.parent)
        self._number += 1

    def load(self, wall: datetime, monotonic_s: float) -> Kept:
        """Read the newest state that is whole, whatever the files hold.

        Raises:
            UnreadError: there is a file that cannot be read now.
        """
        notes: list[str] = []
        found: list[_File] = []
        for path in self._files:
            try:
                found.append(_read(path))
            except FileNotFoundError:
                continue
            except OSError as error:
                why = f"{path.name}: {error.strerror}"
                if isinstance(error, PermissionError):
                    me = user_name(os.geteuid())
                    why += f", run `sudo chown {me}: {path}`"
                raise UnreadError(why) from error
            except _NewerError as error:
                notes.append(self._set_aside(path, error))
                return Kept(None, None, tuple(notes))
            except ValueError as error:
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

    def put_unread_aside(self) -> None:
        """Rename what cannot be read, for a person: what is saved spares it then."""
        for path in self._files:
            try:
                path.read_bytes()
            except FileNotFoundError:
                continue
            except OSError:
                with suppress(OSError):
                    os.replace(path, path.with_name(f"{path.name}.unread"))

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
    """Say for how long the monitor was down; None where no clock can tell.

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
        self._slot: deque[MakeBody] = deque(maxlen=1)
        self._thread = OutputThread(
            self.name,
            self._work,
            self._health,
            "Saving the state had an internal error ({bug}).",
            last=self._save_newest,
            clock=clock,
            hung=f"The disk of the state file {file.path} has not responded for "
            f"{HUNG_S:.0f} s: monitoring continues, but a restart would forget "
            "acknowledgements; check the disk.",
        )
        # Touched by the thread alone.
        self._unsaved: MakeBody | None = None

    def offer(self, make: MakeBody) -> None:
        """Save what `make` gives, soon; never blocks, never raises.

        Args:
            make: called later, from the thread; must hold on to frozen values only.
        """
        if self._inline:
            self._save(make)
            return
        self._slot.append(make)
        self._thread.keep()
        self._thread.wake()

    def note(self, text: str) -> None:
        """Report what was wrong with the state that was found, or what is lost of it.

        It is over with the next save that succeeds: the state is whole again.
        """
        self._health.fault("out-of-range", text, text)

    def start(self) -> None:
        """Start the saving thread."""
        if not self._inline:
            self._thread.start()

    def stop(self, deadline_s: float) -> None:
        """Save what waits, at most for so long."""
        self._thread.stop(deadline_s)

    def _work(self) -> float | None:
        """Save what waits, and rest; return when to look again."""
        is_saved = self._save_newest()
        if is_saved is None:
            return None
        # The newest waits for the card or the disk, not for an event.
        self._thread.rest(REST_S if is_saved else AGAIN_S)
        return 0.0

    def _save_newest(self) -> bool | None:
        """Save what waits; return whether it is saved, None where nothing waited."""
        if self._slot:
            self._unsaved = self._slot.popleft()
        if self._unsaved is None:
            return None
        is_saved = self._save(self._unsaved)
        if is_saved:
            self._unsaved = None
        return is_saved

    def _save(self, make: MakeBody) -> bool:
        try:
            self._file.save(make(), self._clock.wall(), self._clock.monotonic())
        except OSError as error:
            self._health.fault(
                "not-writable",
                f"The state cannot be saved to {self._file.path} ({error.strerror}): "
                "monitoring continues, but a restart would forget acknowledgements; "
                "check the disk.",
            )
            return False
        except Exception as bug:  # what it is made of will not become better
            self._thread.report(bug)
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
        give_to_owner_of(path.parent, fd)
        write_synced(fd, data)
    finally:
        os.close(fd)
