"""What outlives a restart: where alarms stood, who answered them, what was breathed.

Plain values with ages, since the monotonic clock begins again.  What cannot be read is
said, and taken on the safe side: an alarm in doubt comes back unacknowledged.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core import trial
from cabinvigil.daemon.core.alarm_snapshot import (
    alarm_from_plain,
    alarm_to_plain,
    come_back,
    number,
)
from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.annunciation import choose_sound
from cabinvigil.daemon.core.changes import announce_all
from cabinvigil.daemon.core.contacts import WORDS
from cabinvigil.daemon.core.dose import MOST_FRACTION, Dose, breathe_co
from cabinvigil.daemon.core.engine import start
from cabinvigil.daemon.core.history import KEPT_MINUTES, UNDOSED, Series, closed_minutes
from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.core.model import AlarmState, Command, SourceFault
from cabinvigil.daemon.core.setup import Setup, needed_by, place_of_need
from cabinvigil.daemon.core.state import State
from cabinvigil.daemon.core.stillness_snapshot import (
    stillness_to_plain,
    with_stillness,
)
from cabinvigil.daemon.core.told_snapshot import (
    still_to_tell,
    told_from_plain,
    told_to_plain,
)
from cabinvigil.drivers.kit.quantity import QUANTITIES

VERSION = 1


def to_plain(state: State) -> dict[str, Any]:
    """Put into plain values, fit for JSON, what must outlive a restart.

    Alarms that rest in `normal` are left out.
    """
    now = state.now
    return {
        "version": VERSION,
        "dose": _dose_to_plain(state),
        "told": told_to_plain(state.told, now),
        "minutes": minutes_to_plain(state.setup, state.history.series, now),
        "still": stillness_to_plain(state.history),
        "airing": sorted(state.all_clear_owed),
        "sent_out": sorted(state.sent_out & state.all_clear_owed),
        **({"trial": state.trial.text} if state.trial is not None else {}),
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
        down_s: how long the monitor was down; None, or no sensible number: unknown.

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
            lost.append(f"{str(alarm)[:80]} was active, and is no longer an alarm")
            continue
        stood = alarm_from_plain(kept, now, gone_s)
        standings[alarm] = come_back(
            specs[alarm], stood, now, knows_gap=gap_s is not None
        )
    owed = _alarms(plain.get("airing"), specs)
    # An older version did not keep it: then whoever may be outside stays there.
    sent_out = _alarms(plain.get("sent_out", plain.get("airing")), specs)
    minutes = minutes_from_plain(setup, plain.get("minutes"), now, gone_s)
    series = {**state.history.series, **minutes}
    history = replace(
        state.history,
        dose=_dose(setup, plain.get("dose"), gone_s),
        series=with_stillness(setup.layout, series, plain.get("still"), now),
        sources=_unwatched(setup, standings),
    )
    restored = replace(
        state,
        history=history,
        standings=standings,
        sound=choose_sound(standings, setup.sounds),
        all_clear_owed=owed,
        sent_out=sent_out & owed,
        trial=trial.kept(plain.get("trial"), now),
        told=still_to_tell(
            told_from_plain(plain.get("told"), specs, now, gone_s), standings, now
        ),
    )
    return restored, lost


def _alarms(kept: Any, specs: Collection[str]) -> frozenset[str]:
    """Read the ids of alarms that still exist."""
    listed = kept if isinstance(kept, list) else []
    return frozenset(one for one in listed if isinstance(one, str) and one in specs)


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
    sources = {**state.history.sources, **_unwatched(setup, carried.standings)}
    history = replace(
        state.history, layout=setup.layout, series=series, sources=sources
    )
    standings = {
        # No kill: what an answer was given to is known still.
        alarm: replace(one, causes=state.standings[alarm].causes)
        if alarm in state.standings
        else one
        for alarm, one in carried.standings.items()
    }
    same_trend = setup.trend == old.trend
    if not same_trend:
        history = replace(history, trend=None)
    carried = replace(
        carried,
        history=history,
        standings=standings,
        told=replace(
            carried.told,
            dangers=state.told.dangers,
            # No kill has lost a text: only what came back ringing is to be told.
            waiting=frozenset(
                alarm
                for alarm in carried.told.waiting
                if alarm in state.told.waiting
                or alarm not in state.standings
                or not state.standings[alarm].calls
            ),
            lines=state.told.lines,
        ),
        before_s=state.before_s,
        answers_s=state.answers_s,
        quieted_s=state.quieted_s,
        tested_s=state.tested_s,
        bump=state.bump,
        trial=state.trial,
        trend_state=state.trend_state if same_trend else carried.trend_state,
        trend_s=state.trend_s if same_trend else carried.trend_s,
        estimated_s=state.estimated_s,
    )
    return carried, lost


def resume(state: State, now: float) -> list[Command]:
    """Say, first thing after `restore`, where all alarms stand, and sound.

    What calls for a person is told to the phones with the first step.
    """
    del now
    return announce_all(state)


def _span_s(value: Any) -> float | None:
    """Return a span in seconds; None where it is no number, or runs backwards."""
    span_s = number(value, math.nan, -1.0, math.inf)
    return span_s if span_s >= 0.0 else None


LOW_CO_PPM = 10.0
"""Where the last CO was under this, the hours without power are taken for as clean: the
WHO's eight-hour value is 9 ppm (WHO Air Quality Guidelines for Europe 2000)."""


def _dose_to_plain(state: State) -> dict[str, Any]:
    history = state.history
    worst = history.worst("co_ppm", "above")
    # What was silent or in doubt before the end does not tell that the air was clean.
    if not history.is_watched("co_ppm"):
        worst = None
    # What is measured in a trial nobody breathes; a restart ends it.
    dose = (state.trial and state.trial.dose) or history.dose
    return {
        "cohb_pct": dose.cohb_pct,
        "alarm_fraction": dose.alarm_fraction,
        "others_pct": dict(dose.others_pct),
        **({"co_ppm": worst[1].value} if worst is not None else {}),
    }


def _dose(setup: Setup, kept: Any, gone_s: float) -> Dose:
    """Take the dose over.

    Held while nobody measured: a heater that burns on through a power cut is not clean
    air.  Only where the last CO was low is it breathed off.
    """
    if not isinstance(kept, Mapping):
        return UNDOSED
    cohb_pct = number(kept.get("cohb_pct"), UNDOSED.cohb_pct, 0.0, 100.0)
    fraction = number(kept.get("alarm_fraction"), 0.0, 0.0, MOST_FRACTION)
    last_ppm = number(kept.get("co_ppm"), math.inf, 0.0, math.inf)
    dose = Dose(cohb_pct, fraction, _others_pct(setup, kept.get("others_pct")))
    if last_ppm >= LOW_CO_PPM:
        return dose
    others = setup.layout.surroundings.others
    return breathe_co(dose, last_ppm, gone_s, others=others)


def _others_pct(setup: Setup, kept: Any) -> dict[str, float]:
    """Read the blood of the others who still sleep here, as far as it can be read."""
    if not isinstance(kept, Mapping):
        return {}
    read = {
        name: number(kept.get(name), math.nan, 0.0, 100.0)
        for name in setup.layout.surroundings.others
    }
    return {name: pct for name, pct in read.items() if math.isfinite(pct)}


def _unwatched(
    setup: Setup, standings: Mapping[str, AlarmStatus]
) -> dict[str, SourceFault]:
    """Find what an active alarm is about and nothing measures any more.

    Its part was taken out of the config: it can clear by no reading, and what takes its
    place when it is answered is this fault.
    """
    for spec in setup.alarms:
        place = place_of_need(spec)
        lost = [one for one in needed_by(spec) if not setup.layout.index(one, place)]
        if lost and standings[spec.id].stands:
            missing = (
                f"nothing measures {QUANTITIES[lost[0]].words}"
                if place is None
                else f"no {WORDS[place]} is connected"
            )
            text = f"An alarm is active, and {missing} any more. Look at the config."
            return {"settings": SourceFault("settings", "unwatched", text)}
    return {}


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
