"""The config in a log's start record, which another version may have written.

A night is replayed with what it knew: a rule that came later did not judge it, and a
key that came later is what it is packaged with.  What this version does not know any
more, or not yet, is left out, and said.
"""

from collections.abc import Callable, Mapping
from typing import Any

from cabinvigil.daemon.settings.errors import one_line
from cabinvigil.daemon.settings.laxer import SUBJECT
from cabinvigil.daemon.settings.read import parse_toml
from cabinvigil.daemon.settings.registries import Registries, packaged
from cabinvigil.daemon.settings.values import AlarmCommon, fields_of, needed_of

Note = Callable[[str], None]
"""Takes a sentence on what was left out."""
Table = Mapping[str, Any]


def packaged_alarms() -> Mapping[str, Table]:
    """Return the tables of the packaged limits, as they are today."""
    name = "limits.toml"
    plain = parse_toml(packaged(name).read_bytes(), f"packaged {name}")
    found: Mapping[str, Table] = plain["alarm"]
    return found


def fitted(
    plain: Table,
    kinds: Mapping[str, type],
    named: tuple[str, ...],
    known: Registries,
    note: Note,
) -> dict[str, Any]:
    """Fit a recorded config to this version; what is wrong in it stays wrong.

    Args:
        plain: as the start record holds it.
        kinds: what each table of the config is read into.
        named: the other tables there are.
        known: the rules there are.
        note: told what is left out.
    """
    fit: dict[str, Any] = {}
    for key, table in plain.items():
        if key in named or not isinstance(table, Mapping):
            fit[key] = table
        elif key not in kinds:
            _tell(note, f"[{key}]")
        else:
            keys = [name.removesuffix("_") for name in fields_of(kinds[key])]
            fit[key] = _known_alone(table, keys, f"[{key}]", note)
    if isinstance(fit.get("alarm"), Mapping):
        fit["alarm"] = _fit_alarms(fit["alarm"], known, note)
    return fit


def _fit_alarms(alarms: Table, known: Registries, note: Note) -> dict[str, Any]:
    rules = known.rule_names()
    today: Mapping[str, Table] = {}
    fit: dict[str, Any] = {}
    for name, table in alarms.items():
        kind = table.get("kind") if isinstance(table, Mapping) else None
        if not isinstance(table, Mapping) or not isinstance(kind, str):
            fit[name] = table
            continue
        if kind not in rules:
            _tell(note, f"[alarm.{name}], which the rule {kind} judged,")
            continue
        params = known.load_rule(kind).Params
        keys = [key for key in fields_of(params) if key != SUBJECT]
        keys += fields_of(AlarmCommon)
        found = _known_alone(table, keys, f"[alarm.{name}]", note)
        needed = needed_of(params) | needed_of(AlarmCommon)
        if lacking := [key for key in keys if key in needed and key not in found]:
            today = today or packaged_alarms()
            found = {**_packaged_keys(today, name, kind, lacking), **found}
        fit[name] = found
    return {name: _standing(table, fit) for name, table in fit.items()}


def _packaged_keys(
    today: Mapping[str, Table], name: str, kind: str, lacking: list[str]
) -> dict[str, Any]:
    """Return what an alarm lacks as it is packaged: its own, or its rule's first."""
    fellows = (one for one in today.values() if one.get("kind") == kind)
    table = today.get(name) or next(fellows, {})
    return {key: table[key] for key in lacking if key in table}


def _standing(table: Any, alarms: Table) -> Any:
    """Leave out suppressors that are no alarm any more."""
    held = table.get("suppressed_by") if isinstance(table, Mapping) else None
    if not isinstance(held, list):
        return table
    return {**table, "suppressed_by": [one for one in held if one in alarms]}


def _known_alone(
    table: Table, known: list[str], where: str, note: Note
) -> dict[str, Any]:
    for key in table:
        if key not in known:
            _tell(note, f"{one_line(str(key))[:40]} in {where}")
    return {key: value for key, value in table.items() if key in known}


def _tell(note: Note, what: str) -> None:
    note(f"it was run with {one_line(what)[:120]} which this version does not know.")
