"""A comparison in words, as JSON, as CSV, and as a picture's rows."""

import csv
import io
import textwrap
from collections.abc import Sequence
from typing import Any

from cabinvigil.daemon.report.compare_rows import dust_cell, figure_rows, same_rows
from cabinvigil.daemon.report.compare_verdict import enough, sentence
from cabinvigil.daemon.report.night_totals import left_of, water_left
from cabinvigil.daemon.review.airflow.balance import Z90, Triple
from cabinvigil.daemon.review.compare import Rank, Sheet, too_short
from cabinvigil.daemon.review.middle import Estimate, estimate
from cabinvigil.daemon.review.other_air import USUAL_INDEX, OtherAir
from cabinvigil.daemon.review.trial_figures import TrialFigures
from cabinvigil.daemon.review.verdict import WORDS
from cabinvigil.daemon.text.charts import Interval, Rows
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.json import rounded, rounded_each
from cabinvigil.daemon.text.numbers import spread
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.daemon.text.wrapping import wrap

COLUMNS = 80
INDENT = "   "
HANGING = f"{INDENT}{'':<7}"
"""Below a fact, whose word is seven wide."""
SAFEST = "safest"


MOST = 10
"""So many nights are told one by one; of more, so many of the best and of the worst."""


def table(
    sheets: Sequence[Sheet],
    order: Sequence[Rank],
    *,
    is_whole: bool = True,
    units: Units = SI,
) -> str:
    """Write the sheets and their ranks, at most 80 columns wide.

    Args:
        sheets: of the nights.
        order: their ranks.
        is_whole: tell every night, however many there are.
        units: in which numbers are told.
    """
    is_whole = is_whole or len(sheets) <= MOST
    lines = [*textwrap.wrap(sentence(sheets), COLUMNS), ""]
    for one in sheets if is_whole else ():
        lines.append(f"{one.name}  ({one.hours:.1f} h)"[:COLUMNS])
        for text in _facts(one, units):
            lines += wrap(text, COLUMNS, INDENT, HANGING)
        if one.is_trial:
            lines += [
                f"{INDENT}{row.words:<28}{row.cells[0]}"[:COLUMNS]
                for row in figure_rows([one])
            ]
    if is_whole and any(one.is_trial for one in sheets):
        lines.append("")
        for same in same_rows(sheets):
            lines += textwrap.wrap(
                f"{same.words}: {same.told}", COLUMNS, subsequent_indent="  "
            )
    if not is_whole:
        lines.append(
            f"{len(sheets)} nights: the best and the worst of them; --all shows each."
        )
    apart = [one for one in sheets if one.past]
    if apart:
        told = apart if is_whole else apart[-MOST:]
        lines += ["", "not safe, and not ranked:"]
        lines += [f"  {one.name}: {one.past}"[:COLUMNS] for one in told]
        if len(apart) > len(told):
            lines.append(f"  and {len(apart) - len(told)} before them")
    unproved = [(one.name, one.unproved) for one in sheets if one.unproved]
    lines += _lacking("not proved, and not ranked as safe:", unproved)
    short = [(one.name, lacks) for one in sheets if (lacks := too_short(one))]
    lines += _lacking("too short to judge, or without a flame, and not ranked:", short)
    for rank in order:
        lines.append("")
        lines += _rank(rank, sheets, is_whole=is_whole, units=units)
    return "\n".join(lines) + "\n"


def _lacking(title: str, named: Sequence[tuple[str, str]]) -> list[str]:
    """Say what is missing for some to be ranked; nothing where there are none."""
    if not named:
        return []
    lines = ["", title]
    for name, lacks in named[:MOST]:
        lines += textwrap.wrap(
            f"{name}: {lacks}", COLUMNS, initial_indent="  ", subsequent_indent="    "
        )
    if len(named) > MOST:
        lines.append(f"  and {len(named) - MOST} more")
    return lines


def _facts(one: Sheet, units: Units) -> list[str]:
    facts = []
    if one.margin is not None:
        left = f"{100.0 * one.margin:.0f} % of the way to a waking limit was left"
        if one.margin < 0.0:
            left = f"past a waking limit for {minutes(one.beyond_min)}"
        facts.append(f"safe   {left} ({WORDS.get(one.nearest, one.nearest)})")
    else:
        facts.append("safe   not known: no gas was measured")
    if one.wet_h is not None:
        wet = f"dry    window wet for {one.wet_h:.1f} h"
        if one.water_left_kg is not None:
            wet += f"; {water_left(one.water_left_kg, units)}"
        facts.append(wet)
    if one.gas_kwh is not None and one.gas_kg is not None:
        gas = (
            f"gas    {units.spread('kwh', estimate(one.gas_kwh))} "
            f"{units.sign('kwh')}, {units.brief('kg', estimate(one.gas_kg))} "
            f"{units.sign('kg')}"
        )
        if one.w_per_k is not None and one.kept_k is not None:
            each = f"{units.fixed('w_k', estimate(one.w_per_k), 0)} {units.sign('w')}"
            kept = f"{each} for each of {units.said('k', one.kept_k)}"
            if len(gas) + len(kept) + len(INDENT) + 2 > COLUMNS:
                facts.append(f"{gas};")
                gas = f"       {kept}"
            else:
                gas += f"; {kept}"
        facts.append(gas)
    if one.air_changes_per_h is not None:
        facts.append(
            f"air    {spread(estimate(one.air_changes_per_h))} changes an hour"
        )
    if one.other.dust is not None and one.other.dust.rises:
        facts.append(f"dust   {dust_cell(one)}")
    if one.unseen_min > 2.0:
        facts.append(f"gap    {minutes(one.unseen_min)} without oxygen or CO readings")
    return facts


def _rank(
    rank: Rank, sheets: Sequence[Sheet], *, is_whole: bool, units: Units
) -> list[str]:
    if not rank.order:
        is_left_out = any(one.past or one.unproved or too_short(one) for one in sheets)
        why = "no night to rank" if is_left_out else "not known"
        return [f"{rank.word}: {why}"]
    if len(rank.order) == 1 < len(sheets):
        # A list of one would look like a winner over those that were left out.
        return textwrap.wrap(
            f"{rank.word}: no order, since only {sheets[rank.order[0]].name} can be "
            "ranked",
            COLUMNS,
            subsequent_indent="  ",
            break_on_hyphens=False,
        )
    lines = [f"{rank.word}:"]
    last_best, first_worst = MOST, max(MOST, len(rank.order) - MOST)
    for place, n in enumerate(rank.order):
        if not is_whole and last_best <= place < first_worst:
            if place == last_best:
                lines.append(f"  ... {first_worst - last_best} more, then the worst:")
            continue
        tail = ""
        if place < len(rank.is_sure):
            tail = "" if rank.is_sure[place] else "   (no surer than the next)"
        line = f"  {place + 1}. {sheets[n].name}"
        if not is_whole:
            line += f"  {_measure(rank.word, sheets[n], units)}"
        lines.append(line[: COLUMNS - 26] + tail)
    return lines


def _measure(word: str, one: Sheet, units: Units) -> str:
    """Write what a night is ranked by, in a few words."""
    if word == SAFEST and one.margin is not None:
        return f"{100.0 * one.margin:.0f} % left"
    if word == "driest" and one.wet_h is not None:
        return f"wet for {one.wet_h:.1f} h"
    if one.w_per_k is None:
        return ""
    return f"{units.brief('w_k', estimate(one.w_per_k))} {units.sign('w_k')}"


def as_json(sheets: Sequence[Sheet], order: Sequence[Rank]) -> dict[str, Any]:
    """Return the comparison as one object; triples are 5, 50 and 95 % points.

    A middle is null where nobody may rely on it.
    """
    return {
        "text": sentence(sheets),
        "nights": [_plain(one) for one in sheets],
        "ranks": [
            {
                "rank": rank.word,
                "order": [sheets[n].name for n in rank.order],
                "larger_than_doubt": list(rank.is_sure),
            }
            for rank in order
        ],
    }


def _plain(one: Sheet) -> dict[str, Any]:
    margin = one.margin
    spread_of_margin = None
    if margin is not None:
        off = Z90 * one.margin_sd
        spread_of_margin = rounded_each((margin - off, margin, margin + off))
    return {
        "name": one.name,
        "hours": rounded(one.hours, 4),
        "least_margin_share": spread_of_margin,
        "nearest": one.nearest or None,
        "beyond_min": one.beyond_min,
        "wet_h": rounded(one.wet_h, 4),
        "water_left_kg": rounded_each(
            None if one.water_left_kg is None else left_of(one.water_left_kg)
        ),
        "gas_kwh": _estimate(one.gas_kwh),
        "gas_kg": _estimate(one.gas_kg),
        "kept_k": rounded(one.kept_k, 4),
        "gas_w_per_k": _estimate(one.w_per_k),
        "air_changes_per_h": _estimate(one.air_changes_per_h),
        "unseen_min": one.unseen_min,
        "past": one.past or None,
        "verdict": one.verdict,
        "least_o2_pct": rounded(one.least_o2_pct, 3),
        "most_co_ppm": rounded(one.most_co_ppm, 1),
        "most_co2_ppm": rounded(one.most_co2_ppm, 0),
        "lit_h": rounded(one.lit_h, 2),
        "trial": one.is_trial,
        "enough": enough(one).word,
        "enough_why": enough(one).why or None,
        "too_short": too_short(one) or None,
        "unproved": one.unproved or None,
        **_figures(one.figures),
        **_other(one.other),
    }


def _estimate(triple: Triple | None) -> list[float | None] | None:
    return None if triple is None else rounded_each(estimate(triple))


def _other(air: OtherAir) -> dict[str, Any]:
    dust, most = air.dust, {one.quantity: one.most for one in air.indices}
    return {
        "pm2_5_mean_ugm3": None if dust is None else rounded(dust.mean_ugm3, 1),
        "pm2_5_most_ugm3": None if dust is None else rounded(dust.most_ugm3, 1),
        "dust_with_co": None
        if dust is None
        else any(one.meaning == "with-co" for one in dust.rises),
        **{f"{name}_most": rounded(most.get(name), 0) for name in USUAL_INDEX},
    }


def _figures(found: TrialFigures | None) -> dict[str, Any]:
    keys: dict[str, Any] = dict.fromkeys(FIGURES)
    if found is None:
        return keys
    return {
        "o2_minutes_to_19_5": rounded_each(found.o2_minutes, 1),
        "o2_settles_pct": rounded_each(found.settles_pct),
        "wet_from_min": rounded(found.wet_from_min, 1),
        "gas_kg_per_h": _estimate(found.gas_kg_per_h),
        "begins_c": rounded(found.begins_c, 3),
        "gained_k": rounded(found.gained_k, 3),
        "burn_kw": _estimate(found.power_kw),
        "outside_c": rounded(found.outside_c, 3),
        "outside_measured": found.outside_is_measured,
        "wind_mps": found.wind_mps,
        "people": rounded(found.people, 2),
    }


FIGURES = (
    "o2_minutes_to_19_5",
    "o2_settles_pct",
    "wet_from_min",
    "gas_kg_per_h",
    "begins_c",
    "gained_k",
    "burn_kw",
    "outside_c",
    "outside_measured",
    "wind_mps",
    "people",
)


def as_csv(sheets: Sequence[Sheet]) -> str:
    """Write a row for each sheet; a triple takes three columns."""
    rows = []
    for one in sheets:
        row: dict[str, Any] = {}
        for key, value in _plain(one).items():
            if key in TRIPLES:
                parts = value or (None, None, None)
                for point, part in zip(("5", "50", "95"), parts, strict=True):
                    row[f"{key}_p{point}"] = part
            else:
                row[key] = value
        rows.append(row)
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


TRIPLES = frozenset(
    {
        "least_margin_share",
        "water_left_kg",
        "gas_kwh",
        "gas_kg",
        "gas_w_per_k",
        "air_changes_per_h",
        "o2_minutes_to_19_5",
        "o2_settles_pct",
        "gas_kg_per_h",
        "burn_kw",
    }
)


def _interval(name: str, unit: str, told: Estimate, units: Units) -> Interval:
    low, middle, high = told
    return Interval(
        name,
        units.value(unit, low),
        None if middle is None else units.value(unit, middle),
        units.value(unit, high),
    )


def picture_rows(sheets: Sequence[Sheet], units: Units = SI) -> list[Rows]:
    """Return the rows of a picture: safe, dry, cheap."""
    safe, dry, cheap = [], [], []
    for one in sheets:
        if one.past or too_short(one):
            continue  # not ranked, so not drawn as if it were
        if one.margin is not None and not one.unproved:
            off = 100.0 * Z90 * one.margin_sd
            left = 100.0 * one.margin
            safe.append(Interval(one.name, left - off, left, left + off))
        if one.water_left_kg is not None:
            dry.append(_interval(one.name, "kg", left_of(one.water_left_kg), units))
        if one.w_per_k is not None:
            each = estimate(one.w_per_k)
            cheap.append(_interval(one.name, "w_k", each, units))
    made = [
        Rows("safe", "Least that was left to a waking limit", "% of the way", safe),
        Rows("dry", "Water left behind", units.sign("kg"), dry),
        Rows("cheap", "Gas for the warmth kept", units.sign("w_k"), cheap),
    ]
    return [one for one in made if one.rows]
