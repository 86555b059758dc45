"""Finding frames and lines in a serial stream, whatever lies between them.

A stream may start in the middle of a frame, lose bytes and carry noise.  The hunters
hold at most one frame, step on by one byte after a false start, and so find a good
frame as soon as its last byte has come.
"""

from collections.abc import Callable

from cabinvigil.drivers.kit.steps import DriverError, FramingError, Sample, ShortError

PATIENCE_FRAMES = 8
"""Junk of this many frames' length without a good one is told (again): at the wrong
speed or on the wrong port nothing else would ever be.  Own choice: short enough to be
told within some seconds, long enough for boot text to pass."""

Found = bytes | DriverError


class FrameHunter:
    """Finds frames that begin with `start` and pass `check`.

    They have one size, or tell it by their first bytes: `size_of` returns it as far as
    it is known, and raises a DriverError where those begin no frame.
    Junk before the first good frame is power-up noise and is passed over in silence,
    up to `PATIENCE_FRAMES`.  After that each stretch of junk is told once, by what its
    first bytes are: a frame that fails its check, or bytes that begin no frame.
    """

    def __init__(
        self,
        start: bytes,
        size: int,
        check: Callable[[bytes], None],
        size_of: Callable[[bytes], int] | None = None,
    ) -> None:
        """Take what begins a frame, its size (its longest), and what checks it."""
        self._start, self._size, self._check = start, size, check
        self._size_of = size_of or (lambda _head: size)
        self._buffer = bytearray()
        self._junk = 0
        self._synced = False
        self._why = "none began like one"

    def feed(self, data: bytes) -> list[Found]:
        """Take bytes; return good frames and errors in the order they came."""
        found: list[Found] = []
        for byte in data:
            self._buffer.append(byte)
            self._settle(found)
        return found

    def pause(self) -> ShortError | None:
        """Take note of a pause: what was begun is no frame, and junk before it is past.

        For parts that only answer: each bad answer is then told, not the first alone.

        Returns:
            What is to be told of what was begun; None where nothing was, or junk told.
        """
        left = len(self._buffer)
        self._buffer.clear()
        if not self._synced:
            return None
        is_told, self._junk = self._junk > 0, 0
        if is_told or not left:
            return None
        return ShortError(f"the reply broke off after {left} bytes")

    def _settle(self, found: list[Found]) -> None:
        """Bring the buffer to the start of a frame, and take the frame if it is whole.

        The buffer never outgrows the longest frame: each byte is followed by a call.
        """
        while self._buffer:
            have = bytes(self._buffer[: len(self._start)])
            if not self._start.startswith(have):
                self._skip(FramingError("bytes came that begin no frame"), found)
                continue
            try:
                size = self._size_of(bytes(self._buffer))
            except DriverError as error:
                self._skip(error, found)
                continue
            if len(self._buffer) < size:
                return
            self._take(bytes(self._buffer[:size]), found)

    def _take(self, frame: bytes, found: list[Found]) -> None:
        try:
            self._check(frame)
        except DriverError as error:
            self._why = f"of the last that began like one, {error}"
            self._skip(error, found)
            return
        del self._buffer[: len(frame)]
        self._junk, self._synced = 0, True
        found.append(frame)

    def _skip(self, error: DriverError, found: list[Found]) -> None:
        del self._buffer[0]
        self._junk += 1
        if self._junk == 1 and self._synced:
            found.append(error)
        elif self._junk % (PATIENCE_FRAMES * self._size) == 0:
            found.append(
                FramingError(f"no frame among {self._junk} bytes: {self._why}")
            )


class LineHunter:
    """Cuts a stream into lines that end with a line feed, each at most `longest`."""

    def __init__(self, longest: int) -> None:
        self._longest = longest
        self._buffer = bytearray()
        self._overflowed = False

    def feed(self, data: bytes) -> list[Found]:
        """Take bytes; return whole lines (with their end) and errors, in order."""
        found: list[Found] = []
        for byte in data:
            self._buffer.append(byte)
            if byte == 0x0A:
                if not self._overflowed:
                    found.append(bytes(self._buffer))
                self._buffer.clear()
                self._overflowed = False
            elif len(self._buffer) > self._longest:
                # Dropped up to the next line end; told once for each such length.
                found.append(FramingError(f"no line end in {self._longest} bytes"))
                self._buffer.clear()
                self._overflowed = True
        return found


class Delivery:
    """Holds what a stream gave until its reader asks, errors and samples in turn.

    An error is raised first and the samples wait for the next call, which always gets
    them: so neither hides the other, and at most two calls' samples are ever held.
    """

    def __init__(self) -> None:
        self._samples: list[Sample] = []
        self._error: DriverError | None = None
        self._owed = False

    def good(self, samples: list[Sample]) -> None:
        """Keep samples."""
        self._samples.extend(samples)

    def bad(self, error: DriverError) -> None:
        """Keep the first error; later ones of the same call add nothing to it."""
        if self._error is None:
            self._error = error

    def hand_over(self) -> list[Sample]:
        """Return the samples kept.

        Raises:
            DriverError: the first thing wrong, once; the samples then wait.
        """
        if self._error is not None and not self._owed:
            error, self._error = self._error, None
            self._owed = bool(self._samples)
            raise error
        samples, self._samples, self._owed = self._samples, [], False
        return samples


class Stream:
    """Joins a hunter (made again at each opening), a reader, and the delivery."""

    def __init__(
        self,
        make: Callable[[], FrameHunter | LineHunter],
        read: Callable[[bytes], list[Sample]],
    ) -> None:
        self._make, self._read = make, read
        self.restart()

    def restart(self) -> None:
        """Forget all that came: a port was opened again, and old values are stale."""
        self._hunter = self._make()
        self._delivery = Delivery()

    def pause(self) -> None:
        """Take note that the part is asked again: see `FrameHunter.pause`."""
        error = self._hunter.pause() if isinstance(self._hunter, FrameHunter) else None
        if error is not None:
            self._delivery.bad(error)

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking and return the samples they complete.

        Raises:
            DriverError: the first thing wrong since the last call; see `StreamPart`.
        """
        for item in self._hunter.feed(data):
            if isinstance(item, DriverError):
                self._delivery.bad(item)
                continue
            try:
                self._delivery.good(self._read(item))
            except DriverError as error:
                self._delivery.bad(error)
        return self._delivery.hand_over()
