"""What speaks against a span that the air alone lets pass: a change nothing explains.

Pure.  A span takes the present for fresh air, and every alarm depends on it afterwards.
So a part that has moved by more than its kind does since its last span is either worn,
or the air is not what it is said to be.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from cabinvigil.daemon.span.found import Found
from cabinvigil.daemon.span.fresh_air import AirFound
from cabinvigil.daemon.span.kept import Span
from cabinvigil.daemon.text.moments import day_and_time
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.drivers.kit.air_span import BARRIERS, FRESH_AIR_O2_PCT, gives_share

MOVED_PCT = 0.6
"""Oxygen may have moved by this since the last span: the modules' accuracy of 0.5, and
a tenth for the weather (sensors sheet, 7a).  A cell's signal only falls, so a rise
beyond it is 3 % of the signal, and a leak or air that holds more than it did."""
MOST_PCT = 1.5
"""A fall beyond this is no ageing of weeks: 7 % of the signal (our choice)."""
AGEING_PCT = 0.2
"""A cell that lasts two to three years loses so much oxygen a month, of 20.9 (from
memory: to 70 % of its signal)."""
FREE_MONTHS = 3.0
"""Ageing counts from here on: before, the limits above hold it (our choice)."""
MONTH_S = 30.44 * 86400.0
ZERO_PPM = 3.0
"""A carbon monoxide zero moves by a ppm or two in months (our choice); what looks like
more is gas."""
TELLING_HPA = 30.0
"""Two spans so far apart in pressure tell whether a cell minds it: 3 % of its signal
(findings of the first version)."""
SPAN_FITS = 0.01
"""A span fits what it is held against within 1 % of the signal: noise, weather and a
month of ageing (our choice)."""
FIT_C = (5.0, 40.0)
"""Galvanic cells are spanned where their slope is known (sensors sheet, 7a)."""
DAMP_PCT = 95.0
"""Damper air condenses on a membrane, which then holds the gas back (our choice)."""
UNDO = "`cabinvigil span --undo {part}` undoes the last calibration"


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that speaks against a span."""

    text: str
    is_refusal: bool = False
    """It is not taken, whatever a person says."""


def doubts(
    part: str,
    quantity: str,
    found: Found,
    air: AirFound,
    earlier: Sequence[Span],
    at: datetime,
    range_c: tuple[float, float],
    units: Units = SI,
) -> list[Doubt]:
    """Return what speaks against taking this span.

    Args:
        part: the part's name.
        quantity: what its signal is, as `SpanMethod` has it.
        found: what the span makes of it.
        air: the air that is taken for fresh.
        earlier: its spans that count, the oldest first.
        at: now.
        range_c: the temperatures in which its maker specifies it.
        units: in which people are told.
    """
    last = earlier[-1] if earlier else None
    if quantity in ("o2_pct", "mv"):
        said = [*_oxygen(part, found, air, last, at, units), *_fit(air, units)]
    elif quantity == "co_ppm" and found.before is not None:
        said = list(_zero(part, found.before, last))
    else:
        return []
    return [*said, *_air(air, range_c, units)]


def _oxygen(
    part: str,
    found: Found,
    air: AirFound,
    last: Span | None,
    at: datetime,
    units: Units,
) -> Iterator[Doubt]:
    if last is None or found.before is None:
        return  # what a part shows that was never spanned says nothing yet
    other = _other_barrier(found, air, last)
    if other:
        then, now = last.pressure_hpa or 0.0, air.measured_hpa or 0.0
        moved = f"{units.number('hpa', then)} to {units.said('hpa', now)}"
        yield Doubt(
            f"since {day_and_time(last.at)} the pressure went from {moved}, and its "
            f"signal as that of a cell behind a {other}: write barrier = "
            f'"{other}" among its options'
        )
        return  # that is why it shows what it does
    off_pct = found.before - air.o2_pct
    months = max(0.0, (at - last.at).total_seconds() / MONTH_S - FREE_MONTHS)
    shows = (
        f"it shows {found.before:.1f} % where fresh air has {air.o2_pct:.1f} %, by "
        f"its calibration of {day_and_time(last.at)}"
    )
    if off_pct > MOVED_PCT:
        yield Doubt(
            f"{shows}: a cell's signal never rises; that calibration was in used air, "
            f"or the cell leaks ({UNDO.format(part=part)})",
            is_refusal=True,
        )
    elif off_pct < -(MOST_PCT + AGEING_PCT * months):
        yield Doubt(
            f"{shows}: no cell ages so fast; the air is not fresh, or the cell is worn",
            is_refusal=True,
        )
    elif off_pct < -MOVED_PCT:
        yield Doubt(shows)


def _other_barrier(found: Found, air: AirFound, last: Span) -> str:
    """Return the barrier that a cell has, where its signal says it is not the config's.

    '' where two spans do not lie far enough apart in pressure, or do not tell.
    """
    then_hpa, now_hpa = last.pressure_hpa, air.measured_hpa
    then_pct = last.options.get("air_o2_pct", FRESH_AIR_O2_PCT)
    if then_hpa is None or now_hpa is None or not isinstance(then_pct, int | float):
        return ""
    if abs(now_hpa - then_hpa) < TELLING_HPA:
        return ""
    moved = math.log(found.signal / last.signal * then_pct / air.o2_pct)
    by_pressure, by_share = abs(moved - math.log(now_hpa / then_hpa)), abs(moved)
    is_share = gives_share(found.options)
    own, others = (by_share, by_pressure) if is_share else (by_pressure, by_share)
    if others > SPAN_FITS or own < 2.0 * SPAN_FITS:
        return ""
    return BARRIERS[0] if is_share else BARRIERS[1]


def _fit(air: AirFound, units: Units) -> Iterator[Doubt]:
    low_c, high_c = FIT_C
    if air.temp_c is not None and not low_c <= air.temp_c <= high_c:
        yield Doubt(
            f"it is {units.said('c', air.temp_c)}; a cell is best calibrated between "
            f"{units.given('c', low_c)} and {units.given_said('c', high_c)}"
        )


def _air(air: AirFound, range_c: tuple[float, float], units: Units) -> Iterator[Doubt]:
    low_c, high_c = range_c
    if air.temp_c is not None and not low_c <= air.temp_c <= high_c:
        yield Doubt(
            f"it is {units.said('c', air.temp_c)}; its maker specifies nothing "
            f"outside {units.span_said('c', range_c)}: warm it up first",
            is_refusal=True,
        )
    if air.rh_pct is not None and air.rh_pct > DAMP_PCT:
        yield Doubt(
            f"the air has {air.rh_pct:.0f} % humidity; water on the membrane blocks "
            "the gas"
        )


def _zero(part: str, before_ppm: float, last: Span | None) -> Iterator[Doubt]:
    if abs(before_ppm) <= ZERO_PPM:
        return
    if last is None:
        yield Doubt(
            f"it shows {before_ppm:+.1f} ppm as it came from its maker; more than "
            f"{ZERO_PPM:g} may be gas"
        )
    else:
        yield Doubt(
            f"it shows {before_ppm:+.1f} ppm, by its zero of {day_and_time(last.at)}: "
            f"more than {ZERO_PPM:g} is gas, or that zero was taken in foul air "
            f"({UNDO.format(part=part)})",
            is_refusal=True,
        )
