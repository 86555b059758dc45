"""JSON as this program writes it: total, and numbers rounded for those who read it."""

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any


def dumps(value: Any, **_: Any) -> str:
    """Encode for log and phone: compact, in UTF-8's own letters.

    What JSON has no form for becomes null or its words.
    """
    return _encoded(_COMPACT, value)


def json_line(value: Any) -> str:
    """Encode for whoever asked, with `--json` or on the socket: ASCII, with spaces.

    What JSON has no form for becomes null or its words.
    """
    return _encoded(_ASCII, value)


def rounded(value: float | None, decimals: int) -> float | None:
    """Round a number that may not be known."""
    return None if value is None else round(value, decimals)


def rounded_each(
    values: Sequence[float | None] | None, decimals: int = 3
) -> list[float | None] | None:
    """Round each of some numbers, an estimate's three say; None where it has none."""
    return None if values is None else [rounded(one, decimals) for one in values]


def _encoded(encoder: json.JSONEncoder, value: Any) -> str:
    try:
        return encoder.encode(value)
    except ValueError:  # a NaN or an infinity: rare, so looked for only now
        return encoder.encode(_finite(value))


def _default(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, set | frozenset):
        return sorted(value, key=str)
    return str(value)


def _finite(value: Any, depth: int = 0) -> Any:
    """Put null where JSON has no number."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping) and depth < 20:
        return {key: _finite(each, depth + 1) for key, each in value.items()}
    if isinstance(value, list | tuple) and depth < 20:
        return [_finite(each, depth + 1) for each in value]
    return value


_COMPACT = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=_default
)
_ASCII = json.JSONEncoder(allow_nan=False, default=_default)
