"""One task a part: set it up, ask it at its interval, deliver what it says.

A value is delivered once, when it has come, or not at all: a failed try delivers
nothing, so that a part's last number never outlives it.  Whether a value is missed
is the rules' business; here each failure is told as a fault of the part, or, when
the whole bus has failed, once as a fault of the bus.
"""

import asyncio
import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.sampling.bus_errors import (
    BusError,
    BusStuckError,
    DeviceMissingError,
    NoAnswerError,
    stuck_text,
)
from cabinvigil.daemon.sampling.buses import I2cBus, KernelFile
from cabinvigil.daemon.sampling.part_health import TRIES, PartHealth, Tell
from cabinvigil.drivers.kit.steps import (
    DriverError,
    NotReadyError,
    PartInfo,
    Sample,
    Transfer,
)

T = TypeVar("T")

TRY_AGAIN_S = 0.05
"""Between tries in a round (sensors.md, section 14: 'RETRY (3 tries, 50 ms apart)')."""
BACK_OFF_CAP_S = 30.0
"""Longest wait for a part that fails; its return is noticed within this.  Our own
choice: half a minute of silence more after a ten-minute absence is no loss."""
POLL_DEADLINE_S = 5.0
"""For one try of one poll.  The longest, three conversions of an ADS1115, takes 0.42 s;
the rest is waiting for the bus."""
SET_UP_DEADLINE_S = 15.0
"""For one set-up.  The longest, an SCD4x that keeps its settings, takes 1.4 s; the rest
is waiting for the bus, where others are set up too."""
STEPS_LIMIT = 500
"""Transfers in one poll or set-up; more means a codec that never ends."""
NOT_READY_SHARE = 0.2
"""Of the interval, the wait for a part that has no new value yet; so its values are
fetched soon after they are made."""
WARMING_UP = "warming up"


@dataclass(frozen=True, slots=True)
class SamplerContext:
    """What every sampler is told of its part."""

    name: str
    """The part's name in the config."""
    info: PartInfo
    """The registry's entry, its interval and ages as the config has them."""
    codec: Any
    """What `info.make` made: a `PolledPart` or a `StreamPart`."""
    clock: Clock
    on_reading: Callable[[str, list[Sample], float], None]
    """Takes the part's name, what it gave, and when the bytes had arrived."""
    on_event: Tell
    """Takes the part's faults and their ends."""
    lookup: Callable[[str], float | None] = lambda _quantity: None
    """Another part's fresh value of a quantity that this one needs, or None."""


FORGET_S = 600.0
"""What another part has not given for ten minutes is told as unknown: weather moves the
pressure by 1 hPa in that time, 0.02 % of oxygen, and 40 hPa in a day (our choice)."""


class TooManyStepsError(TimeoutError):
    """A codec asks for transfers without end."""


async def run_steps(
    bus: I2cBus,
    address: int,
    steps: Generator[Transfer, bytes, T],
    on_reply: Callable[[bytes], None] = lambda _reply: None,
    *,
    refused: tuple[type[BusError], ...] = (),
) -> T:
    """Play one generator of transfers on a bus and return what it returns.

    Args:
        bus: where the part hangs.
        address: the part's.
        steps: what to send, and what to make of the replies.
        on_reply: takes each reply.
        refused: the errors that count as an empty answer, and go on.

    Raises:
        BusError: a transfer failed.
        DriverError: the codec cannot use what came.
        TooManyStepsError: it asked for more than `STEPS_LIMIT` transfers.
    """
    try:
        transfer = next(steps)
        for _ in range(STEPS_LIMIT):
            try:
                reply = await bus.transfer(address, transfer)
            except refused:
                reply = b""
            if reply:
                on_reply(reply)
            transfer = steps.send(reply)
    except StopIteration as end:
        return end.value  # type: ignore[no-any-return]  # the generator's own T
    finally:
        steps.close()
    raise TooManyStepsError(f"more than {STEPS_LIMIT} transfers")


class Sampler(ABC):
    """What all samplers share: delivery, warm-up, health."""

    def __init__(self, placing: SamplerContext, *, failure_share: float = 0.01) -> None:
        """Take the part's placing; `run` starts the work."""
        self.placing = placing
        self.name = placing.name
        self._info, self._codec = placing.info, placing.codec
        self._clock = placing.clock
        self._warm_at_s = placing.clock.monotonic() + placing.info.warm_up_s
        self._told_s: dict[str, float] = {}
        """When each quantity that the part needs was last known."""
        self._health = PartHealth(
            placing.name,
            placing.info.title,
            interval_s=placing.info.interval_s,
            max_age_s=placing.info.max_age_s,
            tell=placing.on_event,
            share=failure_share,
        )

    @abstractmethod
    async def run(self) -> None:
        """Sample for ever; ends only by being cancelled."""

    def stumbled(self, bug: Exception, and_then: str) -> None:
        """Report that a bug of the part's own file has ended `run`."""
        text = (
            f"its driver had an internal error ({type(bug).__name__}: "
            f"{str(bug)[:80]}){and_then}"
        )
        self._health.stumbled(text, self._clock.monotonic())

    def _inform(self) -> None:
        """Hand the part what it needs from others, where that is fresh."""
        now = self._clock.monotonic()
        for quantity in self._info.needs:
            value = self.placing.lookup(quantity)
            if value is not None:
                self._told_s[quantity] = now
                self._codec.inform(quantity, value)
            elif now - self._told_s.get(quantity, now) >= FORGET_S:
                del self._told_s[quantity]
                self._codec.inform(quantity, math.nan)

    def _powered_up(self) -> None:
        """Start the warm-up: the part has come, or come back, from being without power.

        Whether it truly was without cannot be seen from here, so it is assumed.
        """
        self._warm_at_s = self._clock.monotonic() + self._info.warm_up_s

    def _deliver(self, samples: list[Sample], at_s: float) -> None:
        """Hand on what came; before the part is warm, as not to be relied on."""
        if at_s < self._warm_at_s:
            # A value at full scale stays 'at least': warm or not, it is that high.
            samples = [
                replace(sample, quality="outside-range", reason=WARMING_UP)
                if sample.quality == "good"
                else sample
                for sample in samples
            ]
        if samples:
            self.placing.on_reading(self.name, samples, at_s)


class _RoundSampler(Sampler):
    """A sampler that asks: rounds of tries at an interval, with back-off."""

    def __init__(self, placing: SamplerContext) -> None:
        super().__init__(placing)
        self._needs_set_up = True
        self._bad_rounds = 0
        self._reply = b""
        self._is_not_ready = False
        self._may_start_up = False

    @abstractmethod
    async def _ask(self) -> list[Sample]:
        """Ask the part once; set it up first where `_needs_set_up`."""

    def _needs_it_again(self) -> None:
        """Ask for a set-up, since the part may have lost its mode."""
        self._needs_set_up = True

    def _bus_failed(self, error: BusError) -> bool:  # noqa: ARG002
        """Return whether the whole bus has failed, not this part; tell it once."""
        return False

    def _bus_works(self) -> None:
        """Take note that the bus works."""

    async def run(self) -> None:
        """Ask at the interval for ever; ends only by being cancelled."""
        due_s = self._clock.monotonic()
        while True:
            await self._round()
            now_s = self._clock.monotonic()
            wait_s = self._wait_s()
            due_s += wait_s
            if due_s <= now_s:  # late, or asleep: no burst of polls to catch up
                due_s = now_s + wait_s
            await asyncio.sleep(due_s - now_s)

    def _wait_s(self) -> float:
        """Return the time to the next round: the interval, or more while failing."""
        interval_s = self._info.interval_s
        if self._may_start_up and not self._health.is_faulty:
            return self._info.start_up_s  # it may just have got its power
        if self._is_not_ready:
            return interval_s * (1.0 if self._health.is_faulty else NOT_READY_SHARE)
        cap_s = max(interval_s, BACK_OFF_CAP_S)
        return float(min(interval_s * 2.0 ** min(self._bad_rounds, 16), cap_s))

    async def _round(self) -> None:
        """Try until there is a reading, at most `TRIES` times."""
        for attempt in range(TRIES):
            if attempt:
                await asyncio.sleep(TRY_AGAIN_S)
            self._reply = b""
            try:
                samples = await self._ask()
            except (BusError, DriverError, TimeoutError) as error:
                if not self._failed(error):
                    break
            else:
                at_s = self._clock.monotonic()
                self._bad_rounds = 0
                self._is_not_ready = self._may_start_up = False
                self._bus_works()
                self._health.good(at_s)
                self._deliver(samples, at_s)
                return
        is_bad = self._health.is_faulty or self._needs_set_up
        if is_bad and not self._is_not_ready:
            self._bad_rounds += 1

    def _failed(self, error: Exception) -> bool:
        """Take note of a failed try; say whether to try again in this round."""
        self._is_not_ready = isinstance(error, NotReadyError)
        self._may_start_up = isinstance(error, NoAnswerError | DeviceMissingError)
        if isinstance(error, BusError):
            if self._bus_failed(error):
                self._health.bus_lost()
                self._needs_set_up = True
                return False
        else:
            self._bus_works()
        remedy = self._health.failed(error, self._clock.monotonic(), self._reply)
        if remedy.set_up:
            self._needs_it_again()
        return remedy.again


class PolledSampler(_RoundSampler):
    """The sampler of a part on I2C."""

    def __init__(self, placing: SamplerContext, bus: I2cBus, address: int) -> None:
        """Place the part at an address of a bus."""
        super().__init__(placing)
        self._bus = bus
        self._address = address
        self._has_lost_mode = False

    async def _ask(self) -> list[Sample]:
        async with self._bus.exclusive(self._address):
            if self._needs_set_up:
                await self._set_up()
            self._inform()
            async with asyncio.timeout(POLL_DEADLINE_S):
                samples: list[Sample] = await self._play(self._codec.poll())
        return samples

    async def _set_up(self) -> None:
        async with asyncio.timeout(SET_UP_DEADLINE_S):
            await self._play(self._codec.setup())
        self._needs_set_up = False
        self._health.set_up(self._clock.monotonic(), again=self._has_lost_mode)
        self._has_lost_mode = False
        self._powered_up()

    async def _play(self, steps: Generator[Transfer, bytes, T]) -> T:
        return await run_steps(self._bus, self._address, steps, self._keep)

    def _keep(self, reply: bytes) -> None:
        self._reply = reply

    def _needs_it_again(self) -> None:
        self._needs_set_up = True
        self._has_lost_mode = True

    def _bus_failed(self, error: BusError) -> bool:
        if isinstance(error, NoAnswerError):  # the lines move: the bus works
            self._bus_works()
            return False
        if not error.whole_bus and not self._bus.all_fail_alike:
            return False
        if not error.whole_bus:
            error = BusStuckError(error.errno or 0, stuck_text(self._bus.device))
        if self._bus.told != error.kind:
            self._bus.told = error.kind
            text = f"{self._bus.name}: {error}"
            self.placing.on_event(SourceFault(self._bus.name, error.kind, text))
        return True

    def _bus_works(self) -> None:
        if self._bus.told is not None:
            self._bus.told = None
            self.placing.on_event(SourceOk(self._bus.name))


class FileSampler(_RoundSampler):
    """The sampler of a part that the kernel reads for us, as a text file."""

    def __init__(self, placing: SamplerContext, file: KernelFile) -> None:
        """Place the part at its file."""
        super().__init__(placing)
        self._file = file

    async def run(self) -> None:
        """Read at the interval for ever; ends only by being cancelled."""
        try:
            await super().run()
        finally:
            self._file.close()

    async def _ask(self) -> list[Sample]:
        data = await self._file.read()
        self._inform()
        samples: list[Sample] = self._codec.feed(data)
        if self._needs_set_up:
            self._needs_set_up = False
            self._powered_up()
        if not samples:
            raise NotReadyError("the file holds no reading")
        return samples
