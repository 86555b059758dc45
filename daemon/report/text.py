"""The morning's account in words: a page high, for a sleepy reader at a terminal."""

import textwrap
from collections.abc import Iterator
from datetime import tzinfo

from cabinvigil.daemon.air.atmosphere import THIN_FROM_M
from cabinvigil.daemon.log.moments import day, zone_name, zone_of
from cabinvigil.daemon.report import night_totals
from cabinvigil.daemon.report.headline import act, headline, is_act_of_advice
from cabinvigil.daemon.report.other_air_words import (
    RELATIVE,
    dust_meaning,
    dust_words,
    index_words,
)
from cabinvigil.daemon.report.played import played
from cabinvigil.daemon.report.rows import (
    AirRow,
    Clock,
    air_rows,
    clock_of,
    clock_rows,
    first_woken,
    near_rows,
    never_measured,
    rang_rows,
    seen_rows,
    spare_row,
    warned,
)
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import Units
from cabinvigil.drivers.kit.quantity import VITAL

LINES, COLUMNS = 40, 80
TAB = 10
CO_8H_PPM = 8.7
"""10 mg/m3 at 25 °C: the WHO's value for eight hours (2000 and 2010)."""
CO_8H_HARM_PPM = 27.0
"""AEGL-2 for eight hours (unverified)."""


SEE_ALL = "--all shows what was left out here, if any, and what the figures rest on."


def account(found: Morning, *, is_whole: bool = False) -> str:
    """Write the account: the verdict, what to do, then what they rest on.

    Args:
        found: the night.
        is_whole: tell all of it; else at most 40 lines of 80 columns.
    """
    zone = zone_of(found.tape.head)
    if is_whole:
        most = max(len(found.rang) * 4, len(found.stretches))
        return "\n".join(_lines(found, zone, most, most, is_whole=True)) + "\n"
    for rings, parts in ((8, 5), (6, 4), (5, 3), (4, 2), (3, 1), (2, 1), (1, 1)):
        lines = list(_lines(found, zone, rings, parts))
        if len(lines) <= LINES:
            break
    return "\n".join(lines[:LINES]) + "\n"


def _lines(
    found: Morning,
    zone: tzinfo | None,
    rings: int,
    parts: int,
    *,
    is_whole: bool = False,
) -> Iterator[str]:
    clock = clock_of(found, zone)
    yield from textwrap.wrap(headline(found), COLUMNS)
    yield from textwrap.wrap(act(found), COLUMNS)
    yield ""
    yield from textwrap.wrap(_night(found, zone, clock), COLUMNS)
    yield from _near(found, clock)
    yield from _rang(found, clock, rings)
    yield from _air(found, clock, parts)
    yield from _gas(found)
    yield from _wet(found)
    yield from _other(found, clock)
    yield from _rest(found, clock)
    yield from _tonight(found)
    if is_whole and (rests := night_totals.rests_on(found)):
        yield from _told("Rests on", rests)
    elif not is_whole:
        yield SEE_ALL


def _told(label: str, text: str) -> Iterator[str]:
    """Write a label and its text, wrapped beside it."""
    yield from textwrap.wrap(
        text,
        COLUMNS,
        initial_indent=f"{label:<{TAB}}",
        subsequent_indent=" " * TAB,
        break_on_hyphens=False,
    ) or [label]


def _night(found: Morning, zone: tzinfo | None, clock: Clock) -> str:
    """Return which night, of which cabin."""
    tape = found.tape
    if tape.origin is None:
        when = f"{found.hours:.1f} h, without a clock"
    else:
        span = f"{clock(0.0)} to {clock(tape.length_s)}"
        when = f"{day(tape, zone)}, {span} {zone_name(found.begins, zone)}"
    return f"{found.facts.name}: night of {when}{played(tape.head, zone)}"


def _near(found: Morning, clock: Clock) -> Iterator[str]:
    yield from _told("Closest", "")
    for row in near_rows(found, clock):
        value = row.at_least + row.value
        rest = row.beyond or f"{row.margin} from {row.limit}"
        rest += f"; {row.measured}" if row.measured else ""
        yield from _row(f"  {row.words:<29}{value:<14} {row.when}  {rest}")
    if early := warned(found):
        yield f"  {early}"
    if spare := spare_row(found, clock):
        yield from _row(
            f"  least to spare at {spare.when}, as projected then: "
            f"{spare.middle}, {spare.least} at worst"
        )


def _row(text: str) -> list[str]:
    """Break a row where it is too long; no word is cut."""
    return textwrap.wrap(text, COLUMNS, subsequent_indent=" " * TAB)


def _rang(found: Morning, clock: Clock, most: int) -> Iterator[str]:
    rows = rang_rows(found, clock)
    if not rows:
        yield from _told("Alarms", "none sounded")
        return
    yield from _told("Alarms", first_woken(found, clock))
    for row in rows[:most]:
        end = f"to {row.ends}" if row.ends else "to the end"
        answer = (
            f"acknowledged in {row.answered}" if row.answered else "not acknowledged"
        )
        head = f"  {row.begins} {row.urgency:<6} {row.name:<26}"
        yield from _row(f"{head} {end}{row.times}, {answer}")
    if len(rows) > most:
        yield f"  and {len(rows) - most} more, no graver"


def _air(found: Morning, clock: Clock, most: int) -> Iterator[str]:
    if found.whole.totals is None:
        why = found.whole.withheld or "it needs CO2 and the cabin's volume"
        yield from _told("Air", f"not known, nor gas and water: {why}")
        return
    label = "Air"
    for row in air_rows(found, clock, most):
        yield from _told(label, _stretch(row, found.units))
        label = ""


def _stretch(row: AirRow, units: Units) -> str:
    air, area = units.sign("m3_h"), units.sign("cm2")
    why = f" ({row.why[:24]})" if row.why else ""
    text = (
        f"{row.begins}-{row.ends}{why}: {row.changes} changes/h, {row.air_brief} {air}"
    )
    vent = row.vent
    if vent is None:
        return text
    text += f"; as two vents of {vent.each_brief} {area} each"
    if vent.fitted:
        those = "the one fitted," if vent.is_one else "the fitted ones"
        text += f"; {those} of {vent.fitted} {area}: {vent.expected} {air}"
    return text


def _gas(found: Morning) -> Iterator[str]:
    night = night_totals.gas_and_water(found)
    if night is None:
        return
    if not night.burner:
        yield from _told("Gas", "none burnt, as far as CO2, warmth and oxygen show")
        return
    kg = found.units.sign("kg")
    text = f"{night.gas_kg} {kg}{night.gas_kwh_brief}: {night.burner}"
    if night.cylinder_h:
        text += (
            f"; a full cylinder lasts {night.cylinder_h} h at that, "
            f"{night.cylinder_left_h} after this night"
        )
    yield from _told("Gas", text)


def _wet(found: Morning) -> Iterator[str]:
    night, glass = night_totals.gas_and_water(found), night_totals.glass(found)
    if night is not None:
        yield from _told(
            "Water",
            f"{night.water_made_kg} {found.units.sign('kg')} made, "
            f"{night.water_carried_kg} carried off, {night.water_left}",
        )
    if glass:
        worked = "" if found.air.glass_is_measured else " (worked out)"
        yield from _told("Window", glass + worked)


def _other(found: Morning, clock: Clock) -> Iterator[str]:
    if dust := dust_words(found.other, clock):
        meaning = dust_meaning(found.other, clock)
        yield from _told("Dust", f"{dust}; {meaning}" if meaning else dust)
    if indices := index_words(found.other, clock):
        yield from _told("Vapours", f"{indices}. {RELATIVE}.")


def _rest(found: Morning, clock: Clock) -> Iterator[str]:
    comfort = found.comfort
    if (text := night_totals.inside(found)) and comfort.outside_c is not None:
        set_by = "" if found.air.outside_is_measured else " by the config"
        text += f"; outside {found.units.number('c', comfort.outside_c)}{set_by}"
    battery = night_totals.battery(found)
    if text:
        yield from _told("Warmth", f"{text}; {battery}" if battery else text)
    elif battery:
        yield from _told("Power", f"{battery[:1].upper()}{battery[1:]}")
    dose = []
    if blood := night_totals.blood(found):
        dose.append(f"CO in the blood {blood}")
    breathed = found.breathed
    if breathed.co_shift_ppm is not None and breathed.co_shift_ppm >= CO_8H_PPM / 2.0:
        dose.append(_co_mean(breathed.co_shift_ppm, found.hours))
    if mean_co2 := night_totals.mean_co2(found):
        dose.append(f"CO2 {mean_co2}")
    like_m = breathed.like_sleeping_at_m
    if like_m is not None and like_m >= THIN_FROM_M:
        like = found.units.said("m", like_m, -2)
        dose.append(f"the least oxygen was like sleeping at {like}")
    if dose:
        yield from _told("Breathed", "; ".join(dose))
    yield from _told("Monitor", "; ".join(_watch(found, clock)))


def _co_mean(mean_ppm: float, night_h: float) -> str:
    """Say the mean of eight hours beside what it is to be kept under.

    That of a shorter night is said with its own hours: it is no mean of eight.
    """
    limits = f"the WHO's value is {CO_8H_PPM:g} and from {CO_8H_HARM_PPM:g} the ill"
    # A night of all but eight hours is one of eight: it is told to a tenth.
    over = "8 h, where" if night_h >= 7.95 else f"{night_h:.1f} h; over 8 h"
    return f"CO {mean_ppm:.1f} ppm over {over} {limits} take harm"


def _watch(found: Morning, clock: Clock) -> Iterator[str]:
    for row in seen_rows(found, clock):
        if row.quantity in VITAL or row.quantity == "co2_ppm":
            yield f"{row.words} {row.share}"
    for words in never_measured(found):
        yield f"{words} was never measured"
    for gap in found.tape.gaps[:3]:
        yield f"nothing from {clock(gap.from_s)} to {clock(gap.to_s)}"
    if found.tape.starts > 1:
        yield f"{found.tape.starts} starts"
    for at_s in found.changed_s[:2]:
        yield f"the config was changed at {clock(at_s)}"
    for moved, when in clock_rows(found, clock)[:1]:
        yield f"the clock was set by {moved} at {when}"
    for trouble in found.troubles[:2]:
        yield f"{trouble.source} faulty for {minutes(trouble.minutes)}"
    if found.tape.flaws.newer_format:
        yield "the log is of a newer version: some of it may be missing here"
    for note in found.tape.notes[:2]:
        yield f"{note[:1].lower()}{note[1:]}".rstrip(".")
    if found.laxer:
        laxer = retold(", ".join(found.laxer), found.units)
        yield f"less strict than published, as accepted: {laxer}"
    yield "nitrogen dioxide from the flame: not measured"


def _tonight(found: Morning) -> Iterator[str]:
    """Report what else to change, and what it is expected to do."""
    label, is_said = "Tonight", is_act_of_advice(found)
    for one in found.advice:
        expect = f"Expected: {one.expect}." if one.expect else ""
        text = f"{one.do}. {expect}".rstrip()
        if is_said:
            text, is_said = f"as said above. {expect}" if expect else "", False
        if text:
            yield from _told(label, text)
            label = ""
