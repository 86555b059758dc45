"""Limits to be tried on nights that are over: read from a file, put into a config."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.settings.alarms import LIMITS_TABLES, build_alarms, source_of
from cabinvigil.daemon.settings.config import ConfigError, Mistake, Settings
from cabinvigil.daemon.settings.errors import nearest, one_line, unknown_key
from cabinvigil.daemon.settings.read import read_toml
from cabinvigil.daemon.settings.recorded import packaged_alarms
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.daemon.settings.with_units import in_our_units


@dataclass(frozen=True, slots=True)
class OtherLimits:
    """What one limits file says of alarms; a key that it does not name stays.

    An alarm that a night did not have yet is tried as it is packaged.
    """

    file: str
    tables: Mapping[str, Mapping[str, Any]]

    def put_into(self, settings: Settings) -> Settings:
        """Return settings with these limits; less strict ones pass: they are tried.

        Raises:
            ConfigError: an alarm has a mistake, or judges by a rule that there is not.
        """
        plain = dict(settings.as_plain()["alarm"])
        unknown = self.tables.keys() - plain.keys()
        today = packaged_alarms() if unknown else {}
        for name, table in self.tables.items():
            plain[name] = {**plain.get(name, today.get(name, {})), **table}
        mistakes = list(self._misnamed([*(plain.keys() - unknown), *today]))
        if mistakes:
            raise ConfigError(mistakes)
        merged = source_of(plain, self.file, mistakes)
        found = build_alarms(source_of({}, self.file, []), merged, None, Registries())
        if mistakes := [*mistakes, *found.mistakes]:
            raise ConfigError(mistakes)
        return replace(settings, alarms=MappingProxyType(found.alarms))

    def dropped(self, settings: Settings) -> Iterator[str]:
        """Say where a list of steps leaves out some that the night had."""
        plain = settings.as_plain()["alarm"]
        for name, table in self.tables.items():
            if "steps" not in table:
                continue
            own = _kinds(plain.get(name, {}).get("steps", ()))
            if gone := own - _kinds(table["steps"]):
                said = ", ".join(_step(*one) for one in sorted(gone))
                yield (
                    f"{self.file}: alarm.{name}.steps replaces the whole list, and has "
                    f"none for {said}, as the night had; write every step that is to "
                    "stay"
                )

    def _misnamed(self, known: Sequence[str]) -> Iterator[Mistake]:
        """Tell of tables that no alarm has, where one of nearly that name is there."""
        for name, table in self.tables.items():
            near = nearest(name, known)
            if name not in known and "kind" not in table and near:
                what = "is not an alarm that these nights had"
                mend = f"write [alarm.{near}] if that was meant"
                yield Mistake(self.file, f"alarm.{name}", what, mend)


def _kinds(steps: Iterable[Mapping[str, Any]]) -> set[tuple[str, float]]:
    """Return of each step its priority, and over how long it is a mean."""
    return {(str(one["priority"]), float(one.get("over_s") or 0.0)) for one in steps}


def _step(priority: str, over_s: float) -> str:
    return f"{priority} over {over_s:.0f} s" if over_s else priority


def read_limits(path: Path) -> OtherLimits:
    """Read a limits file: `[alarm.<id>]` tables, as in the packaged limits.toml.

    Raises:
        ConfigError: it cannot be read, names no alarm, or holds something else.
    """
    file = one_line(str(path))
    plain = in_our_units(read_toml(path), [])
    mistakes: list[Mistake] = []
    for key, value in plain.items():
        if key not in LIMITS_TABLES:
            wrong = unknown_key(key, value, ("alarm",), "a limits file")
            what = wrong.what.replace("known key", "known table")
            mistakes.append(Mistake(file, one_line(key)[:60], what, wrong.mend))
    tables = source_of(plain.get("alarm", {}), file, mistakes).tables
    if not tables and not mistakes:
        mend = "add a table like [alarm.o2-low] with what to try"
        mistakes.append(Mistake(file, "", "names no alarm", mend))
    if mistakes:
        raise ConfigError(mistakes)
    return OtherLimits(file, tables)
