"""The night in stretches: between marks, changes and gaps, what the air did in each."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from cabinvigil.daemon.air.combustion import burn
from cabinvigil.daemon.air.cylinder import hhv_kwh_kg
from cabinvigil.daemon.air.figures import LIKELY_BURNER_KW
from cabinvigil.daemon.log.night import STEP_S, NightSeries
from cabinvigil.daemon.review.airflow.balance import (
    TO_KG_H,
    Z90,
    Balance,
    BalanceNode,
    Triple,
    triple,
)
from cabinvigil.daemon.review.airflow.doors import DOOR_SPREAD
from cabinvigil.daemon.review.airflow.nodes import Told, mean
from cabinvigil.daemon.review.airflow.sources import EMPTY, OFF, UNSURE
from cabinvigil.daemon.review.cabin_facts import CabinFacts
from cabinvigil.daemon.review.inside import Inside
from cabinvigil.daemon.review.openings import Vent, outdoor_volume, vent_of

LEAST_S = 900.0
"""Shorter stretches are joined to the one before: nobody reads them."""
SHORTEST_S = 60.0
"""Nor is one between two marks: parts tell nothing of so short a time (our choice)."""
DRIFT = 1.6
"""A stretch ends, too, where the air has slowly changed by this factor."""
LONGEST_HOLE_H, HOLE_SPREAD = 2.0, 0.3
"""A hole in the readings of CO2 up to this long, with the burner the same before and
after, counts as they do, and less sure (own judgement)."""
UNSTEADY = "the burner or the air changed all the time, and CO2 does not show which"
MOST_POWER = 1.3
"""Times a heater's label: more it burns hardly ever (own judgement)."""
LABEL_WRONG = 1.7
"""Times a heater's label, at the most, where label and volume are wrong (the same)."""
LOOSE_SPREAD = 0.6
"""Of what is carried over a longer one, or over hours with the part at its end: what
was burnt and made in it is no figure then, but at least the rest (own judgement)."""


@dataclass(frozen=True, slots=True)
class Totals:
    """What a stretch came to; each figure is 5, 50 and 95 %."""

    air_changes_per_h: Triple
    """By vents and leaks, and by a door that stood open for a minute."""
    air_m3_h: Triple
    """Outdoor air that entered, by its volume outdoors."""
    burn_kw: Triple
    """While lit; zeros where it never was."""
    lit_h: float
    """Hours in which it was lit for sure."""
    gas_kwh: Triple
    gas_kg: Triple
    water_made_kg: Triple
    water_carried_kg: Triple
    """Off by the air; negative where it brought more than it took."""
    water_left_kg: Triple
    """On glass and walls, in bedding and wood; 0 where they dried."""
    bounded_h: float = 0.0
    """Hours without CO2, or with its part at the end of its range: gas and water are at
    least their 5 % points, and their middles only likely."""
    unsure_h: float = 0.0
    """Beside `lit_h`: hours in which nothing shows whether the burner was lit; the gas
    of them is in the figures, as far as it may have been."""
    door_m3_h: float = 0.0
    """Of `air_m3_h`, what came in by a door that stood open."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the night."""

    from_s: float
    to_s: float
    begins_with: str
    """Why it begins: a mark's words, `burner low`, `air`; '' for the night's start."""
    known_h: float
    """Hours of it that readings tell of."""
    totals: Totals | None
    vent: Vent | None
    withheld: str = ""
    """Why there are no totals, though there were readings."""


def stretches(
    tape: NightSeries, facts: CabinFacts, air: Inside, found: Balance | None
) -> list[Stretch]:
    """Cut the night where something changed."""
    cuts = _cuts(tape, found)
    made = []
    for (from_s, why), to_s in zip(
        cuts, [*(at_s for at_s, _ in cuts[1:]), tape.length_s], strict=True
    ):
        made.append(stretch(from_s, to_s, why, facts, air, found))
    return made


def stretch(
    from_s: float,
    to_s: float,
    why: str,
    facts: CabinFacts,
    air: Inside,
    found: Balance | None,
) -> Stretch:
    """Sum a part of the night up."""
    nodes = nodes_between(found, from_s, to_s)
    known = sum(1 for one in nodes if one.is_known)
    if found is None or not known:
        return Stretch(from_s, to_s, why, 0.0, None, None)
    step_h = found.step_s / 3600.0
    if found.moved.is_unsteady:
        return Stretch(from_s, to_s, why, known * step_h, None, None, UNSTEADY)
    firm, loose = _counted(nodes, round(LONGEST_HOLE_H / step_h))
    totals = _totals(firm, loose, step_h, facts, _warmth(air, from_s, to_s))
    low, middle, high = (one - totals.door_m3_h for one in totals.air_m3_h)
    vent = vent_of((low, middle, high), facts, _warmth(air, from_s, to_s))
    return Stretch(from_s, to_s, why, known * step_h, totals, vent)


def _counted(
    nodes: Sequence[BalanceNode], longest: int
) -> tuple[list[BalanceNode], list[BalanceNode]]:
    """Return the nodes that make figures, and those that only bound them.

    The first are the known, and short holes with the same setting before and after.
    """
    firm: list[BalanceNode] = []
    loose: list[BalanceNode] = []
    hole: list[BalanceNode] = []
    for node in nodes:
        if not node.is_known:
            hole.append(node)
            continue
        is_bridge = firm and firm[-1].setting == node.setting
        if is_bridge and len(hole) <= longest and not any(n.is_full for n in hole):
            firm += [_unsure(one, HOLE_SPREAD) for one in hole]
        else:
            loose += [_unsure(one, LOOSE_SPREAD) for one in hole]
        hole = []
        firm.append(node)
    return firm, [*loose, *(_unsure(one, LOOSE_SPREAD) for one in hole)]


def _unsure(node: BalanceNode, share: float) -> BalanceNode:
    """Widen what is carried over a hole in the readings."""
    return node._replace(
        changes_sd=max(node.changes_sd, share * node.changes_per_h),
        burn_sd=max(node.burn_sd, share * node.burn_kw),
        made_sd=max(node.made_sd, share * node.made_kg_h),
        carried_sd=max(node.carried_sd, share * abs(node.carried_kg_h)),
        left_sd=max(node.left_sd, share * node.made_kg_h),
    )


def nodes_between(
    found: Balance | None, from_s: float, to_s: float
) -> list[BalanceNode]:
    """Return the nodes of a part of the night."""
    if found is None:
        return []
    return [one for one in found.nodes if from_s <= one.at_s < to_s]


def _warmth(air: Inside, from_s: float, to_s: float) -> tuple[Told, Told]:
    part = slice(round(from_s / STEP_S), round(to_s / STEP_S))
    return mean(air.temp_c[part]), mean(air.outside_c[part])


def _cuts(tape: NightSeries, found: Balance | None) -> list[tuple[float, str]]:
    """List (moment, why), the night's begin first."""
    asked = [
        (one.at_s, str(one.fields.get("text", "")) or "mark")
        for one in tape.events
        if one.kind == "mark"
    ]
    own: list[tuple[float, str]] = []
    for gap in tape.gaps:
        own += [(gap.from_s, "gap"), (gap.to_s, "after the gap")]
    if found is not None:
        own += [
            (one.at_s, one.kind if one.kind == "air" else f"burner {one.kind}")
            for one in found.moved.changes
        ]
        own += _drifts(found, [0.0, *(at_s for at_s, _ in own + asked)])
    cuts: list[tuple[float, str]] = [(0.0, "")]
    for at_s, why in sorted(own):
        near = [other for other, _ in (*cuts, *asked, (tape.length_s, ""))]
        if all(abs(at_s - other) >= LEAST_S for other in near):
            cuts.append((at_s, why))
    for at_s, why in asked:
        last_s = max((at for at, _ in cuts if at <= at_s), default=0.0)
        if at_s - last_s >= SHORTEST_S and at_s <= tape.length_s - SHORTEST_S:
            cuts.append((at_s, why))
    return sorted(cuts)


def _drifts(found: Balance, cuts: Sequence[float]) -> list[tuple[float, str]]:
    """Find where the air has slowly come to be other than at the last cut."""
    drifts, base, hour = [], None, round(3600.0 / found.step_s)
    for n, node in enumerate(found.nodes):
        if any(abs(node.at_s - at_s) < found.step_s for at_s in cuts):
            base = None
        ahead = found.nodes[n : n + hour // 2]
        k = math.fsum(one.changes_per_h for one in ahead) / len(ahead)
        if base is None:
            base = k
        elif max(k, 0.05) > DRIFT * max(base, 0.05) or max(k, 0.05) * DRIFT < base:
            drifts.append((node.at_s, "air"))
            base = k
    return drifts


def _sum(pairs: Iterable[tuple[float, float]], step_h: float) -> tuple[float, float]:
    """Add middles and sds: errors of neighbours go together, so this is the most."""
    listed = list(pairs)
    return (
        math.fsum(middle for middle, _ in listed) * step_h,
        math.fsum(sd for _, sd in listed) * step_h,
    )


def _totals(
    firm: Sequence[BalanceNode],
    loose: Sequence[BalanceNode],
    step_h: float,
    facts: CabinFacts,
    warmth: tuple[Told, Told],
) -> Totals:
    nodes = [*firm, *loose]
    hours = len(nodes) * step_h
    changes, changes_sd = _sum(((n.changes_per_h, n.changes_sd) for n in nodes), step_h)
    by_door = math.fsum(n.door_per_h for n in nodes) * step_h
    changes_sd = math.hypot(changes_sd, DOOR_SPREAD * by_door)
    burnt = _burnt(firm, loose, step_h, facts)
    most_kw = MOST_POWER * (facts.burner_kw or LIKELY_BURNER_KW)
    per_kg = hhv_kwh_kg(facts.liquid)
    made, made_sd = _sum(((n.made_kg_h, n.made_sd) for n in nodes), step_h)
    carried, carried_sd = _sum(((n.carried_kg_h, n.carried_sd) for n in nodes), step_h)
    _, left_sd = _sum(((0.0, n.left_sd) for n in nodes), step_h)
    made_kg, left_kg = triple(made, made_sd), _left(made - carried, left_sd)
    guests_kg = math.fsum(n.guests_kg_h for n in firm) * step_h
    made_kg = (*made_kg[:2], made + math.hypot(made_kg[2] - made, guests_kg))
    if loose:
        known = _sum(((n.made_kg_h, n.made_sd) for n in firm), step_h)
        flame_kg = burn(facts.fuel, most_kw).h2o_mol_s * TO_KG_H * len(loose) * step_h
        most_kg = max(made_kg[2], triple(*known)[2] + flame_kg)
        made_kg = (triple(*known)[0], made_kg[1], most_kg)
        # nothing shows that its air carried it off
        left_kg = (0.0, left_kg[1], max(left_kg[2], flame_kg))
    rate = triple((changes + by_door) / hours, changes_sd / hours)
    outdoor_m3 = outdoor_volume(warmth) * (facts.volume_m3 or 0.0)
    return Totals(
        rate,
        _times(rate, outdoor_m3),
        burnt.power_kw,
        burnt.lit_h,
        burnt.gas_kwh,
        _times(burnt.gas_kwh, 1.0 / per_kg),
        made_kg,
        _open(carried, carried_sd),
        left_kg,
        len(loose) * step_h,
        burnt.unsure_h,
        by_door / hours * outdoor_m3,
    )


FEW_UNSURE = 0.25
"""Unsure hours for each lit one that change its mean power by no more than its own
range (our choice)."""


class _Burnt(NamedTuple):
    power_kw: Triple
    gas_kwh: Triple
    lit_h: float
    unsure_h: float


def _burnt(
    firm: Sequence[BalanceNode],
    loose: Sequence[BalanceNode],
    step_h: float,
    facts: CabinFacts,
) -> _Burnt:
    """Sum up what burnt, and for how long; of some hours it may be that nothing did."""
    told = [node for node in firm if node.setting not in (OFF, EMPTY)]
    lit = [*told, *(node for node in loose if node.setting not in (OFF, EMPTY))]
    perhaps_lit_h = math.fsum(node.lit_share for node in lit) * step_h
    unsure_h = sum(node.setting == UNSURE for node in told) * step_h
    lit_h = math.fsum(node.lit_share for node in told) * step_h - unsure_h
    low, middle, high = triple(*_sum(((n.burn_kw, n.burn_sd) for n in lit), step_h))
    most_kwh = LABEL_WRONG * (facts.burner_kw or LIKELY_BURNER_KW) * perhaps_lit_h
    gas_kwh = (low, middle, min(high, max(most_kwh, middle)))
    lit_sd_h = math.fsum(n.lit_sd for n in lit) * step_h
    power_kw = _power(gas_kwh, perhaps_lit_h, lit_sd_h)
    if unsure_h or loose:
        sure = [node for node in told if node.setting != UNSURE]
        sure_kwh = triple(*_sum(((n.burn_kw, n.burn_sd) for n in sure), step_h))
        gas_kwh = (sure_kwh[0], *gas_kwh[1:])
        sure_kw = _power(sure_kwh, lit_h, lit_sd_h)
        is_short = not loose and unsure_h <= FEW_UNSURE * lit_h
        power_kw = sure_kw if is_short else _either(power_kw, sure_kw)
    if loose and facts.burner_kw != 0.0:  # nothing shows that it was not lit on high
        most_kw = MOST_POWER * (facts.burner_kw or LIKELY_BURNER_KW)
        most_kwh = _open(*_sum(((n.burn_kw, n.burn_sd) for n in firm), step_h))[2]
        most_kwh += most_kw * len(loose) * step_h
        gas_kwh = (*gas_kwh[:2], max(gas_kwh[2], most_kwh))
        most_kw = _power(gas_kwh, perhaps_lit_h, lit_sd_h)[2]
        power_kw = (*power_kw[:2], max(power_kw[2], most_kw))
    return _Burnt(power_kw, gas_kwh, lit_h, unsure_h)


def _power(gas_kwh: Triple, lit_h: float, lit_sd_h: float) -> Triple:
    """Return the power while lit; the hours may be off as well as the gas."""
    if lit_h <= 0.0:
        return 0.0, 0.0, 0.0
    low, middle, high = _times(gas_kwh, 1.0 / lit_h)
    off = Z90 * lit_sd_h / lit_h * middle
    least = max(0.0, middle - math.hypot(middle - low, off))
    return least, middle, middle + math.hypot(high - middle, off)


def _either(perhaps: Triple, sure: Triple) -> Triple:
    """Give the power while lit: of all the hours that may have been, or of the sure."""
    if sure[1] <= 0.0:
        return 0.0, perhaps[1], perhaps[2]
    return min(perhaps[0], sure[0]), sure[1], max(perhaps[2], sure[2])


def _times(values: Triple, by: float) -> Triple:
    low, middle, high = values
    return low * by, middle * by, high * by


def _open(middle: float, sd: float) -> Triple:
    """Return a triple of something that may be negative."""
    return middle - Z90 * sd, middle, middle + Z90 * sd


def _left(middle: float, sd: float) -> Triple:
    """Return the water that is left; less than nothing is left nowhere."""
    if middle > 0.0:
        return triple(middle, sd)
    return 0.0, 0.0, max(0.0, _open(middle, sd)[2])
