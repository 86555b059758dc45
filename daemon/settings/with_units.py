"""Numbers that a file gives with their unit, `burner_kw = "5000 BTU/h"`, in ours.

Done before anything is checked, so that every key with a unit takes one.  What cannot
be taken stays the text it is: whoever reads the key says what is wrong with it.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.daemon.settings.errors import one_line
from cabinvigil.daemon.text.units import difference, unit_of, unit_of_key
from cabinvigil.daemon.text.units_read import UnitError, said_back, typed
from cabinvigil.daemon.text.units_said import Units, units_named

_OF_THE_QUANTITY = frozenset({"at", "limit", "towards", "before", "no_quiet_at"})
"""Keys of an alarm that are a value of its quantity."""
_APART = frozenset({"dead_band", "margin", "again_step"})
"""Keys of an alarm that are a difference of two such values."""
_AN_HOUR = "limit_per_h"
"""Such a difference an hour."""


def units_in(plain: Mapping[str, Any]) -> Units:
    """Return the units in which a file wants people told; SI where it does not say.

    Args:
        plain: of the file, as yet unchecked.
    """
    cabin = plain.get("cabin")
    return units_named(cabin.get("units") if isinstance(cabin, Mapping) else None)


def in_our_units(plain: Any, told: list[str], at: str = "") -> Any:
    """Return plain values with every number in the unit that its key names.

    Args:
        plain: of a file.
        told: what each such number is in ours is added, for people.
        at: the path of its key.
    """
    if isinstance(plain, Mapping):
        begin = f"{at}." if at else ""
        return {
            key: in_our_units(one, told, f"{begin}{key}") for key, one in plain.items()
        }
    key = at.rpartition(".")[2]
    if isinstance(plain, list):
        return [in_our_units(one, told, at) for one in plain]
    return _in_ours(plain, unit_of_key(key), told, at)


def alarm_in_our_units(
    table: Mapping[str, Any], told: list[str], at: str
) -> Mapping[str, Any]:
    """Return an alarm's table with the limits on its quantity in that one's unit.

    Args:
        table: of the alarm, as it stands in the end.
        told: as above.
        at: its path, `alarm.cold`.
    """
    quantity = table.get("quantity")
    unit = unit_of(quantity)[1] if isinstance(quantity, str) else ""
    return {
        key: _limit(key, one, unit, told, f"{at}.{key}") for key, one in table.items()
    }


def limit_unit(key: str, unit: str) -> str:
    """Return the unit of a limit: its quantity's, or the one that its key names.

    Args:
        key: of an alarm.
        unit: of its quantity; '' where it has none.
    """
    if key in _APART or key == _AN_HOUR:
        return difference(unit)
    return unit if key in _OF_THE_QUANTITY else unit_of_key(key)


def _limit(key: str, value: Any, unit: str, told: list[str], at: str) -> Any:
    if isinstance(value, list):
        return [_limit(key, one, unit, told, at) for one in value]
    if isinstance(value, Mapping):
        return {name: _limit(name, one, unit, told, at) for name, one in value.items()}
    if key == _AN_HOUR and isinstance(value, str):
        value = value.strip().removesuffix("/h")
    return _in_ours(value, limit_unit(key, unit), told, at)


def _in_ours(value: Any, ours: str, told: list[str], at: str) -> Any:
    if not isinstance(value, str) or not ours:
        return value
    try:
        read = typed(value, ours)
    except UnitError:
        return value
    if read is None or read.is_bare:
        return value
    if read.unit != ours:
        told.append(f"{one_line(at)[:60]}: {said_back(read, ours)}")
    return read.value
