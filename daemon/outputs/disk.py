"""What is on the disk when it returns: bytes of a file, and the names of a folder."""

import os
from pathlib import Path
from typing import IO

from cabinvigil.daemon.settings.accounts import (
    remedy_where_closed,
    running,
    user_name,
)


def write_synced(fd: int, data: bytes) -> None:
    """Write all of it, and sync: no power cut takes it away after that.

    Raises:
        OSError: the disk did not take it; some of it may be written.
    """
    view = memoryview(data)
    while view:
        view = view[os.write(fd, view) :]
    os.fsync(fd)


def new_file(path: Path) -> IO[bytes]:
    """Open a file that is not there yet, nor a link, for its owner and group alone.

    Raises:
        OSError: it is there, or cannot be made.
    """
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o640), "wb")


def give_to_owner_of(folder: Path, fd: int) -> None:
    """Let a file that root makes belong to whose folder it is in.

    Who types `sudo` where `sudo -u` was meant would else leave the service a file that
    it may not read.

    Raises:
        OSError: the folder cannot be looked at, or the disk knows no owners.
    """
    if os.geteuid() == 0:
        status = folder.stat()
        if status.st_uid != 0:
            os.fchown(fd, status.st_uid, status.st_gid)


def closed_to_us(folder: Path) -> str:
    """Return who may not look into a folder, and what helps; '' where it is open."""
    if not folder.is_dir() or os.access(folder, os.R_OK | os.X_OK, effective_ids=True):
        return ""
    who = running().name
    return f"may not be read by the user {who}; {remedy_where_closed(folder)}"


def make_ours(folder: Path) -> str:
    """Return the command that lets whoever runs this write in a folder."""
    return f"`sudo chown -R {user_name(os.geteuid())}: {folder}`"


def sync_folder(folder: Path) -> None:
    """Sync the names in a folder: a new file, or a renamed one, is else lost to a cut.

    Raises:
        OSError: the folder cannot be opened or synced.
    """
    fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
