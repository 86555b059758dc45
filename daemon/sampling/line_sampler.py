"""The sampler of a contact on a line, whose wire a converter may watch.

What tells of a danger is delivered whatever else is wrong.  That all is at rest is
delivered only while the line is read and its wire, where it is watched, is whole: so a
contact that cannot be known is silent, and its silence rings.
"""

import asyncio
from collections.abc import Callable
from typing import Protocol

from cabinvigil.daemon.sampling.bus_errors import (
    BusError,
    DeviceMissingError,
    NoPermissionError,
    PortBusyError,
    PortGoneError,
)
from cabinvigil.daemon.sampling.buses import I2cBus, KernelFile
from cabinvigil.daemon.sampling.part_health import TRIES
from cabinvigil.daemon.sampling.sampler import (
    POLL_DEADLINE_S,
    FileSampler,
    SamplerContext,
    run_steps,
)
from cabinvigil.drivers.kit.steps import DriverError, Sample

LINE_DEADLINE_S = 1.0
"""For one look at a line: the kernel answers at once, an expander's within ms."""
LONGEST_WAIT_S = 1.0
"""Between two looks at a line that fails: what sounds meanwhile may not wait longer."""
WIRE_EVERY_S = 3.0
"""A cut wire is told within ten seconds, and a converter's other inputs have room: one
look takes half a second (our choice)."""


class LevelLine(Protocol):
    """A line of the machine that keeps its changes."""

    def levels(self) -> bytes:
        """Return how it stood since it was last asked.

        Raises:
            OSError: it is gone; its text says why, and the remedy.
        """
        ...

    def close(self) -> None:
        """Release it."""
        ...


def line_lost(error: OSError) -> BusError:
    """Name what a line failed by, in the words that it came with."""
    text = error.strerror or str(error)
    kind = {
        1: NoPermissionError,
        2: DeviceMissingError,
        13: NoPermissionError,
        16: PortBusyError,
    }.get(error.errno or 0, PortGoneError)
    return kind(error.errno or 0, text)


class LevelFile(KernelFile):
    """A line, read as a kernel's file is; taken with the first read, and again."""

    def __init__(
        self, name: str, opener: Callable[[], LevelLine], *, blocking: bool = True
    ) -> None:
        """Describe the line.

        Args:
            name: the line's.
            opener: takes it, or raises OSError.
            blocking: as for `I2cBus`.
        """
        super().__init__(name, deadline_s=LINE_DEADLINE_S, blocking=blocking)
        self._opener = opener
        self._line: LevelLine | None = None

    def _take(self) -> bytes:
        try:
            if self._line is None:
                self._line = self._opener()
            return self._line.levels()
        except OSError as error:
            self._release()
            raise line_lost(error) from error

    def _release(self) -> None:
        line, self._line = self._line, None
        if line is not None:
            line.close()

    def close(self) -> None:
        """Release the line, off the loop, and let the thread end."""
        if self._worker is None:
            self._release()
        else:
            self._worker.close(self._release)


class LineSampler(FileSampler):
    """The sampler of a contact."""

    def __init__(
        self,
        placing: SamplerContext,
        file: LevelFile,
        bus: I2cBus | None = None,
        address: int = 0,
    ) -> None:
        """Place the contact.

        Args:
            placing: as for every sampler.
            file: its line.
            bus: of the converter that watches its wire; None: nothing does.
            address: of that converter.
        """
        super().__init__(placing, file)
        self._bus, self._address = bus, address
        self._wire_fails = 0
        self._wire_error: DriverError | BusError | TimeoutError | None = None
        self._is_wire_closed = False
        self._lost: BusError | None = None

    async def run(self) -> None:
        """Look for ever; ends only by being cancelled."""
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(self._watch(), name=f"wire-{self.name}")
                await super().run()
        except ExceptionGroup as bugs:
            raise bugs.exceptions[0] from None

    def _wait_s(self) -> float:
        """Return the time to the next look: a contact that fails may still ring."""
        return min(super()._wait_s(), LONGEST_WAIT_S)

    def _failed(self, error: Exception) -> bool:
        """Take note of a failed look; a line that is lost is told at once."""
        if error is not self._lost or self._lost is None:
            return super()._failed(error)
        self._health.port_lost(self._lost, self._clock.monotonic())
        return False

    async def _ask(self) -> list[Sample]:
        wrong: BusError | DriverError | TimeoutError | None = self._wire_error
        samples: list[Sample] = []
        try:
            samples = await super()._ask()
        except BusError as error:
            wrong = self._lost = error
        except DriverError as error:
            wrong = error
        if self._is_wire_closed:
            samples = [Sample("contact", 1.0)]
        if wrong is None:
            # A wire that may be cut shows a line at rest: that is believed again only
            # once a look has found it whole; what tells of a danger is, whatever.
            is_sure = self._wire_fails == 0
            return [sample for sample in samples if sample.value or is_sure]
        if any(sample.value for sample in samples):
            self._deliver(samples, self._clock.monotonic())
        raise wrong

    async def _watch(self) -> None:
        """Look at the wire now and then; a part's own bug is told as any failure."""
        if self._bus is None:
            return
        while True:
            await self._look(self._bus)
            await asyncio.sleep(WIRE_EVERY_S)

    async def _look(self, bus: I2cBus) -> None:
        try:
            async with asyncio.timeout(POLL_DEADLINE_S), bus.exclusive(self._address):
                steps = self._codec.look()
                self._is_wire_closed = await run_steps(bus, self._address, steps)
        except (BusError, DriverError, TimeoutError) as error:
            self._wire_fails += 1
            if self._wire_fails >= TRIES:
                self._wire_error, self._is_wire_closed = error, False
        else:
            self._wire_fails, self._wire_error = 0, None
