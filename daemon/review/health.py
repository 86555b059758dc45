"""How well the parts kept watch: what was not told, and what was wrong with whom."""

from collections.abc import Sequence
from dataclasses import dataclass

from cabinvigil.daemon.log.format import REFUSED_ASK
from cabinvigil.daemon.log.night import STEP_S, NightSeries
from cabinvigil.daemon.review.alarm_episodes import RANKS, AlarmEpisode
from cabinvigil.drivers.kit.quantity import QUANTITIES, VITAL, split_channel

DISTRUSTED = ("sensor-stuck", "sensor-range", "sensor-jump")
"""While one of these stands about a series, its values are none."""
UNLIKELY = "sensor-implausible"
"""... and while this woke people: it was said not to be trusted."""


@dataclass(frozen=True, slots=True)
class Watched:
    """How well one quantity was watched, wherever people breathe."""

    quantity: str
    words: str
    share: float
    """Of the night, gaps included."""
    unseen_min: float
    longest_min: float
    """The longest stretch without it."""
    unseen_from_s: float | None
    """Where that begins."""


@dataclass(frozen=True, slots=True)
class SourceFaults:
    """One source's faults."""

    source: str
    count: int
    minutes: float
    text: str
    """What it said first."""


def watched(tape: NightSeries, rang: Sequence[AlarmEpisode]) -> list[Watched]:
    """Return how well each quantity was watched, the vital ones first."""
    names = {
        parts[0].name
        for key in tape.series
        if (parts := split_channel(key)) is not None
    }
    ordered = [*VITAL, *(name for name in QUANTITIES if name not in VITAL)]
    return [_watched(tape, rang, name) for name in ordered if name in names]


def seen_steps(
    tape: NightSeries, rang: Sequence[AlarmEpisode], name: str
) -> list[bool]:
    """Say of each step whether a quantity was measured beyond doubt.

    Where a part at the bunk told of it, one elsewhere does not stand in for it.
    """
    places = ("", None, "glass", "outside")
    keys = next(filter(None, (tape.keys(name, place) for place in places)), [])
    seen = [False] * tape.count
    for key in keys:
        trusted = [one is not None for one in tape.series[key]]
        for stand in rang:
            kind, _, subject = stand.alarm.partition("/")
            is_distrusted = kind in DISTRUSTED or (
                kind == UNLIKELY and stand.rank >= RANKS["medium"]
            )
            if is_distrusted and subject == key:
                end_s = tape.length_s if stand.to_s is None else stand.to_s
                steps = tape.between(stand.from_s, end_s)
                trusted[steps] = [False] * (steps.stop - steps.start)
        seen = [a or b for a, b in zip(seen, trusted, strict=True)]
    return seen


def _watched(tape: NightSeries, rang: Sequence[AlarmEpisode], name: str) -> Watched:
    seen = seen_steps(tape, rang, name)
    for step in tape.left_out:  # nobody was inside: nothing to be seen, or missed
        seen[step] = True
    longest, begin = _longest(seen)
    unseen = seen.count(False)
    return Watched(
        name,
        QUANTITIES[name].words,
        1.0 - unseen / max(1, tape.count - len(tape.left_out)),
        unseen * STEP_S / 60.0,
        longest * STEP_S / 60.0,
        None if begin is None else begin * STEP_S,
    )


def _longest(seen: Sequence[bool]) -> tuple[int, int | None]:
    longest, begin, run = 0, None, 0
    for n, one in enumerate(seen):
        run = 0 if one else run + 1
        if run > longest:
            longest, begin = run, n - run + 1
    return longest, begin


RISEN_PPM = 2000.0
"""So much more carbon dioxide of a flame comes with 5 ppm of carbon monoxide, were it
clean: more than a part's own error."""
STILL_STEPS = round(3600.0 / STEP_S)
"""An hour of one value: a shorter look tells nothing (our choice)."""


def still_at_nothing(tape: NightSeries) -> list[str]:
    """List the carbon monoxide series that showed one value all night, and no gas.

    Only where carbon dioxide rose meanwhile.  A part whose messages know no sign shows
    0.0 in clean air, and goes on doing so when its zero has sunk or its cell is dead.
    """
    risen = [one for one in tape.worst("co2_ppm", "above") if one is not None]
    if not risen or max(risen) - min(risen) < RISEN_PPM:
        return []
    found = []
    for key in tape.keys("co_ppm"):
        told = [one for one in tape.series[key] if one is not None]
        if len(told) >= STILL_STEPS and min(told) == max(told) <= 0.0:
            found.append(key)
    return found


def troubles(tape: NightSeries) -> list[SourceFaults]:
    """Gather the faults of every source, the longest first."""
    open_s: dict[str, float] = {}
    totals: dict[str, tuple[int, float, str]] = {}
    for event in tape.events:
        source, kind = event.fields.get("source"), event.fields.get("kind")
        if event.kind == "start":
            _close(open_s, totals, event.at_s)
        if event.kind != "fault" or not isinstance(source, str):
            continue
        count, minutes, text = totals.get(source, (0, 0.0, ""))
        if kind == "ok":
            minutes += (event.at_s - open_s.pop(source, event.at_s)) / 60.0
        elif (source, kind) == REFUSED_ASK:
            count, text = count + 1, text or str(event.fields.get("text", ""))
        elif source not in open_s:
            open_s[source] = event.at_s
            count, text = count + 1, text or str(event.fields.get("text", ""))
        totals[source] = (count, minutes, text)
    _close(open_s, totals, tape.length_s)
    found = [SourceFaults(source, *rest) for source, rest in totals.items() if rest[0]]
    return sorted(found, key=lambda one: -one.minutes)


def _close(
    open_s: dict[str, float], totals: dict[str, tuple[int, float, str]], at_s: float
) -> None:
    """End what is still open: the run is over."""
    for source, from_s in open_s.items():
        count, minutes, text = totals[source]
        totals[source] = (count, minutes + (at_s - from_s) / 60.0, text)
    open_s.clear()
