"""An emulated BME280: pressure, temperature, humidity on I2C at 0x76 (sensors.md 3)."""

from collections.abc import Callable
from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import EARLY_S, Lag, Nack, Now, See, clip

CHIP_ID = 0x60
SKIPPED_20, SKIPPED_16 = 0x80000, 0x8000
"""What the data registers hold before a measurement (sensors.md 3)."""
START_UP_S = 0.002
RH_LAG_S = 1.0
"""t63 (data sheet p.9 table 2)."""
TEMP_LAG_S = 10.0
"""Of the part on its board; our choice."""
RH_SPREAD_PCT, TEMP_SPREAD_C, PRESSURE_SPREAD_HPA = 1.0, 0.3, 0.33
"""+-3 %RH (p.9), +-1 C and +-1 hPa (unverified), read as three deviations."""
RH_NOISE_PCT, TEMP_NOISE_C, PRESSURE_NOISE_HPA = 0.02, 0.005, 0.013
"""Without the filter (unverified)."""
SELF_HEATING_C = 0.4
"""In forced mode every ten seconds on a small board; our choice."""

_DATA, _CONTROL_HUM, _STATUS, _CONTROL, _CONFIG = 0xF7, 0xF2, 0xF3, 0xF4, 0xF5


class Trimming:
    """A part's own constants, and the compensation of the data sheet's appendix.

    The floating-point form (data sheet 8.1, unverified), checked in the tests against
    its worked example.  The example's constants are those of the sister part.
    """

    def __init__(self, random: Random | None = None) -> None:
        """Take the worked example's constants, or vary them as parts do."""
        vary: Callable[[int], int] = (
            (lambda _: 0) if random is None else random.randrange
        )
        self.t = (27504 + vary(400), 26435 + vary(300), -1000)
        self.p = (
            *(36477 + vary(600), -10685 + vary(60), 3024, 2855 + vary(400)),
            *(140, -7, 15500, -14600, 6000),
        )
        self.h = (75, 370 + vary(15), 0, 313 + vary(20), 50, 30)

    def registers(self) -> tuple[bytes, bytes]:
        """Return the calibration as it stands at 88..a1 and e1..e7."""
        low = self.t[0].to_bytes(2, "little")
        low += b"".join(v.to_bytes(2, "little", signed=True) for v in self.t[1:])
        low += self.p[0].to_bytes(2, "little")
        low += b"".join(v.to_bytes(2, "little", signed=True) for v in self.p[1:])
        low += bytes([0, self.h[0]])
        h1_to_6 = self.h
        high = h1_to_6[1].to_bytes(2, "little", signed=True) + bytes([h1_to_6[2]])
        high += bytes([(h1_to_6[3] >> 4) & 0xFF])
        high += bytes([(h1_to_6[3] & 0x0F) | ((h1_to_6[4] & 0x0F) << 4)])
        high += bytes([(h1_to_6[4] >> 4) & 0xFF])
        return low, high + h1_to_6[5].to_bytes(1, "little", signed=True)

    def fine(self, raw: int) -> float:
        """Return t_fine, which couples the three."""
        t1, t2, t3 = self.t
        return (raw / 16384 - t1 / 1024) * t2 + (raw / 131072 - t1 / 8192) ** 2 * t3

    def temp_c(self, raw: int) -> float:
        """Return the temperature of a raw value."""
        return self.fine(raw) / 5120

    def pressure_hpa(self, raw: int, fine: float) -> float:
        """Return the pressure of a raw value."""
        p1, p2, p3, p4, p5, p6, p7, p8, p9 = self.p
        a = fine / 2 - 64000
        b = (a * a * p6 / 32768 + a * p5 * 2) / 4 + p4 * 65536
        c = (1 + (p3 * a * a / 524288 + p2 * a) / 524288 / 32768) * p1
        pascal = (1048576 - raw - b / 4096) * 6250 / c
        tail = p9 * pascal * pascal / 2147483648 + pascal * p8 / 32768 + p7
        return (pascal + tail / 16) / 100

    def rh_pct(self, raw: int, fine: float) -> float:
        """Return the humidity of a raw value, not clamped."""
        h1, h2, h3, h4, h5, h6 = self.h
        warm = fine - 76800
        slope = 1 + h6 / 67108864 * warm * (1 + h3 / 67108864 * warm)
        value = (raw - (h4 * 64 + h5 / 16384 * warm)) * (h2 / 65536 * slope)
        return value * (1 - h1 * value / 524288)


def inverse(curve: Callable[[int], float], value: float, bits: int) -> int:
    """Return the raw value whose compensation is nearest to `value`, by bisection.

    The curve may rise or fall, but only one of the two.
    """
    low, high = 0, (1 << bits) - 1
    rises = curve(high) > curve(low)
    while high - low > 1:
        middle = (low + high) // 2
        if (curve(middle) < value) == rises:
            low = middle
        else:
            high = middle
    return min(low, high, key=lambda raw: abs(curve(raw) - value))


class EmulatedBme280:
    """One part, with registers, a sleep mode, and a measurement that takes its time."""

    def __init__(self, air: See, seed: int, now: Now) -> None:
        """Hang the part in the air and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self.trimming = Trimming(random)
        self._rh_offset_pct = random.gauss(0.0, RH_SPREAD_PCT)
        self._temp_offset_c = random.gauss(0.0, TEMP_SPREAD_C)
        self._pressure_offset_hpa = random.gauss(0.0, PRESSURE_SPREAD_HPA)
        self.power_up()

    def power_up(self) -> None:
        """Start asleep, with nothing measured and nothing configured."""
        self._memory = memory = bytearray(256)
        memory[0xD0] = CHIP_ID
        low, high = self.trimming.registers()
        memory[0x88 : 0x88 + len(low)] = low
        memory[0xE1 : 0xE1 + len(high)] = high
        memory[_DATA : _DATA + 8] = bytes.fromhex("80 00 00 80 00 00 80 00")
        self._pointer = 0
        self._osrs_h = 0
        self._measured_s: float | None = None
        self._ready_s = self._now() + START_UP_S - EARLY_S
        self._rh_lag, self._temp_lag = Lag(RH_LAG_S), Lag(TEMP_LAG_S)

    def write(self, data: bytes) -> None:
        """Set the pointer, or write pairs of register and value."""
        if self._now() < self._ready_s:
            raise Nack
        self._finish()
        if len(data) == 1:
            self._pointer = data[0]
        for at in range(0, len(data) - 1, 2):
            self._set(data[at], data[at + 1])

    def read(self, length: int) -> bytes:
        """Read on from the pointer."""
        if self._now() < self._ready_s:
            raise Nack
        self._finish()
        end = self._pointer + length
        answer = bytes(self._memory[self._pointer : end]).ljust(length, b"\xff")
        self._pointer = end & 0xFF
        return answer

    def _set(self, register: int, value: int) -> None:
        if register == 0xE0:
            if value == 0xB6:
                self.power_up()
            return
        if register not in (_CONTROL_HUM, _CONTROL, _CONFIG):
            return
        self._memory[register] = value
        if register == _CONTROL:
            # The humidity's oversampling is taken over only now (unverified).
            self._osrs_h = self._memory[_CONTROL_HUM] & 7
            if value & 3:
                self._measured_s = self._now() + self._duration_s(value)
                self._memory[_STATUS] |= 8

    def _duration_s(self, control: int) -> float:
        """Return the longest time of a measurement (appendix B, unverified)."""
        times = [0, 1, 2, 4, 8, 16, 16, 16]
        t, p, h = times[control >> 5], times[control >> 2 & 7], times[self._osrs_h]
        more = (0.575 if p else 0.0) + (0.575 if h else 0.0)
        return (1.25 + 2.3 * (t + p + h) + more) / 1000 - EARLY_S

    def _finish(self) -> None:
        """Put a measurement that has ended into the data registers."""
        if self._measured_s is None or self._now() < self._measured_s:
            return
        control = self._memory[_CONTROL]
        self._memory[_STATUS] &= ~8 & 0xFF
        self._memory[_DATA : _DATA + 8] = self._measure(control)
        if control & 3 == 3:  # normal mode goes on by itself
            self._measured_s = self._now() + self._duration_s(control)
        else:
            self._measured_s = None
            self._memory[_CONTROL] = control & ~3

    def _measure(self, control: int) -> bytes:
        air, now_s, noise = self._air(), self._now(), self._random.gauss
        trimming = self.trimming
        temp_c = self._temp_lag.follow(air.temp_c, now_s) + SELF_HEATING_C
        rh_pct = min(self._rh_lag.follow(air.rh_pct, now_s), 100.0)
        rh_pct *= 1 - 0.06 * SELF_HEATING_C  # the same vapour in warmer air
        raw_t = inverse(
            trimming.temp_c, temp_c + self._temp_offset_c + noise(0, TEMP_NOISE_C), 20
        )
        fine = trimming.fine(raw_t)
        pressure_hpa = air.pressure_hpa + self._pressure_offset_hpa
        raw_p = inverse(
            lambda raw: trimming.pressure_hpa(raw, fine),
            pressure_hpa + noise(0, PRESSURE_NOISE_HPA),
            20,
        )
        rh_pct += self._rh_offset_pct + noise(0, RH_NOISE_PCT)
        raw_h = inverse(lambda raw: trimming.rh_pct(raw, fine), rh_pct, 16)
        raw_p = raw_p if control >> 2 & 7 else SKIPPED_20
        raw_t = raw_t if control >> 5 else SKIPPED_20
        raw_h = clip(raw_h, 0, 0xFFFF) if self._osrs_h else SKIPPED_16
        return (
            (raw_p << 4).to_bytes(3, "big")
            + (raw_t << 4).to_bytes(3, "big")
            + raw_h.to_bytes(2, "big")
        )
