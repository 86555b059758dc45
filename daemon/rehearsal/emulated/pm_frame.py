"""An emulated dust module that streams frames of 32 bytes (sensors.md 6)."""

import struct
from random import Random

from cabinvigil.daemon.rehearsal.emulated.dust import GAIN_SPREAD, dust_ugm3
from cabinvigil.daemon.rehearsal.emulated.ways import Now, See, clip


class EmulatedPmFrame:
    """One module that streams frames of 32 bytes."""

    STEADY_S, CHANGING_S = 2.3, 0.8
    CHANGE_UGM3 = 10.0
    """A change that makes it send faster; our choice."""
    STABLE_S = 30.0
    _TAIL = 0x9700
    """Version and error code, as in the vectors (unverified)."""
    _COUNTS = (900 / 8, 260 / 8, 60 / 8, 1.0, 1 / 8, 0.05)
    """Particles in 0.1 l for each ug/m3, as in the vectors."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the module in the air and give it power."""
        self._air, self._now = air, now
        self._random = Random(seed)
        self._gain = self._random.gauss(1.0, GAIN_SPREAD)
        self.fan_stopped = False
        """No air comes through: every count is zero."""
        self.power_up()

    def power_up(self) -> None:
        """Start awake and active."""
        self._inbox = b""
        self._active, self._awake = True, True
        self._on_s = self._now()
        self._last = 0.0
        self._due_s: float | None = self._on_s + self.STEADY_S

    def due_s(self) -> float | None:
        """Return when the next frame is due; None while passive or asleep."""
        return self._due_s

    def send(self) -> bytes:
        """Return one frame and set the time of the next."""
        frame, dust = self._frame()
        if self._due_s is not None:
            is_calm = abs(dust - self._last) < self.CHANGE_UGM3
            self._due_s += self.STEADY_S if is_calm else self.CHANGING_S
        self._last = dust
        return frame

    def receive(self, data: bytes) -> bytes:
        """Obey commands of seven bytes."""
        self._inbox = (self._inbox + data)[-28:]
        answer = b""
        while (start := self._inbox.find(b"BM")) >= 0:
            command = self._inbox[start : start + 7]
            if len(command) < 7:
                break
            self._inbox = self._inbox[start + 7 :]
            if sum(command[:5]) == int.from_bytes(command[5:], "big"):
                answer += self._obey(command[2], command[4])
        return answer

    def _obey(self, command: int, argument: int) -> bytes:
        if command == 0xE2 and self._awake:
            return self._frame()[0]
        if command == 0xE1:
            self._active = argument == 1
        elif command == 0xE4:
            self._awake = argument == 1
            self._on_s = self._now()
        talks = self._active and self._awake
        self._due_s = self._now() + self.STEADY_S if talks else None
        return b""

    def _frame(self) -> tuple[bytes, float]:
        spun = min((self._now() - self._on_s) / self.STABLE_S, 1.0)
        dust = dust_ugm3(self._air(), self._random, self._gain) * spun
        dust = 0.0 if self.fan_stopped else dust
        masses = [clip(dust * share, 0, 65535) for share in (0.64, 1.0, 1.15)]
        counts = [clip(dust * count, 0, 65535) for count in self._COUNTS]
        body = b"BM\x00\x1c" + struct.pack(
            ">13H", *masses, *masses, *counts, self._TAIL
        )
        return body + sum(body).to_bytes(2, "big"), dust
