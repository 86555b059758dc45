"""A part that its driver or its bus reports as faulty, in the sampler's own words."""

import attrs

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict

PER = "part"


@attrs.frozen
class Params:
    """Which part is judged."""

    subject: str = ""
    """The part's config name; filled in when the config is read."""


def _has_spoken(history: History, part: str) -> bool:
    """Say whether any of a part's series was taken since the start, if it has any."""
    has_series = False
    for key, spec in history.layout.series.items():
        if spec.part == part:
            has_series = True
            if history.series[key].at_s >= history.started_s:
                return True
    return not has_series


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether the part has a fault now.

    Returns:
        None where no fault is known of a part that has not spoken since the start: one
        that was at fault before a restart is not well for having said nothing yet.
    """
    del now
    fault = history.sources.get(params.subject)
    if fault is None:
        return _FINE if _has_spoken(history, params.subject) else None
    return Verdict(
        Priority.FAULT,
        facts={"part": params.subject, "text": fault.text},
        evidence={"source": fault.source, "kind": fault.kind},
        wording=fault.kind,
        topic=fault.kind,
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.FAULT


_FINE = Verdict(None)
