"""What a person may do to alarms: answer, reset, put aside, take back."""

from collections.abc import Mapping

from cabinvigil.daemon.core import alarm_status as life
from cabinvigil.daemon.core import shelving
from cabinvigil.daemon.core.alarm import Trigger
from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Act, ActKind, AlarmState, Verdict
from cabinvigil.daemon.core.setup import AlarmSpec, Setup, is_unseen

ENDS = {
    ActKind.UNSHELVE: AlarmState.SHELVED,
    ActKind.RETURN_TO_SERVICE: AlarmState.OUT_OF_SERVICE,
}
"""Which state each act of taking back ends; what the design suppresses, nobody does."""


def act(
    setup: Setup,
    standings: Mapping[str, AlarmStatus],
    history: History,
    event: Act,
    now: float,
) -> tuple[dict[str, AlarmStatus], dict[str, Verdict | None]]:
    """Apply an act to the alarms it names ('' names all); unknown names do nothing.

    Returns:
        The state of every alarm now, and the verdicts of those that were taken back.
    """
    changed = dict(standings)
    verdicts: dict[str, Verdict | None] = {}
    for spec in setup.alarms:
        if event.alarm and event.alarm != spec.id:
            continue
        standing = standings[spec.id]
        if event.kind in ENDS:
            if standing.state is ENDS[event.kind]:
                verdict = spec.judge(spec.params, history, now)
                verdicts[spec.id] = verdict
                changed[spec.id] = shelving.take_back(standing, verdict, now)
        else:
            changed[spec.id] = _one(spec, standing, history, event, now)
    return changed, verdicts


def _one(
    spec: AlarmSpec, standing: AlarmStatus, history: History, event: Act, now: float
) -> AlarmStatus:
    match event.kind:
        case ActKind.ACKNOWLEDGE | ActKind.RESET:
            # A reset by hand is an answer; the table resets by itself once it is clear.
            is_lost = is_unseen(spec, history) and (
                spec.judge(spec.params, history, history.now) is None
            )
            return life.acknowledge(spec, standing, event, now, is_unseen=is_lost)
        case ActKind.SHELVE if event.alarm:
            return shelving.put_aside(spec, standing, Trigger.SHELVE, event.for_s, now)
        case ActKind.OUT_OF_SERVICE if event.alarm and event.by != "phone":
            return shelving.put_aside(spec, standing, Trigger.REMOVE, 0.0, now)
        case _:
            return standing
