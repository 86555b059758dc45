"""Frozen dataclasses as plain values and back, exactly, by their own type hints.

For what one version of the program writes and reads again: a field that has its default
is left out, one that does not fit its hint is refused.
"""

import math
from collections.abc import Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from enum import Enum
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")

_ENDLESS = {"inf": math.inf, "-inf": -math.inf, "nan": math.nan}
"""What JSON has no number for."""
_MOST = 1e12
"""Larger is no value of ours, and would not fit into sums."""


class TypedError(ValueError):
    """Plain values do not fit the type; the message says which field."""


def to_plain(value: Any, but: frozenset[str] = frozenset()) -> Any:
    """Put a value into what JSON can hold.

    Args:
        value: a dataclass, or what stands in one.
        but: fields of the outermost dataclass that are left out.
    """
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if is_dataclass(value):
        return {
            each.name: to_plain(found)
            for each in fields(value)
            if each.name not in but
            and not _is_default(each, found := getattr(value, each.name))
        }
    if isinstance(value, Mapping):
        return {key: to_plain(one) for key, one in value.items()}
    if isinstance(value, set | frozenset):
        return sorted(value)
    if isinstance(value, tuple | list):
        return [to_plain(one) for one in value]
    return value


def from_plain(kind: type[T], plain: Any, **given: Any) -> T:
    """Build a dataclass of what `to_plain` made of one.

    Args:
        kind: the dataclass.
        plain: what was made of it, or anything.
        given: fields that were left out.

    Raises:
        TypedError: it does not fit.
    """
    if not isinstance(plain, Mapping):
        raise TypedError(f"{kind.__name__} is not an object")
    hints = _hints(kind)
    values = dict(given)
    for name, value in plain.items():
        if name not in hints or name in given:
            raise TypedError(f"{kind.__name__} has no field {str(name)[:40]}")
        try:
            values[name] = _value(hints[name], value)
        except TypedError as error:
            raise TypedError(f"{kind.__name__}.{name}: {error}") from None
    try:
        return kind(**values)
    except TypeError:
        raise TypedError(f"{kind.__name__} lacks a field") from None


_HINTS: dict[type, Mapping[str, Any]] = {}


def _hints(kind: type) -> Mapping[str, Any]:
    if kind not in _HINTS:
        _HINTS[kind] = get_type_hints(kind)
    return _HINTS[kind]


def _is_default(each: Field[Any], value: Any) -> bool:
    if each.default is not MISSING:
        return type(value) is type(each.default) and value == each.default
    if each.default_factory is not MISSING:
        return bool(value == each.default_factory())
    return False


def _value(hint: Any, plain: Any) -> Any:
    """Read a value by its hint."""
    origin, parts = get_origin(hint), get_args(hint)
    if hint is Any:
        return plain
    if origin in (Union, UnionType):
        return _one_of(parts, plain)
    if origin is Literal:
        return _checked(plain, plain in parts, hint)
    if origin is tuple:
        return _tuple(parts, plain)
    if origin is frozenset:
        return frozenset(_tuple((parts[0], ...), plain))
    if origin is not None and issubclass(origin, Mapping):
        _checked(plain, isinstance(plain, Mapping), hint)
        return {key: _value(parts[1], one) for key, one in plain.items()}
    if is_dataclass(hint):
        return from_plain(hint, plain)  # type: ignore[arg-type]
    if issubclass(hint, Enum):
        return _checked(hint.__members__.get(plain), plain in hint.__members__, hint)
    if hint is float:
        return _number(plain)
    if hint is int:
        is_fit = type(plain) is int and abs(plain) <= _MOST
        return _checked(plain, is_fit, hint)
    return _checked(plain, type(plain) is hint and hint in (bool, str, NoneType), hint)


def _one_of(kinds: tuple[Any, ...], plain: Any) -> Any:
    for kind in kinds:
        try:
            return _value(kind, plain)
        except TypedError:
            continue
    raise TypedError(f"{plain!r:.40} fits none of its kinds")


def _tuple(parts: tuple[Any, ...], plain: Any) -> tuple[Any, ...]:
    _checked(plain, isinstance(plain, list), "list")
    if len(parts) == 2 and parts[1] is ...:
        return tuple(_value(parts[0], one) for one in plain)
    _checked(plain, len(plain) == len(parts), f"{len(parts)} values")
    return tuple(map(_value, parts, plain))


def _number(plain: Any) -> float:
    if isinstance(plain, str) and plain in _ENDLESS:
        return _ENDLESS[plain]
    is_number = type(plain) in (int, float) and abs(plain) <= _MOST
    number: float = _checked(plain, is_number, float)
    return number


def _checked(value: Any, is_fit: bool, hint: Any) -> Any:
    if not is_fit:
        raise TypedError(f"{value!r:.40} is not {getattr(hint, '__name__', hint)}")
    return value
