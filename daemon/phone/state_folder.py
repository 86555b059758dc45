"""The state folder: held by one process alone, and whether it can be written."""

import fcntl
import os
import tempfile
from pathlib import Path
from typing import IO

from cabinvigil.daemon.outputs.disk import give_to_owner_of
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode

NAME = "lock"
TRIED_BYTES = 65_536
"""Written to see whether the disk takes anything: more than SQLite's smallest file with
its log (our choice)."""


class PhoneError(CabinvigilError):
    """The phone's end cannot run here."""

    exit_code = ExitCode.MACHINE_FAILED


def lock(folder: Path) -> IO[str]:
    """Hold a state folder for this process alone, until the file is closed.

    Raises:
        PhoneError: another process holds it, or nothing can be written there.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = (folder / NAME).open("w", encoding="ascii")
        give_to_owner_of(folder, file.fileno())
    except OSError as error:
        raise PhoneError(
            f"Nothing can be kept in {folder} ({error.strerror}); name a state_folder "
            f"that this user may write in."
        ) from error
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        file.close()
        raise PhoneError(
            f"Another cabinvigil phone uses {folder}; stop it, or give this one a "
            f"state_folder and a client_id of its own."
        ) from error
    return file


def is_held(folder: Path) -> bool:
    """Return whether a process runs with this folder."""
    try:
        with (folder / NAME).open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False  # there is none, or this user may not look
    return False


def why_not_kept(folder: Path) -> str:
    """Return why this user can keep nothing there; '' where he can.

    A folder that is not there yet is not made: made by another user than the service's
    it would shut that one out.
    """
    try:
        if not folder.exists():
            above = next(one for one in folder.absolute().parents if one.exists())
            if not above.is_dir():
                return f"{above} is not a folder"
            is_ours = os.access(above, os.W_OK | os.X_OK)
            return "" if is_ours else f"{above} is another user's"
        with tempfile.TemporaryFile(dir=folder) as file:
            file.write(bytes(TRIED_BYTES))
            file.flush()
        for path in folder.iterdir():
            is_ours = path.name.startswith(("queue.sqlite3", NAME)) and path.is_file()
            if is_ours and not os.access(path, os.R_OK | os.W_OK):
                return f"{path.name} in it is another user's"
    except OSError as error:
        return error.strerror or type(error).__name__
    return ""
