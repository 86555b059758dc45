"""The morning's account in words: a page high, for a sleepy reader at a terminal."""

import textwrap
from collections.abc import Callable, Iterator, Sequence
from datetime import tzinfo

from cabinvigil.daemon.log.moments import day, moment, zone_name, zone_of
from cabinvigil.daemon.review.alarm_episodes import AlarmEpisode
from cabinvigil.daemon.review.closest_approach import Approach
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.stretches import Stretch
from cabinvigil.daemon.review.verdict import CLOSE, DANGEROUS, UNSEEN, WELL, WORDS
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.numbers import figure, fixed, spread, valued
from cabinvigil.drivers.kit.quantity import VITAL

LINES, COLUMNS = 40, 80
TAB = 10
HEADLINES = {
    DANGEROUS: "NOT SAFE",
    UNSEEN: "NOT WATCHED: nobody can vouch for this night",
    CLOSE: "Safe, but close",
    WELL: "Safe",
}
"""The verdict's first words."""
SHOWN = ("o2_pct", "co_ppm", "co2_ppm", "gas_lel_pct", "cohb_pct")

Clock = Callable[[float], str]


def account(found: Morning) -> str:
    """Write the account: at most 40 lines of 80 columns."""
    zone = zone_of(found.tape.head)
    for rings, parts in ((8, 5), (6, 4), (5, 3), (4, 2), (3, 1), (2, 1), (1, 1)):
        lines = list(_lines(found, zone, rings, parts))
        if len(lines) <= LINES:
            break
    return "\n".join(lines[:LINES]) + "\n"


def headline(found: Morning) -> str:
    """Write the verdict in one line."""
    head = HEADLINES[found.verdict.word]
    reasons = ", ".join(found.verdict.reasons)
    return f"{head}: {reasons}." if reasons else f"{head}."


def _lines(
    found: Morning, zone: tzinfo | None, rings: int, parts: int
) -> Iterator[str]:
    def clock(at_s: float) -> str:
        return moment(found.tape, at_s, zone)

    yield from _head(found, zone)
    yield from _near(found, clock)
    yield from _rang(found.rang, clock, rings)
    yield from _air(found, clock, parts)
    yield from _gas(found)
    yield from _wet(found)
    yield from _rest(found, clock)
    yield from _tonight(found)


def _told(label: str, text: str) -> Iterator[str]:
    """Write a label and its text, wrapped beside it."""
    yield from textwrap.wrap(
        text,
        COLUMNS,
        initial_indent=f"{label:<{TAB}}",
        subsequent_indent=" " * TAB,
        break_on_hyphens=False,
    ) or [label]


def _head(found: Morning, zone: tzinfo | None) -> Iterator[str]:
    tape = found.tape
    if tape.origin is None:
        when = f"{found.hours:.1f} h, without a clock"
    else:
        span = f"{moment(tape, 0.0, zone)} to {moment(tape, tape.length_s, zone)}"
        when = f"{day(found.begins, zone)}, {span} {zone_name(found.begins, zone)}"
    emulated = ", emulated parts" if tape.head.get("emulated") is True else ""
    yield f"{found.facts.name}: night of {when}{emulated}"[:COLUMNS]
    yield from textwrap.wrap(headline(found), COLUMNS)


def _near(found: Morning, clock: Clock) -> Iterator[str]:
    yield from _told("Closest", "")
    for one in shown(found.near):
        words = WORDS.get(one.limit.quantity, one.limit.quantity)
        more = "at least " if one.is_at_least else ""
        value = more + valued(one.limit.quantity, one.value)
        limit = valued(one.limit.quantity, one.limit.at)
        if one.beyond_min > 0.0:
            side = "below" if one.limit.side == "below" else "above"
            rest = f"{minutes(one.beyond_min)} at or {side} {limit}"
        else:
            rest = f"{valued(one.limit.quantity, one.margin)} from {limit}"
        yield f"  {words:<29}{value:<15}{clock(one.at_s)}  {rest}"[:COLUMNS]
    if found.warned_min is not None:
        yield f"  first woken {found.warned_min:.0f} min before oxygen was at its limit"
    elif found.spare is not None:
        low, middle, _ = found.spare.minutes
        yield (
            f"  least to spare at {clock(found.spare.at_s)}, as projected then: "
            f"{middle:.0f} min, {low:.0f} at worst"
        )


def shown(near: Sequence[Approach]) -> list[Approach]:
    """Choose for each gas the first limit on the way, and what came nearest."""
    chosen: dict[str, Approach] = {}
    for one in near:
        limit = one.limit
        if limit.quantity not in SHOWN or limit.over_s or limit.alarm == "o2-high":
            continue
        before = chosen.get(limit.quantity)
        if before is None or one.margin < before.margin:
            chosen[limit.quantity] = one
    return [chosen[name] for name in SHOWN if name in chosen]


def _rang(rang: Sequence[AlarmEpisode], clock: Clock, most: int) -> Iterator[str]:
    told = sorted(rang, key=lambda one: (-one.rank, one.from_s))
    if not told:
        yield from _told("Rang", "nothing")
        return
    yield from _told("Rang", "")
    for one in told[:most]:
        end = "on at the end" if one.to_s is None else f"to {clock(one.to_s)}"
        answer = "no answer"
        if one.acknowledged_s is not None:
            answer = f"answered in {minutes(one.acknowledged_s / 60.0)}"
        times = f", {one.rings} times" if one.rings > 1 else ""
        head = f"  {clock(one.from_s)} {one.priority:<6} {one.alarm:<22}"
        yield f"{head} {end}{times}, {answer}"[:COLUMNS]
    if len(told) > most:
        rest = len(told) - most
        yield f"  and {rest} more, of lower or the same priority"


def _air(found: Morning, clock: Clock, most: int) -> Iterator[str]:
    if found.whole.totals is None:
        yield from _told("Air", "not to be told: it needs CO2 and the cabin's volume")
        return
    label = "Air"
    parts = [one for one in found.stretches if one.totals is not None]
    kept = sorted(parts, key=lambda one: one.from_s - one.to_s)[:most]
    for one in sorted(kept, key=lambda one: one.from_s):
        yield from _told(label, _stretch(one, clock))
        label = ""


def _stretch(one: Stretch, clock: Clock) -> str:
    totals = one.totals
    if totals is None:
        return ""
    why = f" ({one.begins_with[:24]})" if one.begins_with else ""
    text = (
        f"{clock(one.from_s)}-{clock(one.to_s)}{why}: "
        f"{spread(totals.air_changes_per_h)} changes/h, "
        f"{figure(totals.air_m3_h[1])} m3/h"
    )
    vent = one.vent
    if vent is None:
        return text
    text += f"; as two vents of {vent.each_cm2[1]:.0f} cm2"
    if vent.fitted_cm2 is not None:
        low, _, high = vent.expected_m3_h
        text += f"; the {vent.fitted_cm2:.0f} cm2 fitted: {low:.0f} to {high:.0f} m3/h"
    return text


def _gas(found: Morning) -> Iterator[str]:
    totals = found.whole.totals
    if totals is None:
        return
    if totals.lit_h == 0.0:
        yield from _told("Gas", "none burnt, as far as CO2 tells")
        return
    text = (
        f"{spread(totals.gas_kg)} kg, {figure(totals.gas_kwh[1])} kWh: "
        f"{spread(totals.burn_kw)} kW for {totals.lit_h:.1f} h"
    )
    if found.cylinder_h is not None and found.cylinder_left_h is not None:
        text += (
            f"; a full cylinder lasts {fixed(found.cylinder_h, 0)} h at that, "
            f"{fixed(found.cylinder_left_h, 0)} after this night"
        )
    yield from _told("Gas", text)


def _wet(found: Morning) -> Iterator[str]:
    totals, comfort = found.whole.totals, found.comfort
    if totals is not None:
        yield from _told(
            "Water",
            f"{fixed(totals.water_made_kg, 1)} kg made, "
            f"{fixed(totals.water_carried_kg, 1)} carried off, "
            f"{fixed(totals.water_left_kg, 1)} left on walls and in bedding",
        )
    margin = comfort.glass_margin_c
    if margin is not None:
        side = "above" if margin >= 0.0 else "below"
        worked = "" if found.air.glass_is_measured else " (worked out)"
        yield from _told(
            "Glass",
            f"wet for {comfort.wet_h:.1f} h; at worst {abs(margin):.1f} °C {side} the "
            f"dew point{worked}",
        )


def _rest(found: Morning, clock: Clock) -> Iterator[str]:
    comfort, breathed = found.comfort, found.breathed
    if comfort.temp_c is not None:
        low, middle, high = comfort.temp_c
        text = f"{low:z.0f} to {high:z.0f} °C, mean {middle:z.0f}"
        if comfort.outside_c is not None:
            set_by = "" if found.air.outside_is_measured else " by the config"
            text += f"; outside {comfort.outside_c:z.0f}{set_by}"
        if comfort.supply_v is not None:
            text += f"; battery {comfort.supply_v[0]:.1f}, at lowest "
            text += f"{comfort.supply_v[1]:.1f} V"
        yield from _told("Warmth", text)
    dose = []
    if breathed.cohb_peak_pct is not None:
        dose.append(f"CO in the blood at most {breathed.cohb_peak_pct:.1f} %")
    if breathed.co2_mean_ppm is not None:
        dose.append(f"CO2 {breathed.co2_mean_ppm:.0f} ppm on average")
    if dose:
        yield from _told("Breathed", "; ".join(dose))
    yield from _told("Watch", "; ".join(_watch(found, clock)))


def _watch(found: Morning, clock: Clock) -> Iterator[str]:
    for one in found.seen:
        if one.quantity in VITAL or one.quantity == "co2_ppm":
            yield f"{one.words} {100.0 * one.share:.0f} %"
    measured = {one.quantity for one in found.seen}
    for name in VITAL:
        if name not in measured:
            yield f"{WORDS[name]} was never measured"
    for gap in found.tape.gaps[:3]:
        yield f"nothing from {clock(gap.from_s)} to {clock(gap.to_s)}"
    if found.tape.starts > 1:
        yield f"{found.tape.starts} starts"
    for step in found.tape.clock_steps[:1]:
        moved = abs(float(step.fields.get("moved_s", 0.0)))
        yield f"the clock was set by {minutes(moved / 60.0)} at {clock(step.at_s)}"
    for trouble in found.troubles[:2]:
        yield f"{trouble.source} at fault for {minutes(trouble.minutes)}"
    flaws = found.tape.flaws
    if flaws.unreadable:
        yield f"{flaws.unreadable} lines of the log could not be read"
    if flaws.damaged:
        yield f"{flaws.damaged} stretches of the log are damaged"
    if flaws.newer_format:
        yield "the log is of a newer version: some of it may be missing here"
    yield from found.tape.notes[:1]
    if found.laxer:
        yield f"laxer than published, as accepted: {', '.join(found.laxer)}"


def _tonight(found: Morning) -> Iterator[str]:
    if not found.advice:
        yield from _told("Tonight", "nothing to change")
        return
    label = "Tonight"
    for one in found.advice:
        text = one.do + (f". Expected: {one.expect}" if one.expect else "")
        yield from _told(label, f"{text}.")
        label = ""
