"""What outlives a restart: where alarms stood, who answered them, what was breathed.

Plain values with ages, since the monotonic clock begins anew.  What cannot be read is
said, and taken on the safe side: an alarm in doubt comes back unacknowledged.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core import kept_air, kept_alarm
from cabinvigil.daemon.core.annunciation import choose
from cabinvigil.daemon.core.changes import retell
from cabinvigil.daemon.core.dose import MOST_FRACTION, Dose, breathe_co
from cabinvigil.daemon.core.engine import start
from cabinvigil.daemon.core.history import UNDOSED
from cabinvigil.daemon.core.model import AlarmState, Command
from cabinvigil.daemon.core.setup import Setup
from cabinvigil.daemon.core.state import State

VERSION = 1


def to_plain(state: State) -> dict[str, Any]:
    """Put into plain values, fit for JSON, what must outlive a restart.

    Alarms that rest in `normal` are left out.
    """
    now = state.history.now
    dose = state.history.dose
    return {
        "version": VERSION,
        "dose": {"cohb_pct": dose.cohb_pct, "alarm_fraction": dose.alarm_fraction},
        "minutes": kept_air.to_plain(state.setup, state.history.series, now),
        "airing": sorted(state.airing),
        "alarms": {
            alarm: kept_alarm.to_plain(standing, now)
            for alarm, standing in state.standings.items()
            if standing.state is not AlarmState.NORMAL
        },
    }


def restore(
    setup: Setup, plain: Any, now: float, *, down_s: Any
) -> tuple[State, list[str]]:
    """Start with what `to_plain` kept; never fails, whatever it is handed.

    Args:
        setup: as it is now; it may have changed since.
        plain: what was kept.
        now: monotonic seconds.
        down_s: how long the watch was down; None, or no sensible number: unknown.

    Returns:
        The state, and a sentence on each thing that could not be taken over.
    """
    state = start(setup, now)
    if not isinstance(plain, Mapping) or plain.get("version") != VERSION:
        return state, ["the kept state is of no known version: nothing is taken over"]
    gap_s = _span_s(down_s)
    gone_s = gap_s or 0.0
    specs = {spec.id: spec for spec in setup.alarms}
    standings = dict(state.standings)
    lost: list[str] = []
    alarms = plain.get("alarms")
    if not isinstance(alarms, Mapping):
        alarms = {}
        lost.append("the kept state has no alarms that can be read")
    for alarm, kept in alarms.items():
        if alarm not in specs:
            lost.append(f"{str(alarm)[:80]} stood, and is no alarm any more")
            continue
        stood = kept_alarm.from_plain(kept, now, gone_s)
        standings[alarm] = kept_alarm.come_back(
            specs[alarm], stood, now, knows_gap=gap_s is not None
        )
    airing = plain.get("airing")
    told = airing if isinstance(airing, list) else []
    owed = [one for one in told if isinstance(one, str) and one in specs]
    minutes = kept_air.from_plain(setup, plain.get("minutes"), now, gone_s)
    history = replace(
        state.history,
        dose=_dose(plain.get("dose"), gone_s),
        series={**state.history.series, **minutes},
    )
    restored = replace(
        state,
        history=history,
        standings=standings,
        sound=choose(standings),
        airing=frozenset(owed),
    )
    return restored, lost


def carry_over(state: State, setup: Setup, now: float) -> tuple[State, list[str]]:
    """Go on with another setup, the config having been changed while running.

    Alarms come over as in `restore`; what is known of the air, of the dose and of the
    sources stays known, except where a series is now another one.

    Returns:
        The state, and a sentence on each thing that could not be taken over.
    """
    carried, lost = restore(setup, to_plain(state), now, down_s=0.0)
    old = state.setup
    series = {
        key: state.history.series[key]
        if old.series.get(key) == spec
        else carried.history.series[key]
        for key, spec in setup.series.items()
    }
    history = replace(state.history, setup=setup, now=now, series=series)
    same_trend = setup.trend == old.trend
    if not same_trend:
        history = replace(history, trend=None)
    carried = replace(
        carried,
        history=history,
        before_s=state.before_s,
        raised=state.raised,
        trend_state=state.trend_state if same_trend else carried.trend_state,
        trend_s=state.trend_s if same_trend else carried.trend_s,
        estimated_s=state.estimated_s,
    )
    return carried, lost


def resume(state: State, now: float) -> list[Command]:
    """Say, first thing after `restore`, where all alarms stand, and sound.

    What calls for a person is told to the phone again: a kill may have lost it.
    """
    del now
    return retell(state)


def _span_s(value: Any) -> float | None:
    """Return a span in seconds; None where it is no number, or runs backwards."""
    span_s = kept_alarm.number(value, math.nan, -1.0, math.inf)
    return span_s if span_s >= 0.0 else None


def _dose(kept: Any, gone_s: float) -> Dose:
    """Take the dose over, breathed off while the watch was down."""
    if not isinstance(kept, Mapping):
        return UNDOSED
    number = kept_alarm.number
    cohb_pct = number(kept.get("cohb_pct"), UNDOSED.cohb_pct, 0.0, 100.0)
    fraction = number(kept.get("alarm_fraction"), 0.0, 0.0, MOST_FRACTION)
    return breathe_co(Dose(cohb_pct, fraction), 0.0, gone_s)
