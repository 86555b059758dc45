"""A night as rows that a person plots: even steps, one column a quantity and place.

What is not known is an empty cell, so that no line is drawn across it.
"""

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from cabinvigil.daemon.log.folder import night_of
from cabinvigil.daemon.log.moments import zone_of
from cabinvigil.daemon.log.night import STEP_S, Event, NightSeries, Told
from cabinvigil.daemon.review.alarm_episodes import RANKS, AlarmEpisode, alarm_episodes
from cabinvigil.daemon.text.moments import utc_seconds
from cabinvigil.drivers.kit.quantity import QUANTITIES, split_channel

HEAD = (
    "time",
    "time_s",
    "night",
    "run",
    "emulated",
    "clock_step_s",
    "alarms",
    "priority",
    "at_least",
)
"""The columns before the quantities; config/output.schema.json describes each."""

LEAST = frozenset({"o2_pct", "o2_hpa", "supply_v", "charge_pct", "cell_v"})
"""Little of these is bad: of several values the least is given."""
MEAN = frozenset({"temp_c", "rh_pct", "pressure_hpa", "supply_a"})
"""Neither much nor little of these is bad: their mean is given.  Of all else, gases
and dust, it is the most."""
_ALARM = re.compile(r"[a-z0-9][a-z0-9_-]*(/[A-Za-z0-9._-]+)?")
"""As config/log.schema.json has it: no text for a spreadsheet to work out."""


Cell = str | float | int | None


def channels_of(keys: Iterable[str]) -> list[str]:
    """Return the columns for a log's series: each channel, then its parts' own.

    A channel's own column is there however many parts give it, so a second part
    renames nothing.
    """
    columns: set[str] = set()
    for key in keys:
        if split_channel(key) is not None:
            columns |= {key, key.split("__", 1)[0]}
    return sorted(columns, key=_place)


def _place(column: str) -> tuple[int, str, str]:
    channel, _, part = column.partition("__")
    found = split_channel(channel)
    if found is None:
        return len(QUANTITIES), channel, part
    return list(QUANTITIES).index(found[0].name), found[1], part


def rows_of(
    tape: NightSeries, columns: Sequence[str], zone: tzinfo | None = None
) -> Iterator[list[Cell]]:
    """Yield the rows of a night, as `HEAD` and these columns have them.

    Args:
        tape: the night.
        columns: of quantities, by `channels_of`.
        zone: of `time` and `night`; None: the night's own, or else the machine's.
    """
    night = _Night(tape, zone or zone_of(tape.head))
    width = steps_together(tape.config)
    sources = {column: _series(tape, column) for column in columns}
    for begin in range(0, tape.count, width):
        steps = range(begin, min(begin + width, tape.count))
        cells: list[Cell] = night.head(steps)
        cells += [_value(column, sources[column], steps) for column in columns]
        yield cells


def steps_together(config: Mapping[str, Any]) -> int:
    """Return how many half minutes a row is: more, where readings are rarer."""
    longest_s = STEP_S
    watch = config.get("watch")
    parts = config.get("part")
    tables = list(parts.values()) if isinstance(parts, dict) else []
    for table in (watch, *tables):
        for key in ("tick_s", "interval_s"):
            value = table.get(key) if isinstance(table, dict) else None
            if isinstance(value, int | float) and STEP_S < value <= LONGEST_S:
                longest_s = max(longest_s, float(value))
    return math.ceil(longest_s / STEP_S)


LONGEST_S = 3600.0
"""Between two readings of a part; what a log says beyond it is no interval."""


def _series(tape: NightSeries, column: str) -> list[Sequence[Told]]:
    """Return the series whose values a column gathers."""
    if "__" in column:
        return [tape.series[column]] if column in tape.series else []
    return [
        values for key, values in tape.series.items() if key.split("__", 1)[0] == column
    ]


def _value(column: str, sources: Sequence[Sequence[Told]], steps: range) -> Cell:
    found = split_channel(column)
    told = [values[n] for values in sources for n in steps]
    known = [one for one in told if one is not None]
    if found is None or not known:
        return None
    quantity = found[0]
    if quantity.name in LEAST:
        value = min(known)
    elif quantity.name in MEAN:
        value = math.fsum(known) / len(known)
    else:
        value = max(known)
    return round(value, quantity.decimals) if quantity.decimals else round(value)


@dataclass(frozen=True, slots=True)
class _Start:
    at_s: float
    run: str | None
    is_emulated: bool


class _Night:
    """What stands before a row's quantities."""

    def __init__(self, tape: NightSeries, zone: tzinfo | None) -> None:
        self._tape = tape
        self._zone = zone
        self._starts = [self._start(one) for one in tape.events if one.kind == "start"]
        night = tape.night
        if night is None and tape.origin is not None:
            night = night_of(tape.origin, zone)
        self._night = None if night is None else str(night)
        self._episodes = alarm_episodes(tape.events)

    def _start(self, event: Event) -> _Start:
        """Read a start; a run is named by the moment of its `up_s` 0."""
        up_s = event.fields.get("up_s", 0.0)
        wall = self._tape.moment(event.at_s - float(up_s))
        return _Start(
            event.at_s, utc_seconds(wall), event.fields.get("emulated") is True
        )

    def head(self, steps: range) -> list[Cell]:
        """Return the first cells of a row."""
        tape, from_s, to_s = self._tape, steps.start * STEP_S, steps.stop * STEP_S
        wall = tape.moment(from_s)
        is_seen = not any(
            gap.from_s <= from_s and to_s <= gap.to_s for gap in tape.gaps
        )
        ran = [one for one in self._starts if one.at_s < to_s] if is_seen else []
        moved = [
            one.fields["moved_s"]
            for one in tape.clock_steps
            if from_s <= one.at_s < to_s
        ]
        stood = [one for one in self._episodes if _stands(one, from_s, to_s)]
        stood = stood if is_seen else []
        at_least = [
            key for key, known in tape.at_least.items() if not known.isdisjoint(steps)
        ]
        names = {one.alarm for one in stood if _ALARM.fullmatch(one.alarm)}
        return [
            None if wall is None else wall.astimezone(self._zone).isoformat(),
            round(from_s),
            self._night,
            ran[-1].run if ran else None,
            int(ran[-1].is_emulated) if ran else None,
            round(math.fsum(moved), 1) if moved else None,
            " ".join(sorted(names)) or None,
            _gravest(stood, to_s),
            " ".join(sorted(at_least)) or None,
        ]


def _gravest(stood: Sequence[AlarmEpisode], to_s: float) -> str | None:
    """Return the gravest priority that any had reached by then."""
    reached = [
        rise.priority for one in stood for rise in one.rises if rise.at_s < to_s
    ] or [one.priority for one in stood]
    return max(reached, key=lambda word: RANKS.get(word, 0), default=None)


def _stands(one: AlarmEpisode, from_s: float, to_s: float) -> bool:
    return one.from_s < to_s and (one.to_s is None or one.to_s > from_s)
