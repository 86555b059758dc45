"""A config file becomes frozen settings, or all its mistakes at once."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.settings.alarms import (
    LIMITS_TABLES,
    Source,
    build_alarms,
    source_of,
)
from cabinvigil.daemon.settings.checks import one_of
from cabinvigil.daemon.settings.errors import (
    BadValueError,
    ConfigError,
    Mistake,
    one_line,
    unknown_key,
)
from cabinvigil.daemon.settings.guards import placed, weigh_guards
from cabinvigil.daemon.settings.laxer import SUBJECT
from cabinvigil.daemon.settings.parts import build_buses, build_parts
from cabinvigil.daemon.settings.read import parse_toml, read_toml
from cabinvigil.daemon.settings.read_table import shape_rest
from cabinvigil.daemon.settings.recorded import Note, fitted
from cabinvigil.daemon.settings.registries import Registries, packaged
from cabinvigil.daemon.settings.tables import table_mistakes
from cabinvigil.daemon.settings.values import (
    EMPTY,
    AlarmSettings,
    AskSettings,
    BuzzerSettings,
    Cabin,
    I2cSettings,
    LineSettings,
    LogSettings,
    MqttSettings,
    PartSettings,
    Watch,
    changed,
    fields_of,
    to_plain,
)
from cabinvigil.daemon.settings.with_units import in_our_units, units_in
from cabinvigil.daemon.settings.words import languages, load_words

__all__ = [
    "AlarmSettings",
    "AskSettings",
    "BuzzerSettings",
    "Cabin",
    "ConfigError",
    "I2cSettings",
    "LineSettings",
    "LogSettings",
    "Mistake",
    "MqttSettings",
    "PartSettings",
    "Settings",
    "Watch",
    "check",
    "example",
    "from_plain",
    "load",
    "standard",
]

TABLES: Mapping[str, tuple[type, bool]] = MappingProxyType(
    {
        "cabin": (Cabin, True),
        "watch": (Watch, True),
        "buzzer": (BuzzerSettings, False),
        "light": (LineSettings, False),
        "button": (LineSettings, False),
        "log": (LogSettings, True),
        "mqtt": (MqttSettings, False),
        "ask": (AskSettings, True),
    }
)
"""Each table's values, and whether it stands with its defaults where not written."""
NAMED = ("i2c", "part", "alarm")
_PACKAGED_LIMITS = "packaged limits.toml"
NO_CONFIG = (
    "check the name, or begin with the example: `cabinvigil config --example > FILE`"
)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """All that a config says, checked."""

    cabin: Cabin
    watch: Watch
    i2c: Mapping[str, I2cSettings]
    parts: Mapping[str, PartSettings]
    """By name; address, interval_s and max_age_s are filled in from the registry."""
    alarms: Mapping[str, AlarmSettings]
    """By id, the limits file's in its order, then the cabin's own."""
    buzzer: BuzzerSettings | None
    """None: nothing sounds at the bunk."""
    light: LineSettings | None
    button: LineSettings | None
    log: LogSettings
    mqtt: MqttSettings | None
    """None: no phone is told."""
    ask: AskSettings
    laxer: tuple[str, ...] = ()
    """What is laxer than the packaged limits, and accepted: said at every start."""
    read_as: tuple[str, ...] = field(default=(), compare=False)
    """What the numbers that came with a unit are in ours: said back to whoever wrote
    them."""

    def as_plain(self) -> dict[str, Any]:
        """Return what JSON can hold, in the shape of a config file."""
        plain: dict[str, Any] = {}
        for name in TABLES:
            value = getattr(self, name)
            if value is not None:
                plain[name] = to_plain(value)
        plain["i2c"] = to_plain(self.i2c)
        plain["part"] = to_plain(self.parts)
        plain["alarm"] = {
            name: {
                key: one
                for key, one in (to_plain(alarm) | to_plain(alarm.params)).items()
                if key not in ("params", SUBJECT)
            }
            for name, alarm in self.alarms.items()
        }
        plain["laxer"] = list(self.laxer)
        return plain

    @property
    def digest(self) -> str:
        """Return the SHA-256 of the settings, the same for the same meaning."""
        plain = _whole_as_float(self.as_plain())
        text = json.dumps(plain, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


def _whole_as_float(plain: Any) -> Any:
    """Write 11 as 11.0: the same number must give the same digest."""
    if isinstance(plain, dict):
        return {key: _whole_as_float(one) for key, one in plain.items()}
    if isinstance(plain, list):
        return [_whole_as_float(one) for one in plain]
    if isinstance(plain, int) and not isinstance(plain, bool):
        return float(plain)
    return plain


def load(
    path: Path | str,
    *,
    packaged_limits: Path | None = None,
    known: Registries | None = None,
) -> Settings:
    """Read a config file.

    Args:
        path: the cabin's file.
        packaged_limits: stands in for the packaged limits.
        known: stands in for the parts and rules there are.

    Raises:
        ConfigError: with every mistake of the file.
    """
    path = Path(path)
    plain = read_toml(path, NO_CONFIG)
    return _build(plain, one_line(str(path)), path.parent, packaged_limits, known)


def check(
    path: Path | str,
    *,
    packaged_limits: Path | None = None,
    known: Registries | None = None,
) -> list[Mistake]:
    """Return every mistake of a config file; an empty list is a good file."""
    try:
        load(path, packaged_limits=packaged_limits, known=known)
    except ConfigError as error:
        return list(error.mistakes)
    return []


def example(*, known: Registries | None = None) -> Settings:
    """Return the settings of the packaged example, the trailer *Lapwing*."""
    file = packaged("cabin.toml")
    plain = parse_toml(file.read_bytes(), "packaged cabin.toml")
    return _build(plain, "packaged cabin.toml", Path("/"), None, known)


def standard(cabin: Cabin, *, known: Registries | None = None) -> Settings:
    """Return the packaged limits for a cabin without parts: for recordings.

    Raises:
        ConfigError: the packaged limits are broken.
    """
    mistakes: list[Mistake] = []
    limits = _limits(None, mistakes) or Source(_PACKAGED_LIMITS, {})
    nothing = source_of({}, _PACKAGED_LIMITS, mistakes)
    found = build_alarms(limits, nothing, limits, known or Registries())
    if mistakes or found.mistakes:
        raise ConfigError([*mistakes, *found.mistakes])
    return Settings(
        cabin=cabin,
        watch=Watch(),
        i2c=EMPTY,
        parts=EMPTY,
        alarms=MappingProxyType(found.alarms),
        buzzer=None,
        light=None,
        button=None,
        log=LogSettings(),
        mqtt=None,
        ask=AskSettings(),
    )


def from_plain(
    plain: Mapping[str, Any],
    file: str = "the log's start record",
    *,
    known: Registries | None = None,
    note: Note = lambda _text: None,
) -> Settings:
    """Rebuild settings from `as_plain`, as a log's start record holds them.

    Args:
        plain: of this version or another.
        file: for sentences.
        known: stands in for the parts and rules there are.
        note: told what this version does not know, and leaves out.

    Raises:
        ConfigError: it holds what this version cannot use, such as an unknown part.
    """
    mistakes: list[Mistake] = []
    kinds = {name: kind for name, (kind, _) in TABLES.items()}
    plain = fitted(plain, kinds, (*NAMED, "laxer"), known or Registries(), note)
    unknown_tables(plain, file, (*TABLES, *NAMED, "laxer"), mistakes)
    laxer = plain.get("laxer", [])
    if not isinstance(laxer, list) or not all(isinstance(one, str) for one in laxer):
        mend = "use another log"
        mistakes.append(Mistake(file, "laxer", "is not a list of texts", mend))
        laxer = []
    known = known or Registries()
    found = build_alarms(
        source_of({}, file, mistakes),
        source_of(plain.get("alarm", {}), file, mistakes),
        None,
        known,
    )
    mistakes += found.mistakes
    return _assemble(plain, file, known, found.alarms, tuple(laxer), mistakes)


def _build(
    plain: Mapping[str, Any],
    file: str,
    folder: Path,
    packaged_limits: Path | None,
    known: Registries | None,
) -> Settings:
    known = known or Registries()
    mistakes: list[Mistake] = []
    read_as: list[str] = []
    plain = in_our_units(plain, read_as)
    unknown_tables(plain, file, (*TABLES, *NAMED), mistakes)
    standard = _limits(packaged_limits, mistakes) or Source(_PACKAGED_LIMITS, {})
    limits = standard
    watch = plain.get("watch")
    named = watch.get("limits") if isinstance(watch, Mapping) else None
    if isinstance(named, str):
        # One that cannot be read is one mistake, not that of every alarm in it.
        limits = _limits(folder / named, mistakes) or standard
    found = build_alarms(
        limits, source_of(plain.get("alarm", {}), file, mistakes), standard, known
    )
    mistakes += found.mistakes
    settings = _assemble(
        plain, file, known, found.alarms, tuple(found.laxer), mistakes, folder
    )
    return replace(settings, read_as=(*read_as, *found.read_as))


def _limits(path: Path | None, mistakes: list[Mistake]) -> Source | None:
    """Read a limits file; None is the packaged one.

    Returns:
        None where it cannot be read.
    """
    name = _PACKAGED_LIMITS if path is None else one_line(str(path))
    try:
        if path is None:
            plain = parse_toml(packaged("limits.toml").read_bytes(), name)
        else:
            plain = read_toml(path)
    except ConfigError as error:
        mistakes += error.mistakes
        return None
    plain = in_our_units(plain, [])
    unknown_tables(plain, name, LIMITS_TABLES, mistakes)
    return source_of(plain.get("alarm", {}), name, mistakes)


def unknown_tables(
    plain: Mapping[str, Any],
    file: str,
    known: tuple[str, ...],
    mistakes: list[Mistake],
) -> None:
    """Note every table and stray key that no config has."""
    for key, value in plain.items():
        if key in known:
            continue
        path = one_line(str(key))[:60]
        homes = [name for name, (kind, _) in TABLES.items() if key in fields_of(kind)]
        if homes and not isinstance(value, Mapping) and homes[0] in known:
            mend = f"move it below the line [{homes[0]}]"
            mistakes.append(Mistake(file, path, "is outside its table", mend))
            continue
        wrong = unknown_key(key, value, known, "a config")
        if isinstance(value, Mapping) and "kind" in value and "part" in known:
            wrong = BadValueError(wrong.what, f"write [part.{path}] if it is a sensor")
        what = wrong.what.replace("known key", "known table")
        mistakes.append(Mistake(file, path, what, wrong.mend))


def _words(watch: Watch, file: str, folder: Path, mistakes: list[Mistake]) -> Watch:
    """See that the sentences can be read, and give their file its whole path."""
    if watch.words is None:
        try:
            one_of(watch.language, languages())
        except BadValueError as error:
            mend = f"{error.mend}; or name a file of your own with `words`"
            mistakes.append(Mistake(file, "watch.language", error.what, mend))
        return watch
    words = str(folder / watch.words)
    try:
        load_words(path=words)
    except ConfigError as error:
        mistakes += error.mistakes
    return changed(watch, words=words)


def _assemble(
    plain: Mapping[str, Any],
    file: str,
    known: Registries,
    alarms: Mapping[str, AlarmSettings],
    laxer: tuple[str, ...],
    mistakes: list[Mistake],
    folder: Path | None = None,
) -> Settings:
    """Read every table but the alarms, check them together, and build the settings.

    Raises:
        ConfigError: with the mistakes handed in and those found here.
    """
    values: dict[str, Any] = {}
    wrong: dict[str, frozenset[str]] = {}
    for name, (kind, always) in TABLES.items():
        if always or name in plain:
            table = plain.get(name, {})
            values[name], wrong[name] = shape_rest(kind, table, file, name, mistakes)
        else:
            values[name] = None
    buses = build_buses(plain.get("i2c", {}), file, mistakes)
    before = len(mistakes)
    parts = build_parts(plain.get("part", {}), buses, file, known, mistakes)
    if folder is not None:
        is_read = len(mistakes) == before
        parts = placed(parts, file, mistakes)
        if isinstance(values["watch"], Watch):
            # Of parts that cannot be read it is not known what they would let one see.
            weighed = parts if is_read else {}
            infos = {name: known.part(part.kind) for name, part in weighed.items()}
            laxer += weigh_guards(weighed, infos, values["watch"], file, mistakes)
    mistakes += table_mistakes({**values, "part": parts}, file, wrong)
    if not parts and not plain.get("part"):
        mend = "add a [part.<name>] for each sensor, or use `cabinvigil config --ask`"
        mistakes.append(Mistake(file, "part", "names no sensor", mend))
    if folder is not None and values["watch"] is not None:
        values["watch"] = _words(values["watch"], file, folder, mistakes)
    if mistakes:
        raise ConfigError(mistakes, units_in(plain))
    return Settings(
        **values,
        i2c=MappingProxyType({n: bus for n, bus in buses.items() if bus is not None}),
        parts=MappingProxyType(parts),
        alarms=MappingProxyType(dict(alarms)),
        laxer=laxer,
    )
