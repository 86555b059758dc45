"""A part whose values stay doubtful: warming up for too long, or out of its range.

Doubtful values raise alarms and clear none.  Where nothing else gives a vital quantity
surely for long, people are woken: such a part may be blind.
"""

from collections.abc import Mapping

import attrs

from cabinvigil.daemon.core.history import History, Series
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.core.vital import loss_of, quantity_name

PER = "part"


@attrs.frozen
class Params:
    """Which part is judged."""

    subject: str = ""
    """The part's config name."""
    factor: float = attrs.field(
        default=2.0, validator=Between(1.0, 100.0, laxer="higher")
    )
    """Longer than this many times its warm-up is too long."""
    alone_s: float = attrs.field(
        default=600.0, validator=Between(60.0, 800.0, laxer="higher")
    )
    """The last part that gives a vital quantity wakes people when it has been doubtful
    for so long, or for its warm-up where that is longer (our choice)."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge for how long a part has been doubtful without a break.

    A part is told once, however many quantities it gives.  A part that comes back in
    the night warms up again, and its time begins again.  What stands still is doubtful
    too, and told as stuck.

    Returns:
        None where nothing of the part is fresh.
    """
    fresh = {
        key: series
        for key, spec in history.layout.series.items()
        if spec.part == params.subject and (series := history.fresh(key)) is not None
    }
    if not fresh:
        return None
    doubtful = {
        key: now - series.doubtful_s
        for key, series in fresh.items()
        if series.doubtful and not history.stands_still(key)
    }
    if not doubtful:
        return _FINE
    specs = [history.layout.series[key] for key in doubtful]
    warm_up_s = max(spec.warm_up_s for spec in specs)
    alone_s = max(params.alone_s, warm_up_s)
    first = next(iter(doubtful))
    lacks_pressure = _lacks_pressure(fresh)
    priority, text = None, ""
    wording = "pressure" if lacks_pressure else ""
    if max(doubtful.values()) > params.factor * warm_up_s:
        priority = Priority.FAULT
    for key, doubtful_s in doubtful.items():
        loss = loss_of(history, key)
        if loss.wording and doubtful_s > alone_s and not lacks_pressure:
            first, priority = key, loss.priority
            wording, text = loss.wording, loss.text
    if priority is None:
        return _FINE
    facts: dict[str, float | str] = {
        "part": specs[0].title,
        "value": fresh[first].value,
        "seconds": doubtful[first],
    }
    if text:
        facts["text"] = text
    evidence = {"series": list(doubtful), "doubtful_s": max(doubtful.values())}
    return Verdict(priority, facts=facts, evidence=evidence, wording=wording)


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as, of a part that gives a vital quantity."""
    del params
    return Priority.MEDIUM


def _lacks_pressure(fresh: Mapping[str, Series]) -> bool:
    """Return whether air pressure alone is missing.

    Where an oxygen cell's partial pressure is good and its percent is not, the cell is
    warm, dry and calibrated: nothing tells it the pressure of the air.
    """
    doubtful = {quantity_name(key): series.doubtful for key, series in fresh.items()}
    return doubtful.get("o2_pct", False) and not doubtful.get("o2_hpa", True)


_FINE = Verdict(None)
