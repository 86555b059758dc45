"""One line of the machine: set it, close it, ask whether it did what it was told.

A GPIO is found by its name (`GPIO17`), never by a chip's number: the header of one
Pi sits on another chip than that of the next.  A line that cannot be had is a named
error with its remedy; there is no silent stand-in.
"""

import errno
import glob
from collections.abc import Callable, Sequence
from contextlib import suppress
from enum import Enum
from typing import Any, Protocol

from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.libraries import put_in

CHIPS = "/dev/gpiochip*"

_REMEDIES = {
    errno.EACCES: "add the daemon's user to the group 'gpio' and restart it",
    errno.EPERM: "the unit's device list lacks 'DeviceAllow=char-gpiochip rw'",
    errno.EBUSY: "another program holds it: `gpioinfo` names it",
}


class LineError(CabinvigilError, OSError):
    """A line cannot be had or driven; the message says which, why, and the remedy."""

    exit_code = ExitCode.MACHINE_FAILED

    def __str__(self) -> str:
        return self.strerror or "the line cannot be driven"


class LineAlteredError(LineError):
    """Somebody else had changed a line; it is as it was set again."""


class LineCheck(Enum):
    """What a line says of itself, just before it is changed."""

    HEARD = "heard"
    """The sense line follows: the part at the far end does what it was told."""
    NOT_HEARD = "not-heard"
    DRIVEN = "driven"
    """The pin has the level it was set to; whether anything sounds is not known."""
    NOT_DRIVEN = "not-driven"
    CANNOT_TELL = "cannot-tell"

    @property
    def is_good(self) -> bool | None:
        """Whether it is as it should be; None where that cannot be told."""
        if self is LineCheck.CANNOT_TELL:
            return None
        return self in {LineCheck.HEARD, LineCheck.DRIVEN}


class GpioOut(Protocol):
    """What the buzzer and the light drive."""

    def set(self, *, on: bool) -> None:
        """Switch it.

        Raises:
            LineError: it could not be switched.
        """
        ...

    def close(self) -> None:
        """Switch it off, and let it go.  Never raises; may be called twice."""
        ...

    def self_test(self) -> LineCheck:
        """Return whether the line is what it was last set to; takes no time.

        Raises:
            LineError: it could not be read.
        """
        ...


class GpioLine:
    """A GPIO of the kernel's character device, with an optional sense line."""

    def __init__(
        self,
        name: str,
        request: Any,
        gpiod: Any,
        sense: str = "",
        take_sense: Callable[[], Any] | None = None,
    ) -> None:
        self._name = name
        self._request = request
        self._values = gpiod.line.Value
        self._sense_name = sense
        self._take_sense = take_sense
        self._sense: Any = None
        self._level = False
        self._is_open = True

    def set(self, *, on: bool) -> None:
        """Switch the pin; active-low wiring is the kernel's business."""
        value = self._values.ACTIVE if on else self._values.INACTIVE
        try:
            self._request.set_value(self._name, value)
        except OSError as error:
            raise line_error(self._name, "cannot be switched", error) from error
        self._level = on

    def close(self) -> None:
        """Leave the pin inactive, which is its safe state, and release it."""
        if not self._is_open:
            return
        self._is_open = False
        for step in (
            lambda: self._request.set_value(self._name, self._values.INACTIVE),
            self._request.release,
        ):
            try:
                step()
            except OSError:
                continue  # a pin that is gone is released already
        self._let_sense_go()

    def self_test(self) -> LineCheck:
        """Read the sense line where there is one, else the pin itself.

        A sense line that could not be had, or read, is taken again.
        """
        if self._take_sense is None:
            is_same = self._read(self._name, self._request) == self._level
            return LineCheck.DRIVEN if is_same else LineCheck.NOT_DRIVEN
        if self._sense is None:
            self._sense = self._take_sense()
        try:
            is_same = self._read(self._sense_name, self._sense) == self._level
        except LineError:
            self._let_sense_go()
            raise
        return LineCheck.HEARD if is_same else LineCheck.NOT_HEARD

    def _read(self, name: str, request: Any) -> bool:
        try:
            return bool(request.get_value(name) == self._values.ACTIVE)
        except OSError as error:
            raise line_error(name, "cannot be read", error) from error

    def _let_sense_go(self) -> None:
        sense, self._sense = self._sense, None
        if sense is not None:
            with suppress(OSError):
                sense.release()

    def hold_sense(self) -> None:
        """Take the sense line now, where there is one and it can be had."""
        if self._take_sense is not None:
            with suppress(LineError):  # `self_test` tells, and tries again
                self._sense = self._take_sense()


def open_gpio(
    name: str,
    *,
    active_low: bool = False,
    sense: str = "",
    sense_active_low: bool = False,
) -> GpioLine:
    """Take a GPIO by name as an output, silent, and its sense line as an input.

    A sense line that cannot be had is no reason to be mute: `self_test` tells of it.

    Raises:
        LineError: gpiod is missing, no such line, no permission, or it is in use.
    """
    gpiod = load_gpiod(name)
    out = gpiod.LineSettings(
        direction=gpiod.line.Direction.OUTPUT,
        active_low=active_low,
        output_value=gpiod.line.Value.INACTIVE,
    )
    request = line_request(gpiod, name, out)
    if not sense:
        return GpioLine(name, request, gpiod)
    into = gpiod.LineSettings(
        direction=gpiod.line.Direction.INPUT, active_low=sense_active_low
    )
    line = GpioLine(
        name, request, gpiod, sense, lambda: line_request(gpiod, sense, into)
    )
    line.hold_sense()
    return line


class EdgeLine:
    """A GPIO that is watched for presses."""

    def __init__(self, name: str, request: Any, gpiod: Any) -> None:
        self._name = name
        self._request = request
        self._rising = gpiod.EdgeEvent.Type.RISING_EDGE

    def wait(self, for_s: float) -> Sequence[tuple[bool, float]]:
        """Wait for edges, at most `for_s`: (is pressed, kernel's monotonic seconds).

        Raises:
            LineError: the line is gone.
        """
        try:
            if not self._request.wait_edge_events(for_s):
                return ()
            events = self._request.read_edge_events()
        except OSError as error:
            raise line_error(self._name, "cannot be monitored", error) from error
        return [(e.event_type == self._rising, e.timestamp_ns / 1e9) for e in events]

    def close(self) -> None:
        """Release it."""
        try:
            self._request.release()
        except OSError:
            return


def open_button(name: str, *, active_low: bool = True) -> EdgeLine:
    """Take a GPIO by name as an input with edges; active-low brings its pull-up.

    Raises:
        LineError: as `open_gpio`.
    """
    gpiod = load_gpiod(name)
    bias = gpiod.line.Bias.PULL_UP if active_low else gpiod.line.Bias.PULL_DOWN
    settings = gpiod.LineSettings(
        direction=gpiod.line.Direction.INPUT,
        edge_detection=gpiod.line.Edge.BOTH,
        bias=bias,
        active_low=active_low,
    )
    return EdgeLine(name, line_request(gpiod, name, settings), gpiod)


def load_gpiod(name: str) -> Any:
    """Return the library.

    Raises:
        LineError: it is not installed.
    """
    # Not at the top: it costs 4 MB, and a monitor without a GPIO does not need it.
    try:
        import gpiod
    except ImportError as error:
        raise LineError(
            errno.ENOSYS,
            f"GPIO line '{name}': the package gpiod is not installed; "
            "install it with " + put_in("'gpiod>=2.1'", "python3-libgpiod"),
        ) from error
    return gpiod


def line_request(gpiod: Any, name: str, settings: Any) -> Any:
    """Find the chip that has the line, and request it.

    Raises:
        LineError: no chip has it, or it cannot be taken.
    """
    paths = sorted(glob.glob(CHIPS))
    if not paths:
        raise LineError(
            errno.ENODEV,
            f"GPIO line '{name}': this machine shows no {CHIPS}; "
            f"is it a Pi, and does the kernel have its GPIO driver?",
        )
    for path in paths:
        try:
            with gpiod.Chip(path) as chip:
                chip.line_offset_from_id(name)
        except OSError as error:
            if error.errno in _REMEDIES:
                raise line_error(
                    name, f"cannot be looked up on {path}", error
                ) from error
            continue  # this chip has no line of that name
        try:
            return gpiod.request_lines(
                path, config={name: settings}, consumer="cabinvigil"
            )
        except OSError as error:
            raise line_error(name, f"cannot be taken from {path}", error) from error
    raise LineError(
        errno.ENOENT,
        f"GPIO line '{name}': none of {', '.join(paths)} has a line of that name; "
        f"`gpioinfo` lists the names",
    )


def line_error(name: str, what: str, error: OSError) -> LineError:
    """Name what a line cannot, and the remedy."""
    number = error.errno or errno.EIO
    remedy = _REMEDIES.get(number, "check its wiring and the kernel's log")
    return LineError(number, f"GPIO line '{name}' {what} ({error.strerror}); {remedy}")
