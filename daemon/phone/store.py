"""What is to be told, kept in SQLite: nothing is lost, and nothing is told twice.

A message goes out at once, is on the disk before the broker is told that we have it,
and is crossed out after its address has taken it.  That a push has begun is noted too:
what a kill finds begun and not crossed out may have been heard, and is sent again as
perhaps told already, since a call that is heard twice is better than one that is not.

On a full disk, or one that fails, the queue is held in memory until there is room.
"""

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.outputs.disk import give_to_owner_of
from cabinvigil.daemon.phone.database import (
    Transaction,
    is_broken,
    is_without_room,
)
from cabinvigil.daemon.phone.rings import PhoneMessage
from cabinvigil.daemon.phone.silence import KeptSilence
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode

KEPT_S = 2 * 86_400.0
"""How long a message that was told is remembered, so that it is known when the broker
sends it again; the longest is worth telling for a day."""
MOST_WAITING = 5_000
"""Deliveries that wait; beyond, the least urgent and oldest go (our choice: a hundred
nights of one cabin)."""
_SCHEMA = """
CREATE TABLE IF NOT EXISTS message (
    id TEXT PRIMARY KEY, cabin TEXT NOT NULL, title TEXT NOT NULL, text TEXT NOT NULL,
    urgency INTEGER NOT NULL, made_at REAL NOT NULL, expires_s REAL NOT NULL
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS delivery (
    message TEXT NOT NULL, recipient TEXT NOT NULL, tries INTEGER NOT NULL DEFAULT 0,
    begun INTEGER NOT NULL DEFAULT 0, PRIMARY KEY (message, recipient)
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS cabin (
    name TEXT PRIMARY KEY, kind TEXT NOT NULL, alive_at REAL NOT NULL,
    period_s REAL NOT NULL, run TEXT NOT NULL, seq INTEGER NOT NULL,
    told_at REAL NOT NULL DEFAULT 0, begun_at REAL NOT NULL DEFAULT 0
) WITHOUT ROWID;
"""
_TO_NEXT = {
    1: "ALTER TABLE delivery ADD COLUMN begun INTEGER NOT NULL DEFAULT 0;",
    2: (
        "ALTER TABLE cabin ADD COLUMN told_at REAL NOT NULL DEFAULT 0;"
        "ALTER TABLE cabin ADD COLUMN begun_at REAL NOT NULL DEFAULT 0;"
    ),
}
"""What makes the layout after it of each that there was."""
_LAYOUT = 3
"""Of the tables; a file with another number is put aside, but for those before."""


class StoreError(CabinvigilError):
    """The queue's file cannot be used."""

    exit_code = ExitCode.MACHINE_FAILED


@dataclass(frozen=True, slots=True)
class Waiting:
    """One message that one address has not taken yet."""

    ring: PhoneMessage
    recipient: str
    tries: int
    left_s: float
    """So long it is still worth telling."""


class Store:
    """The file; used from one thread."""

    def __init__(self, folder: Path) -> None:
        """Name the folder; nothing is opened before `open`."""
        self.path = folder / "queue.sqlite3"
        self.note = ""
        """What had to be done to open it, in a sentence; '' for nothing."""
        self.no_room = ""
        """Why it is held in memory; '' where it stands in its file."""
        self._db: sqlite3.Connection | None = None

    def open(self) -> None:
        """Open the file, or make it; one that is broken is put aside.

        Raises:
            StoreError: nothing can be written there.
        """
        try:
            self._open()
        except sqlite3.DatabaseError as error:
            self.close()
            if is_without_room(error):
                self._hold_in_memory(error)
                return
            if not is_broken(error):
                raise self._refused(error) from error
            aside = self.path.with_suffix(".broken")
            try:
                self._put_aside(aside)
                self._open()
            except (OSError, sqlite3.Error) as again:
                raise self._refused(again) from again
            self.note = (
                f"The queue {self.path} was broken ({error}); it is kept as "
                f"{aside.name}, and what waited in it is lost."
            )
        except OSError as error:
            raise self._refused(error) from error

    def _hold_in_memory(self, error: sqlite3.Error) -> None:
        """Go on without the file, but with what can be read of it."""
        self.no_room = str(error)
        db = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        with suppress(sqlite3.Error), closing(self._readable()) as file:
            file.backup(db)
        self._db = db
        self._set_up(db)

    def _readable(self) -> sqlite3.Connection:
        uri = f"{self.path.absolute().as_uri()}?mode=rw"
        file = sqlite3.connect(uri, uri=True, timeout=2.0)
        # So its index of the WAL needs no file of its own, for which there is no room.
        file.execute("PRAGMA locking_mode=EXCLUSIVE")
        return file

    def return_to_file(self) -> bool:
        """Put what is held in memory into the file; return whether it is there.

        Raises:
            sqlite3.Error: there is no room yet.
        """
        if not self.no_room:
            return True
        with closing(sqlite3.connect(self.path, timeout=2.0)) as file:
            self._file.backup(file)
        held, self._db = self._db, None
        try:
            self._open()
        except sqlite3.Error:
            self.close()
            self._db = held
            raise
        if held is not None:
            held.close()
        self.no_room = ""
        return True

    def _put_aside(self, aside: Path) -> None:
        self.path.replace(aside)
        for ending in ("-wal", "-shm"):
            with suppress(OSError):
                Path(f"{self.path}{ending}").unlink()

    def _refused(self, error: Exception) -> StoreError:
        why = getattr(error, "strerror", None) or str(error)
        return StoreError(
            f"Nothing can be kept in {self.path.parent} ({why}); give that folder to "
            f"the user of cabinvigil phone, and see that its disk has room."
        )

    def _open(self) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        # SQLite makes its other files the queue's owner's; what fails here, it tells.
        with suppress(OSError), self.path.open("ab") as file:
            give_to_owner_of(self.path.parent, file.fileno())
        db = sqlite3.connect(
            self.path, timeout=2.0, isolation_level=None, check_same_thread=False
        )
        self._db = db
        self._set_up(db)
        with closing(db.execute("PRAGMA quick_check(1)")) as rows:
            (said,) = rows.fetchone()
            if said != "ok":
                raise sqlite3.DatabaseError(said)

    def _set_up(self, db: sqlite3.Connection) -> None:
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=NORMAL")
        db.execute("PRAGMA cache_size=-1024")
        (layout,) = db.execute("PRAGMA user_version").fetchone()
        if layout not in (0, *_TO_NEXT, _LAYOUT):
            raise sqlite3.DatabaseError(f"its layout is {layout}, ours {_LAYOUT}")
        more = "".join(_TO_NEXT[n] for n in range(layout or _LAYOUT, _LAYOUT))
        script = f"{_SCHEMA} {more} PRAGMA user_version={_LAYOUT};"
        db.executescript(f"PRAGMA synchronous=FULL; BEGIN; {script} COMMIT;")
        db.execute("PRAGMA synchronous=NORMAL")

    def close(self) -> None:
        """Let the file go."""
        if self._db is not None:
            with suppress(sqlite3.Error):
                self._db.close()
            self._db = None

    @property
    def _file(self) -> sqlite3.Connection:
        if self._db is None:
            raise sqlite3.OperationalError("the file is not open")
        return self._db

    # --- messages -----------------------------------------------------------------

    def add(
        self,
        rings: Sequence[tuple[PhoneMessage, Mapping[str, bool]]],
        wall_s: float,
    ) -> set[str]:
        """Keep messages with their addresses; return the ids that are new.

        Args:
            rings: messages, and by the name of who is to have each whether its push
                begins now, or has begun before.
            wall_s: now, seconds since 1970.

        Raises:
            sqlite3.Error: they are not kept.
        """
        new: set[str] = set()
        with Transaction(self._file, is_synced=True) as db:
            for ring, names in rings:
                done = db.execute(
                    "INSERT OR IGNORE INTO message VALUES (?, ?, ?, ?, ?, ?, ?)",
                    (
                        *(ring.id, ring.cabin, ring.title, ring.text),
                        *(ring.urgency, wall_s, ring.expires_s),
                    ),
                )
                if done.rowcount:
                    new.add(ring.id)
                    _address(db, ring.id, names)
        return new

    def hand_on(self, ring_id: str, name: str) -> None:
        """Give a message to one more address.

        Raises:
            sqlite3.Error: it is not kept.
        """
        with Transaction(self._file, is_synced=True) as db:
            _address(db, ring_id, {name: False})

    def known(self) -> list[str]:
        """Return the ids of all messages that are remembered, the oldest first.

        Raises:
            sqlite3.Error: they cannot be read.
        """
        rows = self._file.execute("SELECT id FROM message ORDER BY made_at")
        return [ident for (ident,) in rows]

    def delivered(self, ring_id: str, name: str) -> None:
        """Cross out what an address has taken, or what is given up.

        Raises:
            sqlite3.Error: it is not crossed out.
        """
        self._file.execute(
            "DELETE FROM delivery WHERE message = ? AND recipient = ?", (ring_id, name)
        )

    def begun(self, ring_id: str, name: str) -> None:
        """Note that a push begins.

        Raises:
            sqlite3.Error: it is not noted.
        """
        self._file.execute(
            "UPDATE delivery SET begun = 1 WHERE message = ? AND recipient = ?",
            (ring_id, name),
        )

    def failed(
        self, ring_id: str, name: str, tries: int, *, is_unsure: bool = False
    ) -> None:
        """Note a failure.

        Args:
            ring_id: of the message.
            name: of the address.
            tries: so far.
            is_unsure: it may have been told all the same.

        Raises:
            sqlite3.Error: it is not noted.
        """
        self._file.execute(
            "UPDATE delivery SET tries = ?, begun = ?"
            " WHERE message = ? AND recipient = ?",
            (tries, is_unsure, ring_id, name),
        )

    def waiting(self, wall_s: float) -> list[Waiting]:
        """Return what waits, the gravest first, then the oldest.

        Raises:
            sqlite3.Error: it cannot be read.
        """
        rows = self._file.execute(
            "SELECT m.id, m.cabin, m.title, m.text, m.urgency, m.made_at, m.expires_s,"
            " d.recipient, d.tries, d.begun"
            " FROM delivery d JOIN message m ON m.id = d.message"
            " ORDER BY m.urgency DESC, m.made_at"
        )
        found = []
        for ident, cabin, title, text, urgency, made_at, expires_s, *delivery in rows:
            name, tries, begun = delivery
            ring = PhoneMessage(
                *(ident, cabin, title, text, urgency, expires_s), is_unsure=bool(begun)
            )
            left_s = expires_s - _age_s(made_at, wall_s)
            found.append(Waiting(ring, name, tries, left_s))
        return found

    def tidy(self, wall_s: float) -> int:
        """Forget what is long told, and bound what waits; return how much was given up.

        Raises:
            sqlite3.Error: it cannot be done.
        """
        with Transaction(self._file) as db:
            given_up = db.execute(
                "DELETE FROM delivery WHERE (message, recipient) IN ("
                " SELECT d.message, d.recipient FROM delivery d JOIN message m"
                " ON m.id = d.message ORDER BY m.urgency DESC, m.made_at DESC"
                " LIMIT -1 OFFSET ?)",
                (MOST_WAITING,),
            ).rowcount
            if wall_s >= EARLIEST.timestamp():
                db.execute(
                    "DELETE FROM message WHERE made_at < ? AND NOT EXISTS"
                    " (SELECT 1 FROM delivery d WHERE d.message = message.id)",
                    (wall_s - KEPT_S,),
                )
        return int(given_up)

    # --- cabins -------------------------------------------------------------------

    def keep_cabins(self, kept: Mapping[str, KeptSilence], wall_s: float) -> None:
        """Keep what is known of each cabin's silence.

        Raises:
            sqlite3.Error: it is not kept.
        """
        with Transaction(self._file) as db:
            db.executemany(
                "INSERT OR REPLACE INTO cabin VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    (
                        *(name, one.kind, wall_s - one.age_s, one.period_s),
                        *(one.run, one.seq),
                        *(wall_s - one.told_age_s, wall_s - one.begun_age_s),
                    )
                    for name, one in kept.items()
                ),
            )

    def cabins(self, wall_s: float) -> dict[str, KeptSilence]:
        """Return what was kept of each cabin.

        Raises:
            sqlite3.Error: it cannot be read.
        """
        rows = self._file.execute(
            "SELECT name, kind, period_s, run, seq, alive_at, told_at, begun_at"
            " FROM cabin"
        )
        found = {}
        for name, kind, period_s, run, seq, *moments in rows:
            age_s, told_s, begun_s = (_age_s(at_s, wall_s) for at_s in moments)
            found[name] = KeptSilence(
                *(kind, age_s, period_s, run, seq),
                told_age_s=told_s,
                begun_age_s=begun_s,
            )
        return found


def _address(db: sqlite3.Connection, ring_id: str, names: Mapping[str, bool]) -> None:
    db.executemany(
        "INSERT OR IGNORE INTO delivery (message, recipient, begun) VALUES (?, ?, ?)",
        ((ring_id, name, begun) for name, begun in names.items()),
    )


def _age_s(at_s: float, wall_s: float) -> float:
    """Return an age by the wall; 0 where the clock was set back or is not set."""
    if wall_s < EARLIEST.timestamp() or at_s < EARLIEST.timestamp():
        return 0.0
    return max(0.0, wall_s - at_s)
