"""An emulated SPS30: fine dust on I2C at 0x69 (sensors.md 5)."""

import struct
from random import Random

from cabinvigil.daemon.rehearsal.emulated.dust import GAIN_SPREAD, dust_ugm3
from cabinvigil.daemon.rehearsal.emulated.ways import EARLY_S, Nack, Now, See, clip
from cabinvigil.daemon.rehearsal.emulated.words import checked_words, with_checks

# Shares of PM1, PM4 and PM10 in PM2.5 of smoke, and counts per cm3 and ug/m3: shaped
# after the typical frame of the vectors.
SHARES = (0.64, 1.0, 1.16, 1.22)
COUNTS = (3.77, 4.97, 5.12, 5.15, 5.17)
TYPICAL_UM = 0.48


class EmulatedSps30:
    """One SPS30: a fan, a laser, ten numbers."""

    SPIN_UP_S = 8.0
    """Numbers are whole after this (unverified: 8 to 30 s)."""
    CLEANING_S = 10.0
    _COMMANDS: dict[int, tuple[str, float]] = {  # noqa: RUF012
        0x0010: ("start", 0.02),
        0x0104: ("stop", 0.02),
        0x0202: ("data_ready", 0.0),
        0x0300: ("read", 0.0),
        0x1001: ("sleep", 0.005),
        0x1103: ("wake_up", 0.005),
        0x5607: ("clean", 0.005),
        0x8004: ("interval", 0.005),
        0xD033: ("serial_number", 0.0),
        0xD100: ("version", 0.0),
        0xD206: ("status", 0.0),
        0xD210: ("clear_status", 0.005),
        0xD304: ("reset", 0.1),
    }

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now = air, now
        self._random = Random(seed)
        self._gain = self._random.gauss(1.0, GAIN_SPREAD)
        self.status = 0
        """Bits 21 fan speed, 5 laser, 4 fan blocked."""
        self.power_up()

    def power_up(self) -> None:
        """Start in idle."""
        self._mode = "idle"
        self._form = 0x03
        self._awake = True
        self._answer: bytes | None = None
        self._busy_until_s = self._now()
        self._started_s = self._due_s = 0.0
        self._cleaning_until_s = 0.0
        self._numbers: list[float] = []
        self._is_new = False

    def write(self, data: bytes) -> None:
        """Take a command."""
        if not data and self._awake:
            return  # its address alone is acknowledged
        command = int.from_bytes(data[:2], "big")
        if self._now() < self._busy_until_s or command not in self._COMMANDS:
            raise Nack
        what, busy_s = self._COMMANDS[command]
        if not self._awake:
            # The first wake-up only wakes the interface, and is not acknowledged.
            self._awake = what == "wake_up"
            raise Nack
        if self._mode == "asleep" and what != "wake_up":
            raise Nack
        words = checked_words(data[2:])
        self._answer = None
        if words is None:
            return
        self._busy_until_s = self._now() + busy_s - EARLY_S
        getattr(self, f"_{what}")(*words)

    def read(self, length: int) -> bytes:
        """Return the answer, once."""
        if self._now() < self._busy_until_s or self._answer is None:
            raise Nack
        answer, self._answer = self._answer, None
        return answer[:length].ljust(length, b"\xff")

    def _start(self, form: int = 0) -> None:
        if self._mode != "idle" or form >> 8 not in (0x03, 0x05):
            raise Nack
        self._mode, self._form = "measuring", form >> 8
        self._started_s = self._now()
        self._due_s = self._started_s + 1.0 - EARLY_S
        self._is_new = False

    def _stop(self) -> None:
        self._mode = "idle"

    def _sleep(self) -> None:
        if self._mode != "idle":
            raise Nack
        self._mode, self._awake = "asleep", False

    def _wake_up(self) -> None:
        if self._mode == "asleep":
            self._mode = "idle"

    def _clean(self) -> None:
        if self._mode != "measuring":
            raise Nack
        self._cleaning_until_s = self._now() + self.CLEANING_S

    def _interval(self, *words: int) -> None:
        if not words:
            self._answer = with_checks(divmod(604800, 65536))

    def _serial_number(self) -> None:
        text = b"EMULATED00000069".ljust(32, b"\0")
        self._answer = with_checks(struct.unpack(">16H", text))

    def _version(self) -> None:
        self._answer = with_checks([0x0202])

    def _status(self) -> None:
        self._answer = with_checks(divmod(self.status, 65536))

    def _clear_status(self) -> None:
        self.status = 0

    def _reset(self) -> None:
        self.power_up()

    def _data_ready(self) -> None:
        self._measure_if_due()
        self._answer = with_checks([int(self._is_new)])

    def _read(self) -> None:
        self._measure_if_due()
        if not self._numbers:
            return
        self._is_new = False
        if self._form == 0x03:
            packed = struct.pack(">10f", *self._numbers)
            self._answer = with_checks(struct.unpack(">20H", packed))
        else:
            self._answer = with_checks(
                clip(number, 0, 65535) for number in self._numbers
            )

    def _measure_if_due(self) -> None:
        now_s = self._now()
        if self._mode != "measuring" or now_s < self._due_s:
            return
        self._due_s += 1.0 + (now_s - self._due_s) // 1.0
        self._is_new = True
        if now_s < self._cleaning_until_s and self._numbers:
            return  # values stand still while the fan cleans
        spun = min((now_s - self._started_s) / self.SPIN_UP_S, 1.0)
        dust = dust_ugm3(self._air(), self._random, self._gain) * spun
        masses = [dust * share for share in SHARES]
        self._numbers = [*masses, *(dust * count for count in COUNTS), TYPICAL_UM]
