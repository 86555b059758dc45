"""A part that repeats one value for longer than a live part does.

A live sensor flickers.  A coarse one in still fresh air may rightly stand for an hour:
so a value that stands is stuck only once other gases have moved meanwhile, or once it
has stood for much longer than any still air explains.
"""

from bisect import bisect_left

import attrs

from cabinvigil.daemon.core.facts import place_of
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.limits import Between
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.drivers.kit.quantity import split_channel

PER = "series"

WITNESSES = {
    "o2_pct": ("co2_ppm",),
    "co2_ppm": ("o2_pct", "rh_pct"),
    "rh_pct": ("temp_c", "co2_ppm"),
}
"""What must have moved if this quantity's air has moved (design.md, section 5)."""
MOVED = {"o2_pct": 0.3, "co2_ppm": 2000.0, "rh_pct": 8.0, "temp_c": 3.0}
"""A witness that moved by this much: 2 000 ppm of CO2 is 0.33 % of O2 by propane's
5 to 3, three steps of the coarsest O2 sensor; the others are our own choice."""


@attrs.frozen
class Params:
    """Which series is judged, and how patient the rule is without a witness."""

    subject: str = ""
    patience: float = attrs.field(default=6.0, validator=Between(1.0, 100.0))
    """Without a witness a value may stand this many times `stuck_s`."""


def _witness_moved(history: History, key: str, since_s: float) -> bool:
    parts = split_channel(key)
    for quantity in WITNESSES.get("" if parts is None else parts[0].name, ()):
        worst = history.worst(quantity, "above")
        if worst is None:
            continue
        minutes = worst[1].minutes
        means = [mean for _, mean in minutes[bisect_left(minutes, (since_s,)) :]]
        if means and max(means) - min(means) >= MOVED[quantity]:
            return True
    return False


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge how long the value has stood without the least change."""
    key = params.subject
    spec = history.setup.series[key]
    series = history.fresh(key)
    if series is None:
        return None
    still_s = now - series.changed_s
    if still_s <= spec.stuck_s:
        return _FINE
    if still_s <= params.patience * spec.stuck_s and not _witness_moved(
        history, key, series.changed_s
    ):
        return _FINE
    parts = split_channel(key)
    return Verdict(
        Priority.FAULT,
        facts={
            "part": place_of(history, key),
            "value": series.value,
            "unit": "" if parts is None else parts[0].unit,
            "seconds": still_s,
        },
        evidence={"series": key, "value": series.value, "still_s": still_s},
    )


def laxer(params: Params, published: Params) -> list[str]:
    """List what is less strict here than in the packaged limits; empty is fine."""
    own, usual = params.patience, published.patience
    if own <= usual:
        return []
    return [
        f"{own:g} times as long as usual a value may stand still, packaged {usual:g}"
    ]


_FINE = Verdict(None)
