"""A GPIO as an input whose every change is kept until it is asked for.

The message is that of `drivers.contact`: the level at first, each change with its
millisecond, and how long it all took.
"""

from collections.abc import Callable
from typing import Any

from cabinvigil.daemon.clock import edge_clock_ns
from cabinvigil.daemon.outputs.signal.gpio import line_error, line_request, load_gpiod

BUFFER = 64
"""Changes that the kernel keeps between two looks; of more the oldest are lost, and the
level now is still true."""
NS_A_MS = 1_000_000


class ContactLine:
    """One line, watched for its changes."""

    def __init__(
        self,
        name: str,
        request: Any,
        gpiod: Any,
        now_ns: Callable[[], int] = edge_clock_ns,
    ) -> None:
        """Begin to watch.

        Args:
            name: for messages.
            request: of the line, with both its edges.
            gpiod: the library.
            now_ns: the clock that stamps the edges.

        Raises:
            LineError: it cannot be read.
        """
        self._name = name
        self._request = request
        self._active = gpiod.line.Value.ACTIVE
        self._rising = gpiod.EdgeEvent.Type.RISING_EDGE
        self._now_ns = now_ns
        self._since_ns = now_ns()
        self._level = self._read()

    def _read(self) -> bool:
        try:
            return bool(self._request.get_value(self._name) == self._active)
        except OSError as error:
            raise line_error(self._name, "cannot be read", error) from error

    def _changes(self) -> list[tuple[bool, int]]:
        found: list[tuple[bool, int]] = []
        try:
            while len(found) < BUFFER and self._request.wait_edge_events(0.0):
                events = self._request.read_edge_events()
                found += [
                    (e.event_type == self._rising, e.timestamp_ns) for e in events
                ]
        except OSError as error:
            raise line_error(self._name, "cannot be monitored", error) from error
        return found

    def levels(self) -> bytes:
        """Return how the line stood since it was last asked.

        Raises:
            LineError: it is gone.
        """
        changes, level, end_ns = self._changes(), self._read(), self._now_ns()
        words, at_ns = [str(int(self._level))], self._since_ns
        for is_on, stamp_ns in changes:
            at_ns = min(max(at_ns, stamp_ns), end_ns)
            words.append(f"{is_on:d}@{(at_ns - self._since_ns) // NS_A_MS}")
        length_ms = (end_ns - self._since_ns) // NS_A_MS
        if (changes[-1][0] if changes else self._level) is not level:
            words.append(f"{level:d}@{length_ms}")  # its edge was lost, or is to come
        self._since_ns, self._level = end_ns, level
        return f"{' '.join(words)} ={length_ms}\n".encode()

    def close(self) -> None:
        """Release it."""
        try:
            self._request.release()
        except OSError:
            return


def open_contact(name: str, *, active_low: bool, pull: str) -> ContactLine:
    """Take a GPIO by name as an input whose changes are kept.

    Args:
        name: the line's.
        active_low: it is low while the contact tells of something.
        pull: `up`, `down` or `none`, the machine's own.

    Raises:
        LineError: as `open_gpio`.
    """
    gpiod = load_gpiod(name)
    bias = {
        "up": gpiod.line.Bias.PULL_UP,
        "down": gpiod.line.Bias.PULL_DOWN,
        "none": gpiod.line.Bias.DISABLED,
    }[pull]
    settings = gpiod.LineSettings(
        direction=gpiod.line.Direction.INPUT,
        edge_detection=gpiod.line.Edge.BOTH,
        bias=bias,
        active_low=active_low,
    )
    return ContactLine(name, line_request(gpiod, name, settings), gpiod)
