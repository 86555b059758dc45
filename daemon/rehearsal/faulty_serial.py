"""Emulated parts on serial lines that fail as real ones do."""

from collections.abc import Sequence
from random import Random

from cabinvigil.daemon.rehearsal.emulated.ways import EARLY_S, Now, SerialPart
from cabinvigil.daemon.rehearsal.faults import (
    SERIAL_FAULTS,
    FaultPlan,
    FaultSpan,
    alter,
    cut,
    lose,
)
from cabinvigil.daemon.rehearsal.wires import EmulatedSerial

SPLIT_S = 0.03
"""Between the two halves of a split frame: some 30 bytes at 9600 baud."""
MERGED = 3
BABBLE_BYTES, BABBLE_S = 48, 0.05
"""All that 9600 baud can carry."""
NOISY_FRAMES, NOISE_BYTES = 3, 9


class FaultySerialPart:
    """A serial part whose bytes fail on their way; itself an emulated serial part."""

    def __init__(
        self,
        name: str,
        part: SerialPart,
        spans: Sequence[FaultSpan],
        seed: int,
        now: Now,
        *,
        stranger: SerialPart | None = None,
    ) -> None:
        """Wrap a part.

        Args:
            name: the part's name in the config.
            part: what is on the line.
            spans: the faults, those of other wires among them.
            seed: of what is drawn.
            now: the present in seconds.
            stranger: what comes in its place under `identity`.

        Raises:
            ValueError: a fault that a serial line does not have, or `identity` and no
                stranger.
        """
        self._name, self._part, self._now = name, part, now
        self._plan = FaultPlan(spans, frozenset({name}), SERIAL_FAULTS, now)
        if stranger is None and any(s.fault == "identity" for s in self._plan.spans):
            raise ValueError(f"the fault 'identity' of {name} needs a stranger")
        self._stranger = stranger
        self._random = Random(seed)
        self._said = b""
        self._held: list[bytes] = []
        self._tail: tuple[float, bytes] | None = None
        self._babble_s = 0.0
        self._noisy = 0

    def power_up(self) -> None:
        """Power the part up; its line is noisy under `noise`."""
        self._part.power_up()
        self._tail, self._held = None, []

    def due_s(self) -> float | None:
        """Return when the next bytes come, good or bad."""
        if self._plan.fault(self._name) == "babble":
            return max(self._babble_s, self._now())
        if self._tail is not None:
            return self._tail[0]
        starts = [s.from_s for s in self._plan.spans if s.fault == "babble"]
        starts = [start for start in starts if start > self._now()]
        due_s = self._speaker.due_s()
        return min([*starts, due_s]) if due_s is not None else min(starts, default=None)

    @property
    def _speaker(self) -> SerialPart:
        is_stranger = self._plan.fault(self._name) == "identity"
        return self._stranger if is_stranger and self._stranger else self._part

    def send(self) -> bytes:
        """Return the next bytes."""
        fault = self._turn()
        if fault == "babble":
            self._babble_s = self._now() + BABBLE_S
            self._skip_what_is_due()
            return self._random.randbytes(BABBLE_BYTES)
        if self._tail is not None and self._now() >= self._tail[0]:
            (_, data), self._tail = self._tail, None
            return data
        due_s = self._speaker.due_s()
        if due_s is None or due_s > self._now() + EARLY_S:
            return b""  # a babble has ended
        return self._spoil(fault, self._speaker.send())

    def receive(self, data: bytes) -> bytes:
        """Let the part answer, unless it cannot hear."""
        fault = self._turn()
        if fault in ("stall", "vanish", "unplug", "babble"):
            return b""
        answer = self._speaker.receive(data)
        return self._spoil(fault, answer) if answer else b""

    def _skip_what_is_due(self) -> None:
        due_s = self._part.due_s()
        if due_s is not None and due_s <= self._now():
            self._part.send()

    def _turn(self) -> str:
        was, now = self._plan.change(self._name)
        if was != now:
            if was in ("vanish", "identity") or now in ("reset", "noise"):
                self.power_up()
            if now == "identity" and self._stranger is not None:
                self._stranger.power_up()
            self._noisy = NOISY_FRAMES if now == "noise" else 0
        return now

    def _spoil(self, fault: str, data: bytes) -> bytes:
        """Return what comes of one message of the part."""
        if not fault:
            self._said = data
            held, self._held = b"".join(self._held), []
            return held + data
        if fault in ("stall", "vanish", "unplug"):
            return b""
        if fault == "stick":
            return self._said or data
        if fault == "drop":
            return lose(data, self._random)
        if fault == "split":
            at = self._random.randrange(1, max(len(data), 2))
            self._tail = (self._now() + SPLIT_S, data[at:])
            return data[:at]
        if fault == "merge":
            self._held.append(data)
            if len(self._held) < MERGED:
                return b""
            data, self._held = b"".join(self._held), []
            return data
        if fault == "noise" and self._noisy:
            self._noisy -= 1
            return self._random.randbytes(NOISE_BYTES) + cut(data, self._random)
        return alter(fault, data, self._random)


def plug_by(
    serial: EmulatedSerial, name: str, spans: Sequence[FaultSpan], now: Now
) -> None:
    """Let a serial adapter vanish and come back as the spans with `unplug` say.

    To be called on the loop that the port lives on, before it runs on.
    """
    for span in spans:
        if span.part == name and span.fault == "unplug":
            serial.later(max(span.from_s - now(), 0.0), serial.unplug)
            serial.later(max(span.to_s - now(), 0.0), serial.plug)
