"""Stands in for the sounder's line: a tone on this machine's loudspeaker."""

import errno
import math
import shutil
import struct
import subprocess
from contextlib import suppress
from threading import Event, Thread

from cabinvigil.daemon.outputs.signal.gpio import LineCheck, LineError

PROGRAM = "aplay"
RATE_HZ = 16_000
TONE_HZ = 520
"""What wakes sleepers best (check value `sound_520hz`)."""
CHUNK = 320
"""Samples written at one time: 20 ms, an eighth of the shortest pulse."""
LEVEL = 0.6
BUFFER_US = 60_000
"""Of `aplay`: how late an edge may be heard."""


def is_there() -> bool:
    """Return whether this machine can play."""
    return shutil.which(PROGRAM) is not None


class Loudspeaker:
    """One `aplay` that is fed with the tone or with silence."""

    def __init__(self) -> None:
        """Start it.

        Raises:
            LineError: it cannot be started.
        """
        form = ("-t", "raw", "-f", "S16_LE", "-c", "1", "-r", str(RATE_HZ))
        try:
            self._process = subprocess.Popen(
                [PROGRAM, "-q", *form, f"--buffer-time={BUFFER_US}", "-"],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            raise LineError(
                errno.ENODEV, f"{PROGRAM} cannot be started ({error.strerror})."
            ) from error
        self._is_on = False
        self._ends = Event()
        self._thread = Thread(target=self._feed, name="loudspeaker", daemon=True)
        self._thread.start()

    def set(self, *, on: bool) -> None:
        """Switch the tone.

        Raises:
            LineError: the program has ended.
        """
        self._is_on = on
        if self._process.poll() is not None:
            raise LineError(errno.EIO, f"{PROGRAM} plays nothing here; see `aplay -l`.")

    def close(self) -> None:
        """End it; may be called twice."""
        self._ends.set()
        self._process.kill()
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(1.0)
        self._thread.join(1.0)
        with suppress(OSError):
            if self._process.stdin is not None:
                self._process.stdin.close()

    def self_test(self) -> LineCheck:
        """Say that nothing hears it but the person."""
        return LineCheck.DRIVEN

    def _feed(self) -> None:
        silence, at = bytes(2 * CHUNK), 0
        assert self._process.stdin is not None
        with suppress(OSError, ValueError):
            while not self._ends.is_set():
                chunk = _tone(at) if self._is_on else silence
                at = (at + CHUNK) % RATE_HZ if self._is_on else 0
                self._process.stdin.write(chunk)
                self._process.stdin.flush()


def _tone(at: int) -> bytes:
    """Return a piece of the tone, from sample `at` of its second."""
    step = 2.0 * math.pi * TONE_HZ / RATE_HZ
    top = LEVEL * 32767.0
    wave = (top * math.copysign(1.0, math.sin(step * n)) for n in range(at, at + CHUNK))
    return struct.pack(f"<{CHUNK}h", *map(int, wave))
