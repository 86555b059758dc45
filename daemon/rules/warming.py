"""A part whose values stay doubtful: warming up for too long, or out of its range."""

from collections.abc import Mapping

import attrs

from cabinvigil.daemon.core.history import History, Series
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.drivers.kit.quantity import split_channel

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


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether a part is still doubtful long after the start.

    A part is told once, however many quantities it gives.  The engine's on-delay
    bridges short spells outside the part's range, and its warming up when it comes
    back in the night.

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
    doubtful = [key for key, series in fresh.items() if series.doubtful]
    if not doubtful:
        return _FINE
    specs = [history.layout.series[key] for key in doubtful]
    warm_up_s = max(spec.warm_up_s for spec in specs)
    if now - history.started_s <= params.factor * warm_up_s:
        return _FINE
    return Verdict(
        Priority.FAULT,
        facts={"part": specs[0].title, "value": fresh[doubtful[0]].value},
        evidence={"series": doubtful, "since_start_s": now - history.started_s},
        wording="pressure" if _lacks_pressure(fresh) else "",
    )


def _lacks_pressure(fresh: Mapping[str, Series]) -> bool:
    """Return whether air pressure alone is missing.

    Where an oxygen cell's partial pressure is good and its percent is not, the cell is
    warm, dry and calibrated: nothing tells it the pressure of the air.
    """
    is_doubtful: dict[str, bool] = {}
    for key, series in fresh.items():
        found = split_channel(key)
        if found is not None:
            is_doubtful[found[0].name] = series.doubtful
    return is_doubtful.get("o2_pct", False) and not is_doubtful.get("o2_hpa", True)


_FINE = Verdict(None)
