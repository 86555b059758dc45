"""An emulated optical O2 module that speaks ASCII lines (sensors.md 11)."""

from random import Random

from cabinvigil.daemon.air.moisture import rh_pct, vapour_hpa
from cabinvigil.daemon.rehearsal.emulated.ways import Drift, Lag, Now, See

EVERY_S = 1.0
LAG_S = 30.0 / 2.303
"""From t90 < 30 s of a first-order lag."""
SPREAD_HPA = 2.0
"""+-2 % of 300 mbar read as three standard deviations."""
NOISE_HPA = 0.15
"""Standard deviation; with a step of 0.1 mbar (our choice, no figure was found)."""
DRIFT_HPA, DRIFT_TAU_S = 0.4, 6 * 3600.0
"""A slow walk within the class; our choice."""
PRESSURE_SPREAD_HPA = 5.0 / 3
START_UP_S = 1.0
LINE_BYTES = 20
"""The longest command is far shorter; more without an end is an overflow."""
WET_RH_PCT = 100.0
"""In fog, water on the disc blocks it: the value stands still (sensors.md 11)."""


class EmulatedO2Line:
    """One module, streaming a line a second from power-up on."""

    def __init__(
        self, air: See, seed: int, now: Now, *, has_pressure_cell: bool = True
    ) -> None:
        """Hang the module in the air and give it power."""
        self._air, self._now = air, now
        self._random = random = Random(seed)
        self._has_pressure_cell = has_pressure_cell
        self._gain = 1.0 + random.gauss(0.0, SPREAD_HPA) / 212.0
        self._drift = Drift(random, DRIFT_HPA, DRIFT_TAU_S)
        self._pressure_offset_hpa = random.gauss(0.0, PRESSURE_SPREAD_HPA)
        self._serial = (random.randrange(65536), random.randrange(65536))
        self.status = 0
        """What follows `e`; 0 is good."""
        self.power_up()

    def span(self) -> None:
        """Be spanned in fresh air, as on the evening: only noise and drift remain."""
        self._gain = 1.0

    def power_up(self) -> None:
        """Start in stream mode."""
        self._mode = 0
        self._inbox = b""
        self._lag = Lag(LAG_S)
        self._o2_hpa = 0.0
        self._due_s: float | None = self._now() + START_UP_S

    def due_s(self) -> float | None:
        """Return when the next line is due; None unless it streams."""
        return self._due_s

    def send(self) -> bytes:
        """Return one line and set the time of the next."""
        if self._due_s is not None:
            self._due_s += EVERY_S
        return self._all()

    def receive(self, data: bytes) -> bytes:
        """Answer each whole command line."""
        self._inbox += data
        answer = b""
        while b"\n" in self._inbox:
            line, self._inbox = self._inbox.split(b"\n", 1)
            answer += self._answer(line.strip())
        if len(self._inbox) > LINE_BYTES:
            self._inbox = b""
            answer += b"E 00000\r\n"
        return answer

    def _answer(self, line: bytes) -> bytes:
        if line in (b"M 0", b"M 1", b"M 2"):
            self._mode = int(line[2:])
            self._due_s = self._now() + EVERY_S if self._mode == 0 else None
            return b"M 0%d\r\n" % self._mode
        if line == b"A":
            return self._all()
        if line == b"# 1":
            return b"# %05d %05d\r\n" % self._serial
        fields = dict(zip((b"O", b"T", b"P", b"%", b"e"), self._fields(), strict=True))
        if line in fields:
            return line + b" " + fields[line].encode() + b"\r\n"
        return b"E 00003\r\n" if line[:1] in (b"M", b"#") else b"E 00001\r\n"

    def _all(self) -> bytes:
        return "O {} T {} P {} % {} e {}\r\n".format(*self._fields()).encode()

    def _fields(self) -> tuple[str, str, str, str, str]:
        air, now_s = self._air(), self._now()
        lagged_hpa = self._lag.follow(air.o2_pct / 100 * air.pressure_hpa, now_s)
        disc_c, wet_pct = air.temp_c, air.rh_pct
        if air.cell_c is not None:
            disc_c = air.cell_c
            wet_pct = rh_pct(disc_c, vapour_hpa(air.temp_c, air.rh_pct))
        if wet_pct <= WET_RH_PCT or not self._o2_hpa:
            noise_hpa = self._random.gauss(0.0, NOISE_HPA) + self._drift.at(now_s)
            self._o2_hpa = max(lagged_hpa * self._gain + noise_hpa, 0.0)
        pressure_hpa = air.pressure_hpa + self._pressure_offset_hpa
        pressure, percent = "----", "------"
        if self._has_pressure_cell:
            pressure = f"{pressure_hpa:04.0f}"
            percent = f"{self._o2_hpa / pressure_hpa * 100:06.2f}"
        oxygen, temp = f"{self._o2_hpa:06.1f}", f"{disc_c:+05.1f}"
        return oxygen, temp, pressure, percent, f"{self.status:04d}"
