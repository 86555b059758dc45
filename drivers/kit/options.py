"""Reading a part's options from the config; a ValueError says what to mend."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

Codec = TypeVar("Codec")


def known(options: Mapping[str, Any], names: Iterable[str]) -> None:
    """Refuse option keys that the part does not have.

    Raises:
        ValueError: names the key and the keys that there are.
    """
    allowed = sorted(names)
    for key in options:
        if key not in allowed:
            have = ", ".join(allowed) or "none"
            raise ValueError(f"{key}: no such option; this sensor has {have}")


def no_options(codec: Callable[[], Codec]) -> Callable[[Mapping[str, Any]], Codec]:
    """Return the `make` of a part that has none; it refuses any with a ValueError."""

    def make(options: Mapping[str, Any]) -> Codec:
        known(options, ())
        return codec()

    return make


def number(
    options: Mapping[str, Any], key: str, default: float, low: float, high: float
) -> float:
    """Return a number option that must lie from `low` to `high`.

    Raises:
        ValueError: it is no number, or lies outside.
    """
    value = optional_number(options, key, low, high)
    return default if value is None else value


def optional_number(
    options: Mapping[str, Any], key: str, low: float, high: float
) -> float | None:
    """Return a number option, or None where it is not given.

    Raises:
        ValueError: it is no number, or lies outside `low` to `high`.
    """
    if key not in options:
        return None
    value = options[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        # A ValueError like all the others: one kind for whatever a config gets wrong.
        raise ValueError(  # noqa: TRY004
            f"{key}: {value!r} is not a number; write {low:g} to {high:g}"
        )
    if not low <= value <= high:
        raise ValueError(f"{key}: {value:g} is outside {low:g} to {high:g}")
    return float(value)


def flag(options: Mapping[str, Any], key: str) -> bool:
    """Return a yes-or-no option; no, where it is not given.

    Raises:
        ValueError: it is neither.
    """
    value = options.get(key, False)
    if not isinstance(value, bool):
        raise ValueError(f"{key}: {value!r} is neither true nor false")  # noqa: TRY004
    return value


def choice(
    options: Mapping[str, Any], key: str, default: str, words: Iterable[str]
) -> str:
    """Return a word option that must be one of `words`.

    Raises:
        ValueError: it is none of them.
    """
    value = options.get(key, default)
    allowed = list(words)
    if value not in allowed:
        raise ValueError(f"{key}: {value!r} is none of {', '.join(allowed)}")
    return str(value)
