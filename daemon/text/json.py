"""One way to write JSON and moments for programs."""

import json
import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any


def utc_text(wall: datetime) -> str:
    """Spell a moment as ISO 8601 in UTC with milliseconds and a Z (RFC 3339)."""
    return wall.astimezone(UTC).isoformat(timespec="milliseconds")[:23] + "Z"


def dumps(value: Any, **_: Any) -> str:
    """Encode as JSON, compact; what JSON has no form for becomes null or its words."""
    try:
        return _ENCODER.encode(value)
    except ValueError:  # a NaN or an infinity: rare, so looked for only now
        return _ENCODER.encode(_finite(value))


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


_ENCODER = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=_default
)
