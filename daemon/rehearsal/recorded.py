"""Recorded air in place of the emulated cabin: the same parts, on the same wires.

Contacts stand as the last row says, until another does: none is half closed.
"""

from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

from cabinvigil.daemon.core.contacts import TELLS, means_of
from cabinvigil.daemon.log.csv import CsvRow, Recording
from cabinvigil.daemon.rehearsal.cabin import Truth
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow

_KNOWN = frozenset(field.name for field in fields(AirNow))
_RENAMED = {"temp_c_glass": "glass_c", "temp_c_outside": "outside_c"}


class RecordedAir:
    """Plays a recording; between its rows the air moves in a straight line."""

    def __init__(self, recording: Recording) -> None:
        """Read all rows; the first row's time becomes the night's start."""
        rows = list(recording.rows())
        self._rows = rows
        self._start_s = rows[0].time_s if rows else 0.0
        self.hours = (rows[-1].time_s - self._start_s) / 3600.0 if rows else 0.0
        self._contact_columns = contact_columns(recording.channels)
        self._pairs = pairwise(rows)
        self._pair = next(self._pairs, None)
        self._air = AirNow()
        self.advance(0.0)

    def advance(self, to_s: float) -> None:
        """Move to a moment; time only goes forward."""
        at_s = to_s + self._start_s
        while self._pair is not None and self._pair[1].time_s < at_s:
            following = next(self._pairs, None)
            if following is None:
                break
            self._pair = following
        if self._pair is not None:
            values: dict[str, Any] = _between(*self._pair, at_s)
            before, after = self._pair
            last = after if at_s >= after.time_s else before
            contacts = self._contacts(last.values)
            self._air = replace(self._air, contacts=contacts, **values)

    def _contacts(self, values: Mapping[str, float]) -> frozenset[str]:
        """Return what contacts tell of after a row; one that it leaves out stays."""
        told = set(self._air.contacts)
        for channel in self._contact_columns:
            if channel in values:
                _, dashes, part = channel.partition("__")
                word = f"{means_of(channel)}{dashes}{part}"
                (told.add if values[channel] >= TELLS else told.discard)(word)
        return frozenset(told)

    def air_now(self) -> AirNow:
        """Return what the parts see."""
        return self._air

    def truth(self) -> Truth | None:
        """Nobody knows: a recording is what sensors saw."""
        return None


def contact_columns(channels: Iterable[str]) -> tuple[str, ...]:
    """Return the columns of contacts: where each has its own, not the one of all."""
    found = [one for one in channels if means_of(one)]
    own = {one.partition("__")[0] for one in found if "__" in one}
    return tuple(one for one in found if one not in own)


def _between(before: CsvRow, after: CsvRow, at_s: float) -> dict[str, float]:
    span_s = after.time_s - before.time_s
    share = 1.0 if span_s <= 0.0 else (at_s - before.time_s) / span_s
    share = min(max(share, 0.0), 1.0)
    found: dict[str, float] = {}
    for channel, value in before.values.items():
        name = _RENAMED.get(channel, channel)
        if name in _KNOWN:
            end = after.values.get(channel, value)
            found[name] = value + (end - value) * share
    return found
