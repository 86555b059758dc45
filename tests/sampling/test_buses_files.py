"""Files of the kernel: read off the loop, with a deadline and named failures."""

import os
import stat
from pathlib import Path
from time import perf_counter

import pytest

from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.bus_errors import (
    BlockedError,
    BusError,
    DeviceMissingError,
)
from cabinvigil.daemon.sampling.buses import KernelFile


async def test_a_kernel_file_is_read_off_the_loop(tmp_path: Path) -> None:
    """Its bytes come whole; a missing one names itself."""
    path = tmp_path / "w1_slave"
    path.write_bytes(b"t=25062\n")
    file = KernelFile(str(path))
    assert await file.read() == b"t=25062\n"
    path.unlink()
    with pytest.raises(DeviceMissingError, match="the sensor has left the wire"):
        await file.read()
    file.close()


async def test_a_kernel_file_that_hangs_meets_its_deadline(tmp_path: Path) -> None:
    """A read that does not come back fails at its deadline and later at once."""
    path = tmp_path / "w1_slave"
    os.mkfifo(path)  # opening it waits for a writer that never comes
    assert stat.S_ISFIFO(path.stat().st_mode)
    file = KernelFile(str(path), deadline_s=0.05)
    with pytest.raises(BlockedError, match="does not come back"):
        await file.read()
    start = perf_counter()
    with pytest.raises(BlockedError):
        await file.read()
    assert perf_counter() - start < 4.0
    with path.open("wb"):  # let the thread go
        pass
    file.close()


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path) -> None:
    """A directory in its place is refused with the kernel's own word."""
    file = KernelFile(str(tmp_path), blocking=False)
    with pytest.raises(BusError, match="Is a directory"):
        run_virtual(file.read())
    file.close()
