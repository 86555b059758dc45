"""The wires to the parts: serial ports.  The only file that imports pyserial."""

import asyncio
import os
import termios
from collections.abc import Callable
from contextlib import suppress
from functools import partial

import serial

from cabinvigil.daemon.sampling.bus_errors import (
    BlockedError,
    BusError,
    PortGoneError,
    no_thread_error,
    serial_open_error,
)
from cabinvigil.daemon.threads.worker import NoThreadError, OverdueError, Worker

OPEN_DEADLINE_S = 5.0
"""For opening a serial port.  A healthy adapter takes some milliseconds; one whose
control transfers time out takes 5 s for each (Linux's USB_CTRL_GET_TIMEOUT, from
memory).  Own choice."""
CLOSE_DEADLINE_S = 1.0
"""So long is waited for a port to be closed, so that the next can open it."""
READ_BYTES = 4096
"""Taken from a serial port at once: four seconds of 9600 baud, so that one line that
never stops does not keep the loop from the others."""


class SerialPort:
    """One serial port: opened and closed off the loop, read whenever it sees bytes.

    Opening and closing are ioctls of the adapter's driver, which may wait for seconds
    for an adapter that fails.  Writing never waits.
    """

    def __init__(
        self,
        path: str,
        baud: int,
        on_bytes: Callable[[bytes], None],
        on_gone: Callable[[BusError], None],
        *,
        after_write: Callable[[int], None] | None = None,
        deadline_s: float = OPEN_DEADLINE_S,
        blocking: bool = True,
    ) -> None:
        """Describe the port; `open` opens it.

        Args:
            path: the device file, best a stable one under `/dev/serial`.
            baud: the part's speed; 8 data bits, no parity, 1 stop bit.
            on_bytes: called with whatever arrived.
            on_gone: called once when the open port fails; the port is closed then.
            after_write: called after each write with the number of bytes; an
                emulated part answers here.
            deadline_s: for opening it, in seconds.
            blocking: as for `I2cBus`.
        """
        self.path = path
        self.baud = baud
        self._on_bytes = on_bytes
        self._on_gone = on_gone
        self._after_write = after_write
        self._deadline_s = deadline_s
        # A port is opened and closed seldom: it keeps no thread.
        self._worker = Worker(f"port-{path}", stays=False) if blocking else None
        self._port: serial.Serial | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    @property
    def is_open(self) -> bool:
        """Whether the port is open."""
        return self._port is not None

    async def open(self) -> None:
        """Open the port for us alone and watch it.

        Raises:
            BusError: as named in `bus_errors`.
        """
        try:
            port = await self._opened()
        except NoThreadError as error:
            raise no_thread_error(self.path, error) from None
        except OverdueError:
            raise BlockedError(0, self._stuck_text()) from None
        except (OSError, ValueError, termios.error) as error:
            raise serial_open_error(self.path, error) from error
        self._port = port
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(port.fileno(), self._readable)

    async def _opened(self) -> serial.Serial:
        def work() -> serial.Serial:
            return serial.Serial(self.path, self.baud, timeout=0, exclusive=True)

        if self._worker is None:
            return work()
        return await self._worker.call(work, self._deadline_s, self._put_away)

    def _stuck_text(self) -> str:
        hanging = self._worker.hanging if self._worker is not None else 0
        times = f", {hanging} times" if hanging > 1 else ""
        return (
            f"opening the serial port {self.path} does not come back{times}: plug its "
            "adapter out and in, and replace the adapter if it stays so"
        )

    def _readable(self) -> None:
        if self._port is None:
            return
        try:
            data = self._port.read(READ_BYTES)
        except (OSError, termios.error) as error:
            self._gone(error)
            return
        if data:
            self._on_bytes(data)

    def write(self, data: bytes) -> None:
        """Send bytes at once; a port that cannot take them is treated as gone."""
        if self._port is None or not data:
            return
        try:
            # Not Serial.write: on a full buffer it spins for ever with a zero
            # time-out (pyserial 3.5), and the loop with it.
            sent = os.write(self._port.fileno(), data)
        except (OSError, termios.error) as error:
            self._gone(error)
            return
        if sent < len(data):
            self._gone(OSError(0, "it takes no more bytes"))
        elif self._after_write is not None:
            self._after_write(sent)

    def _gone(self, error: Exception) -> None:
        port = self._unwatch()
        if port is not None:
            self._put_away(port)
        number = getattr(error, "errno", None) or 0
        text = f"the serial port {self.path} has vanished: plug it in again"
        self._on_gone(PortGoneError(number, text))

    def _unwatch(self) -> serial.Serial | None:
        """Stop watching the port; return it, to be closed."""
        if self._port is None or self._loop is None:
            return None
        port, self._port = self._port, None
        self._loop.remove_reader(port.fileno())
        return port

    def _put_away(self, port: serial.Serial) -> None:
        """Close a port, and do not wait for it."""
        if self._worker is None:
            _close_port(port)
        else:
            self._worker.post(partial(_close_port, port))

    async def close(self) -> None:
        """Stop watching and close; where closing hangs, it is left to its thread."""
        port = self._unwatch()
        if self._worker is None:
            if port is not None:
                _close_port(port)
            return
        if port is not None:
            with suppress(OverdueError):
                await self._worker.call(partial(_close_port, port), CLOSE_DEADLINE_S)
        self._worker.close()


def _close_port(port: serial.Serial) -> None:
    try:
        # Bytes still to be sent would make close() wait for them.
        port.reset_output_buffer()
    except (OSError, termios.error):
        pass  # the device is gone, and so are its bytes
    finally:
        port.close()
