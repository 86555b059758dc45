"""What the monitor says of itself to those who ask: `show`, `precheck`, a phone."""

import dataclasses
import functools
import importlib.metadata
from datetime import date
from typing import Any

from cabinvigil.daemon.clock import is_clock_set
from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.all_clear import outlook
from cabinvigil.daemon.core.changes import renewed
from cabinvigil.daemon.core.model import AlarmState
from cabinvigil.daemon.core.state import State
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.text.time_zones import system_zone


def _supply_hours(state: State) -> float | None:
    """Return the hours that the battery lasts at its present fall; None: unknown."""
    for spec in state.setup.alarms:
        if spec.kind == "supply":
            verdict = spec.judge(spec.params, state.history, state.history.now)
            if verdict is not None:
                hours: float | None = verdict.evidence.get("hours_left")
                return hours
    return None


def _airing(state: State, now_s: float) -> dict[str, Any] | None:
    """Return when the air is good again; None where no all-clear is owed."""
    found = outlook(state, now_s)
    return None if found is None else dataclasses.asdict(found)


def _warming(state: State) -> dict[str, str]:
    """Return the series that are doubtful as their part warms up, with that part."""
    history, found = state.history, {}
    for key, spec in history.layout.series.items():
        series = history.fresh(key)
        if series is None or not series.doubtful:
            continue
        if history.now - series.doubtful_s < spec.warm_up_s:
            found[key] = spec.part
    return found


def _said_now(state: State, alarm: str, standing: AlarmStatus) -> str:
    """Return an alarm's sentence with the numbers of now, not of when it sounded."""
    if not standing.stands:
        return standing.text
    return renewed(state, alarm, standing, state.history.now).text


def _trial(state: State, now_s: float) -> dict[str, Any] | None:
    """Return what is tried with nobody inside; None where no trial is open."""
    trial = state.trial
    if trial is None:
        return None
    left_s = max(0.0, trial.until_s - now_s)
    return {"text": trial.text, "left_s": left_s, "until": trial.alarm}


def status(watcher: Watcher, settings: Settings) -> dict[str, Any]:
    """Return where everything stands, fit for JSON, units in the keys."""
    state = watcher.state
    trend = state.setup.trend
    estimate = state.history.trend
    return {
        "cabin": settings.cabin.name,
        "version": version(),
        "up_s": watcher.up_s(),
        "tick_s": settings.watch.tick_s,
        "readings": dict(watcher.numbers()),
        "at_least": watcher.lower_bounds(),
        "doubtful": [
            key
            for key in state.history.series
            if (series := state.history.fresh(key)) is not None and series.doubtful
        ],
        "warming_up": _warming(state),
        "supply_hours": _supply_hours(state),
        "cohb_pct": round(state.history.dose.most_pct, 2),
        "alarms": [
            {
                "alarm": alarm,
                "state": standing.state.value,
                "priority": standing.priority.word,
                "since_s": standing.since_s,
                "text": _said_now(state, alarm, standing),
            }
            for alarm, standing in state.standings.items()
            if standing.state is not AlarmState.NORMAL
        ],
        "airing": _airing(state, watcher.up_s()),
        "trial": _trial(state, watcher.up_s()),
        "sounding": state.sound.pattern,
        "faults": {name: fault.text for name, fault in state.history.sources.items()},
        "estimate": None
        if trend is None or estimate is None
        else dict(trend.fields(estimate)),
        "laxer": list(settings.laxer),
    }


@functools.cache
def version() -> str:
    """Return the software's version; read from the disk once."""
    return importlib.metadata.version("cabinvigil")


def start_fields(
    settings: Settings, today: date | None = None, *, emulated: bool = False
) -> dict[str, Any]:
    """Return the start record's fields: version, digest, and the whole config.

    Args:
        settings: what runs.
        today: from which the parts' service lives are counted; None: they are not.
        emulated: the parts are invented; every such log says so at its head.
    """
    fields: dict[str, Any] = {
        "version": version(),
        "config_digest": settings.digest,
        "config": settings.as_plain(),
        "alarms": list(settings.alarms),
        "laxer": list(settings.laxer),
        "today": None if today is None else today.isoformat(),
    }
    if emulated:
        fields["emulated"] = True
        return fields
    if zone := settings.cabin.zone or system_zone():
        fields["zone"] = zone
    if (clock_set := is_clock_set()) is not None:
        fields["clock_set"] = clock_set
    return fields
