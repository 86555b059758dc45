"""Emulated modules that speak nine-byte frames: CO, O2 and NDIR CO2 (sensors.md 12)."""

from random import Random

from cabinvigil.daemon.rehearsal.emulated.cells import CoCell
from cabinvigil.daemon.rehearsal.emulated.ways import Drift, Lag, Now, See, clip

EVERY_S = 1.0
FRAME_BYTES = 9
UPLOAD = 0x40
PREHEAT_S = 30.0
"""CO: the sheet's preheat; O2: the same, our choice (no sheet was found)."""
T90_PER_TAU = 2.303


def check_byte(frame: bytes) -> int:
    """Return the negated sum of bytes 1 to 7 (manual of the CO module, p.5)."""
    return -sum(frame[1:8]) & 0xFF


def closed(frame: bytes) -> bytes:
    """Return the frame with its check as the ninth byte."""
    return frame + bytes([check_byte(frame)])


class Frames:
    """What they have in common: hunting for commands, and answering them."""

    def __init__(
        self, air: See, seed: int, now: Now, *, upload_byte: int = UPLOAD
    ) -> None:
        """Hang the module in the air and give it power.

        Args:
            air: what it hangs in.
            seed: of its own errors.
            now: the present in seconds.
            upload_byte: sets it to send by itself; another does so in other families.
        """
        self._air, self._now, self._upload_byte = air, now, upload_byte
        self._random = Random(seed)
        self._make()
        self.power_up()

    def _make(self) -> None:
        """Draw the module's own errors."""

    def power_up(self) -> None:
        """Start cold, in the mode of the factory."""
        self._inbox = b""
        self._on_s = self._now()
        self._due_s: float | None = self._on_s + EVERY_S

    def due_s(self) -> float | None:
        """Return when the next frame is due; None unless it uploads."""
        return self._due_s

    def send(self) -> bytes:
        """Return one frame and set the time of the next."""
        if self._due_s is not None:
            self._due_s += EVERY_S
        return self._upload()

    def receive(self, data: bytes) -> bytes:
        """Answer each whole command with a good check; skip what is none."""
        self._inbox = (self._inbox + data)[-4 * FRAME_BYTES :]
        answer = b""
        while (start := self._inbox.find(b"\xff\x01")) >= 0:
            frame = self._inbox[start : start + FRAME_BYTES]
            if len(frame) < FRAME_BYTES:
                break
            if check_byte(frame) == frame[8]:
                self._inbox = self._inbox[start + FRAME_BYTES :]
                answer += self._obey(frame[2], frame[3])
            else:
                self._inbox = self._inbox[start + 1 :]
        return answer

    def _obey(self, command: int, argument: int) -> bytes:
        if command == 0x86:
            return self._reply()
        if command == 0x78:
            self._due_s = (
                self._now() + EVERY_S if argument == self._upload_byte else None
            )
        return b""

    def _upload(self) -> bytes:
        raise NotImplementedError

    def _reply(self) -> bytes:
        raise NotImplementedError

    @property
    def _warm(self) -> float:
        """The share of the preheat that is over."""
        return min((self._now() - self._on_s) / PREHEAT_S, 1.0)


class EmulatedFrame9Co(Frames):
    """The CO module: 0 to 500 ppm in steps of 0.1, once a second."""

    GAS, UNIT, DECIMALS = 0x04, 0x03, 1
    T90_S = 30.0
    NOISE_PPM = 0.15
    """Standard deviation, our choice: one step and a half."""
    ZERO_PPM, GAIN_SPREAD = 0.4, 0.03
    """Own choice; no figure was found."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        decimals: int = DECIMALS,
        full_scale_ppm: float = 500.0,
        compensated: bool = False,
        upload_byte: int = UPLOAD,
    ) -> None:
        """Hang a module of this family in the air and give it power.

        Args:
            air: what it hangs in.
            seed: of its own errors.
            now: the present in seconds.
            decimals: of its counts: 1 where one is 0.1 ppm.
            full_scale_ppm: the end of its range.
            compensated: its own thermometer corrects it for cold.
            upload_byte: as of `Frames`.
        """
        self._decimals, self._compensated = decimals, compensated
        self._range = round(full_scale_ppm * 10**decimals)
        super().__init__(air, seed, now, upload_byte=upload_byte)

    def _make(self) -> None:
        self._zero_ppm = abs(self._random.gauss(0.0, self.ZERO_PPM))
        self._gain = self._random.gauss(1.0, self.GAIN_SPREAD)

    def power_up(self) -> None:
        """Start cold, uploading."""
        super().power_up()
        self._lag = Lag(self.T90_S / T90_PER_TAU)

    def _counts(self) -> int:
        air = self._air()
        lagged = self._lag.follow(air.co_ppm, self._now())
        cell_c = air.temp_c if air.cell_c is None else air.cell_c
        cold = 1.0 if self._compensated else CoCell.relative(cell_c)
        ppm = lagged * self._gain * cold * self._warm
        ppm += self._zero_ppm + self._random.gauss(0.0, self.NOISE_PPM)
        return clip(ppm * 10**self._decimals, 0, self._range)

    def _upload(self) -> bytes:
        head = bytes([0xFF, self.GAS, self.UNIT, self._decimals])
        values = self._counts().to_bytes(2, "big") + self._range.to_bytes(2, "big")
        return closed(head + values)

    def _reply(self) -> bytes:
        return closed(b"\xff\x86" + self._counts().to_bytes(2, "big") + bytes(4))


class EmulatedFrame9O2(Frames):
    """The electrochemical O2 module: 0 to 25 % in steps of 0.1, once a second.

    Its cell feels the partial pressure and was set to 20.9 % at 1013 hPa.
    """

    GAS, UNIT, DECIMALS, RANGE = 0x05, 0x04, 1, 250
    T90_S = 15.0
    NOISE_PCT = 0.03
    GAIN_SPREAD = 0.005
    """As of a cell set in fresh air not long ago; our choice."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        is_share: bool = False,
        upload_byte: int = UPLOAD,
    ) -> None:
        """Hang the module in the air; see `own_figures`."""
        self._is_share = is_share
        super().__init__(air, seed, now, upload_byte=upload_byte)

    def _make(self) -> None:
        self._gain = self._random.gauss(1.0, self.GAIN_SPREAD)
        self._drift = Drift(self._random, 0.05, 6 * 3600.0)

    def power_up(self) -> None:
        """Start uploading."""
        super().power_up()
        self._lag = Lag(self.T90_S / T90_PER_TAU)

    def _counts(self) -> int:
        air, now_s = self._air(), self._now()
        share = 1.0 if self._is_share else air.pressure_hpa / 1013.25
        felt = self._lag.follow(air.o2_pct * share, now_s)
        noise = self._random.gauss(0.0, self.NOISE_PCT) + self._drift.at(now_s)
        return clip((felt * self._gain + noise) * 10, 0, self.RANGE)

    def _upload(self) -> bytes:
        head = bytes([0xFF, self.GAS, self.UNIT, self.DECIMALS])
        values = self._counts().to_bytes(2, "big") + self.RANGE.to_bytes(2, "big")
        return closed(head + values)

    def _reply(self) -> bytes:
        return closed(b"\xff\x86" + self._counts().to_bytes(2, "big") + bytes(4))


class EmulatedFrame9Co2(Frames):
    """The NDIR CO2 module: answers when asked, 400 to 5000 ppm in steps of 1."""

    T90_S = 120.0
    RANGE = 5000
    WARM_UP_S = 60.0
    WARM_UP_PPM = 410
    """A fixed value is sent before (unverified)."""
    OFFSET_SPREAD_PPM, GAIN_SPREAD = 50.0 / 3, 0.05 / 3
    """+-(50 ppm + 5 %) (unverified), read as three deviations."""
    NOISE_PPM = 4.0
    PER_HPA = 0.0016
    """+1.6 %/kPa, not compensated (sensors.md 12)."""

    def __init__(
        self, air: See, seed: int, now: Now, *, full_scale_ppm: float = RANGE
    ) -> None:
        """Hang the module in the air; see `own_figures`."""
        self._range = round(full_scale_ppm)
        super().__init__(air, seed, now)

    def _make(self) -> None:
        self._offset_ppm = self._random.gauss(0.0, self.OFFSET_SPREAD_PPM)
        self._gain = self._random.gauss(1.0, self.GAIN_SPREAD)

    def span(self) -> None:
        """Be set in fresh air, as on the evening: only noise remains."""
        self._offset_ppm, self._gain = 0.0, 1.0

    def power_up(self) -> None:
        """Start cold; self-calibration is on again."""
        super().power_up()
        self._due_s = None
        self.self_calibration = True
        self._lag = Lag(self.T90_S / T90_PER_TAU)

    def _obey(self, command: int, argument: int) -> bytes:
        if command == 0x79:
            self.self_calibration = argument == 0xA0
            return b""
        if command == 0x87:
            self._offset_ppm -= self._ppm() - 400.0
            return b""
        return self._reply() if command == 0x86 else b""

    def _upload(self) -> bytes:
        return self._reply()

    def _ppm(self) -> float:
        air = self._air()
        lagged = self._lag.follow(air.co2_ppm, self._now())
        thin = 1.0 + self.PER_HPA * (air.pressure_hpa - 1013.25)
        noise_ppm = self._random.gauss(0.0, self.NOISE_PPM)
        return lagged * self._gain * thin + self._offset_ppm + noise_ppm

    def _reply(self) -> bytes:
        is_warm = self._now() - self._on_s >= self.WARM_UP_S
        counts = clip(self._ppm(), 0, self._range) if is_warm else self.WARM_UP_PPM
        inside = bytes([clip(self._air().temp_c + 40.0, 0, 255)])
        return closed(b"\xff\x86" + counts.to_bytes(2, "big") + inside + bytes(3))
