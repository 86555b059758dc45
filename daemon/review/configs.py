"""What ran when in a night: each run is judged by its own limits.

A limit that was relaxed before the end makes nothing before it safe, and one that was
tightened then makes nothing before it a breach.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.review.cabin_facts import Limit, limits_of

NONE: Mapping[str, Any] = {}


@dataclass(frozen=True, slots=True)
class Ran:
    """A config, and while it ran."""

    head: Mapping[str, Any]
    """Its start record."""
    from_s: float
    to_s: float

    @property
    def config(self) -> Mapping[str, Any]:
        """What ran, in the shape of its file."""
        config: Mapping[str, Any] = self.head["config"]
        return config

    @property
    def laxer(self) -> list[str]:
        """The limits that are less strict than published, as accepted."""
        laxer = self.head.get("laxer")
        return [str(one) for one in laxer] if isinstance(laxer, list) else []


def configs(tape: NightSeries) -> list[Ran]:
    """List what ran, in order; a start whose record is lost changes nothing."""
    starts = [
        (one.at_s, one.fields)
        for one in tape.events
        if one.kind == "start"
        and isinstance(one.fields.get("config"), Mapping)
        and one.fields["config"]
    ]
    if not starts:
        return []
    begins = [0.0, *(at_s for at_s, _ in starts[1:]), tape.length_s]
    found: list[Ran] = []
    for (_, head), (from_s, to_s) in zip(starts, pairwise(begins), strict=True):
        if found and found[-1].config == head["config"]:
            found[-1] = replace(found[-1], to_s=to_s)
        else:
            found.append(Ran(head, from_s, to_s))
    return found


def longest(ran: Sequence[Ran]) -> Mapping[str, Any]:
    """Return the config that covers most of the night: the cabin's facts are of it."""
    one = max(ran, key=lambda one: one.to_s - one.from_s, default=None)
    return NONE if one is None else one.config


Ruling = Mapping[Limit, Sequence[tuple[float, float]]]
"""Each limit, with the stretches in which it was in force."""


def ruling(ran: Sequence[Ran]) -> Ruling:
    """Return the limits of a night."""
    found: dict[Limit, list[tuple[float, float]]] = {}
    for one in ran:
        for limit in limits_of(one.config):
            found.setdefault(limit, []).append((one.from_s, one.to_s))
    return found
