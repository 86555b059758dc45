"""Which picture an alarm belongs to: a chart shows its own alarms alone."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from cabinvigil.daemon.review.alarm_episodes import RANKS, AlarmEpisode
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.text.charts import Band

_BY_KIND = {
    "dose": "co_ppm",
    "displaced": "o2_pct",
    "condensing": "dew",
    "supply": "supply_v",
}
_AS = {"o2_hpa": "o2_pct"}
"""Oxygen's pressure is told in oxygen's picture."""
_BY_NAME = (
    ("o2-", "o2_pct"),
    ("displaced", "o2_pct"),
    ("co2-", "co2_ppm"),
    ("co-", "co_ppm"),
    ("supply", "supply_v"),
    ("condensing", "dew"),
    ("fine-dust", "pm2_5_ugm3"),
)
"""For a log that does not hold its config."""
KINDS: Mapping[int, str] = {
    RANKS["high"]: "alarm",
    RANKS["medium"]: "warn",
    RANKS["low"]: "low",
}
BARS = {"alarm": "Full bar", "warn": "Striped bar", "low": "Thin bar"}


def quantity_of(alarm: str, config: Mapping[str, Any]) -> str:
    """Return the quantity an alarm judges; '' for one of parts or the watch."""
    alarms = config.get("alarm")
    told = alarms.get(alarm) if isinstance(alarms, Mapping) else None
    if isinstance(told, Mapping):
        found = told.get("quantity") or _BY_KIND.get(str(told.get("kind")), "")
        return _AS.get(str(found), str(found))
    return next((one for start, one in _BY_NAME if alarm.startswith(start)), "")


def own_episodes(found: Morning, quantity: str) -> list[AlarmEpisode]:
    """Return the stands of the alarms that judge one quantity."""
    return [
        one
        for one in found.rang
        if one.rank in KINDS and quantity_of(one.alarm, found.tape.config) == quantity
    ]


def own_bands(found: Morning, episodes: Sequence[AlarmEpisode]) -> Iterator[Band]:
    """Draw a bar for each, from its raise to its end."""
    for one in episodes:
        end_s = found.tape.length_s if one.to_s is None else one.to_s
        kind: Any = KINDS[one.rank]
        yield Band(one.from_s / 3600.0, end_s / 3600.0, kind)


def bars_in_words(episodes: Sequence[AlarmEpisode]) -> list[str]:
    """Say what each kind of bar in a picture is."""
    words = []
    for rank, kind in KINDS.items():
        names = dict.fromkeys(one.alarm for one in episodes if one.rank == rank)
        if names:
            words.append(f"{BARS[kind]}: {', '.join(names)}")
    return words
