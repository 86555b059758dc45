"""An emulated PMSA003I: the frames of its serial sister, read on I2C at 0x12."""

from cabinvigil.daemon.rehearsal.emulated.pm_frame import EmulatedPmFrame
from cabinvigil.daemon.rehearsal.emulated.ways import Now, See


class EmulatedPmsa003i:
    """One part: its registers are the newest frame, from the first byte on."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._inside = EmulatedPmFrame(air, seed, now)
        self._now = now
        self.power_up()

    @property
    def fan_stopped(self) -> bool:
        """No air comes through: every count is zero."""
        return self._inside.fan_stopped

    @fan_stopped.setter
    def fan_stopped(self, is_so: bool) -> None:
        self._inside.fan_stopped = is_so

    def power_up(self) -> None:
        """Start awake, with nothing counted yet."""
        self._inside.power_up()
        self._frame = self._inside.send()
        self._pointer = 0

    def write(self, data: bytes) -> None:
        """Set the register to read from; it takes nothing else."""
        if data:
            self._pointer = data[0]

    def read(self, length: int) -> bytes:
        """Return the newest frame; nobody drives the line after it."""
        while (due_s := self._inside.due_s()) is not None and due_s <= self._now():
            self._frame = self._inside.send()
        answer = self._frame[self._pointer : self._pointer + length]
        self._pointer = 0
        return answer.ljust(length, b"\xff")
