"""What a person may do to alarms: answer, reset, put aside, take back."""

from collections.abc import Mapping

from cabinvigil.daemon.core import standing as life
from cabinvigil.daemon.core.alarm import Trigger
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from cabinvigil.daemon.core.standing import Standing


def act(
    setup: Setup,
    standings: Mapping[str, Standing],
    history: History,
    event: Act,
    now: float,
) -> dict[str, Standing]:
    """Apply an act to the alarms it names ('' names all); unknown names do nothing."""
    changed = dict(standings)
    for spec in setup.alarms:
        if event.alarm and event.alarm != spec.id:
            continue
        changed[spec.id] = _one(spec, standings[spec.id], history, event, now)
    return changed


def _one(
    spec: AlarmSpec, standing: Standing, history: History, event: Act, now: float
) -> Standing:
    match event.kind:
        case ActKind.ACKNOWLEDGE | ActKind.RESET:
            # A reset by hand is an answer; the table resets by itself once it is clear.
            return life.acknowledge(spec, standing, now)
        case ActKind.SHELVE if event.alarm:
            return life.put_aside(spec, standing, Trigger.SHELVE, event.for_s, now)
        case ActKind.OUT_OF_SERVICE if event.alarm and event.by != "phone":
            return life.put_aside(spec, standing, Trigger.REMOVE, 0.0, now)
        case ActKind.UNSHELVE | ActKind.RETURN_TO_SERVICE:
            verdict = spec.judge(spec.params, history, now)
            return life.take_back(standing, verdict, now)
        case _:
            return standing
