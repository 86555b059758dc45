"""Puts the runs of a night on one time: gaps stay gaps, clocks are fixed.

A Pi without a battery clock starts with a wrong time until the network sets it; once
set, it is right.  So a whole run is dated by its last look at the clock.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from cabinvigil.daemon.log.format import DELETED
from cabinvigil.daemon.log.night import STEP_S, Event, Gap, NightSeries, Told
from cabinvigil.daemon.log.picked import UNKNOWN_PAUSE_S
from cabinvigil.daemon.log.reader import Flaws
from cabinvigil.daemon.log.run import Run, UpEvent, step_of
from cabinvigil.daemon.log.trial_span import TrialSpan
from cabinvigil.daemon.log.trials import whole_trials

LONGEST_PAUSE_S = 36 * 3600.0
"""Two runs of one night lie no further apart; else a clock was wrong."""
LEAST_GAP_S = 120.0
LONGEST_TICK_S = 3600.0
"""What a log says of its tick beyond this is no tick; a config allows a minute."""
GAP_TICKS = 5.0
"""Silence this long is a gap."""
MOST_STEPS = round(7 * 24 * 3600 / STEP_S)
"""A tape holds a week at most."""

NEAR_STEPS = 6
"""Neighbours further apart than this tell nothing of what lies between them."""
WILD = {
    "o2_pct": 1.5,
    "co_ppm": 300.0,
    "co2_ppm": 4000.0,
    "temp_c": 5.0,
    "rh_pct": 20.0,
    "supply_v": 3.0,
    "pressure_hpa": 10.0,
}
"""A single step this far from both its neighbours is no air (our choice: a room fire
moved CO2 by 0.1 % a second at its fastest, and it did not come back in a minute)."""


@dataclass(slots=True)
class _Placed:
    run: Run
    base_s: float
    """The moment of `up_s` 0, in seconds of the epoch, or from the first run."""

    @property
    def begin_s(self) -> float:
        return self.base_s + self.run.begin_s

    @property
    def end_s(self) -> float:
        return self.base_s + self.run.end_s


def joined(runs: Sequence[Run], flaws: Flaws) -> NightSeries:
    """Put runs on one time."""
    notes: list[str] = []
    placed, is_dated = _placed([run for run in runs if run.is_told], notes)
    head = next((run.head for run in reversed(runs) if run.head), {})
    if not placed:
        return NightSeries(
            None, 0, {}, {}, {}, {}, (), (), (), len(runs), (), head, flaws
        )
    origin_s = (placed[0].begin_s // STEP_S) * STEP_S
    count = step_of(placed[-1].end_s - origin_s) + 1
    shifts = [step_of(one.base_s - origin_s + STEP_S / 2) for one in placed]
    series = _series(placed, shifts, count)
    alone = _sets(placed, shifts, "alone")
    for key, values in series.items():
        _calm(key, values, alone.get(key, frozenset()))
        for one, by in zip(placed, shifts, strict=True):
            _hold(values, _span(one, by, count), _tick_s(one.run.head))
    heard = {
        step + by
        for one, by in zip(placed, shifts, strict=True)
        for step in one.run.heard
    }
    left_out = {
        step + by
        for one, by in zip(placed, shifts, strict=True)
        for step in one.run.left_out
        if 0
        <= step + by
        < count  # whole steps of a run are moved: the last may stick out
    }
    return NightSeries(
        datetime.fromtimestamp(origin_s, UTC) if is_dated else None,
        count,
        series,
        _sets(placed, shifts, "at_least"),
        _doubtful_s(placed),
        _refused(placed),
        _gaps(heard, count, _tick_s(head)),
        _events(placed, origin_s, "events"),
        _events(placed, origin_s, "estimates"),
        len(runs),
        _events(placed, origin_s, "clock_steps"),
        head,
        flaws,
        (*notes, *_deleted(placed), *_set_apart(placed)),
        trials=_trials(placed, origin_s),
        left_out=frozenset(left_out),
    )


def _trials(placed: Sequence[_Placed], origin_s: float) -> tuple[TrialSpan, ...]:
    """Put the trials on the night's time."""
    began_s = {id(one.run): one.base_s - origin_s for one in placed}
    return tuple(
        last._replace(
            from_s=began_s[id(first_run)] + first.from_s,
            to_s=began_s[id(last_run)] + last.to_s,
        )
        for (first_run, first), *_, (last_run, last) in (
            (each[0], *each) for each in whole_trials([one.run for one in placed])
        )
    )


def _set_apart(placed: Sequence[_Placed]) -> list[str]:
    """Return which trials the account leaves out."""
    runs = [one.run for one in placed if one.run.left_out]
    texts = [each[0][1].text for each in whole_trials(runs)]
    left_h = math.fsum(len(run.left_out) * STEP_S for run in runs) / 3600.0
    if not texts:
        return []
    names = ", ".join(f"'{text}'" for text in texts[:4])
    more = f" and {len(texts) - 4} more" if len(texts) > 4 else ""
    what = "A trial is" if len(texts) == 1 else f"{len(texts)} trials are"
    return [f"{what} left out, {left_h:.1f} h with nobody inside: {names}{more}."]


def _deleted(placed: Sequence[_Placed]) -> list[str]:
    """Return which nights were deleted for size while this one was watched."""
    found: set[str] = set()
    for one in placed:
        for event in one.run.events:
            nights = event.fields.get("nights")
            if event.kind == DELETED and isinstance(nights, list):
                found |= {str(night)[:10] for night in nights}
    if not found:
        return []
    first, *_, last = (*sorted(found), max(found))
    which = (
        f"The night of {first} was"
        if len(found) == 1
        else f"{len(found)} nights, of {first} to {last}, were"
    )
    return [f"{which} deleted for size (max_mb in [log])."]


def _placed(runs: Sequence[Run], notes: list[str]) -> tuple[list[_Placed], bool]:
    """Set the place of each run; return whether clocks date them."""
    bases = [run.believed_s for run in runs]
    if not any(base is not None for base in bases):
        if runs:
            notes.append("No clock was set: times count from the first line.")
        return _in_a_row(runs, [None] * len(runs), 0.0, notes), False
    first = next(n for n, base in enumerate(bases) if base is not None)
    begin_s = float(bases[first] or 0.0) + runs[first].begin_s
    for run in reversed(runs[:first]):  # before the clock was first set
        begin_s -= UNKNOWN_PAUSE_S + run.end_s - run.begin_s
    if first:
        notes.append("The clock was not set at first: the earliest times are a guess.")
    return _in_a_row(runs, bases, begin_s, notes), True


def _in_a_row(
    runs: Sequence[Run],
    bases: Sequence[float | None],
    begin_s: float,
    notes: list[str],
) -> list[_Placed]:
    placed: list[_Placed] = []
    steps = 0
    for run, base in zip(runs, bases, strict=True):
        after_s = placed[-1].end_s if placed else begin_s - UNKNOWN_PAUSE_S
        pause_s = None if base is None else base + run.begin_s - after_s
        if pause_s is not None and placed and not -STEP_S <= pause_s <= LONGEST_PAUSE_S:
            notes.append("A clock went back between two starts: the pause is a guess.")
            pause_s = None
        if pause_s is None:
            pause_s = UNKNOWN_PAUSE_S
        if placed:
            pause_s = max(pause_s, STEP_S)
        steps += step_of(run.end_s - run.begin_s + pause_s)
        if steps > MOST_STEPS:
            notes.append("This log holds more than a week: its end is left out.")
            break
        placed.append(_Placed(run, after_s + pause_s - run.begin_s))
    return placed


def _series(
    placed: Sequence[_Placed], shifts: Sequence[int], count: int
) -> dict[str, list[Told]]:
    series: dict[str, list[Told]] = {}
    for one, by in zip(placed, shifts, strict=True):
        for key, steps in one.run.steps.items():
            column = series.setdefault(key, [None] * count)
            for step, value in steps.items():
                if 0 <= step + by < count:
                    column[step + by] = value
    return dict(sorted(series.items()))


def _calm(key: str, values: list[Told], alone: frozenset[int]) -> None:
    """Leave out single values that no air makes.

    What several readings of half a minute agree on was there, however short it was: it
    may be what sounded.
    """
    name = key.split("__", 1)[0]
    far = next((one for word, one in WILD.items() if name.startswith(word)), None)
    if far is None:
        return
    known = [n for n, one in enumerate(values) if one is not None]
    for a, n, b in zip(known, known[1:], known[2:], strict=False):
        if n not in alone:
            continue
        before, here, after = values[a], values[n], values[b]
        if before is None or here is None or after is None or b - a > NEAR_STEPS:
            continue
        off = min(abs(here - before), abs(here - after))
        if off > far and (here > before) == (here > after):
            values[n] = None


def _span(one: _Placed, by: int, count: int) -> range:
    """Return the steps of a run."""
    first, last = step_of(one.run.begin_s) + by, step_of(one.run.end_s) + by
    return range(max(first, 0), min(last + 1, count))


def _hold(values: list[Told], span: range, tick_s: float) -> None:
    """Let a reading hold until the next where ticks are further apart than steps."""
    held = math.ceil(tick_s / STEP_S)
    if held < 2:
        return
    last = -1
    for n in span:
        if values[n] is None:
            continue
        # Ticks come a little late: a hole of one step more is none.
        hole = n - last - 1 if last >= 0 else 0
        for empty in range(last + 1, last + 1 + (hole if hole <= held else held - 1)):
            values[empty] = values[last]
        last = n
    if last >= 0:
        for empty in range(last + 1, min(last + held, span.stop)):
            values[empty] = values[last]


def _doubtful_s(placed: Sequence[_Placed]) -> dict[str, float]:
    """Sum up how long each series was in doubt."""
    found: dict[str, float] = {}
    for one in placed:
        each_s = max(STEP_S, _tick_s(one.run.head))
        for key, steps in one.run.doubtful.items():
            found[key] = found.get(key, 0.0) + len(steps) * each_s
    return found


def _sets(
    placed: Sequence[_Placed], shifts: Sequence[int], name: str
) -> dict[str, frozenset[int]]:
    found: dict[str, set[int]] = {}
    for one, by in zip(placed, shifts, strict=True):
        for key, steps in getattr(one.run, name).items():
            found.setdefault(key, set()).update(step + by for step in steps)
    return {key: frozenset(steps) for key, steps in found.items()}


def _refused(placed: Sequence[_Placed]) -> dict[str, int]:
    found: dict[str, int] = {}
    for one in placed:
        for key, count in one.run.refused.items():
            found[key] = found.get(key, 0) + count
    return found


def _events(placed: Sequence[_Placed], origin_s: float, name: str) -> tuple[Event, ...]:
    found = []
    for one in placed:
        if name == "events":
            start = UpEvent(one.run.begin_s, "start", one.run.head)
            found.append(_dated(one, start, origin_s))
        found += [_dated(one, up, origin_s) for up in getattr(one.run, name)]
    return tuple(found)


def _dated(one: _Placed, up: UpEvent, origin_s: float) -> Event:
    return Event(one.base_s + up.up_s - origin_s, up.kind, up.fields)


def _tick_s(head: object) -> float:
    """Return the tick that ran, where the log's first line tells it."""
    found = head
    for key in ("config", "watch", "tick_s"):
        found = found.get(key) if isinstance(found, dict) else None
    if isinstance(found, int | float) and 0 < found <= LONGEST_TICK_S:
        return float(found)
    return 1.0


def _gaps(heard: set[int], count: int, tick_s: float) -> tuple[Gap, ...]:
    least = max(LEAST_GAP_S, GAP_TICKS * tick_s)
    gaps, last = [], -1
    for step in (*sorted(heard), count):
        silent_s = (step - last - 1) * STEP_S
        if silent_s >= least:
            gaps.append(Gap((last + 1) * STEP_S, step * STEP_S))
        last = step
    return tuple(gaps)
