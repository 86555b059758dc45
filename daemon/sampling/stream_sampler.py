"""The sampler of a part on a serial line: it listens, asks where asked for, reopens.

The bytes come by themselves; what has to be watched is their absence, their noise,
and the port itself, which may vanish and come back under the same name.
"""

import asyncio
import math
from collections.abc import Callable

from cabinvigil.daemon.sampling.bus_errors import BusError
from cabinvigil.daemon.sampling.part_health import code_of
from cabinvigil.daemon.sampling.sampler import BACK_OFF_CAP_S, Sampler, SamplerContext
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.drivers.kit.steps import (
    CrcError,
    DriverError,
    FramingError,
    LengthError,
    Sample,
    ShortError,
)

OpenPort = Callable[[Callable[[bytes], None], Callable[[BusError], None]], SerialPort]
"""Makes the port, not yet open: `lambda on_bytes, on_gone: SerialPort(...)`."""

GARBLED = (CrcError, FramingError, LengthError, ShortError)
SETTLE_S = 10.0
"""After opening, half frames and boot text are no fault (table 14, row 15), and a port
that vanished may be back (row 18), unless the part's age limit is shorter."""
FAILURE_SHARE = 0.05
"""More garbled frames than this are a fault (table 14, row 17)."""
BITS_A_BYTE = 10
"""Start bit, eight data bits, stop bit."""
BABBLE_SHARE = 0.5
"""A line that is busy for more than half of the time without one good frame babbles:
the busiest part in sensors.md, 32 bytes each 0.2 s, keeps it busy for a sixth."""
FIRST_RETRY_S = 1.0
ERRORS_A_CALL = 8
"""Errors taken from one chunk; the rest comes with the next bytes."""


class StreamSampler(Sampler):
    """The sampler of a part on a serial line."""

    def __init__(self, placing: SamplerContext, open_port: OpenPort) -> None:
        """Place the part at its port."""
        super().__init__(placing, failure_share=FAILURE_SHARE)
        self._port = open_port(self._on_bytes, self._on_gone)
        self._retry_s = FIRST_RETRY_S
        self._opened_s = 0.0
        self._gone_s: float | None = None
        self._heard_s = 0.0
        self._asked_s = 0.0
        self._bytes_since = 0
        self._garbled_by = ""
        self._wrong_by: DriverError | None = None
        self._wrong_s = self._garbled_s = -math.inf
        self._is_silent = False
        self._bug: Exception | None = None
        self._patience_s = min(SETTLE_S, placing.info.max_age_s)

    async def run(self) -> None:
        """Listen for ever; ends only by being cancelled."""
        interval_s = self._info.interval_s
        try:
            while True:
                if not self._port.is_open and not await self._open():
                    await asyncio.sleep(self._retry_s)
                    continue
                self._port.write(self._codec.request())
                await asyncio.sleep(interval_s)
                if self._bug is not None:
                    # Raised once: one that is raised again and again would gather
                    # a traceback without end.
                    bug, self._bug = self._bug, None
                    raise bug
                self._judge()
        finally:
            await self._port.close()

    async def _open(self) -> bool:
        """Try to open the port; the first failure is told at once, or after a while."""
        try:
            await self._port.open()
        except BusError as error:
            now_s = self._clock.monotonic()
            if self._gone_s is None or now_s - self._gone_s >= self._patience_s:
                self._health.port_lost(error, now_s)
                self._retry_s = min(2 * self._retry_s, BACK_OFF_CAP_S)
            return False
        now_s = self._clock.monotonic()
        self._retry_s = FIRST_RETRY_S
        self._opened_s = self._heard_s = self._asked_s = now_s
        self._bytes_since = 0
        self._is_silent = False
        self._gone_s = None
        self._powered_up()
        self._port.write(self._codec.opening())
        return True

    def _on_gone(self, _error: BusError) -> None:
        """Take note that the open port failed; `run` opens it again."""
        self._gone_s = self._clock.monotonic()

    def _on_bytes(self, data: bytes) -> None:
        """Take what came; a codec's own mistake ends `run`, not the loop's callback."""
        try:
            self._feed(data)
        except Exception as bug:
            self._bug = bug

    def _feed(self, data: bytes) -> None:
        """Feed what came; deliver what is good, count what is not."""
        now_s = self._clock.monotonic()
        self._bytes_since += len(data)
        self._inform()
        for _ in range(ERRORS_A_CALL):
            try:
                samples: list[Sample] = self._codec.feed(data)
            except DriverError as error:
                data = b""  # what was good before the error comes with the next call
                self._wrong(error, now_s)
            else:
                if samples:
                    self._heard(samples, now_s)
                return

    def _heard(self, samples: list[Sample], now_s: float) -> None:
        if self._is_silent:
            # It may have been without power: say again how it is to work.
            self._is_silent = False
            self._powered_up()
            self._port.write(self._codec.opening())
        self._heard_s = now_s
        self._bytes_since = 0
        self._retry_s = FIRST_RETRY_S
        self._health.good(now_s)
        self._deliver(samples, now_s)

    def _wrong(self, error: DriverError, now_s: float) -> None:
        """Take note of a bad message: half ones while settling do not count."""
        if isinstance(error, GARBLED):
            self._garbled_by, self._garbled_s = error.code, now_s
            if now_s - self._opened_s >= SETTLE_S:
                self._health.garbled(error)
            return
        self._wrong_s, self._wrong_by = now_s, error
        if self._health.failed(error, now_s).set_up:
            self._ask_again(now_s)

    def _judge(self) -> None:
        """Report a fault where no reading has come for the part's stated age."""
        now_s = self._clock.monotonic()
        silence_s = now_s - self._heard_s
        if not self._port.is_open or silence_s <= self._info.max_age_s:
            return
        self._is_silent = True
        self._health.fault(*self._silence(now_s), now_s)
        self._ask_again(now_s)

    def _silence(self, now_s: float) -> tuple[str, str]:
        """Name what came instead of readings."""
        max_age_s, silence_s = self._info.max_age_s, now_s - self._heard_s
        if now_s - self._wrong_s <= max_age_s and self._wrong_by is not None:
            return code_of(self._wrong_by), str(self._wrong_by)
        capacity = silence_s * self._port.baud / BITS_A_BYTE
        if self._bytes_since > BABBLE_SHARE * capacity:
            return "babbling", f"{self._bytes_since} bytes without one message"
        if now_s - self._garbled_s <= max_age_s:
            code = "crc" if self._garbled_by == CrcError.code else "framing"
            return code, f"no message at {self._port.baud} baud"
        return "absent", f"no reading for {silence_s:.0f} s"

    def _ask_again(self, now_s: float) -> None:
        """Report the part again, now and then, how it is to work."""
        if now_s - self._asked_s >= self._retry_s:
            self._asked_s = now_s
            self._retry_s = min(2 * self._retry_s, BACK_OFF_CAP_S)
            self._port.write(self._codec.opening())
