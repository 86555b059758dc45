"""What an emulated part is made with where its config says what it has of its own."""

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

Options = Mapping[str, Any]


def _o2_cell(options: Options) -> dict[str, Any]:
    return _barrier(options) | _given(options, "air_mv")


def _co_cell(options: Options) -> dict[str, Any]:
    renamed = {"gain_ohm": "ohm", "sensitivity_na_per_ppm": "na_per_ppm"}
    return _given(options, *renamed, renamed=renamed)


def _shunt(options: Options) -> dict[str, Any]:
    if "shunt_mohm" not in options:
        return {}
    return {"shunt_ohm": float(options["shunt_mohm"]) / 1000.0}


def _frame9(options: Options) -> dict[str, Any]:
    if options.get("mode", "upload") != "upload":
        return {}
    return _given(options, "mode_byte", renamed={"mode_byte": "upload_byte"})


def _frame9_o2(options: Options) -> dict[str, Any]:
    return _frame9(options) | _barrier(options)


def _frame9_co(options: Options) -> dict[str, Any]:
    found = _frame9(options) | _given(options, "full_scale_ppm", "compensated")
    if "answer_ppm" in options:
        # Frames name a step of 1, 0.1 or 0.01; answers leave it to the sheet.
        found["decimals"] = min(max(-round(math.log10(options["answer_ppm"])), 0), 2)
    return found


def _co_named(options: Options) -> dict[str, Any]:
    found = _given(options, "full_scale_ppm")
    if "answer_ppm" in options:
        found["decimals"] = min(max(-round(math.log10(options["answer_ppm"])), 0), 2)
    return found


def _frame9_gas(options: Options) -> dict[str, Any]:
    return _given(options, "answer_lel_pct", "full_scale_lel_pct")


def _gas_bead(options: Options) -> dict[str, Any]:
    return _given(options, "mv_per_lel_pct", "bridge_mv")


def _frame9_co2(options: Options) -> dict[str, Any]:
    return _given(options, "full_scale_ppm")


def _o2_key(options: Options) -> dict[str, Any]:
    return _barrier(options)


def _sen6x(options: Options) -> dict[str, Any]:
    return _given(options, "model")


def _stcc4(options: Options) -> dict[str, Any]:
    return {"sht4x": True} if options.get("air") == "own" else {}


def _contact(options: Options) -> dict[str, Any]:
    found = _given(options, "rest_ohm", "alarm_ohm", "pull_up_ohm")
    if "supply_mv" in options:
        found["supply_v"] = float(options["supply_mv"]) / 1000.0
    return found


def _barrier(options: Options) -> dict[str, Any]:
    return {"is_share": True} if options.get("barrier") == "capillary" else {}


def _given(
    options: Options, *keys: str, renamed: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """Return the options of these names that are given, under the part's own names."""
    renamed = renamed or {}
    return {renamed.get(key, key): options[key] for key in keys if key in options}


_OF: Mapping[str, Callable[[Options], dict[str, Any]]] = MappingProxyType(
    {
        "co_cell_ads1115": _co_cell,
        "co_named_i2c": _co_named,
        "co_named_line": _co_named,
        "contact": _contact,
        "frame9_co": _frame9_co,
        "frame9_co2": _frame9_co2,
        "frame9_gas": _frame9_gas,
        "frame9_o2": _frame9_o2,
        "ina219": _shunt,
        "ina226": _shunt,
        "ina228": _shunt,
        "modbus_co2": _frame9_co2,
        "gas_bead_ads1115": _gas_bead,
        "o2_amplified_ads1115": _o2_cell,
        "o2_cell_ads1115": _o2_cell,
        "o2_key_register": _o2_key,
        "sen6x": _sen6x,
        "stcc4": _stcc4,
    }
)


def own_figures(kind: str, options: Options) -> dict[str, Any]:
    """Return the keywords that make the emulated part fit its options.

    Args:
        kind: the part's.
        options: of its config, checked by its driver.
    """
    return _OF[kind](options) if kind in _OF else {}
