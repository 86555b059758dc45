"""An emulated infrared CO2 module that speaks Modbus, as the S8 and K30 families do."""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import Lag, Now, See, clip

ANY_UNIT = 0xFE
REQUEST_BYTES = 8
T90_S, T90_PER_TAU = 120.0, 2.303
NOISE_PPM = 4.0
OFFSET_SPREAD_PPM, GAIN_SPREAD = 30.0 / 3, 0.05 / 3
"""+-30 ppm +-5 % (a maker's sheet), read as three deviations."""
PER_HPA = 0.0016
"""+1.6 % a kPa, not compensated (the same)."""
PERIOD_H = 180
"""HR32 as delivered: self-calibration each week and a half."""
BACKGROUND_PPM = 400.0


def check_bytes(data: bytes) -> bytes:
    """Return the check of a Modbus frame, low byte first (polynomial a001)."""
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            carry = register & 1
            register >>= 1
            if carry:
                register ^= 0xA001
    return register.to_bytes(2, "little")


class EmulatedModbusCo2:
    """One module: input registers 0 to 3, holding registers 0, 1 and 31."""

    def __init__(
        self, air: See, seed: int, now: Now, *, full_scale_ppm: float = 10000.0
    ) -> None:
        """Hang the module in the air and give it power."""
        self._air, self._now, self._range = air, now, round(full_scale_ppm)
        self._random = random = Random(seed)
        self._offset_ppm = random.gauss(0.0, OFFSET_SPREAD_PPM)
        self._gain = random.gauss(1.0, GAIN_SPREAD)
        self.period_h = PERIOD_H
        """Kept through a loss of power."""
        self.fails = 0
        """Bits of its status."""
        self.power_up()

    def power_up(self) -> None:
        """Start cold."""
        self._inbox = b""
        self._acknowledged = 0
        self._lag = Lag(T90_S / T90_PER_TAU)

    def due_s(self) -> float | None:
        """Return None: it only answers."""
        return None

    def send(self) -> bytes:
        """Return what it would answer to a question for all its input registers."""
        return self._read_input(0, 4)

    def receive(self, data: bytes) -> bytes:
        """Answer each whole question with a good check; skip what is none."""
        self._inbox = (self._inbox + data)[-4 * REQUEST_BYTES :]
        answer = b""
        while len(self._inbox) >= REQUEST_BYTES:
            frame = self._inbox[:REQUEST_BYTES]
            is_good = frame[0] == ANY_UNIT and check_bytes(frame[:6]) == frame[6:]
            self._inbox = self._inbox[REQUEST_BYTES if is_good else 1 :]
            if is_good:
                answer += self._obey(frame)
        return answer

    def _obey(self, frame: bytes) -> bytes:
        function = frame[1]
        register = int.from_bytes(frame[2:4], "big")
        word = int.from_bytes(frame[4:6], "big")
        if function == 0x04 and word >= 1 and register + word <= 4:
            return self._read_input(register, word)
        if function == 0x03 and word == 1 and register in (0, 31):
            held = self.period_h if register else self._acknowledged
            return self._closed(b"\x03\x02" + held.to_bytes(2, "big"))
        if function == 0x06 and register in (0, 1, 31):
            self._set(register, word)
            return frame
        known = function in (0x03, 0x04, 0x06)
        return self._closed(bytes([function | 0x80, 0x02 if known else 0x01]))

    def _set(self, register: int, word: int) -> None:
        if register == 31:
            self.period_h = word
        elif register == 0:
            self._acknowledged = word
        elif word == 0x7C06:
            self._offset_ppm -= self._shown_ppm() - BACKGROUND_PPM
            self._acknowledged |= 0x20

    def _read_input(self, register: int, count: int) -> bytes:
        ppm = self._shown_ppm()
        status = self.fails | (0x20 if ppm > self._range else 0)
        words = (status, 0, 0, clip(ppm, 0, self._range))[register : register + count]
        body = b"".join(word.to_bytes(2, "big") for word in words)
        return self._closed(bytes([0x04, len(body)]) + body)

    def _closed(self, body: bytes) -> bytes:
        frame = bytes([ANY_UNIT]) + body
        return frame + check_bytes(frame)

    def _shown_ppm(self) -> float:
        air = self._air()
        lagged = self._lag.follow(air.co2_ppm, self._now())
        thin = 1.0 + PER_HPA * (air.pressure_hpa - 1013.25)
        noise_ppm = self._random.gauss(0.0, NOISE_PPM)
        return lagged * self._gain * thin + self._offset_ppm + noise_ppm
