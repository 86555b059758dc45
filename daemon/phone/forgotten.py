"""A cabin that is given up for good: noted in the queue while nothing runs there."""

import sqlite3
from pathlib import Path

from cabinvigil.daemon.phone.silence import FORGOTTEN, KeptSilence
from cabinvigil.daemon.phone.state_folder import lock
from cabinvigil.daemon.phone.store import Store
from cabinvigil.daemon.settings.errors import nearest, shown


def forget(folder: Path, cabin: str, wall_s: float) -> str:
    """Have a cabin told no more; return why it cannot be, '' where it is.

    Args:
        folder: the state folder, which nothing else holds.
        cabin: its word in the topics.
        wall_s: now, seconds since 1970.

    Raises:
        PhoneError, StoreError: nothing can be kept there.
    """
    store = Store(folder)
    if not store.path.exists():
        return f"{store.path} is not there: was cabinvigil phone ever run with this?"
    with lock(folder):
        store.open()
        try:
            cabins = store.cabins(wall_s)
            if cabin not in cabins:
                meant = nearest(cabin, sorted(cabins))
                typo = f"; is {meant} meant?" if meant else ""
                return (
                    f"{shown(cabin)} is not one of the cabins that were reported{typo}"
                )
            if not cabins[cabin].kind:
                return f"{cabin} was not silent when this last ran"
            store.keep_cabins({cabin: KeptSilence(FORGOTTEN, 0.0, 30.0)}, wall_s)
        except sqlite3.Error as error:
            return f"{store.path} takes nothing ({error}); check the disk"
        finally:
            store.close()
        return store.no_room and f"{store.path} takes nothing ({store.no_room})"
