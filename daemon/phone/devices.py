"""Who may answer from the page: a token for each device, listed and revocable.

A device is paired on the machine where this runs, by whoever may write its file; of a
token only its digest is kept.
"""

import hmac
import io
import json
import os
import secrets
import stat
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import segno

from cabinvigil.daemon.outputs.disk import give_to_owner_of
from cabinvigil.daemon.phone.inbound import plain
from cabinvigil.daemon.settings.accounts import remedy_where_closed
from cabinvigil.daemon.settings.values import OPEN_TO_OTHERS
from cabinvigil.daemon.text.errors import CabinvigilError

MOST_DEVICES = 50
MOST_BYTES = 100_000
LONGEST_NAME = 40
"""Letters of an asker's name that are told to both phones (asyncapi)."""
TOKEN_BYTES = 24
"""192 random bits: nobody guesses them (our choice)."""


class DeviceError(CabinvigilError):
    """The file of the paired devices cannot be used."""


@dataclass(frozen=True, slots=True)
class Device:
    """One paired device."""

    name: str
    digest: str
    paired: str
    """The day, ISO 8601."""


class Devices:
    """The file, read again whenever it has changed."""

    def __init__(self, path: Path) -> None:
        """Name the file; it need not be there."""
        self.path = path
        self._stamp: tuple[int, int] | None = None
        self._devices: tuple[Device, ...] = ()

    def who(self, token: str) -> str | None:
        """Return the name of the device that has a token; None: none has."""
        digest = _digest(token)
        found = None
        for device in self.current():
            # All are compared: how long it takes tells nothing.
            if hmac.compare_digest(device.digest, digest):
                found = device.name
        return found

    def current(self) -> tuple[Device, ...]:
        """Return the paired devices; none where the file cannot be used."""
        try:
            status = self.path.stat()
            stamp = (status.st_mtime_ns, status.st_size)
            if stamp != self._stamp:
                self._devices = self.load()
                self._stamp = stamp
        except (OSError, DeviceError):
            self._devices, self._stamp = (), None
        return self._devices

    def load(self) -> tuple[Device, ...]:
        """Read the file.

        Raises:
            DeviceError: it is there and cannot be used.
        """
        try:
            mode = stat.S_IMODE(self.path.stat().st_mode)
            data = self.path.read_bytes()[: MOST_BYTES + 1]
        except FileNotFoundError:
            return ()
        except OSError as error:
            raise DeviceError(
                f"{self.path}: cannot be read ({error.strerror}); "
                f"{remedy_where_closed(self.path, is_secret=True)}."
            ) from error
        if mode & OPEN_TO_OTHERS:
            raise DeviceError(
                f"{self.path}: is open to others (mode {mode:04o}); run "
                f"`chmod 640 {self.path}`."
            )
        try:
            return tuple(
                Device(str(one["name"]), str(one["digest"]), str(one["paired"]))
                for one in json.loads(data)["devices"]
            )
        except (ValueError, TypeError, KeyError, RecursionError) as error:
            raise DeviceError(
                f"{self.path}: is not a list of devices; remove it, and pair them "
                "again."
            ) from error

    def pair(self, name: str, day: str) -> str:
        """Pair a device, in place of one of that name; return its token.

        Raises:
            DeviceError: it cannot be kept, or there are too many.
        """
        name = _shown(name)
        if not name:
            raise DeviceError('--pair needs a name, like --pair "Ana\'s phone".')
        others = tuple(one for one in self.load() if one.name != name)
        if len(others) >= MOST_DEVICES:
            raise DeviceError(
                f"{self.path}: has {MOST_DEVICES} devices; --revoke one first."
            )
        token = secrets.token_urlsafe(TOKEN_BYTES)
        self._save((*others, Device(name, _digest(token), day)))
        return token

    def is_paired(self, name: str) -> bool:
        """Return whether a device of that name has a right.

        Raises:
            DeviceError: the file cannot be used.
        """
        name = _shown(name)
        return any(one.name == name for one in self.load())

    def revoke(self, name: str) -> bool:
        """Take a device's right away; return whether it had one.

        Raises:
            DeviceError: the file cannot be used.
        """
        before = self.load()
        after = tuple(one for one in before if one.name != name)
        if len(after) == len(before):
            return False
        self._save(after)
        return True

    def _save(self, devices: tuple[Device, ...]) -> None:
        rows = [
            {"name": d.name, "digest": d.digest, "paired": d.paired} for d in devices
        ]
        part = self.path.with_suffix(".part")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            part.unlink(missing_ok=True)
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
            with os.fdopen(os.open(part, flags, 0o640), "w", encoding="utf-8") as file:
                json.dump({"devices": rows}, file, indent=1)
                file.flush()
                # Paired by root, read by the service, whose folder it is.
                give_to_owner_of(self.path.parent, file.fileno())
                os.fsync(file.fileno())
            part.replace(self.path)
        except OSError as error:
            raise DeviceError(
                f"{self.path}: cannot be written ({error.strerror}); run this as root "
                f"or as the user of cabinvigil phone."
            ) from error


def _shown(name: str) -> str:
    """Return a name as it is kept."""
    return " ".join(plain(name, LONGEST_NAME).split())


def _digest(token: str) -> str:
    return sha256(token.encode("utf-8", "replace")).hexdigest()


def qr_lines(link: str) -> str:
    """Draw a link as a QR code in letters, for a terminal."""
    out = io.StringIO()
    segno.make(link, error="m", micro=False).terminal(out, compact=True)
    return out.getvalue().rstrip("\n")
