"""The alarms of a config: the limits file, and what the cabin's own file changes in it.

A limit may be made stricter freely.  One made less strict than the packaged file has it
needs `accept_laxer = true` beside it, and is said aloud at every start.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from cabinvigil.daemon.settings.checks import one_of
from cabinvigil.daemon.settings.errors import (
    BadValueError,
    Mistake,
    nearest,
    shown,
    unknown_key,
)
from cabinvigil.daemon.settings.laxer import SUBJECT, laxer_keys
from cabinvigil.daemon.settings.parts import tables
from cabinvigil.daemon.settings.read_table import shape
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.daemon.settings.values import AlarmCommon, AlarmSettings, fields_of
from cabinvigil.daemon.settings.with_units import alarm_in_our_units

_ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_COMMON = fields_of(AlarmCommon)
LIMITS_TABLES = ("alarm", "cites", "document")
"""What a limits file may hold: the alarms, and where their limits come from."""


@dataclass(frozen=True)
class Source:
    """One file's alarm tables."""

    file: str
    tables: Mapping[str, Mapping[str, Any]]


@dataclass
class Alarms:
    """What came of reading the alarms."""

    alarms: dict[str, AlarmSettings] = field(default_factory=dict)
    laxer: list[str] = field(default_factory=list)
    mistakes: list[Mistake] = field(default_factory=list)
    read_as: list[str] = field(default_factory=list)
    """What limits that came with a unit are in ours."""


def source_of(plain: Any, file: str, mistakes: list[Mistake]) -> Source:
    """Take the alarm tables of one file."""
    found: dict[str, Mapping[str, Any]] = {}
    for name, at, table in tables(plain, file, "alarm", mistakes):
        if _ID.fullmatch(name) and len(name) <= 40:
            found[name] = table
        else:
            mend = "use small letters, digits and single hyphens"
            mistakes.append(Mistake(file, at, "is not a name for an alarm", mend))
    return Source(file, found)


def build_alarms(
    limits: Source, own: Source, packaged: Source | None, known: Registries
) -> Alarms:
    """Read every alarm of the limits, changed and added to by the cabin's own.

    Args:
        limits: the limits file in use, the packaged one or another.
        own: the cabin's file.
        packaged: what 'less strict' is measured against; None measures nothing.
        known: the rules there are.
    """
    out = Alarms()
    for name in dict.fromkeys([*limits.tables, *own.tables]):
        alarm = _read(name, limits, own, known, out.mistakes, out.read_as)
        if alarm is None:
            continue
        out.alarms[name] = alarm
        if packaged is not None and name in packaged.tables:
            nothing = Source(own.file, {})
            model = _read(name, packaged, nothing, known, [], [])
            if model is not None:
                fixed = getattr(known.rule(alarm.kind), "FIXED", ())
                _weigh(name, alarm, model, limits, own, out, fixed)
    _missing(limits, own, packaged, known, out)
    _suppressors(limits, own, packaged, out)
    return out


def _read(
    name: str,
    limits: Source,
    own: Source,
    known: Registries,
    mistakes: list[Mistake],
    read_as: list[str],
) -> AlarmSettings | None:
    base, changes = limits.tables.get(name, {}), own.tables.get(name, {})
    at = f"alarm.{name}"
    table = alarm_in_our_units({**base, **changes}, read_as, at)
    found: list[Mistake] = []

    def file_of(key: str) -> str:
        first = re.split(r"[.\[]", key[len(at) + 1 :])[0]
        if not first:  # values that do not fit each other: whoever changed one mends it
            return own.file if changes else limits.file
        return own.file if first in changes or not base else limits.file

    try:
        module = _rule_of(table, base, changes, known, nearest(name, [*limits.tables]))
    except BadValueError as error:
        key = f"{at}.published" if "published" in error.what else f"{at}.kind"
        mistakes.append(Mistake(file_of(key), key, error.what, error.mend))
        return None
    own_keys = [key for key in fields_of(module.Params) if key != SUBJECT]
    for key in [key for key in table if key not in (*_COMMON, *own_keys)]:
        wrong = unknown_key(key, table[key], (*_COMMON, *own_keys), f"[{at}]")
        found.append(Mistake("", f"{at}.{key}", wrong.what, wrong.mend))
    common = {key: table[key] for key in _COMMON if key in table}
    params = {key: table[key] for key in own_keys if key in table}
    shared = shape(AlarmCommon, common, "", at, found)
    limited = shape(module.Params, params, "", at, found)
    mistakes += [replace(m, file=file_of(m.key)) for m in found]
    if shared is None or limited is None:
        return None
    values = {key: getattr(shared, key) for key in _COMMON}
    return AlarmSettings(**values, params=limited)


def _rule_of(
    table: Mapping[str, Any],
    base: Mapping[str, Any],
    changes: Mapping[str, Any],
    known: Registries,
    close: str | None,
) -> Any:
    """Load the rule of an alarm; `close` is the known alarm that may be meant."""
    kind = table.get("kind")
    if not isinstance(kind, str):
        what = "is missing" if kind is None else f"is {shown(kind)}, not a text"
        hint = f"write [alarm.{close}] if that was meant, or " if close else ""
        mend = hint + 'name the rule that judges it, like kind = "level"'
        raise BadValueError(what, mend)
    if base and "published" in changes:
        what = "is what was published, which a cabin's own file cannot change"
        raise BadValueError(what, "remove it")
    if base and changes.get("kind", kind) != base.get("kind", kind):
        what = f"is {shown(kind)}, but this alarm is judged by {base.get('kind')}"
        mend = "remove it, and give an alarm of another kind a name of its own"
        raise BadValueError(what, mend)
    return known.load_rule(one_of(kind, known.rule_names()))


def _weigh(
    name: str,
    alarm: AlarmSettings,
    model: AlarmSettings,
    limits: Source,
    own: Source,
    out: Alarms,
    never_laxer: Collection[str],
) -> None:
    """Find what is laxer than the packaged limits, and whether that was accepted."""
    if type(alarm.params) is not type(model.params):
        what = "is judged by another rule than the packaged alarm of that name"
        mend = "give an alarm of another kind a name of its own"
        out.mistakes.append(Mistake(limits.file, f"alarm.{name}", what, mend))
        return
    found = laxer_keys(alarm, model)
    fixed = [laxer for laxer in found if laxer.key in never_laxer]
    for laxer in fixed:
        file = own.file if laxer.key in own.tables.get(name, {}) else limits.file
        what = f"weakens a certified alarm's word: {laxer.text}"
        mend = f"{laxer.mend}; no `accept_laxer` allows it"
        out.mistakes.append(Mistake(file, f"alarm.{name}", what, mend))
    found = [laxer for laxer in found if laxer not in fixed]
    if alarm.accept_laxer:
        out.laxer += [f"{name}: {laxer.text}" for laxer in found]
        return
    for laxer in found:
        file = own.file if laxer.key in own.tables.get(name, {}) else limits.file
        what = f"is less strict than the packaged limits: {laxer.text}"
        mend = f"{laxer.mend}, or set `accept_laxer = true` beside it"
        out.mistakes.append(Mistake(file, f"alarm.{name}", what, mend))


def _missing(
    limits: Source, own: Source, packaged: Source | None, known: Registries, out: Alarms
) -> None:
    """Find guards that a deleted table or a forgotten one would silently remove."""
    if packaged is None:  # what ran is judged by what it knew
        return
    lost = _lost(limits, own, packaged)
    if len(lost) == 1:
        what = "is missing: a limits file must have every alarm of the packaged one"
        mend = "copy its table from what `cabinvigil config --limits --toml` prints"
        out.mistakes.append(Mistake(limits.file, f"alarm.{lost[0]}", what, mend))
    elif lost:
        named = ", ".join(lost[:3]) + (", ..." if len(lost) > 3 else "")
        what = f"lacks {len(lost)} alarms of the packaged limits: {named}"
        mend = (
            "begin with what `cabinvigil config --limits --toml` prints; or name no "
            "limits file, and change single limits in the config itself"
        )
        if limits.tables:
            mend += f", as [alarm.{next(iter(limits.tables))}]"
        out.mistakes.insert(0, Mistake(limits.file, "", what, mend))
    explained = {packaged.tables[name].get("kind") for name in lost}
    every = (*limits.tables.values(), *own.tables.values())
    kinds = [table.get("kind") for table in every]
    for rule in known.rule_names():
        if rule not in kinds and rule not in explained:
            what = (
                f"names no alarm that the rule {rule} judges, so it would never sound"
            )
            mend = f'add a table [alarm.<name>] with kind = "{rule}"'
            out.mistakes.append(Mistake(limits.file, "alarm", what, mend))


def _lost(limits: Source, own: Source, packaged: Source | None) -> list[str]:
    """Return the packaged alarms that neither file has."""
    every = () if packaged is None else packaged.tables
    return [one for one in every if one not in {**limits.tables, **own.tables}]


def _suppressors(
    limits: Source, own: Source, packaged: Source | None, out: Alarms
) -> None:
    lost = _lost(limits, own, packaged)
    known = tuple(dict.fromkeys([*limits.tables, *own.tables]))
    for name, alarm in out.alarms.items():
        for index, other in enumerate(alarm.suppressed_by):
            if (other in known and other != name) or other in lost:
                continue  # a lost one is a mistake of its own
            changed = "suppressed_by" in own.tables.get(name, {})
            wrong = unknown_key(other, None, known, "the limits")
            out.mistakes.append(
                Mistake(
                    own.file if changed else limits.file,
                    f"alarm.{name}.suppressed_by[{index}]",
                    f"names {shown(other)}, which is not another alarm",
                    wrong.mend,
                )
            )
