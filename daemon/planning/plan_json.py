"""The plan for programs: the object that `plan --json` prints, and that of a sweep."""

from typing import Any

from cabinvigil.daemon.planning.plan import Plan
from cabinvigil.daemon.text.json import rounded_each


def plan_object(made: Plan, change: tuple[str, ...]) -> dict[str, Any]:
    """Return the object that `plan --json` prints."""
    air, shut, vent, gas, wet = made.air, made.shut, made.vent, made.gas, made.wet
    return {
        "settled": {
            "o2_pct": rounded_each(air.o2_pct, 2),
            "co2_ppm": rounded_each(air.co2_ppm, 0),
            "rh_pct": rounded_each(air.rh_pct, 1),
            "temp_c": rounded_each(air.temp_c, 1),
            "dew_point_c": rounded_each(air.dew_point_c, 1),
        },
        "flame_kw": {
            "least": round(made.flame.least_kw, 2),
            "most": round(made.flame.most_kw, 2),
        },
        "like_sleeping_at_m": round(made.like_sleeping_at_m),
        "shut": {
            "from_air": "outdoor" if shut.from_outdoor_air else "settled",
            "from_o2_pct": rounded_each(shut.from_o2_pct, 2),
            "from_co2_ppm": rounded_each(shut.from_co2_ppm, 0),
            "minutes_to_o2_pct": {
                f"{level:.1f}": rounded_each(minutes, 1)
                for level, minutes in shut.minutes_to_o2.items()
            },
            "minutes_to_co2_ppm": {
                f"{level:.0f}": rounded_each(minutes, 1)
                for level, minutes in shut.minutes_to_co2.items()
            },
        },
        "places": {
            "wanted": list(made.places.wanted),
            "burner_height_m": made.places.burner_height_m,
            "minutes_above_flame": None
            if shut.above_flame_min is None
            else rounded_each(shut.above_flame_min, 1),
        },
        "vent": {
            "needed_cm2": rounded_each(vent.needed_cm2, 0),
            "good": made.vents.is_good,
            "enough": made.vents.is_enough,
            "move_cm2": round(made.vents.move_cm2),
            "add_low_cm2": round(made.vents.add_low_cm2),
            "add_high_cm2": round(made.vents.add_high_cm2),
            "thumb_cm2": round(vent.thumb_cm2, 1),
            "standards_cm2": dict(vent.standards_cm2),
        },
        "gas": {
            "kg": round(gas.kg, 3),
            "kwh": round(gas.kwh, 2),
            "cylinder_hours": rounded_each(gas.cylinder_hours, 1),
            "fed_kw": round(gas.fed_kw, 2),
        },
        "wet": {
            "burner_kg": round(wet.burner_kg, 3),
            "people_kg": round(wet.people_kg, 3),
            "glass_wet_from_min": rounded_each(wet.runs_from_min, 0),
            "dry_once_settled": made.drying.is_dry,
            "dry_add_low_cm2": round(made.drying.add_low_cm2),
            "dry_add_high_cm2": round(made.drying.add_high_cm2),
        },
        "change": list(change),
    }


def sweep_object(name: str, rows: list[tuple[float, dict[str, Any]]]) -> dict[str, Any]:
    """Return the object that `plan --sweep --json` prints."""
    return {"sweep": name, "rows": [{"at": at, "plan": plan} for at, plan in rows]}
