"""Structure plain values into frozen ones; every mistake is kept, none stops the rest.

cattrs by itself turns "11" into 11 and any text into True: here a value has the type
that its field says, or it is a mistake.
"""

import datetime as dt
import functools
import math
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import (
    Annotated,
    Any,
    Literal,
    TypeVar,
    get_args,
    get_origin,
    get_type_hints,
)

import cattrs

from cabinvigil.daemon.settings.checks import one_of
from cabinvigil.daemon.settings.errors import (
    BadValueError,
    Mistake,
    not_a,
    not_a_number,
    one_line,
    shown,
    unknown_key,
)
from cabinvigil.daemon.settings.values import fields_of, needed_of

T = TypeVar("T")
Hook = Callable[[Any, Any], Any]

_LIST_MEND = "write it as [first, second]"


class _NoNumberError(ValueError):
    """A number was wanted; its key is known one level up."""

    def __init__(self, value: object) -> None:
        self.value = value
        super().__init__("not a number")


def _float(value: Any, _: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _NoNumberError(value)
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise BadValueError(
            f"is {shown(value)}, no finite number", "write a finite number"
        )
    return number


def _int(value: Any, _: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _NoNumberError(value)
    if isinstance(value, float) and not value.is_integer():
        raise BadValueError(
            f"is {shown(value)}, no whole number", "write a whole number"
        )
    return int(value)


def _bool(value: Any, _: Any) -> bool:
    if isinstance(value, bool):
        return value
    raise not_a("true or false", value, "write true or false, without quotes")


def _str(value: Any, _: Any) -> str:
    if not isinstance(value, str):
        raise not_a("a text", value, "write it in double quotes")
    if len(value) > 2000:
        raise BadValueError(f"is {len(value)} characters long", "shorten it")
    return value


def _date(value: Any, _: Any) -> dt.date:
    mend = "write the day like 2026-10-01, without quotes"
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    if isinstance(value, str):  # a log's start record, being JSON, has days as text
        try:
            return dt.date.fromisoformat(value)
        except ValueError:
            pass
    raise not_a("a day", value, mend)


def _any(value: Any, _: Any) -> Any:
    return value


def _literal(kind: Any) -> Hook:
    words = get_args(kind)

    def take(value: Any, _: Any) -> Any:
        return one_of(_str(value, str), words)

    return take


def _noted(kind: Any, converter: cattrs.Converter) -> Hook:
    """Take the bare type, then ask the notes."""
    bare, *notes = get_args(kind)
    checks = [note.check for note in notes if hasattr(note, "check")]
    # A fuel is a text or a table: its own note tells them apart.
    inner = _any if get_origin(bare) in (Mapping, dict) else None

    def take(value: Any, _: Any) -> Any:
        kept = inner(value, bare) if inner else converter.structure(value, bare)
        for check in checks:
            kept = check(kept)
        return kept

    return take


def _gather(
    pairs: Sequence[tuple[int | str, Any]], kind: Any, converter: cattrs.Converter
) -> list[Any]:
    """Structure the members of a list or table, keeping every mistake."""
    kept: list[Any] = []
    errors: list[Exception] = []
    for index, value in pairs:
        try:
            kept.append(converter.structure(value, kind))
        except Exception as error:
            note = cattrs.IterableValidationNote("member", index, kind)
            error.__notes__ = [*getattr(error, "__notes__", []), note]
            errors.append(error)
    if errors:
        raise cattrs.IterableValidationError("members", errors, kind)
    return kept


def _list(kind: Any, converter: cattrs.Converter) -> Hook:
    inside = get_args(kind)[0]

    def take(value: Any, _: Any) -> list[Any]:
        if not isinstance(value, list | tuple):
            raise not_a("a list", value, _LIST_MEND)
        return _gather(list(enumerate(value)), inside, converter)

    return take


def _tuple(kind: Any, converter: cattrs.Converter) -> Hook:
    take = _list(kind, converter)
    return lambda value, _: tuple(take(value, _))


def _mapping(kind: Any, converter: cattrs.Converter) -> Hook:
    inside = get_args(kind) or (str, Any)

    def take(value: Any, _: Any) -> Mapping[str, Any]:
        if not isinstance(value, Mapping):
            raise not_a("a table", value, "write it as { key = value }")
        kept = _gather(list(value.items()), inside[1], converter)
        return MappingProxyType(dict(zip(value, kept, strict=True)))

    return take


def _class(kind: Any, converter: cattrs.Converter) -> Hook:
    """Fill a class field by field.

    cattrs would write and compile a function for each class: a config is read once, and
    that was a twentieth of the start.
    """
    kinds = get_type_hints(kind, include_extras=True)
    names, needed = fields_of(kind), needed_of(kind)

    def take(value: Any, _: Any) -> Any:
        if not isinstance(value, Mapping):
            raise not_a("a table", value, "write it as a table of keys")
        kept: dict[str, Any] = {}
        errors: list[Exception] = []
        for name in names:
            if name not in value and name not in needed:
                continue
            try:
                kept[name] = converter.structure(value[name], kinds[name])
            except Exception as error:
                note = cattrs.AttributeValidationNote("field", name, kinds[name])
                error.add_note(note)
                errors.append(error)
        if extra := set(value) - set(names):
            errors.append(cattrs.ForbiddenExtraKeysError("", kind, extra))
        if errors:
            raise cattrs.ClassValidationError("fields", errors, kind)
        return kind(**kept)

    return take


@functools.cache
def _converter() -> cattrs.Converter:
    made = cattrs.Converter(detailed_validation=True, forbid_extra_keys=True)
    for kind, hook in {
        float: _float,
        int: _int,
        bool: _bool,
        str: _str,
        dt.date: _date,
    }.items():
        made.register_structure_hook(kind, hook)
    factories: list[tuple[Callable[[Any], bool], Callable[..., Hook]]] = [
        (lambda kind: kind is Any or kind is object, lambda _kind, _made: _any),
        (lambda kind: isinstance(kind, type) and bool(fields_of(kind)), _class),
        (
            lambda kind: get_origin(kind) is Literal,
            lambda kind, _made: _literal(kind),
        ),
        (lambda kind: get_origin(kind) is list, _list),
        (lambda kind: get_origin(kind) is tuple and ... in get_args(kind), _tuple),
        (lambda kind: get_origin(kind) in (dict, Mapping), _mapping),
        (lambda kind: get_origin(kind) is Annotated, _noted),
    ]
    for fits, factory in factories:
        made.register_structure_hook_factory(fits, factory)
    return made


def shape(
    kind: type[T], plain: object, file: str, at: str, mistakes: list[Mistake]
) -> T | None:
    """Structure one table; None, and mistakes added, where it cannot be.

    Args:
        kind: an attrs class or dataclass.
        plain: what the file holds.
        file: the file, for sentences.
        at: the table's key path, `part.bunk-o2`.
        mistakes: every one found is added here.
    """
    try:
        return _converter().structure(plain, kind)
    except Exception as error:
        _walk(error, kind, plain, file, at, mistakes)
        return None


def _walk(
    error: BaseException,
    kind: Any,
    plain: Any,
    file: str,
    at: str,
    mistakes: list[Mistake],
) -> None:
    """Turn what cattrs raised, a tree of errors, into sentences with key paths."""
    key = at.rpartition(".")[2]
    if isinstance(error, cattrs.ClassValidationError | cattrs.IterableValidationError):
        noted, others = error.group_exceptions()
        for one, note in noted:
            inside: Any = note.name if hasattr(note, "name") else note.index
            path = f"{at}[{inside}]" if isinstance(inside, int) else f"{at}.{inside}"
            if isinstance(one, KeyError) and one.args == (inside,):
                mend = f"add `{inside} = ...`"
                mistakes.append(Mistake(file, path, "is missing", mend))
            else:
                _walk(one, note.type, _member(plain, inside), file, path, mistakes)
        for other in others:
            _walk(other, kind, plain, file, at, mistakes)
    elif isinstance(error, cattrs.ForbiddenExtraKeysError):
        known = fields_of(error.cl)
        for extra in sorted(error.extra_fields, key=str):
            value = _member(plain, extra)
            wrong = unknown_key(str(extra), value, known, f"[{at}]")
            path = f"{at}.{one_line(str(extra))[:60]}"
            mistakes.append(Mistake(file, path, wrong.what, wrong.mend))
    else:
        wrong = _as_wrong(error, key, plain)
        mistakes.append(Mistake(file, at, wrong.what, wrong.mend))


def _as_wrong(error: BaseException, key: str, plain: Any) -> BadValueError:
    if isinstance(error, BadValueError):
        return error
    if isinstance(error, _NoNumberError):
        return not_a_number(key, error.value)
    # A rule's own check said no: its sentence is all there is.
    reason = one_line(str(error)).rstrip(". ") or type(error).__name__
    return BadValueError(
        f"cannot be used ({reason[:160]})" if plain is not None else "cannot be used",
        "mend the values it names",
    )


def _member(plain: Any, inside: Any) -> Any:
    try:
        return plain[inside]
    except (KeyError, IndexError, TypeError):
        return None
