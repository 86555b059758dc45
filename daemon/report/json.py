"""The morning's account as one JSON object: units in the keys, estimates as triples."""

from typing import Any

from cabinvigil.daemon.report import night_totals
from cabinvigil.daemon.report.headline import headline
from cabinvigil.daemon.report.rows import shown
from cabinvigil.daemon.review.airflow.balance import Triple
from cabinvigil.daemon.review.alarm_episodes import AlarmEpisode
from cabinvigil.daemon.review.closest_approach import Approach
from cabinvigil.daemon.review.health import SourceFaults, Watched
from cabinvigil.daemon.review.middle import estimate
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.other_air import USUAL_INDEX
from cabinvigil.daemon.review.stretches import Stretch, Totals
from cabinvigil.daemon.text.json import rounded, rounded_each
from cabinvigil.daemon.text.moments import utc_seconds


def as_json(found: Morning) -> dict[str, Any]:
    """Return the whole account; what nobody tells is null.

    Every triple is the 5, 50 and 95 % point; its middle is null where nobody may rely
    on it.
    """
    tape = found.tape
    return {
        "night": found.name,
        "cabin": found.facts.name,
        "emulated": tape.head.get("emulated") is True,
        "version": tape.head.get("version"),
        "begins": utc_seconds(found.begins),
        "ends": utc_seconds(found.ends),
        "hours": rounded(found.hours, 3),
        "verdict": found.verdict.word,
        "well": found.verdict.is_well,
        "reasons": list(found.verdict.reasons),
        "missing": list(tape.missing),
        "damaged": tape.damaged,
        "closest": [_approach(found, one) for one in found.near],
        "projected": _projected(found),
        "rang": [_stand(found, one) for one in found.rang],
        **_figures(found.whole.totals),
        "withheld": found.whole.withheld,
        "rests_on": night_totals.rests_on(found),
        "full_cylinder_lasts_h": _hours(found.cylinder_h),
        "full_cylinder_left_h": _hours(found.cylinder_left_h),
        "stretches": [_stretch(found, one) for one in found.stretches],
        "comfort": _comfort(found),
        "breathed": _breathed(found),
        "other_air": _other(found),
        "watched": [_watched(one) for one in found.seen],
        "faults": [_trouble(one) for one in found.troubles],
        "gaps": [
            {"from_s": gap.from_s, "to_s": gap.to_s, "at": at(found, gap.from_s)}
            for gap in tape.gaps
        ],
        "log": _log(found),
        "tonight": [{"do": one.do, "expect": one.expect} for one in found.advice],
        "laxer": list(found.laxer),
    }


def summary(found: Morning) -> dict[str, Any]:
    """Return what a phone wants: for the retained MQTT message `morning`."""
    whole = as_json(found)
    keys = (
        "night",
        "cabin",
        "emulated",
        "begins",
        "ends",
        "hours",
        "verdict",
        "well",
        "reasons",
        "missing",
        "damaged",
        "air_changes_per_h",
        "gas_kg",
        "gas_kwh",
        "water_left_kg",
        "tonight",
    )
    return {
        **{key: whole[key] for key in keys},
        "text": headline(found),
        "closest": [_approach(found, one) for one in shown(found.near)],
        "glass_wet_h": whole["comfort"]["glass_wet_h"],
        "gaps": len(whole["gaps"]),
    }


def at(found: Morning, at_s: float) -> str | None:
    """Return a moment of the night in UTC; null without a clock."""
    return utc_seconds(found.tape.moment(at_s))


def _approach(found: Morning, one: Approach) -> dict[str, Any]:
    limit = one.limit
    return {
        "alarm": limit.alarm,
        "quantity": limit.quantity,
        "side": limit.side,
        "limit": limit.at,
        "over_s": limit.over_s,
        "priority": limit.priority,
        "value": rounded(one.value, 3),
        "at_least": one.is_at_least,
        "at_s": one.at_s,
        "at": at(found, one.at_s),
        "margin": rounded(one.margin, 3),
        "beyond_min": one.beyond_min,
    }


def _projected(found: Morning) -> dict[str, Any]:
    spare = found.spare
    return {
        "least_minutes_to_19_5": None
        if spare is None
        else rounded_each(spare.minutes, 1),
        "at": None if spare is None else at(found, spare.at_s),
        "warned_min": rounded(found.warned_min, 1),
    }


def _stand(found: Morning, one: AlarmEpisode) -> dict[str, Any]:
    return {
        "alarm": one.alarm,
        "priority": one.priority,
        "priority_s": one.rises[-1].at_s if one.rises else one.from_s,
        "from_s": one.from_s,
        "from": at(found, one.from_s),
        "to_s": one.to_s,
        "acknowledged_s": rounded(one.acknowledged_s, 1),
        "rings": one.rings,
        "first_up": one.first_up,
        "text": one.text,
    }


def _watched(one: Watched) -> dict[str, Any]:
    return {
        "quantity": one.quantity,
        "share": rounded(one.share, 4),
        "unseen_min": rounded(one.unseen_min, 1),
        "longest_min": rounded(one.longest_min, 1),
    }


def _trouble(one: SourceFaults) -> dict[str, Any]:
    return {
        "source": one.source,
        "count": one.count,
        "minutes": rounded(one.minutes, 1),
        "text": one.text,
    }


_HOURS = ("lit_h", "unsure_h", "bounded_h")


def _figures(totals: Totals | None) -> dict[str, Any]:
    if totals is None:
        return dict.fromkeys((*night_totals.FIGURES, *_HOURS))
    told = night_totals.estimates(totals)
    figures = {key: rounded_each(one) for key, one in told.items()}
    hours = {key: rounded(getattr(totals, key), 2) for key in _HOURS}
    return {**figures, **hours}


def _hours(triple: Triple | None) -> list[float | None] | None:
    return None if triple is None else rounded_each(estimate(triple), 1)


def _stretch(found: Morning, one: Stretch) -> dict[str, Any]:
    vent = one.vent
    return {
        "from_s": one.from_s,
        "to_s": one.to_s,
        "from": at(found, one.from_s),
        "begins_with": one.begins_with,
        "known_h": rounded(one.known_h, 2),
        **_figures(one.totals),
        "like_vents_of_cm2": None
        if vent is None
        else rounded_each(estimate(vent.each_cm2), 1),
        "fitted_cm2": None if vent is None else vent.fitted_cm2,
        "expected_m3_h": None if vent is None else rounded_each(vent.expected_m3_h, 1),
    }


def _comfort(found: Morning) -> dict[str, Any]:
    comfort = found.comfort
    return {
        "temp_c_low_mean_high": rounded_each(comfort.temp_c, 2),
        "temp_c_outside": rounded(comfort.outside_c, 2),
        "outside_is_measured": found.air.outside_is_measured,
        "dew_point_c_low_high": rounded_each(comfort.dew_c, 2),
        "glass_above_dew_point_c": rounded(comfort.glass_margin_c, 2),
        "glass_is_measured": found.air.glass_is_measured,
        "glass_wet_h": rounded(comfort.wet_h, 2),
        "supply_v_first_lowest": rounded_each(comfort.supply_v, 3),
        "charge_pct_first_lowest": rounded_each(comfort.charge_pct, 1),
    }


def _breathed(found: Morning) -> dict[str, Any]:
    breathed = found.breathed
    return {
        "cohb_peak_pct": rounded(breathed.cohb_peak_pct, 2),
        "co_most_ppm": rounded(breathed.co_most_ppm, 1),
        "co2_most_ppm": rounded(breathed.co2_most_ppm, 0),
        "co2_mean_ppm": rounded(breathed.co2_mean_ppm, 0),
        "co2_most_mean_8h_ppm": rounded(breathed.co2_shift_ppm, 0),
        "pm2_5_mean_ugm3": rounded(breathed.pm2_5_mean_ugm3, 1),
        "like_sleeping_at_m": rounded(breathed.like_sleeping_at_m, 0),
        "co_most_mean_8h_ppm": rounded(breathed.co_shift_ppm, 1),
        "co_known_pct": rounded(100.0 * breathed.co_known, 0),
        "co2_known_pct": rounded(100.0 * breathed.co2_known, 0),
    }


def _other(found: Morning) -> dict[str, Any]:
    dust = found.other.dust
    indices = {one.quantity: one for one in found.other.indices}
    return {
        "pm2_5_most_ugm3": None if dust is None else rounded(dust.most_ugm3, 1),
        "dust_rises": [
            {
                "from_s": one.from_s,
                "to_s": one.to_s,
                "from": at(found, one.from_s),
                "most_ugm3": rounded(one.most_ugm3, 1),
                "co_up_ppm": rounded(one.co_up_ppm, 1),
                "meaning": one.meaning,
            }
            for one in (() if dust is None else dust.rises)
        ],
        **{
            f"{name}_most": rounded(indices[name].most, 0) if name in indices else None
            for name in USUAL_INDEX
        },
    }


def _log(found: Morning) -> dict[str, Any]:
    tape, flaws = found.tape, found.tape.flaws
    return {
        "starts": tape.starts,
        "config_changes": [
            {"at_s": at_s, "at": at(found, at_s)} for at_s in found.changed_s
        ],
        "silent_h": rounded(found.silent_h, 3),
        "clock_steps": [
            {"at_s": one.at_s, "moved_s": rounded(one.fields["moved_s"], 1)}
            for one in tape.clock_steps
        ],
        "unreadable_lines": flaws.unreadable,
        "torn_lines": flaws.torn,
        "damaged_stretches": flaws.damaged,
        "newer_format": flaws.newer_format > 0,
        "notes": [*tape.notes, *flaws.told],
    }
