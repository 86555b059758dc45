"""Which picture an alarm belongs to: a chart shows its own alarms alone."""

import functools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import attrs

from cabinvigil.daemon import rules
from cabinvigil.daemon.review.alarm_episodes import RANKS, AlarmEpisode, Ring
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.settings.read import parse_toml
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.daemon.text.alarm_names import name_of_alarm
from cabinvigil.daemon.text.charts import Band, BandKind

_AS = {"o2_hpa": "o2_pct"}
"""Oxygen's pressure is told in oxygen's picture."""
KINDS: Mapping[int, BandKind] = {
    RANKS["high"]: "alarm",
    RANKS["medium"]: "warn",
    RANKS["low"]: "low",
}
BARS: Mapping[BandKind, str] = {
    "alarm": "Full bar",
    "warn": "Striped bar",
    "low": "Thin bar",
}


def quantity_of(alarm: str, config: Mapping[str, Any]) -> str:
    """Return the quantity an alarm judges; '' for one of parts or the monitor.

    A rule that names no quantity names its own picture; a log that does not hold its
    config is taken to have the packaged alarms.
    """
    alarms = config.get("alarm")
    table = alarms.get(alarm) if isinstance(alarms, Mapping) else None
    if not isinstance(table, Mapping):
        table = _packaged_alarms().get(alarm, {})
    found = str(table.get("quantity") or _shown_with(str(table.get("kind"))))
    return _AS.get(found, found)


def _shown_with(kind: str) -> str:
    """Return what a rule says of itself; '' for one that this version has not."""
    if kind not in rules.kinds():
        return ""
    module = rules.find(kind)
    unsaid = attrs.fields_dict(module.Params).get("quantity")
    if unsaid is not None:
        return unsaid.default if isinstance(unsaid.default, str) else ""
    return str(getattr(module, "SHOWN_WITH", ""))


@functools.cache
def _packaged_alarms() -> Mapping[str, Mapping[str, Any]]:
    """Return the tables of the packaged alarms."""
    name = "limits.toml"
    found: Mapping[str, Mapping[str, Any]]
    found = parse_toml(packaged(name).read_bytes(), name)["alarm"]
    return found


class Stand(NamedTuple):
    """One bar: an alarm at one priority."""

    episode: AlarmEpisode
    ring: Ring
    from_s: float
    to_s: float | None
    """When it ended or became graver; None: it still stood at the end."""

    @property
    def rank(self) -> int:
        """Its priority then, as a number."""
        return RANKS.get(self.ring.priority, 0)


def stands(found: Morning) -> list[Stand]:
    """Return every alarm's stands, cut where it became graver."""
    made = []
    for one in found.rang:
        ends = [*(ring.at_s for ring in one.rises[1:]), one.to_s]
        made += [
            Stand(one, ring, ring.at_s, to_s)
            for ring, to_s in zip(one.rises, ends, strict=True)
        ]
    return made


def own_stands(found: Morning, quantity: str) -> list[Stand]:
    """Return the stands of the alarms that judge one quantity."""
    config = found.tape.config
    return [
        one
        for one in stands(found)
        if one.rank in KINDS and quantity_of(one.episode.alarm, config) == quantity
    ]


def own_bands(found: Morning, own: Sequence[Stand]) -> Iterator[Band]:
    """Draw a bar for each, from its raise to its end."""
    for one in own:
        end_s = found.tape.length_s if one.to_s is None else one.to_s
        yield Band(one.from_s / 3600.0, end_s / 3600.0, KINDS[one.rank])


def bars_in_words(own: Sequence[Stand]) -> list[str]:
    """Return what each kind of bar in a picture is."""
    words = []
    for rank, kind in KINDS.items():
        alarms = (one.episode.alarm for one in own if one.rank == rank)
        names = dict.fromkeys(map(name_of_alarm, alarms))
        if names:
            words.append(f"{BARS[kind]}: {', '.join(names)}")
    return words
