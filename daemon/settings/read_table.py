"""Read plain values into frozen ones; every mistake is kept, none stops the rest.

A value has the type that its field says, or it is a mistake: "11" is no number, and no
text is true.
"""

import datetime as dt
import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType, NoneType
from typing import (
    Annotated,
    Any,
    Literal,
    TypeVar,
    get_args,
    get_origin,
    get_type_hints,
)

from cabinvigil.daemon.settings.checks import Within, one_of
from cabinvigil.daemon.settings.errors import (
    BadValueError,
    Mistake,
    Outside,
    not_a,
    not_a_number,
    one_line,
    other_unit,
    shown,
    unknown_key,
)
from cabinvigil.daemon.settings.values import fields_of, needed_of

T = TypeVar("T")

_WRONG: Any = object()
"""Stands for a value whose mistake is told."""


def shape(
    kind: type[T], plain: object, file: str, at: str, mistakes: list[Mistake]
) -> T | None:
    """Read one table; None, and mistakes added, where it cannot be.

    Args:
        kind: an attrs class or dataclass.
        plain: what the file holds.
        file: the file, for sentences.
        at: the table's key path, `part.bunk-o2`; '' is the whole file.
        mistakes: every one found is added here.
    """
    value = _Reader(file, mistakes).read(kind, plain, at)
    return None if value is _WRONG else value


def shape_rest(
    kind: type[T], plain: object, file: str, at: str, mistakes: list[Mistake]
) -> tuple[T | None, frozenset[str]]:
    """Read one table as far as it can be, so that one mistake hides no other.

    Args:
        kind: an attrs class or dataclass.
        plain: what the file holds.
        file: the file, for sentences.
        at: the table's key path, not ''.
        mistakes: every one found is added here.

    Returns:
        The table without the keys that are mistaken, and those keys; None where one of
        them is needed.  It serves further checks alone where there are such keys.
    """
    found: list[Mistake] = []
    whole = shape(kind, plain, file, at, found)
    mistakes += found
    if whole is not None or not isinstance(plain, Mapping):
        return whole, frozenset()
    begin = f"{at}."
    wrong = frozenset(
        re.split(r"[.\[]", one.key.removeprefix(begin))[0]
        for one in found
        if one.key.startswith(begin)
    )
    names = {name.removesuffix("_") for name in fields_of(kind)}
    rest = {key: plain[key] for key in plain if key in names - wrong}
    return shape(kind, rest, file, at, []), wrong


@dataclass(frozen=True)
class _Reader:
    """Reads the values of one file."""

    file: str
    mistakes: list[Mistake]

    def read(self, kind: Any, plain: Any, at: str) -> Any:
        """Return a value as its type has it, or `_WRONG` once its mistakes are told."""
        try:
            return self._read(kind, plain, at)
        except BadValueError as error:
            return self._tell(at, error.what, error.mend, error.outside)
        except Exception as error:
            # A class's own check said no: its sentence is all there is.
            reason = one_line(str(error)).rstrip(". ") or type(error).__name__
            what = f"cannot be used ({reason[:160]})"
            return self._tell(at, what, "fix the values it names")

    def _tell(
        self, at: str, what: str, mend: str, outside: Outside | None = None
    ) -> Any:
        self.mistakes.append(Mistake(self.file, at, what, mend, outside))
        return _WRONG

    def _read(self, kind: Any, plain: Any, at: str) -> Any:
        origin, args = get_origin(kind), get_args(kind)
        if kind in (Any, object):
            return plain
        if origin is Annotated:
            return self._noted(args[0], kind.__metadata__, plain, at)
        if origin is Literal:
            return one_of(_text(plain), args)
        if NoneType in args:
            (inside,) = (arg for arg in args if arg is not NoneType)
            return None if plain is None else self._read(inside, plain, at)
        if origin in (list, tuple):
            return self._list(origin, args[0], plain, at)
        if origin in (dict, Mapping):
            return self._mapping(args[1], plain, at)
        if kind in _PLAIN:
            return _PLAIN[kind](plain)
        if kind in _NUMBERS:
            if isinstance(plain, bool) or not isinstance(plain, int | float):
                raise not_a_number(at.rpartition(".")[2], plain)
            return _NUMBERS[kind](plain)
        if fields_of(kind):
            return self._class(kind, plain, at)
        raise TypeError(f"its type {kind} cannot be read")

    def _noted(self, kind: Any, notes: Iterable[Any], plain: Any, at: str) -> Any:
        """Read the bare type, then ask the notes."""
        # A fuel is a text or a table: its own note tells them apart.
        is_mapping = get_origin(kind) in (dict, Mapping)
        value = plain if is_mapping else self._read(kind, plain, at)
        for note in notes:
            if value is not _WRONG and hasattr(note, "check"):
                value = _checked(note, value, at.rpartition(".")[2])
        return value

    def _list(self, origin: type, kind: Any, plain: Any, at: str) -> Any:
        if not isinstance(plain, list | tuple):
            raise not_a("a list", plain, "write it as [first, second]")
        values = [self.read(kind, one, f"{at}[{i}]") for i, one in enumerate(plain)]
        return _WRONG if _WRONG in values else origin(values)

    def _mapping(self, kind: Any, plain: Any, at: str) -> Any:
        if not isinstance(plain, Mapping):
            raise not_a("a table", plain, "write it as { key = value }")
        values = {
            key: self.read(kind, one, f"{at}.{key}") for key, one in plain.items()
        }
        return _WRONG if _WRONG in values.values() else MappingProxyType(values)

    def _class(self, kind: type, plain: Any, at: str) -> Any:
        if not isinstance(plain, Mapping):
            raise not_a("a table", plain, "write it as a table of keys")
        values: dict[str, Any] = {}
        names, needed, hints = fields_of(kind), needed_of(kind), _hints_of(kind)
        # `from` is Python's own word: its field is `from_`.
        keys = {name.removesuffix("_"): name for name in names}
        begin = f"{at}." if at else ""
        for key, name in keys.items():
            path = f"{begin}{key}"
            if key in plain:
                values[name] = self.read(hints[name], plain[key], path)
            elif name in needed:
                values[name] = self._tell(path, "is missing", f"add `{key} = ...`")
        for key in sorted(set(plain) - set(keys), key=str):
            where = f"[{at}]" if at else "the file"
            wrong = unknown_key(str(key), plain[key], tuple(keys), where)
            path = f"{begin}{one_line(str(key))[:60]}"
            values[key] = self._tell(path, wrong.what, wrong.mend)
        return _WRONG if _WRONG in values.values() else kind(**values)


def _checked(note: Any, value: Any, key: str) -> Any:
    """Ask a note; say too which unit explains a number that is out of its range."""
    try:
        return note.check(value)
    except BadValueError as error:
        if not isinstance(note, Within):
            raise
        hint = other_unit(key, value, note.low, note.high)
        outside = Outside(key, value, note.low, note.high)
        mend = f"{error.mend}{hint and '; '}{hint}"
        raise BadValueError(error.what, mend, outside) from None


@cache
def _hints_of(kind: Any) -> Mapping[str, Any]:
    return get_type_hints(kind, include_extras=True)


def _float(plain: float) -> float:
    try:
        number = float(plain)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        what = f"is {shown(plain)}, not a finite number"
        raise BadValueError(what, "write a finite number")
    return number


def _int(plain: float) -> int:
    if isinstance(plain, float) and not plain.is_integer():
        what = f"is {shown(plain)}, not a whole number"
        raise BadValueError(what, "write a whole number")
    return int(plain)


def _bool(plain: Any) -> bool:
    if isinstance(plain, bool):
        return plain
    raise not_a("true or false", plain, "write true or false, without quotes")


def _text(plain: Any) -> str:
    if not isinstance(plain, str):
        raise not_a("a text", plain, "write it in double quotes")
    if len(plain) > 2000:
        raise BadValueError(f"is {len(plain)} characters long", "shorten it")
    return plain


def _date(plain: Any) -> dt.date:
    if isinstance(plain, dt.datetime):
        return plain.date()
    if isinstance(plain, dt.date):
        return plain
    if isinstance(plain, str):  # a log's start record, being JSON, has days as text
        try:
            return dt.date.fromisoformat(plain)
        except ValueError:
            pass
    raise not_a("a day", plain, "write the day like 2026-10-01, without quotes")


_NUMBERS: Mapping[Any, Callable[[float], float]] = {float: _float, int: _int}
_PLAIN: Mapping[Any, Callable[[Any], Any]] = {bool: _bool, str: _text, dt.date: _date}
