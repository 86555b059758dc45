"""An emulated DS18B20, as the kernel's 1-wire driver shows it: text (sensors.md 9)."""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import Lag, Now, See, clip

POWER_ON_COUNTS = 0x0550
"""85.0 C, what the scratchpad holds without a conversion (unverified); the kernel
starts one with each read of the file, and waits for it."""
STEP_C = 0.0625
LAG_S = 30.0
"""Of the part in its sleeve on the pane; our choice."""
SPREAD_C, NOISE_C = 0.5 / 3, 0.02
"""+-0.5 C (data sheet p.1) read as three deviations; noise our choice."""
_REFLECTED = 0x8C
"""The 1-wire polynomial x8 + x5 + x4 + 1, bits reversed; the CRC starts at 0."""


def check_byte(data: bytes) -> int:
    """Return the 1-wire CRC-8."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ _REFLECTED if crc & 1 else crc >> 1
    return crc


class EmulatedDs18b20:
    """One part; `text` is what its file holds at this moment."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Glue the part to the pane and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self._offset_c = random.gauss(0.0, SPREAD_C)
        self.is_starved = False
        """Its supply breaks down in every conversion, as with parasitic power."""
        self.power_up()

    def power_up(self) -> None:
        """Start again."""
        self._lag = Lag(LAG_S)

    def scratchpad(self) -> bytes:
        """Return the nine bytes that the part gives after a conversion."""
        temp_c = self._lag.follow(self._air().glass_c, self._now()) + self._offset_c
        temp_c += self._random.gauss(0.0, NOISE_C)
        counts = clip(temp_c / STEP_C, -55 * 16, 125 * 16)
        return _pad(POWER_ON_COUNTS if self.is_starved else counts)

    def text(self) -> bytes:
        """Return the two lines of `w1_slave`."""
        return w1_text(self.scratchpad())


def _pad(counts: int) -> bytes:
    head = counts.to_bytes(2, "little", signed=True)
    head += bytes.fromhex("4b 46 7f ff 0c 10")
    return head + bytes([check_byte(head)])


def w1_text(pad: bytes) -> bytes:
    """Format a scratchpad as the kernel's driver does, good or bad."""
    bytes_ = pad.hex(" ")
    good = "YES" if check_byte(pad[:8]) == pad[8] else "NO"
    counts = int.from_bytes(pad[:2], "little", signed=True)
    # The kernel's milli-degrees are cut towards zero, as C divides.
    milli = int(counts * 1000 / 16)
    lines = f"{bytes_} : crc={check_byte(pad[:8]):02x} {good}\n{bytes_} t={milli}\n"
    return lines.encode()
