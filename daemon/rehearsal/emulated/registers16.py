"""What the parts with 16-bit registers have in common (INA226, TMP117, ADS1115)."""

from collections.abc import Mapping

from cabinvigil.daemon.rehearsal.emulated.ways import Now


class Registers16:
    """A pointer and words, most significant byte first; no check of any kind."""

    RESET: Mapping[int, int] = {}
    """What the registers hold after power-up."""

    def __init__(self, now: Now) -> None:
        """Give the part power."""
        self._now = now
        self.power_up()

    def power_up(self) -> None:
        """Take the reset values."""
        self._words = dict(self.RESET)
        self._pointer = 0
        self._on_s = self._now()

    def write(self, data: bytes) -> None:
        """Set the pointer, and the word where one follows."""
        if not data:
            return
        self._pointer = data[0]
        if len(data) >= 3:
            self._set(self._pointer, int.from_bytes(data[1:3], "big"))

    def read(self, length: int) -> bytes:
        """Return the word at the pointer; nobody drives the line after it."""
        word = self._get(self._pointer) & 0xFFFF
        return word.to_bytes(2, "big")[:length].ljust(length, b"\xff")

    def _set(self, register: int, word: int) -> None:
        if register in self.RESET:
            self._words[register] = word

    def _get(self, register: int) -> int:
        return self._words.get(register, 0)
