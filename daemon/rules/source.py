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


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether the part has a fault now."""
    del now
    fault = history.sources.get(params.subject)
    if fault is None:
        return _FINE
    return Verdict(
        Priority.FAULT,
        facts={"part": params.subject, "text": fault.text},
        evidence={"source": fault.source, "kind": fault.kind},
        wording=fault.kind,
    )


_FINE = Verdict(None)
