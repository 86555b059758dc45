"""Whose rights count at a file, and what to do where they do not reach."""

import grp
import os
import pwd
import stat
from dataclasses import dataclass
from pathlib import Path

from cabinvigil.daemon.settings.errors import one_line

WATCHER = "cabinvigil"
"""The user that the unit runs as (systemd/cabinvigil.sysusers)."""


UNSEEN = 65534
"""What the kernel shows for each other user's number under the phone unit's
PrivateUsers=yes (user_namespaces(7): overflowuid)."""


@dataclass(frozen=True)
class Account:
    """A user of this machine, with the groups that the machine's files give it."""

    name: str
    uid: int
    groups: frozenset[int]

    def may(self, path: str, how: int) -> bool:
        """Return whether this user may open the file so, by its own mode and owner.

        The kernel is asked where we are this user; access lists are then counted too.
        """
        if self.uid == os.geteuid():
            return os.access(path, how, effective_ids=True)
        try:
            status = os.stat(path)
        except OSError:
            return False
        if status.st_uid == self.uid:
            bits = status.st_mode >> 6
        elif status.st_gid in self.groups:
            bits = status.st_mode >> 3
        else:
            bits = status.st_mode
        return bits & how == how


def user_name(uid: int) -> str:
    """Return a user's name; its number where it has none."""
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)


def group_id(name: str) -> int | None:
    """Return a group's number; None where this machine has no such group."""
    try:
        return grp.getgrnam(name).gr_gid
    except KeyError:
        return None


def account_of(name: str) -> Account | None:
    """Return a user by its name; None where this machine has none."""
    try:
        entry = pwd.getpwnam(name)
    except KeyError:
        return None
    groups = os.getgrouplist(name, entry.pw_gid)
    return Account(name, entry.pw_uid, frozenset(groups))


def running() -> Account:
    """Return who runs this."""
    uid = os.geteuid()
    groups = frozenset({os.getegid(), *os.getgroups()})
    return Account(user_name(uid), uid, groups)


def counting() -> Account:
    """Return whose rights a config is held against.

    Root may open everything, and asks for the user that will watch.
    """
    who = running()
    return (account_of(WATCHER) if who.uid == 0 else None) or who


def remedy_where_closed(
    path: Path, *, is_secret: bool = False, reader: str = ""
) -> str:
    """Return how whoever runs this gets to read a file that it may not read.

    Args:
        path: the file, there or not; a folder above it may be what is closed.
        is_secret: a password, which has one reader.
        reader: the user that it is made for, where that is known.
    """
    who, place = running(), _closed(path)
    if who.name != reader and account_of(reader) is not None:
        return f"run this by `sudo -u {reader}`"
    shown = one_line(str(place))
    try:
        status = place.stat()
    except OSError:
        return f"let the user {who.name} read it; `ls -ld {shown}` shows whose it is"
    owner, group = user_name(status.st_uid), _group_name(status.st_gid)
    for_group = stat.S_IXGRP if stat.S_ISDIR(status.st_mode) else stat.S_IRGRP
    is_group_in = bool(status.st_mode & for_group) and status.st_gid != 0
    reader = group if is_group_in and account_of(group) is not None else owner
    if reader == user_name(UNSEEN):
        if is_secret:
            return f"it is another's: name a file of the user {who.name}'s own"
        return f"let the user {who.name} read it; `ls -ld {shown}` shows whose it is"
    if reader not in ("root", who.name):
        by = f"run this by `sudo -u {reader}`"
        if is_secret:
            return f"{by}, or name a file of the user {who.name}'s own"
        if is_group_in:
            return (
                f"{by}, or join its group (`sudo usermod -aG {group} {who.name}`) and "
                "log in again"
            )
        return f"{by}, or let the user {who.name} in by chgrp and chmod"
    if is_secret and place == path:
        return give_away(path)
    if stat.S_ISDIR(
        status.st_mode
    ):  # root's own home, perhaps: not to be opened for one file
        return f"copy it to where the user {who.name} may read it"
    return f"`sudo chgrp {who.name} {shown}` and `sudo chmod 640 {shown}`"


def give_away(path: Path) -> str:
    """Return how a secret becomes the file of whoever runs this, and nobody else's."""
    shown = one_line(str(path))
    return f"`sudo chown {running().name}:root {shown}` and `sudo chmod 400 {shown}`"


def _closed(path: Path) -> Path:
    """Return the outermost place on the way to a file that keeps us from it."""
    for place in reversed(path.absolute().parents):
        if not os.access(place, os.X_OK, effective_ids=True):
            return place
    return path


def _group_name(gid: int) -> str:
    try:
        return grp.getgrgid(gid).gr_name
    except KeyError:
        return str(gid)
