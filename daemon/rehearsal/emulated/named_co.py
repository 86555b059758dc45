"""Emulated CO modules whose answers name gas and decimals, on a line and on I2C.

The checksum is that of the maker's public driver: without the eighth byte, which holds
the low byte of the board's own temperature.
"""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.cells import CoCell
from cabinvigil.daemon.rehearsal.emulated.frame9 import T90_PER_TAU, check_byte
from cabinvigil.daemon.rehearsal.emulated.ways import Lag, Nack, Now, See, clip

FRAME_BYTES = 9
READ, SET_MODE = 0x86, 0x78
BY_ITSELF, WHEN_ASKED = 0x03, 0x04
EVERY_S = 1.0
ANSWER_S = 0.02
"""Public drivers read the answer 10, 20 or 100 ms after the question."""


def named(head: bytes, ticks: int = 0) -> bytes:
    """Return a frame of six bytes, the board's temperature behind them, and its sum."""
    frame = head.ljust(6, b"\0") + ticks.to_bytes(2, "big")
    return frame + bytes([-sum(frame[1:7]) & 0xFF])


class _NamedCo:
    """The cell, and what the board makes of a command."""

    GAS, DECIMALS, RANGE = 0x04, 0, 1000
    T90_S = 30.0
    """From memory."""
    NOISE_PPM, ZERO_PPM, GAIN_SPREAD = 0.2, 0.4, 0.03
    """Own choice; no figure was found."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        decimals: int = DECIMALS,
        full_scale_ppm: float = RANGE,
    ) -> None:
        """Hang the module in the air and give it power; see `own_figures`."""
        self._air, self._now, self._decimals = air, now, decimals
        self._range = round(full_scale_ppm * 10**decimals)
        self._random = random = Random(seed)
        self._zero_ppm = abs(random.gauss(0.0, self.ZERO_PPM))
        self._gain = random.gauss(1.0, self.GAIN_SPREAD)
        self.power_up()

    def power_up(self) -> None:
        """Start, sending by itself as from the factory (unverified)."""
        self._asked_only = False
        self._lag = Lag(self.T90_S / T90_PER_TAU)

    def _value(self) -> bytes:
        air = self._air()
        ppm = self._lag.follow(air.co_ppm, self._now())
        cell_c = air.temp_c if air.cell_c is None else air.cell_c
        ppm *= self._gain * CoCell.relative(cell_c)
        ppm += self._zero_ppm + self._random.gauss(0.0, self.NOISE_PPM)
        counts = clip(ppm * 10**self._decimals, 0, self._range)
        # Some ticks around 25 °C, which are half of 1,024.
        ticks = clip(512.0 - 10.0 * (air.temp_c - 25.0), 0, 1023)
        said = counts.to_bytes(2, "big") + bytes([self.GAS, self._decimals])
        return named(bytes([0xFF, READ]) + said, ticks)

    def _obey(self, frame: bytes) -> bytes:
        """Return the answer to a whole command; nothing to one with a wrong check."""
        if frame[:2] != b"\xff\x01" or check_byte(frame) != frame[8]:
            return b""
        if frame[2] == SET_MODE:
            self._asked_only = frame[3] == WHEN_ASKED
            return named(bytes([0xFF, SET_MODE, 0x01]))
        return self._value() if frame[2] == READ else b""


class EmulatedCoNamedLine(_NamedCo):
    """The module on a serial line."""

    def power_up(self) -> None:
        """Start with an empty buffer."""
        super().power_up()
        self._inbox = b""
        self._due_s = self._now() + EVERY_S

    def due_s(self) -> float | None:
        """Return when the next frame is due; None where it only answers."""
        return None if self._asked_only else self._due_s

    def send(self) -> bytes:
        """Return one frame and set the time of the next."""
        self._due_s += EVERY_S
        return self._value()

    def receive(self, data: bytes) -> bytes:
        """Answer each whole command; skip what is none."""
        self._inbox = (self._inbox + data)[-4 * FRAME_BYTES :]
        answer = b""
        while (start := self._inbox.find(b"\xff\x01")) >= 0:
            frame = self._inbox[start : start + FRAME_BYTES]
            if len(frame) < FRAME_BYTES:
                break
            self._inbox = self._inbox[start + FRAME_BYTES :]
            answer += self._obey(frame)
        return answer


class EmulatedCoNamedI2c(_NamedCo):
    """The module on I2C: a frame goes behind register 0, the answer waits there."""

    def power_up(self) -> None:
        """Start with no answer."""
        super().power_up()
        self._answer, self._ready_s = bytes(FRAME_BYTES), 0.0

    def write(self, data: bytes) -> None:
        """Take a register, and a frame behind it.

        Raises:
            Nack: it has but the one register.
        """
        if data[:1] != b"\0":
            raise Nack
        if len(data) == 1 + FRAME_BYTES:
            self._answer = self._obey(data[1:]) or bytes(FRAME_BYTES)
            self._ready_s = self._now() + ANSWER_S

    def read(self, length: int) -> bytes:
        """Return the answer, once it is ready; after its end comes nothing.

        Raises:
            Nack: it is not.
        """
        if self._now() < self._ready_s:
            raise Nack
        return self._answer.ljust(length, b"\xff")[:length]
