"""An emulated contact at the end of its wire: a relay with two resistors, or a reed.

The relay is normally open and closes when its alarm sounds; a resistor lies across it,
another in front of it, so that the wire has one resistance at rest and another in alarm
(common practice of alarm loops, no source).  It bounces as relays do.
"""

from random import Random
from typing import Any

from cabinvigil.daemon.rehearsal.emulated.ways import Now, See

REST_OHM, ALARM_OHM, PULL_UP_OHM, SUPPLY_V = 47_000.0, 1_000.0, 10_000.0, 3.3
BOUNCES_MS = (2, 9)
"""Two short breaks as it closes or opens (common practice: 5 to 20 ms in all)."""


class EmulatedContact:
    """One contact; `levels` is what the line's driver would tell."""

    def __init__(
        self,
        air: See,
        seed: int,
        now: Now,
        *,
        means: str = "smoke",
        part: str = "",
        **own: Any,
    ) -> None:
        """Wire the contact.

        Args:
            air: says in `contacts` what is so.
            seed: of its bounces.
            now: the present in seconds.
            means: which of them it tells.
            part: its name, where one of several that tell the same is meant alone.
            own: its resistors, in ohms, and the divider's volts.
        """
        self._air, self._now = air, now
        self._words = {means, f"{means}__{part}"}
        self._random = Random(seed)
        self._rest_ohm = float(own.get("rest_ohm", REST_OHM))
        self._alarm_ohm = float(own.get("alarm_ohm", ALARM_OHM))
        self._pull_up_ohm = float(own.get("pull_up_ohm", PULL_UP_OHM))
        self.supply_v = float(own.get("supply_v", SUPPLY_V))
        self.power_up()

    def power_up(self) -> None:
        """Start again: the line's driver keeps no change from before."""
        self._was = self.is_closed
        self._since_s = self._now()

    @property
    def is_closed(self) -> bool:
        """Whether it tells of something now."""
        return not self._words.isdisjoint(self._air().contacts)

    def levels(self) -> bytes:
        """Return how the line stood since it was last asked."""
        now_s, is_closed, was = self._now(), self.is_closed, self._was
        length_ms = round((now_s - self._since_s) * 1000.0)
        words = [f"{was:d}"]
        if is_closed is not was:
            last_ms = max(0, length_ms - 40)
            at_ms = self._random.randint(0, last_ms)
            for level, after_ms in (
                (is_closed, 0),
                (was, BOUNCES_MS[0]),
                (is_closed, BOUNCES_MS[1]),
            ):
                words.append(f"{level:d}@{min(at_ms + after_ms, length_ms)}")
        self._was, self._since_s = is_closed, now_s
        return f"{' '.join(words)} ={length_ms}\n".encode()

    def volts(self) -> float:
        """Return the voltage on the line, by Ohm's law."""
        ohm = self._alarm_ohm if self.is_closed else self._rest_ohm
        return self.supply_v * ohm / (self._pull_up_ohm + ohm)
