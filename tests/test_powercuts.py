"""The supply cut at any instant: no alarm event lost, at most 30 s of readings.

No machine is switched off: the file system's own shutdown call on a loop device drops
what has not reached the disk, as a cut does.  The suite cuts a few times where it may
(root and loop devices); `python -m tests.test_powercuts 100` cuts as often as told.
"""

import fcntl
import json
import os
import random
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

import pytest

from tests.stricken.account import Account, Logged, Said, read_log
from tests.stricken.life import Diary, bear, composed

SHUTDOWN = 0x8004587D
"""EXT4_IOC_SHUTDOWN, _IOR('X', 125, __u32): linux, fs/ext4/ext4.h."""
WITHOUT_THE_LOG = struct.pack("I", 2)
"""EXT4_GOING_FLAGS_NOLOGFLUSH: stop now, without writing the journal out."""
LONGEST_S = 0.6
MOST_LOST_S = 30.0
"""Of readings: design, section 8."""
IMAGE_BYTES = 64 << 20


class NoDiskError(Exception):
    """This machine lets us make no file system of our own."""


def _root(*words: str) -> None:
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode:
        raise NoDiskError(f"{' '.join(words)}: {done.stderr.strip()}")


@dataclass
class Disk:
    """A small ext4 file system of our own, that can be cut off."""

    image: Path
    at: Path

    def mount(self) -> None:
        _root("mount", "-o", "loop", str(self.image), str(self.at))

    def unmount(self) -> None:
        _root("umount", str(self.at))

    def cut(self) -> None:
        fd = os.open(self.at, os.O_RDONLY)
        try:
            fcntl.ioctl(fd, SHUTDOWN, WITHOUT_THE_LOG)
        finally:
            os.close(fd)


@contextmanager
def disk(folder: Path) -> Iterator[Disk]:
    """Make one and mount it.

    Raises:
        NoDiskError: no root, no loop device or no tools.
    """
    if os.geteuid() != 0 or shutil.which("mkfs.ext4") is None:
        raise NoDiskError("wants root, loop devices and mkfs.ext4")
    own = Disk(folder / "image", folder / "disk")
    own.at.mkdir()
    with own.image.open("wb") as file:
        file.truncate(IMAGE_BYTES)
    _root("mkfs.ext4", "-q", "-F", str(own.image))
    own.mount()
    try:
        yield own
    finally:
        own.unmount()


def drill(folder: Path, cuts: int, seed: int = 2) -> Account:
    """Cut the supply so often; give the account.

    Every other watch writes from threads, as the daemon does; for the rest, virtual
    time stands while the disk works, so that lost readings can be counted in seconds.
    """
    dice, what, account = random.Random(seed), composed(), Account()
    with disk(folder) as own:
        for run in range(cuts):
            diary = Diary(folder / f"said-{run}")
            pid = bear(own.at, diary, run, what, threaded=run % 2 == 0)
            time.sleep(dice.uniform(0.0, LONGEST_S))
            diary.say("struck")
            blow_s = time.perf_counter()
            own.cut()
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
            diary.close()
            own.unmount()
            own.mount()
            said = Said.read(diary.path)
            logged = read_log(own.at, newest=2)[0].get(run, Logged())
            account.take(run, said, logged, blow_s)
            account.wake(run, said)
        account.settle(own.at)
    return account


def test_no_cut_loses_an_alarm_event_or_half_a_minute_of_readings(
    tmp_path: Path,
) -> None:
    """Six cuts: what was promised is there, and the state is always readable."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.test_powercuts", "6", str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    if done.returncode == 77:
        pytest.skip(f"no disk of our own here: {done.stdout.strip()}")
    assert done.returncode == 0, done.stdout + done.stderr
    account = json.loads((tmp_path / "account").read_text())
    assert account["wrongs"] == []
    assert account["blows"] == 6
    assert account["synced"] > 10
    assert account["most_air_lost_s"] <= MOST_LOST_S


def main() -> None:
    cuts = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as own:
        folder = Path(sys.argv[2] if len(sys.argv) > 2 else own)
        began_s = time.perf_counter()
        try:
            account = drill(folder, cuts)
        except NoDiskError as error:
            print(error)
            sys.exit(77)
        print(account.line())
        print(f"{time.perf_counter() - began_s:.0f} s")
        print("\n".join(account.wrongs[:20]))
        (folder / "account").write_text(json.dumps(asdict(account)))
    sys.exit(bool(account.wrongs) or account.most_air_lost_s > MOST_LOST_S)


if __name__ == "__main__":
    main()
