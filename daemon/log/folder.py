"""The folder of nights: one file from noon to noon, fixed, packed and capped.

Files are ordered by the number in their first line, not by their dates: a Pi without
a battery clock gives dates that are years off until the network sets it.
"""

import errno
import gzip
import os
import re
import zlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import partial
from pathlib import Path
from stat import S_ISREG

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.log.number import first_number
from cabinvigil.daemon.log.unpack import BATCH_MAGIC
from cabinvigil.daemon.outputs.disk import (
    give_to_owner_of,
    new_file,
    sync_folder,
    write_synced,
)

LONGEST_GAP = timedelta(days=400)
"""A clock that is further than this from the last night's date is not believed."""
AGED_OUT_A_NIGHT = 2
"""Files that age alone may delete for each one that begins: one is made a day, so this
keeps up, and neither a clock that lies for a day nor restarts can empty the folder."""
MOST_REOPENED = 64 << 20
"""A file is read whole where it is gone on with; a night takes 5 MB at most (design.md,
section 9), and what holds more is none of ours."""
SLACK = timedelta(minutes=2)
"""A clock may be set back by this much without a new file."""

_NAME = re.compile(r"night-(\d{4}-\d{2}-\d{2})(?:\.(\d+))?\.jsonl(\.gz)?")
_CHUNK = 1 << 16


def night_of(wall: datetime, zone: tzinfo | None) -> date:
    """Return the date of the noon at which this moment's night began, local time."""
    local = wall.astimezone(zone).replace(tzinfo=None)
    return (local - timedelta(hours=12)).date()


@dataclass(frozen=True, slots=True)
class NightFile:
    """One file of the folder."""

    path: Path
    night: date
    number: int
    """Its place in the true order; 0 where its first line cannot be read: its date
    then says where it stands."""
    size: int


Spares = Callable[[Sequence[NightFile], set[date]], set[NightFile]]


def of_dates(files: Sequence[NightFile], nights: set[date]) -> set[NightFile]:
    """Return the files that have these dates themselves."""
    return {each for each in files if each.night in nights}


class OpenNight:
    """The file that is being written."""

    def __init__(self, path: Path, fd: int, size: int, *, packed: bool) -> None:
        self.path = path
        self.size = size
        """Bytes that are known to be whole."""
        self.syncs = 0
        self._fd = fd
        self._packed = packed

    def append(self, lines: bytes) -> None:
        """Write lines and sync them: all of them, or the file is as it was.

        Raises:
            OSError: the disk is full, read-only or gone.
        """
        if os.fstat(self._fd).st_nlink == 0:
            raise FileNotFoundError(errno.ENOENT, f"{self.path} was deleted")
        # Turned read-only under an open file, ext4 takes the bytes and says that they
        # are synced, and drops them (seen in the guest, Linux 6.1).
        if os.fstatvfs(self._fd).f_flag & os.ST_RDONLY:
            raise OSError(errno.EROFS, f"{self.path} is on a read-only disk")
        data = gzip.compress(lines, 6, mtime=0) if self._packed else lines
        try:
            write_synced(self._fd, data)
        except OSError:
            with suppress(OSError):
                os.ftruncate(self._fd, self.size)
            raise
        self.syncs += 1
        self.size += len(data)

    def close(self) -> None:
        """Let the file go."""
        with suppress(OSError):
            os.close(self._fd)


class Nights:
    """Opens, mends, packs and prunes the files of one folder."""

    def __init__(
        self,
        folder: Path,
        *,
        keep_days: float,
        max_bytes: int,
        packed: bool,
        zone: tzinfo | None = None,
    ) -> None:
        """Set the folder's rules; nothing is touched yet.

        Args:
            folder: made when the first line is written.
            keep_days: older nights go, where the clock can be believed.
            max_bytes: the oldest nights go while all files hold more.
            packed: write each batch as a gzip member of its own (about a sixth of
                the wear); else the running night is plain, and gzipped when closed.
            zone: of the noons; None is the machine's own.
        """
        self.folder = folder
        self._keep = timedelta(days=keep_days)
        self._max_bytes = max_bytes
        self._packed = packed
        self._zone = zone
        self._numbers: dict[str, int] = {}
        self._may_age_out = 0
        self._deleted: list[NightFile] = []

    def night_of(self, wall: datetime) -> date:
        """Return the night that a moment belongs to."""
        return night_of(wall, self._zone)

    def files(self) -> list[NightFile]:
        """Return the folder's nights in their true order, the oldest first."""
        found = []
        for path in sorted(self.folder.glob("night-*.jsonl*")):
            match = _NAME.fullmatch(path.name)
            with suppress(OSError, ValueError):
                stat = path.stat()
                if match and S_ISREG(stat.st_mode):
                    night = date.fromisoformat(match[1])
                    number = self._number(path)
                    found.append(NightFile(path, night, number, stat.st_size))
        return _in_order(found)

    def take_deleted(self) -> list[NightFile]:
        """Return what has been deleted for size since the last call."""
        deleted, self._deleted = self._deleted, []
        return deleted

    def open(self, wall: datetime, first_line: Callable[[int], bytes]) -> OpenNight:
        """Open the file of a moment's night: the last one, or a new one.

        Args:
            wall: the moment.
            first_line: gives a new file's first line for the file's number.

        Raises:
            OSError: the folder or the file cannot be had.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        files = self.files()
        night = self.night_of(wall)
        is_same = bool(files) and self._goes_on(files[-1], night, wall)
        if is_same and (opened := self._reopen(files[-1].path)):
            return opened
        number = max((f.number for f in files), default=0) + 1
        path = self._free_name(night)
        fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o640)
        fresh = OpenNight(path, fd, 0, packed=self._packed)
        try:
            give_to_owner_of(self.folder, fd)
            fresh.append(first_line(number))
            sync_folder(self.folder)
        except OSError:
            fresh.close()
            with suppress(OSError):
                path.unlink()
            raise
        self._numbers[path.name] = number
        if all(each.night != night for each in files):
            self._may_age_out = AGED_OUT_A_NIGHT
        return fresh

    def tidy(
        self, running: Path | None, wall: datetime, spares: Spares = of_dates
    ) -> None:
        """Gzip what is closed, then delete what the caps no longer allow.

        One file that cannot be packed or deleted keeps no other from it.

        Raises:
            OSError: why that one could not, when all others are done.
        """
        errors: list[OSError] = []
        for leftover in self.folder.glob("night-*.jsonl.gz.part"):
            errors += _tried(leftover.unlink)  # a cut came while it was packed
        for each in self.files():
            is_closed = each.path != running and each.path.suffix == ".jsonl"
            if is_closed and not each.path.is_symlink():
                errors += _tried(partial(self._pack, each.path))
        errors += self._prune(running, wall, spares)
        if errors:
            raise errors[0]

    def _goes_on(self, last: NightFile, night: date, wall: datetime) -> bool:
        """Return whether the last file is this night's, and the clock went forward."""
        is_packed = last.path.suffix == ".gz"
        if last.night != night or is_packed != self._packed:
            return False
        if last.path.is_symlink():  # whoever laid it there: it leads elsewhere
            return False
        if last.size > MOST_REOPENED:
            return False
        try:
            written = datetime.fromtimestamp(last.path.stat().st_mtime, UTC)
        except (OverflowError, ValueError):
            return False  # a damaged date: whether the clock went forward is not known
        return wall >= written - SLACK

    def _free_name(self, night: date) -> Path:
        ending = ".jsonl.gz" if self._packed else ".jsonl"
        taken = {path.name for path in self.folder.glob(f"night-{night}*")}
        number = 1
        while True:
            part = "" if number == 1 else f".{number}"
            stem = f"night-{night}{part}.jsonl"
            if stem not in taken and f"{stem}.gz" not in taken:
                return self.folder / f"night-{night}{part}{ending}"
            number += 1

    def _reopen(self, path: Path) -> OpenNight | None:
        """Open for appending, without what a power cut tore off.

        Returns:
            None where nothing in it is whole: it has no start, and is left as it is.
        """
        whole = _whole_members(path) if self._packed else _whole_lines(path)
        if not whole:
            return None
        fd = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_NOFOLLOW)
        try:
            if whole < os.fstat(fd).st_size:
                os.ftruncate(fd, whole)
        except OSError:
            os.close(fd)
            raise
        return OpenNight(path, fd, whole, packed=self._packed)

    def _number(self, path: Path) -> int:
        """Read a file's number from its first line, once."""
        if path.name not in self._numbers:
            self._numbers[path.name] = first_number(path)
        return self._numbers[path.name]

    def _pack(self, path: Path) -> None:
        packed, part = Path(f"{path}.gz"), Path(f"{path}.gz.part")
        reading = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
        with os.fdopen(reading, "rb") as source, new_file(part) as sink:
            with gzip.GzipFile("", "wb", 6, sink, mtime=0) as squeeze:
                while chunk := source.read(_CHUNK):
                    squeeze.write(chunk)
            give_to_owner_of(self.folder, sink.fileno())
            sink.flush()
            os.fsync(sink.fileno())
        part.rename(packed)
        sync_folder(self.folder)
        path.unlink()
        self._numbers[packed.name] = self._number(packed)

    def _prune(
        self, running: Path | None, wall: datetime, spares: Spares
    ) -> list[OSError]:
        """Delete the oldest nights that are too many, then the few that are too old.

        The running night stays with all its parts, and so does the last one before it:
        nobody may have read it yet.
        """
        files = self.files()
        total = held_bytes(self.folder)
        in_order = list(dict.fromkeys(each.night for each in files))
        kept = {each.night for each in files if each.path == running}
        kept |= set([night for night in in_order if night not in kept][-1:])
        held = spares(files, kept)
        closed = [each for each in files if each not in held]
        errors = []
        while closed and total > self._max_bytes:
            oldest = closed.pop(0)
            if failed := _tried(oldest.path.unlink):
                errors += failed
                continue
            total -= oldest.size
            self._deleted.append(oldest)
        others = [each for each in files if each.path != running]
        if not closed or not self._is_believed(others, wall):
            return errors
        limit = self.night_of(wall) - self._keep
        old = [each for each in closed if EARLIEST.date() <= each.night < limit]
        for each in old[: self._may_age_out]:
            self._may_age_out -= 1
            errors += _tried(each.path.unlink)
        return errors

    def _is_believed(self, others: list[NightFile], wall: datetime) -> bool:
        """Return whether the clock fits what is known: the build and the last night."""
        last = others[-1].night
        gap = self.night_of(wall) - last
        return wall >= EARLIEST and timedelta(0) <= gap <= LONGEST_GAP


def held_bytes(folder: Path) -> int:
    """Sum up what the log's files hold, and whatever a cut left of them."""
    total = 0
    for path in folder.glob("night-*"):
        with suppress(OSError):
            stat = path.lstat()
            total += stat.st_size if S_ISREG(stat.st_mode) else 0
    return total


def _in_order(found: list[NightFile]) -> list[NightFile]:
    """Put files in their true order; one without a number behind its date's elders."""
    numbered = (each for each in found if each.number)
    files = sorted(numbered, key=lambda f: (f.number, f.night, f.path.name))
    others = (each for each in found if not each.number)
    for other in sorted(others, key=_by_name):
        name = _by_name(other)
        elders = (n for n, f in enumerate(files, 1) if _by_name(f) <= name)
        files.insert(max(elders, default=0), other)
    return files


def _by_name(file: NightFile) -> tuple[date, int]:
    match = _NAME.fullmatch(file.path.name)
    return file.night, int(match[2] or 1) if match else 0


def _tried(act: Callable[[], object]) -> list[OSError]:
    """Do something; return why it could not be done."""
    try:
        act()
    except OSError as error:
        return [error]
    return []


def _whole_lines(path: Path) -> int:
    """Return the size up to and with the last newline."""
    with path.open("rb") as file:
        end = file.seek(0, os.SEEK_END)
        while end > 0:
            begin = max(0, end - _CHUNK)
            file.seek(begin)
            at = file.read(end - begin).rfind(b"\n")
            if at >= 0:
                return begin + at + 1
            end = begin
    return 0


def _whole_members(path: Path) -> int:
    """Return the size up to the end of the last whole gzip member.

    Damage before it costs the batch that it struck, and readers tell it: they go on at
    the next batch.  What was cut off here would be gone for good.
    """
    data = path.read_bytes()
    whole = at = 0
    while at >= 0:
        if end := _member_end(memoryview(data), at):
            whole = at = end
        else:
            at = data.find(BATCH_MAGIC, at + 1)
    return whole


def _member_end(data: memoryview, at: int) -> int:
    """Return where the gzip member that begins there ends; 0 where it does not."""
    member = zlib.decompressobj(31)
    for begin in range(at, len(data), _CHUNK):
        piece = data[begin : begin + _CHUNK]
        try:
            member.decompress(piece)
        except zlib.error:
            return 0
        if member.eof:
            return begin + len(piece) - len(member.unused_data)
    return 0
