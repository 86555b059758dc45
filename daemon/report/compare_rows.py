"""What the comparison's tables hold, written once; text and page lay it out."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from cabinvigil.daemon.report.compare_verdict import YES, enough
from cabinvigil.daemon.report.night_totals import DRY_KG, left_of
from cabinvigil.daemon.report.other_air_words import INDEX_WORDS
from cabinvigil.daemon.review.compare import Sheet, are_alike
from cabinvigil.daemon.review.middle import estimate
from cabinvigil.daemon.review.other_air import DUST
from cabinvigil.daemon.review.trial_figures import O2_LIMIT_PCT, TrialFigures
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.numbers import bracketed, fixed, spread, valued
from cabinvigil.daemon.text.units_said import Units

NOT_KNOWN = "not known"
LIKE_K = 3.0
"""Outside differs where it does by more: three degrees move a chimney's draught of
twenty by a fourteenth (our choice)."""
LIKE_PEOPLE = 0.5


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One figure of each night or trial."""

    words: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ShareRow:
    """One circumstance of each, and whether it was the same."""

    words: str
    cells: tuple[str, ...]
    told: str
    """`the same`, `not the same` or `not known`, with what that means."""


def figure_rows(sheets: Sequence[Sheet]) -> list[FigureRow]:
    """Write each figure of each sheet, in the report's order."""
    units = sheets[0].units
    makers: tuple[tuple[str, Callable[[Sheet], str]], ...] = (
        (f"minutes to {O2_LIMIT_PCT} % oxygen", _minutes),
        ("oxygen, at the least", _least),
        ("oxygen settles at", _settles),
        ("air changes an hour", _changes),
        (f"water left behind, {units.sign('kg')}", _water),
        ("window wet", _wet),
        (f"gas an hour, {units.sign('kg')}", _gas),
        ("warmth gained", _gained),
        ("enough to sleep by", _enough),
    )
    rows = [
        FigureRow(words, tuple(make(one) for one in sheets)) for words, make in makers
    ]
    return [*rows, *_other_rows(sheets)]


def _other_rows(sheets: Sequence[Sheet]) -> Iterator[FigureRow]:
    """Write dust and indices, where any of the sheets has them."""
    if any(one.other.dust is not None for one in sheets):
        yield FigureRow("fine dust", tuple(dust_cell(one) for one in sheets))
    for quantity, words in INDEX_WORDS.items():
        courses = [_index(one, quantity) for one in sheets]
        if any(courses):
            cells = tuple(one or NOT_KNOWN for one in courses)
            yield FigureRow(f"{words}, at most (against its own last day)", cells)


def dust_cell(one: Sheet) -> str:
    """Write a sheet's fine dust, and whether it rose with carbon monoxide."""
    dust = one.other.dust
    if dust is None:
        return NOT_KNOWN
    told = f"{dust.mean_ugm3:.0f} on average, at most {valued(DUST, dust.most_ugm3)}"
    sooty = any(rise.meaning == "with-co" for rise in dust.rises)
    return f"{told}; rose with CO" if sooty else told


def _index(one: Sheet, quantity: str) -> str:
    found = [each for each in one.other.indices if each.quantity == quantity]
    return f"{found[0].most:.0f}" if found else ""


def _of(one: Sheet) -> TrialFigures | None:
    return one.figures


def _minutes(one: Sheet) -> str:
    found = _of(one)
    if found is None or found.least_o2_pct is None:
        return f"{NOT_KNOWN}: no oxygen was measured"
    if found.o2_minutes is None:
        return f"{NOT_KNOWN}: it was there at the first reading"
    if found.o2_minutes[1] is None:
        left = f"not within {minutes(60.0 * one.hours)}"
        return left if found.o2_minutes[0] is None else f"{left}, but close to it"
    low, middle, high = (
        "never" if value is None else f"{value:.0f}" for value in found.o2_minutes
    )
    return bracketed(middle, low, high)


def _least(one: Sheet) -> str:
    found = _of(one)
    if found is None or found.least_o2_pct is None:
        return NOT_KNOWN
    return f"{found.least_o2_pct:.1f} %"


def _settles(one: Sheet) -> str:
    found = _of(one)
    if found is None or found.settles_pct is None:
        return f"{NOT_KNOWN}: nothing was projected"
    return f"{fixed(found.settles_pct, 1)} %"


def _changes(one: Sheet) -> str:
    if one.air_changes_per_h is None:
        return f"{NOT_KNOWN}: too little CO2 was measured"
    return spread(estimate(one.air_changes_per_h))


def _water(one: Sheet) -> str:
    if one.water_left_kg is None:
        return f"{NOT_KNOWN}: the balance is not"
    if one.water_left_kg[2] < DRY_KG:
        return "none"
    return one.units.fixed("kg", left_of(one.water_left_kg), 1)


def _wet(one: Sheet) -> str:
    found = _of(one)
    if found is None or not found.is_wet_known:
        return f"{NOT_KNOWN}: the window was not measured"
    if found.wet_from_min is None or one.wet_h is None:
        return "never"
    return f"after {minutes(found.wet_from_min)}, for {one.wet_h:.1f} h"


def _gas(one: Sheet) -> str:
    found = _of(one)
    if one.gas_kwh is None:
        return f"{NOT_KNOWN}: the balance is not"
    if found is None or found.gas_kg_per_h is None:
        return "none seen to burn"
    return one.units.fixed("kg", estimate(found.gas_kg_per_h), 2)


def _gained(one: Sheet) -> str:
    found = _of(one)
    if found is None or found.gained_k is None:
        return f"{NOT_KNOWN}: no warmth was measured"
    return one.units.said("k", found.gained_k)


def _enough(one: Sheet) -> str:
    word, why = enough(one)
    if word == YES and one.is_trial:
        return f"{word}, with nobody in it"
    return f"{word}: {why}" if why else word


def same_rows(sheets: Sequence[Sheet]) -> list[ShareRow]:
    """Return what was the same for all and what was not."""
    found, units = [one.figures for one in sheets], sheets[0].units
    winds = tuple(
        NOT_KNOWN if one is None else f"set at {units.said('mps', one.wind_mps, 1)}"
        for one in found
    )
    return [
        ShareRow("wind", winds, "not measured: a trial in another wind proves little"),
        _outside(found, units),
        _begin(found, units),
        _power(found, units),
        _people(sheets, found),
        _length(sheets),
    ]


SAME, OTHER = "the same", "not the same"


def _outside(found: Sequence[TrialFigures | None], units: Units) -> ShareRow:
    cells, known = [], []
    for one in found:
        if one is None or one.outside_c is None:
            cells.append(NOT_KNOWN)
            continue
        measured = "" if one.outside_is_measured else ", by the config"
        cells.append(f"{units.said('c', one.outside_c)}{measured}")
        if one.outside_is_measured:
            known.append(one.outside_c)
    told = _judged(known, len(found), LIKE_K) if known else "not measured"
    return ShareRow("outside", tuple(cells), told)


def _begin(found: Sequence[TrialFigures | None], units: Units) -> ShareRow:
    told = [None if one is None else one.begins_c for one in found]
    cells = tuple(NOT_KNOWN if one is None else units.said("c", one) for one in told)
    known = [one for one in told if one is not None]
    judged = _judged(known, len(found), LIKE_K)
    return ShareRow("inside at the start", cells, judged)


def _power(found: Sequence[TrialFigures | None], units: Units) -> ShareRow:
    triples = [None if one is None else one.power_kw for one in found]
    cells = tuple(
        NOT_KNOWN
        if one is None
        else f"{units.fixed('kw', estimate(one), 1)} {units.sign('kw')}"
        for one in triples
    )
    known = [one for one in triples if one is not None]
    if len(known) < len(triples) or len(known) < 2:
        return ShareRow("burner's power", cells, NOT_KNOWN)
    middles = [one[1] for one in known]
    off = max((one[2] - one[0]) / 2.0 for one in known)
    told = SAME if max(middles) - min(middles) <= off else OTHER
    return ShareRow("burner's power", cells, told)


def _people(sheets: Sequence[Sheet], found: Sequence[TrialFigures | None]) -> ShareRow:
    cells, known = [], []
    for sheet, one in zip(sheets, found, strict=True):
        if sheet.is_trial:
            cells.append("nobody")
        else:
            cells.append(NOT_KNOWN if one is None else f"{one.people:.0f}")
        if one is not None:
            known.append(one.people)
    told = _judged(known, len(found), LIKE_PEOPLE)
    if any(one.is_trial for one in sheets):
        told += "; sleepers take oxygen, and add water and CO2"
    return ShareRow("people", tuple(cells), told)


def _length(sheets: Sequence[Sheet]) -> ShareRow:
    cells = tuple(f"{one.hours:.1f} h" for one in sheets)
    return ShareRow("length", cells, SAME if are_alike(sheets) else OTHER)


def _judged(known: Sequence[float], count: int, like: float) -> str:
    if len(known) < count or not known or not all(map(math.isfinite, known)):
        return NOT_KNOWN
    return SAME if max(known) - min(known) <= like else OTHER
