"""The air as it is now, in 40 columns, its trend in plain words."""

import math
import textwrap
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeGuard

from cabinvigil.daemon.air.moisture import dew_point_c
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.sentences import unbroken, without_act
from cabinvigil.daemon.report.state_word import sent_out, stand
from cabinvigil.daemon.review.alarm_episodes import RANKS
from cabinvigil.daemon.text.alarm_names import name_of_alarm, urgency
from cabinvigil.daemon.text.durations import minutes, whole_minutes
from cabinvigil.daemon.text.numbers import fixed, spread, valued
from cabinvigil.daemon.text.units_retold import APART, retold
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.drivers.kit.gas_index import NOX, VOC
from cabinvigil.drivers.kit.quantity import is_breathed, split_channel

COLUMNS = 40
KEPT_S = 600.0
"""The past that a trend is taken from."""
LEAST_S = 120.0
"""Less past than this tells no trend."""


class QuantityRow(NamedTuple):
    """One quantity as it is shown."""

    quantity: str
    words: str
    side: str
    """`below`: the lowest of several is shown; `above`: the highest."""
    slow_per_h: float
    """From here on it is not steady; three times it, it is no longer slow; ten times
    it, it is fast (our choice: several times each part's own drift)."""


CHARGE = QuantityRow("charge_pct", "charge", "below", 0.0)
"""A gauge's, beside the battery's voltage."""
ROWS = (
    QuantityRow("o2_pct", "oxygen", "below", 0.15),
    QuantityRow("co2_ppm", "carbon dioxide", "above", 300.0),
    QuantityRow("co_ppm", "carbon monoxide", "above", 3.0),
    QuantityRow("gas_lel_pct", "unburnt gas", "above", 1.0),
    QuantityRow("temp_c", "temperature", "below", 1.0),
    QuantityRow("rh_pct", "humidity", "above", 5.0),
    QuantityRow("pm2_5_ugm3", "fine dust", "above", 10.0),
)
INDICES = (
    ("voc_index", "VOC index", VOC.offset),
    ("nox_index", "NOx index", NOX.offset),
)
"""Beside what each shows in its place's usual air: it has no other scale."""
O2_LIMIT_PCT = 19.5
"""The limit that the estimate's minutes are about (29 CFR 1910.146(b), as `o2-low`)."""
FAST = 10.0
NOT_SLOW = 3.0


@dataclass(slots=True)
class PastLooks:
    """What earlier looks saw, for the trends."""

    past: dict[str, list[tuple[float, float]]] = field(default_factory=dict)

    def look(self, quantity: str, value: float, now_s: float) -> float | None:
        """Keep a value; give its change in an hour, None while it is too early."""
        kept = [one for one in self.past.get(quantity, []) if now_s - one[0] <= KEPT_S]
        kept.append((now_s, value))
        self.past[quantity] = kept
        span_s = now_s - kept[0][0]
        if span_s < LEAST_S:
            return None
        # the means of the two halves: no single value decides
        half = len(kept) // 2
        (early_s, early), (late_s, late) = _middle(kept[:half]), _middle(kept[half:])
        return (late - early) / (late_s - early_s) * 3600.0


def _middle(kept: list[tuple[float, float]]) -> tuple[float, float]:
    times_s, values = zip(*kept, strict=True)
    return math.fsum(times_s) / len(kept), math.fsum(values) / len(kept)


def trend_words(per_h: float | None, slow_per_h: float) -> str:
    """Say a change in plain words; '' where none is known."""
    if per_h is None:
        return ""
    size = abs(per_h) / slow_per_h
    if size < 1.0:
        return "steady"
    way = "rising" if per_h > 0.0 else "falling"
    if size < NOT_SLOW:
        return f"{way} slowly"
    return f"{way} fast" if size >= FAST else way


def frame(
    status: Mapping[str, Any],
    seen: PastLooks,
    now_s: float,
    units: Units = SI,
    *,
    is_whole: bool = False,
) -> str:
    """Write one look.

    Args:
        status: what the monitor says of itself.
        seen: earlier looks; this one is added.
        now_s: monotonic seconds.
        units: in which numbers are shown.
        is_whole: show what is worked out of them too.
    """
    word, act = stand(status)
    lines = [
        word,
        *_wrapped("", unbroken(act)),
        *_rehearsal(status),
        *_trial(status),
        *_airing(status),
        "",
        *_alarms(status, units),
        "",
    ]
    lines += _readings(status, seen, now_s, units)
    lines += ["", *_ahead(status, is_whole=is_whole), *_faults(status, act, units)]
    lines.append(_head(status))
    return "\n".join(line[:COLUMNS] for line in lines)


def old_frame(last: str, age_s: float, why: str) -> str:
    """Mark a look as old: what it shows may be over, or worse by now.

    Args:
        last: the look.
        age_s: how long ago it was.
        why: there is no newer one.
    """
    head = _wrapped("OLD: ", f"{age_s:.0f} s ago. {why}.")
    return "\n".join([*head, last])


def _head(status: Mapping[str, Any]) -> str:
    up_min = _number(status.get("up_s"), 0.0) / 60.0
    return f"{status.get('cabin', 'cabin')}, monitored for {minutes(up_min)}"


def _number(value: Any, otherwise: float) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number else otherwise


def _rehearsal(status: Mapping[str, Any]) -> Iterator[str]:
    """Say of emulated parts that they are that: nothing here is the cabin's air."""
    if status.get("emulated") is True:
        yield "REHEARSAL: emulated sensors, no real air."


def _trial(status: Mapping[str, Any]) -> Iterator[str]:
    """Say that nobody should be inside, and what ends that."""
    trial = status.get("trial")
    if not isinstance(trial, Mapping):
        return
    left = minutes(_number(trial.get("left_s"), 0.0) / 60.0)
    until = ""
    if trial.get("until"):
        until = f", or until {name_of_alarm(str(trial['until']))}"
    text = f"{trial.get('text', '')}. {left} more{until}."
    yield from _wrapped("Tried: ", unbroken(text))


def _alarms(status: Mapping[str, Any], units: Units) -> Iterator[str]:
    if not isinstance(status.get("alarms"), list):
        yield "It does not say which alarms are on."
        return
    alarms = [one for one in _list(status, "alarms") if isinstance(one, Mapping)]
    told = [
        one
        for one in alarms
        if one.get("state") not in ("suppressed", "shelved", "out-of-service")
    ]
    if not told:
        yield "No alarm."
    told.sort(key=lambda one: -RANKS.get(str(one.get("priority")), 0))
    for one in told[:4]:
        # One order at a time: that of the gravest, which is said above.
        text = without_act(str(one.get("text", "")))
        is_apart = str(one.get("alarm", "")).partition("/")[0] in APART
        text = retold(text, units, is_apart=is_apart)
        yield from _wrapped(f"{_signal(one.get('priority'))}: ", text)
    if len(told) > 4:
        yield f"and {len(told) - 4} more"
    aside = len(alarms) - len(told)
    if aside:
        yield f"{aside} more, set aside or behind another"


def _signal(priority: Any) -> str:
    """Return what a priority asks; another version's word as it is."""
    return urgency(str(priority or "alarm"))


def _airing(status: Mapping[str, Any]) -> Iterator[str]:
    """Yield whether those who were sent out may go back in, or when all is good."""
    airing = status.get("airing")
    if not isinstance(airing, Mapping):
        return
    left_s = airing.get("all_clear_in_s")
    if airing.get("can_be_told") is False:
        text = (
            "no sensor can show that the gas has cleared. Air the cabin for long, and "
            "find the cause."
        )
    elif isinstance(left_s, int | float):
        text = f"{minutes(max(left_s, 60.0) / 60.0)} more; the air is good so far."
    else:
        text = "the air is still bad or not known, or an alarm calls."
    label = "STAY OUT: " if sent_out(airing) else "No all-clear yet: "
    yield from _wrapped(label, unbroken(text))


def _list(status: Mapping[str, Any], key: str) -> list[Any]:
    value = status.get(key)
    return value if isinstance(value, list) else []


def _wrapped(label: str, text: str) -> list[str]:
    return textwrap.wrap(
        text, COLUMNS, initial_indent=label, subsequent_indent="  "
    ) or [label]


def _readings(
    status: Mapping[str, Any], seen: PastLooks, now_s: float, units: Units
) -> Iterator[str]:
    raw = status.get("readings")
    readings = raw if isinstance(raw, Mapping) else {}
    estimate = _estimate(status)
    rising = set()
    for row in ROWS:
        value = _value(readings, row)
        if value is None:
            continue
        per_h = seen.look(row.quantity, value, now_s)
        rate = estimate.get("o2_rate_pct_per_h")
        if row.quantity == "o2_pct" and isinstance(rate, list) and len(rate) == 3:
            per_h = _number(rate[1], 0.0)
        if per_h is not None and per_h >= NOT_SLOW * row.slow_per_h:
            rising.add(row.quantity)
        told = valued(row.quantity, value)
        if row.quantity == "temp_c":
            told = units.said("c", value)
        yield f"{row.words:<16}{told:<9} {trend_words(per_h, row.slow_per_h)}".rstrip()
    yield from _other(readings, rising)
    yield from _wet(readings, units)
    supply = [v for k, v in readings.items() if k.startswith("supply_v")]
    if supply:
        left = status.get("supply_hours")
        lasts = f"  lasts {left:.0f} h" if isinstance(left, int | float) else ""
        yield f"{'battery':<16}{_number(supply[0], 0.0):.1f} V{lasts}"
    if (charge := _value(readings, CHARGE)) is not None:
        yield f"{'charge':<16}{charge:.0f} %"
    if not readings:
        yield "No sensor reports."


def _other(readings: Mapping[str, Any], rising: Collection[str]) -> Iterator[str]:
    """Yield the indices, and what dust that rises with CO may come from."""
    for quantity, words, usual in INDICES:
        value = _value(readings, QuantityRow(quantity, words, "above", 0.0))
        if value is not None:
            yield f"{words:<16}{value:<9.0f} {usual:.0f} is usual"
    if {"pm2_5_ugm3", "co_ppm"} <= set(rising):
        yield from _wrapped("", "Dust and CO rise together: look at the flame.")


def _value(readings: Mapping[str, Any], row: QuantityRow) -> float | None:
    """Choose the value that matters of all that measure a quantity at the bunk."""
    found = []
    for key, value in readings.items():
        parts = split_channel(str(key))
        if parts is None or parts[0].name != row.quantity or not is_breathed(key):
            continue
        if isinstance(value, int | float):
            found.append(float(value))
    pick = min if row.side == "below" else max
    return pick(found, default=None)


def _wet(readings: Mapping[str, Any], units: Units) -> Iterator[str]:
    glass = readings.get("temp_c_glass")
    for key, humid in readings.items():
        warm = readings.get(str(key).replace("rh_pct", "temp_c", 1))
        parts = split_channel(str(key))
        if parts is None or parts[0].name != "rh_pct" or parts[1]:
            continue
        if isinstance(warm, int | float) and isinstance(humid, int | float):
            point = dew_point_c(float(warm), min(max(float(humid), 0.1), 100.0))
            beside = ""
            if isinstance(glass, int | float):
                beside = f", window {units.said('c', float(glass))}"
            yield f"{'wet below':<16}{units.said('c', point)}{beside}"
            return


def _estimate(status: Mapping[str, Any]) -> Mapping[str, Any]:
    estimate = status.get("estimate")
    return estimate if isinstance(estimate, Mapping) else {}


def _ahead(status: Mapping[str, Any], *, is_whole: bool) -> Iterator[str]:
    estimate = _estimate(status)
    raw = status.get("readings")
    o2_pct = _value(raw if isinstance(raw, Mapping) else {}, ROWS[0])
    is_past = o2_pct is not None and o2_pct <= O2_LIMIT_PCT
    if "o2_minutes_to_19_5" in estimate and not is_past:
        yield from _wrapped("", _crossing(estimate["o2_minutes_to_19_5"]))
    if not is_whole:
        return
    settles, changes = (
        estimate.get(key) for key in ("o2_settles_pct", "air_changes_per_h")
    )
    if _is_triple(settles):
        yield f"settles at {fixed(settles, 1)} %"
    if _is_triple(changes):
        yield f"air changes {spread(changes)} an hour"


def _crossing(left: Any) -> str:
    """Return when the limit may come: at worst too, where the likeliest is never."""
    triple = left if isinstance(left, list) and len(left) == 3 else [None] * 3
    worst, likeliest = (
        f"{whole_minutes(one)} min" if isinstance(one, int | float) else ""
        for one in triple[:2]
    )
    at_worst = f" ({worst} at worst)" if worst and worst != likeliest else ""
    when = f"in {likeliest}" if likeliest else "not expected"
    return unbroken(f"{O2_LIMIT_PCT:g} % oxygen {when}{at_worst}")


def _is_triple(value: Any) -> TypeGuard[list[float]]:
    return (
        isinstance(value, list)
        and len(value) == 3
        and all(isinstance(one, int | float) for one in value)
    )


def _faults(status: Mapping[str, Any], act: str, units: Units) -> Iterator[str]:
    faults = status.get("faults")
    for one in faults.values() if isinstance(faults, Mapping) else ():
        text = retold(str(one), units)
        text = without_act(text) if text.endswith(act) else text
        yield from _wrapped(f"{_signal(Priority.FAULT.word)}: ", text)
    for text in _list(status, "laxer"):
        yield from _wrapped("less strict: ", retold(str(text), units))
