"""What outlives a restart: where alarms stood, who answered them, what was breathed.

Plain values with ages, since the monotonic clock begins anew.  What cannot be read is
said, and taken on the safe side: an alarm in doubt comes back unacknowledged.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.alarm import ASIDE, Trigger
from cabinvigil.daemon.core.alarm_status import AlarmStatus, blind_verdict, ring
from cabinvigil.daemon.core.annunciation import choose_sound
from cabinvigil.daemon.core.changes import announce_all
from cabinvigil.daemon.core.dose import MOST_FRACTION, Dose, breathe_co
from cabinvigil.daemon.core.engine import start
from cabinvigil.daemon.core.history import KEPT_MINUTES, UNDOSED, Series, closed_minutes
from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.core.model import AlarmState, Command, Priority
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from cabinvigil.daemon.core.shelving import stay_aside, take_back
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
        "minutes": minutes_to_plain(state.setup, state.history.series, now),
        "airing": sorted(state.all_clear_owed),
        "alarms": {
            alarm: alarm_to_plain(standing, now)
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
        stood = alarm_from_plain(kept, now, gone_s)
        standings[alarm] = come_back(
            specs[alarm], stood, now, knows_gap=gap_s is not None
        )
    all_clear_owed = plain.get("airing")
    told = all_clear_owed if isinstance(all_clear_owed, list) else []
    owed = [one for one in told if isinstance(one, str) and one in specs]
    minutes = minutes_from_plain(setup, plain.get("minutes"), now, gone_s)
    history = replace(
        state.history,
        dose=_dose(plain.get("dose"), gone_s),
        series={**state.history.series, **minutes},
    )
    restored = replace(
        state,
        history=history,
        standings=standings,
        sound=choose_sound(standings),
        all_clear_owed=frozenset(owed),
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
        if old.layout.series.get(key) == spec
        else carried.history.series[key]
        for key, spec in setup.layout.series.items()
    }
    history = replace(state.history, layout=setup.layout, now=now, series=series)
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
    return announce_all(state)


def _span_s(value: Any) -> float | None:
    """Return a span in seconds; None where it is no number, or runs backwards."""
    span_s = number(value, math.nan, -1.0, math.inf)
    return span_s if span_s >= 0.0 else None


def _dose(kept: Any, gone_s: float) -> Dose:
    """Take the dose over, breathed off while the watch was down."""
    if not isinstance(kept, Mapping):
        return UNDOSED
    cohb_pct = number(kept.get("cohb_pct"), UNDOSED.cohb_pct, 0.0, 100.0)
    fraction = number(kept.get("alarm_fraction"), 0.0, 0.0, MOST_FRACTION)
    return breathe_co(Dose(cohb_pct, fraction), 0.0, gone_s)


DECIMALS = 2
"""Of a minute's mean: finer than any limit, at a third of the bytes."""


def minutes_to_plain(
    setup: Setup, series: Mapping[str, Series], now: float
) -> dict[str, Any]:
    """Put minutes into plain values: a mean for each, the present minute's the last.

    None stands where no reading came.
    """
    plain: dict[str, Any] = {}
    for key, spec in setup.layout.series.items():
        minutes = closed_minutes(series[key]) if spec.mean_s > 0.0 else ()
        first = _minute(now) - min(KEPT_MINUTES, math.ceil(spec.mean_s / 60.0)) + 1
        known = {
            _minute(at_s): round(mean, DECIMALS)
            for at_s, mean in minutes
            if _minute(at_s) >= first
        }
        if known:
            last = max(_minute(now), max(known))
            plain[key] = [known.get(one) for one in range(min(known), last + 1)]
    return plain


def minutes_from_plain(
    setup: Setup, kept: Any, now: float, gone_s: float
) -> dict[str, Series]:
    """Read the minutes back; what cannot be read is left out.

    Args:
        setup: as it is now.
        kept: what `minutes_to_plain` made, or anything.
        now: monotonic seconds.
        gone_s: what has passed since it was kept, as far as is known.

    Returns:
        Series that know their past and nothing of the present, by key.
    """
    found: dict[str, Series] = {}
    for key, means in kept.items() if isinstance(kept, Mapping) else ():
        spec = setup.layout.series.get(key)
        if spec is None or spec.mean_s <= 0.0 or not isinstance(means, list):
            continue
        # Before the minute that is being gathered now, so that none stands twice.
        last = min(_minute(now - gone_s), _minute(now) - 1)
        numbered = enumerate(
            means[-KEPT_MINUTES:], last + 1 - len(means[-KEPT_MINUTES:])
        )
        minutes = tuple(
            (minute * 60.0 + 30.0, float(mean))
            for minute, mean in numbered
            if _is_possible(spec, mean)
        )
        if minutes:
            found[key] = Series(minutes=minutes)
    return found


def _minute(at_s: float) -> int:
    return int(at_s // 60.0)


def _is_possible(spec: SeriesSpec, mean: Any) -> bool:
    if isinstance(mean, bool) or not isinstance(mean, int | float):
        return False
    return spec.low <= mean <= spec.high


MOST_AGE_S = 30 * 86_400.0
"""Longer than any night: an older age says no more than this."""


MOST_WORSE = 1e9
"""Larger than any rule's measure of how bad things are."""


LONGEST_TEXT = 400
"""Characters of a kept sentence; ours have at most 140."""


_STATES = {one.value: one for one in AlarmState}


_PRIORITIES = {one.word: one for one in Priority}


def alarm_to_plain(standing: AlarmStatus, now: float) -> dict[str, Any]:
    """Put an alarm into plain values, fit for JSON: moments become ages."""
    priority_while_shelved = standing.priority_while_shelved
    plain: dict[str, Any] = {
        "state": standing.state.value,
        "priority": standing.priority.word,
        "text": standing.text,
        "age_s": now - standing.since_s,
        "unanswered_s": now - standing.unanswered_s,
        "quiet_left_s": standing.quiet_until_s - now,
        "aside_left_s": standing.aside_until_s - now,
        "aside_limit": standing.aside_limit.word,
        "hidden": None
        if priority_while_shelved is None
        else priority_while_shelved.word,
        "told_worse": standing.severity_when_rung,
        "escalation": standing.escalation,
        "first_up": standing.first_up,
        "in_doubt": standing.in_doubt,
    }
    # JSON knows no infinity: what has no end, or never was, is left out.
    return {
        key: value
        for key, value in plain.items()
        if not isinstance(value, float) or math.isfinite(value)
    }


def number(value: Any, default: float, low: float, high: float) -> float:
    """Return a number, kept between two bounds; the default where it is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return default
    if not math.isfinite(value):
        return default
    return min(max(float(value), low), high)


def _priority(value: Any, default: Priority) -> Priority:
    return _PRIORITIES.get(value, default) if isinstance(value, str) else default


def alarm_from_plain(kept: Any, now: float, gone_s: float) -> AlarmStatus:
    """Read an alarm as it stood; what cannot be read is taken on the safe side.

    Args:
        kept: what `alarm_to_plain` made, or anything.
        now: monotonic seconds.
        gone_s: what has passed since it was kept, as far as is known.
    """
    kept = kept if isinstance(kept, Mapping) else {}
    state, text = kept.get("state"), kept.get("text")
    priority = _priority(kept.get("priority"), Priority.MEDIUM)
    is_hidden = kept.get("hidden") is not None

    def ago(key: str) -> float:
        return now - gone_s - number(kept.get(key), 0.0, 0.0, MOST_AGE_S)

    def left(key: str) -> float:
        return now - gone_s + number(kept.get(key), 0.0, 0.0, MOST_AGE_S)

    return AlarmStatus(
        state=_STATES.get(state, AlarmState.UNACKNOWLEDGED)
        if isinstance(state, str)
        else AlarmState.UNACKNOWLEDGED,
        priority=priority,
        since_s=ago("age_s"),
        text=text[:LONGEST_TEXT] if isinstance(text, str) else "",
        quiet_until_s=left("quiet_left_s"),
        severity_when_rung=number(
            kept.get("told_worse"), -math.inf, -MOST_WORSE, MOST_WORSE
        ),
        unanswered_s=ago("unanswered_s"),
        escalation=int(number(kept.get("escalation"), 0.0, 0.0, 2.0)),
        aside_until_s=left("aside_left_s") if "aside_left_s" in kept else math.inf,
        aside_limit=_priority(kept.get("aside_limit"), Priority.FAULT),
        priority_while_shelved=_priority(kept.get("hidden"), priority)
        if is_hidden
        else None,
        first_up=kept.get("first_up") is True,
        in_doubt=kept.get("in_doubt") is not False,
    )


def come_back(
    spec: AlarmSpec, standing: AlarmStatus, now: float, *, knows_gap: bool
) -> AlarmStatus:
    """Bring an alarm back into life after a restart.

    Whatever is in doubt comes back unacknowledged: an answer whose quiet time may be
    over, one that no reading has confirmed since the restart before, shelving without
    an end.

    Args:
        spec: how the alarm rings, as it is set now.
        standing: as it stood, in terms of the present clock.
        now: monotonic seconds.
        knows_gap: whether it is known how long the watch was down.
    """
    if standing.state in ASIDE:
        standing = _back_from_aside(spec, standing, now, knows_gap=knows_gap)
    elif standing.state is AlarmState.ACKNOWLEDGED:
        until_s = min(standing.quiet_until_s, now + spec.ack_s)
        if knows_gap and not standing.in_doubt and until_s > now:
            standing = replace(standing, quiet_until_s=until_s)
        else:
            verdict = blind_verdict(standing, standing.priority)
            trigger = Trigger.REALARM
            standing = ring(standing, trigger, verdict, standing.priority, now)
    return replace(standing, in_doubt=standing.stands)


def _back_from_aside(
    spec: AlarmSpec, standing: AlarmStatus, now: float, *, knows_gap: bool
) -> AlarmStatus:
    """Leave an alarm aside where the design still allows it, and not for longer."""
    allowed = {
        AlarmState.SHELVED: knows_gap,
        AlarmState.SUPPRESSED: bool(spec.suppressed_by),
        AlarmState.OUT_OF_SERVICE: spec.removable,
    }
    if not allowed[standing.state]:
        return take_back(standing, None, now)
    if standing.state is AlarmState.SHELVED:
        until_s = min(standing.aside_until_s, now + spec.shelve_s)
        standing = replace(standing, aside_until_s=until_s)
    priority_while_shelved = standing.priority_while_shelved
    verdict = (
        None
        if priority_while_shelved is None
        else blind_verdict(standing, priority_while_shelved)
    )
    return stay_aside(spec, standing, verdict, now)
