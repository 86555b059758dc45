"""What a part's tries amount to: which fault is told, and what to try next.

Pure: time is an argument.  The verdicts are those of the table 'how a wire fails'
(sensors.md, section 14); its rows are named beside them.
"""

from collections import Counter, deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.sampling.bus_errors import BusError, TransferError
from cabinvigil.drivers.kit.steps import DriverError

Tell = Callable[[SourceFault | SourceOk], None]

TRIES = 3
"""Tries in a round, and failures in a row that make a fault (table 14: 'RETRY (3
tries, 50 ms apart)', row 7 '3 in a row')."""
NOT_READY_INTERVALS = 2
"""Without a new value for this long, set the part up again: one interval earlier than
table 14, row 12, says, so that a part which a brown-out has reset is back before its
last value is stale."""
SET_UPS_BEFORE_FAULT = 2
"""So often in vain, then it is a fault (table 14, row 12)."""
RESETS_AN_HOUR = 3
"""More losses of mode than this in an hour are a fault (table 14, row 14)."""
HOUR_S = 3600.0
_BIN_S = 60.0


@dataclass(frozen=True, slots=True)
class FailureMode:
    """One way in which a part fails."""

    kind: str
    """The fault's kind, as in `SourceFault`."""
    words: str
    """What it did and what to do; follows the part's name."""
    in_a_row: int = TRIES
    """So many without a good reading between them are a fault."""
    sets_up_at: int = 0
    """After so many in a row the part may have lost its mode: set it up before the
    next try; 0 never."""


_CHECKSUM = FailureMode(
    "checksum",
    "responds with wrong checksums{pattern}: check its cable, and keep it away from "
    "the inverter",
)
_FRAMING = FailureMode(
    "framing",
    "sends unexpected messages ({error}): check its kind and speed in the config, "
    "and its cable",
)
# The remedies are common practice with such parts, no source.
WAYS: Mapping[str, FailureMode] = MappingProxyType(
    {
        "absent": FailureMode(
            "absent",
            "does not respond ({error}): check its plug and cable",
            in_a_row=2 * TRIES,  # in two rounds: it may just be starting up
            sets_up_at=TRIES,
        ),
        # The same errno at every address is the bus's fault (row 4); whether it is
        # shows when the others have been asked, so one round more is waited for.
        "broke_off": FailureMode(
            "absent",
            "does not get through ({error}): check its plug and cable, and lower the "
            "bus's speed if it stays so",
            in_a_row=2 * TRIES,
            sets_up_at=TRIES,
        ),
        "blocked": FailureMode(
            "blocked",
            "does not finish its reply ({error}): switch its power off and on",
            in_a_row=1,
            sets_up_at=1,
        ),
        "babbling": FailureMode(
            "babbling",
            "sends without a pause and without one whole message ({error}): switch "
            "its power off and on, and check its speed in the config",
        ),
        "crc": _CHECKSUM,
        "short": FailureMode(
            "short", "breaks off its replies{pattern}: check its cable"
        ),
        "framing": _FRAMING,
        "length": _FRAMING,
        "not_measured": FailureMode(
            "not-measured",
            ("responds but has not measured ({error}): check that its power is steady"),
            sets_up_at=1,
        ),
        "not_ready": FailureMode(
            "not-ready",
            "responds but never has a new value: switch its power off and on",
        ),
        "wrong_part": FailureMode(
            "wrong-part",
            "is not the sensor that the config names ({error}): check its kind, its "
            "address and the wiring",
            in_a_row=2,  # once may be a flipped bit
            sets_up_at=1,
        ),
        "out_of_range": FailureMode(
            "out-of-range",
            "reads impossible values{pattern} ({error}): check its wiring, and "
            "replace it if it stays so",
        ),
        "frc_failed": FailureMode(
            "calibration",
            "does not accept its setting ({error}): switch its power off and on, and "
            "replace it if it stays so",
            sets_up_at=1,
        ),
        "cell_dead": FailureMode(
            "cell-dead",
            "has no usable signal from its cell ({error}): check the cell's cable, or "
            "replace the cell",
        ),
        "wire_loose": FailureMode(
            "wire-loose",
            "cannot be heard ({error}): a wire is loose, so press its plugs home",
        ),
        "wire_open": FailureMode(
            "wire-open",
            "cannot be heard ({error}): look for a cut, or a plug that is out",
        ),
        "wire_short": FailureMode(
            "wire-short",
            "cannot be heard ({error}): look where its two leads touch, and for water "
            "in a plug",
        ),
        "lost-mode": FailureMode(
            "not-measured",
            "has lost its settings {count} times within the hour: check that its "
            "power supply does not sag",
        ),
    }
)


@dataclass(frozen=True, slots=True)
class Remedy:
    """What to do after a failed try."""

    again: bool
    """Try again within the round."""
    set_up: bool
    """Set the part up before the next try."""


class HourCount:
    """Count what happened within the last hour, in bins of a minute."""

    def __init__(self) -> None:
        self._bins: deque[tuple[int, int]] = deque()

    def add(self, now_s: float, count: int = 1) -> None:
        """Count that many."""
        minute = int(now_s // _BIN_S)
        if self._bins and self._bins[-1][0] == minute:
            self._bins[-1] = (minute, self._bins[-1][1] + count)
        else:
            self._bins.append((minute, count))

    def total(self, now_s: float) -> int:
        """Return how many there were."""
        oldest = (now_s - HOUR_S) // _BIN_S
        while self._bins and self._bins[0][0] <= oldest:
            self._bins.popleft()
        return sum(count for _, count in self._bins)


def _pattern(reply: bytes) -> str:
    """Name the line's fault that an answer of one repeated byte betrays (row 8)."""
    if len(reply) > 1 and not any(reply):
        return ", all zeros as on a line held low"
    if len(reply) > 1 and all(byte == 0xFF for byte in reply):
        return ", all ones as on an open line"
    return ""


class PartHealth:
    """One part's record of failures; tells one fault event for each change of kind."""

    def __init__(
        self,
        name: str,
        title: str,
        *,
        interval_s: float,
        max_age_s: float,
        tell: Tell,
        share: float = 0.01,
    ) -> None:
        """Start with a clean record.

        Args:
            name: the part's name in the config.
            title: what people call the part.
            interval_s: between its readings.
            max_age_s: a value older than this is stale.
            tell: takes the fault and its end.
            share: more failures than this part of an hour's readings are a fault
                (table 14, row 7: 1 %; row 17: 5 % on a serial line).
        """
        self._name, self._title = name, title
        self._interval_s, self._max_age_s = interval_s, max_age_s
        self._tell_event = tell
        self._share = share
        self._in_a_row: Counter[str] = Counter()
        self._row_fault: tuple[str, str] | None = None
        self._hour_code: str | None = None
        self._told: str | None = None
        self._isolated: dict[str, HourCount] = {}
        self._waiting_since_s: float | None = None
        self._not_ready_since_s: float | None = None
        self._vain_set_ups = 0

    @property
    def is_faulty(self) -> bool:
        """Whether the last tries, not the hour's count, make a fault."""
        return self._row_fault is not None

    def good(self, now_s: float) -> None:
        """Take note of a good reading."""
        if self._row_fault is None:
            # What was told as a fault is not counted again as an unsteady part.
            for code, count in self._in_a_row.items():
                self._count(code).add(now_s, count)
        self._in_a_row.clear()
        self._row_fault = None
        self._vain_set_ups = 0
        self._waiting_since_s = now_s
        self._not_ready_since_s = None
        self._hour_code = self._judge_hour(now_s)
        self._tell(now_s)

    def set_up(self, now_s: float, *, again: bool) -> None:
        """Take note that the part was set up, and whether it had been before.

        Again without a fault told means that it had lost its mode in between.
        """
        self._waiting_since_s = now_s
        if again and self._row_fault is None:
            self._count("lost-mode").add(now_s)

    def bus_lost(self) -> None:
        """Take note that nobody on the bus can be asked: not this part's failure."""
        self._waiting_since_s = self._not_ready_since_s = None

    def fault(self, code: str, detail: str, now_s: float, reply: bytes = b"") -> None:
        """Make a fault of this way at once, whatever the count."""
        way = WAYS[code]
        self._row_fault = (way.kind, self._sentence(way, detail, reply))
        self._tell(now_s)

    def port_lost(self, error: BusError, now_s: float) -> None:
        """Make a fault of a port of the part's own that does not open."""
        self._row_fault = (error.kind, f"{self._who}: {error}")
        self._tell(now_s)

    def stumbled(self, text: str, now_s: float) -> None:
        """Make a fault of a bug in the part's own file; a good reading ends it."""
        self._row_fault = (WAYS["blocked"].kind, f"{self._name}: {text}")
        self._tell(now_s)

    def failed(self, error: Exception, now_s: float, reply: bytes = b"") -> Remedy:
        """Take note of a failed try and say what to do.

        Args:
            error: a `DriverError`, a `BusError` or a `TimeoutError`.
            now_s: monotonic seconds.
            reply: the bytes that the try ended with, for the fault's sentence.
        """
        code = code_of(error)
        if code == "not_ready":
            return self._not_ready(now_s)
        way = WAYS[code]
        self._not_ready_since_s = None
        self._in_a_row[code] += 1
        if self._in_a_row[code] >= way.in_a_row:
            self.fault(code, str(error), now_s, reply)
        set_up = 0 < way.sets_up_at <= self._in_a_row[code]
        return Remedy(again=True, set_up=set_up)

    def garbled(self, error: DriverError) -> None:
        """Count a garbled message of a stream, which by itself is no fault (row 17)."""
        self._in_a_row[code_of(error)] += 1

    def _not_ready(self, now_s: float) -> Remedy:
        """Wait, then set up again, then call it a fault (table 14, rows 2 and 12)."""
        if self._waiting_since_s is None:
            self._waiting_since_s = now_s
        if self._not_ready_since_s is None:
            self._not_ready_since_s = now_s
        is_late = (
            now_s - self._waiting_since_s >= NOT_READY_INTERVALS * self._interval_s
        )
        if is_late:
            self._vain_set_ups += 1
        if (
            self._vain_set_ups > SET_UPS_BEFORE_FAULT
            or now_s - self._not_ready_since_s > self._max_age_s
        ):
            self.fault("not_ready", "", now_s)
        return Remedy(again=False, set_up=is_late)

    def _count(self, code: str) -> HourCount:
        return self._isolated.setdefault(code, HourCount())

    def _judge_hour(self, now_s: float) -> str | None:
        """Name the way that has happened too often within the hour."""
        share = self._share * HOUR_S / self._interval_s
        for code, isolated in self._isolated.items():
            limit = RESETS_AN_HOUR if code == "lost-mode" else share
            if code == self._hour_code:
                limit /= 2  # a fault on the edge must not come and go
            if isolated.total(now_s) > limit:
                return code
        return None

    def _hour_fault(self, code: str, now_s: float) -> tuple[str, str]:
        count, way = self._isolated[code].total(now_s), WAYS[code]
        if code == "lost-mode":
            return way.kind, f"{self._who} {way.words.format(count=count)}"
        kind, and_then = way.kind, ""
        if code in ("absent", "broke_off"):
            kind, and_then = "unsteady", ", and lower the bus's speed if it stays so"
        return kind, (
            f"{self._who} failed {count} times within the hour, between good "
            f"readings: check its cable{and_then}"
        )

    @property
    def _who(self) -> str:
        return f"{self._name} ({self._title})"

    def _sentence(self, way: FailureMode, detail: str, reply: bytes) -> str:
        words = way.words.replace("{pattern}", _pattern(reply))
        words = words.replace(" ({error})", f" ({detail})" if detail else "")
        return f"{self._who} {words}"

    def _tell(self, now_s: float) -> None:
        fault = self._row_fault
        if fault is None and self._hour_code is not None:
            fault = self._hour_fault(self._hour_code, now_s)
        kind = fault[0] if fault else None
        if kind == self._told:
            return
        self._told = kind
        if fault is None:
            self._tell_event(SourceOk(self._name))
        else:
            self._tell_event(SourceFault(self._name, *fault))


def code_of(error: Exception) -> str:
    """Name the way in `WAYS` in which this error is a failure."""
    if isinstance(error, DriverError):
        return error.code if error.code in WAYS else "out_of_range"
    if isinstance(error, TransferError):
        return "broke_off"
    if isinstance(error, BusError):
        return error.kind if error.kind in WAYS else "absent"
    return "blocked"
