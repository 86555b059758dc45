"""What a span prints: the air that was seen, before and after, and the cells' lives."""

from collections.abc import Iterator, Mapping, Sequence

from cabinvigil.daemon.settings.config import PartSettings
from cabinvigil.daemon.span.fresh_air import Saw, is_fresh
from cabinvigil.daemon.span.kept import Span, of_part, options_of
from cabinvigil.daemon.span.life import life, life_words
from cabinvigil.daemon.span.outcome import Outcome, PartOutcome
from cabinvigil.daemon.span.ways import WAYS
from cabinvigil.daemon.text.moments import day_and_time
from cabinvigil.daemon.text.numbers import signal
from cabinvigil.daemon.text.units_said import SI, Units

MARKS = {True: "fits", False: "UNFIT", None: "unknown"}


def lines(outcome: Outcome, *, is_emulated: bool, units: Units = SI) -> Iterator[str]:
    """Report how a session went: the verdict, the sensors, the air."""
    if not is_fresh(outcome.saw):
        yield "REFUSED: the air is not fresh and steady. Nothing was changed."
        yield "Open all doors, heater off, step away, wait 15 minutes."
    else:
        yield _end(outcome, is_emulated=is_emulated)
        for part in outcome.parts:
            yield from _part(part, outcome)
    yield ""
    yield "The air, as the sensors measure it"
    yield from (_saw(one) for one in outcome.saw)
    air = outcome.air
    known = [
        units.said(unit, value, 1)
        for value, unit in (
            (air.temp_c, "c"),
            (air.rh_pct, "% humidity"),
            (air.pressure_hpa, "hpa"),
        )
        if value is not None
    ]
    yield (
        f"  fresh air here holds {air.o2_pct:.2f} % oxygen"
        + (f" ({', '.join(known)})" if known else "")
    )


def _saw(one: Saw) -> str:
    return f"  {MARKS[one.is_good]:<9}  {one.text}"


def _part(part: PartOutcome, outcome: Outcome) -> Iterator[str]:
    way, found = WAYS[part.kind], part.found
    if found is not None:
        after = found.after if part.measured is None else part.measured
        yield (
            f"{part.name}: {_shown(found.signal)} {found.unit}; {way.words} "
            f"{_shown(found.before)} before, {_shown(after)} after, in {way.unit}"
        )
        yield from (f"  CHECK: {warning}" for warning in found.warnings)
        if not way.kept:
            yield "  It has nothing to adjust: it was only compared."
        found_life = life(outcome.earlier.get(part.name, []))
        if found_life is not None:
            yield f"  {life_words(found_life, outcome.at)}"
    if part.refused:
        yield f"{part.name}: REFUSED: {part.refused}"


def _shown(value: float | None) -> str:
    return "nothing" if value is None else signal(value)


def _end(outcome: Outcome, *, is_emulated: bool) -> str:
    refused = [part.name for part in outcome.parts if part.refused]
    if refused:
        return f"REFUSED: {', '.join(refused)}. {_kept_words(outcome, is_emulated)}"
    return f"The air is fresh. {_kept_words(outcome, is_emulated)}"


def _kept_words(outcome: Outcome, is_emulated: bool) -> str:
    if outcome.only_looked:
        return "Only measured: nothing was changed."
    if outcome.kept_in is not None and is_emulated:
        return (
            f"Kept in {outcome.kept_in}, of emulated sensors: no monitor may use them."
        )
    if outcome.kept_in is not None:
        return f"Kept in {outcome.kept_in}. Start the monitor again to use them."
    return "Emulated sensors: nothing was kept." if is_emulated else "Nothing was kept."


def kept_lines(
    spans: Sequence[Span], parts: Mapping[str, PartSettings], units: Units = SI
) -> Iterator[str]:
    """List the kept spans by part, and what they say of each cell's life."""
    if not spans:
        yield "No calibrations are kept yet."
    for name in dict.fromkeys(span.part for span in spans):
        part = parts.get(name)
        own = [span for span in spans if span.part == name]
        yield f"{name} ({own[-1].kind})"
        for span in own:
            yield f"  {_kept(span, units)}"
        now = own[-1].at
        live = [] if part is None else of_part(own, name, part.kind, part.in_service)
        if part is None:
            yield "  no longer in the config"
        elif earlier := len([one for one in own if not one.void]) - len(live):
            which = f"{earlier} of them are" if earlier > 1 else "1 of them is"
            yield f"  {which} of an earlier sensor"
        found = life(live)
        if found is not None:
            yield f"  {life_words(found, now)}"
        slope = options_of(live).get("slope_pct_per_k")
        if slope is not None:
            degree = "degree Fahrenheit" if units.is_us else "kelvin"
            told = float(slope) / units.value("k", 1.0)
            yield f"  it drifts by {told:+.3f} % a {degree}, which the monitor corrects"


def _kept(span: Span, units: Units) -> str:
    air = [
        units.said(unit, value, digits)
        for value, digits, unit in (
            (span.temp_c, 1, "c"),
            (span.pressure_hpa, 1, "hpa"),
            (span.rh_pct, 0, "% humidity"),
        )
        if value is not None
    ]
    head = f"{day_and_time(span.at)}  {span.signal:.4g} {span.unit}"
    line = "  ".join([head, ", ".join(air)]).rstrip()
    return f"{line}  does not count, {span.void}" if span.void else line
