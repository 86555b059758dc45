"""Each part before bed: fresh, plausible, warm, spanned, within its life. Pure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from cabinvigil.daemon.air.atmosphere import THIN_FROM_M, altitude_like_m
from cabinvigil.daemon.compose.compose import DAYS_PER_YEAR
from cabinvigil.daemon.precheck.findings import (
    PART_ALARMS,
    Finding,
    WatchStatus,
    Word,
    word_for,
)
from cabinvigil.daemon.precheck.truth import proof_age
from cabinvigil.daemon.settings.config import PartSettings
from cabinvigil.daemon.span.kept import Span
from cabinvigil.daemon.span.life import CELLS, Life, life
from cabinvigil.daemon.span.oxygen import NEAR_THE_END
from cabinvigil.daemon.span.proofs import Proof
from cabinvigil.daemon.span.ways import WAYS
from cabinvigil.daemon.text.units_said import BY_SIGN, SI, Units
from cabinvigil.drivers.kit.quantity import OUTSIDE_PLACES, QUANTITIES
from cabinvigil.drivers.kit.steps import PartInfo

SPAN_MIND = timedelta(days=31)
"""A span a month is common practice, no source."""
OLD_FROM = timedelta(days=548)
SPAN_MIND_OLD = timedelta(days=14)
"""A lead cell stays flat until about three weeks before its end (a maker's note): past
18 months only a span each fortnight sees it go, and the date decides."""
SPAN_BAD = timedelta(days=183)
"""A galvanic cell drifts by up to 5 % a year (sensors sheet, 7a): after half a year by
0.5 % oxygen, a third of the way from fresh air to the alarm."""
LIFE_MIND = timedelta(days=31)
NEEDS_A_SPAN = frozenset({"o2_cell_ads1115"})
"""Without one it gives nothing."""
SHOWN = ("o2_pct", "co_ppm", "co2_ppm", "gas_lel_pct", "temp_c", "rh_pct")
"""Shown first, where a part gives more than fits a line."""
MOST_SHOWN = 3

Weighed = tuple[Word, str]


@dataclass(frozen=True)
class Part:
    """One part, and what is known of it."""

    name: str
    settings: PartSettings
    info: PartInfo
    series: Mapping[str, str]
    """Series by quantity: those that are served."""
    spans: Sequence[Span] = ()
    """Of the part that hangs there now, the oldest first."""
    port_mend: str = ""
    """How to name its port, where that name may pass to another adapter."""
    proofs: Sequence[Proof] | None = None
    """Its tests by breath or gas, the oldest first; None: not known."""


def part_finding(
    part: Part, status: WatchStatus, now: datetime, units: Units = SI
) -> Finding:
    """Judge one part: the worst of all that is said of it, in one line."""
    told = [*_faults(part, status), *_missing(part, status)]
    if not told:
        told += _doubts(part, status, units)
    told += _thin(part, status, units)
    if part.port_mend:
        port = part.settings.port
        text = f"{port} may be another adapter's name after a restart: {part.port_mend}"
        told.append(("mind", text))
    told += _span(part, now)
    if part.proofs is not None and part.settings.place not in OUTSIDE_PLACES:
        told += proof_age(part.proofs, part.series, now)
    told += _service(part, now.date())
    told += _life(life(part.spans), now)
    shown = _shown(part, status, units)
    words: tuple[Word, Word] = ("bad", "mind")
    for word in words:
        own = [text for one, text in told if one == word]
        if own:
            others = [text for one, text in told if one == "good"]
            texts = own if word == "bad" else [*own, *others]
            return Finding(part.name, word, "; ".join([*shown, *texts]))
    texts = [text for _, text in told]
    return Finding(part.name, "good", "; ".join([*shown, *texts]) or "well")


CONTACTS: Mapping[str, tuple[str, str]] = {
    **dict.fromkeys(("smoke", "gas", "co"), ("quiet", "sounding")),
    "door": ("shut", "open"),
    "bilge": ("dry", "wet"),
}
"""What a contact reports, by whose word it is: a number would tell nobody anything."""


def _shown(part: Part, status: WatchStatus, units: Units) -> list[str]:
    """Return what the part reads, the gases first."""
    order = [q for q in SHOWN if q in part.series]
    order += [q for q in part.series if q not in order]
    values = []
    for quantity in order:
        value = status.readings.get(part.series[quantity])
        said = CONTACTS.get(part.settings.means or "")
        if value is not None and quantity == "contact" and said:
            values.append(said[value > 0.0])
        elif value is not None:
            known = QUANTITIES[quantity]
            digits = min(known.decimals, 1)
            unit = BY_SIGN.get(known.unit, known.unit)
            values.append(units.said(unit, value, digits).strip())
    return [", ".join(values[:MOST_SHOWN])] if values else []


def _faults(part: Part, status: WatchStatus) -> Iterator[Weighed]:
    """Report the alarms on the part, or its fault as the sampler words it."""
    subjects = {part.name, *part.series.values()}
    said = False
    for alarm, (priority, text) in status.alarms.items():
        kind, _, subject = alarm.partition("/")
        if kind in PART_ALARMS and subject in subjects:
            said = True
            yield word_for(priority), text
    if not said and part.name in status.faults:
        yield "bad", status.faults[part.name]


def _missing(part: Part, status: WatchStatus) -> Iterator[Weighed]:
    """Report what the part should give and does not, where no fault has told it."""
    missing = [q for q, key in part.series.items() if key not in status.readings]
    told = any(
        kind in status.alarms
        for kind in (
            f"sensor-fault/{part.name}",
            *(f"sensor-stale/{key}" for key in part.series.values()),
        )
    )
    if not missing or told or part.name in status.faults:
        return
    if part.settings.bus in status.faults:
        yield "bad", f"its bus {part.settings.bus} does not work"
    else:
        words = ", ".join(QUANTITIES[quantity].words for quantity in missing)
        yield "bad", f"no fresh reading of {words}: check its plug and cable"


def _doubts(part: Part, status: WatchStatus, units: Units) -> Iterator[Weighed]:
    if any(key in status.doubtful for key in part.series.values()):
        minutes = max(1, round(part.info.warm_up_s / 60.0))
        text = (
            f"not reliable yet: it warms up for {minutes} min, or is outside "
            f"{units.span_said('c', part.info.range_c)}"
        )
        if "rh_pct" in part.info.needs:
            text += " or the humidity it is rated for"
        yield "bad", text


def _thin(part: Part, status: WatchStatus, units: Units) -> Iterator[Weighed]:
    """Report what a body gets of this air, where that is like sleeping high up."""
    o2_hpa = status.readings.get(part.series.get("o2_hpa", ""))
    if o2_hpa is not None and altitude_like_m(o2_hpa) >= THIN_FROM_M:
        yield "good", f"like sleeping at {units.said('m', altitude_like_m(o2_hpa), -2)}"


def _span(part: Part, now: datetime) -> Iterator[Weighed]:
    way = WAYS.get(part.settings.kind)
    if way is None or not way.kept:
        return
    if not part.spans:
        in_config = "air_mv" in part.settings.options
        if part.settings.kind in NEEDS_A_SPAN and not in_config:
            yield "bad", "never calibrated: run `cabinvigil span` in fresh air"
        else:
            yield "mind", "no calibration is kept: run `cabinvigil span` in fresh air"
        return
    age = now - part.spans[-1].at
    days = age.days
    if age > SPAN_BAD and way.quantity != "co2_ppm":
        yield "bad", f"calibrated {days} days ago: run `cabinvigil span` in fresh air"
    elif age > SPAN_MIND or (age > SPAN_MIND_OLD and _is_old_cell(part, now.date())):
        often = ", and a cell of this age needs it every two weeks"
        yield "mind", f"calibrated {days} days ago{often * (age <= SPAN_MIND)}"
    elif days < 0:
        yield "mind", "its last calibration is in the future: set the clock"
    else:
        yield "good", "calibrated today" if days == 0 else f"calibrated {days} days ago"


def _is_old_cell(part: Part, today: date) -> bool:
    since = part.settings.in_service
    is_cell = part.settings.kind in CELLS
    return is_cell and since is not None and today - since > OLD_FROM


def _service(part: Part, today: date) -> Iterator[Weighed]:
    years, since = part.info.service_years, part.settings.in_service
    if not years or years >= 10.0:
        return
    if since is None:
        yield "mind", "its age is unknown: add `in_service`"
        return
    left = since + timedelta(days=years * DAYS_PER_YEAR) - today
    if left.days <= 0:
        yield "bad", "past its service life: replace it"
    elif left < LIFE_MIND:
        yield "mind", f"{left.days} days of service left"


def _life(found: Life | None, now: datetime) -> Iterator[Weighed]:
    if found is None:
        return
    left = timedelta.max if found.ends is None else found.ends - now
    if left <= timedelta():
        yield "bad", f"its signal is {found.share:.0%} of its first: worn out"
    elif left < LIFE_MIND:
        yield "mind", f"by its calibrations it is worn out in {left.days} days"
    elif found.share < NEAR_THE_END:
        yield (
            "mind",
            (f"it gives {found.share:.0%} of its first signal: have another ready"),
        )
