"""What is less strict in an alarm's limits than in the packaged ones, by any rule.

Each number says beside its bounds which way it gets less strict; one that is not given,
where it may be, is the least strict.  A priority gets less strict as it sinks, a ladder
where no step of it is as strict as one of the packaged; anything else does with any
change but to None, which narrows nothing.
"""

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, get_args, get_origin, get_type_hints

import attrs

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.validators import Direction
from cabinvigil.daemon.settings.values import AlarmSettings, to_plain
from cabinvigil.daemon.settings.with_units import limit_unit
from cabinvigil.daemon.text.units import sign_of, unit_of
from cabinvigil.daemon.text.units_said import IN_US

SUBJECT = "subject"
"""Which of its instances a rule judges: filled in when the core is composed."""
NO_LIMITS = frozenset(
    {SUBJECT, "params", "kind", "source", "published", "accept_laxer", "sound"}
)
"""What makes an alarm neither stricter nor laxer; `params` are weighed apart.  Its own
sound wakes, whichever it is."""


@dataclass(frozen=True)
class LaxerKey:
    """One key that is less strict than in the packaged limits."""

    key: str
    text: str
    """What was made less strict, and what the packaged limits have."""
    mend: str
    """How to make it as strict again, as an imperative clause."""


def laxer_keys(own: AlarmSettings, packaged: AlarmSettings) -> list[LaxerKey]:
    """Return what one alarm has less strict than another of its kind; empty is fine."""
    side = getattr(packaged.params, "side", "")
    unit = unit_of(str(getattr(packaged.params, "quantity", "")))[1]
    common = _laxer_in(own, packaged, side, unit)
    return [*common, *_laxer_in(own.params, packaged.params, side, unit)]


@cache
def directions(kind: Any) -> Mapping[str, Direction]:
    """Return which way each limit of an attrs class gets less strict."""
    hints = get_type_hints(kind, include_extras=True)
    return {
        field.name: _direction(field.validator, hints[field.name])
        for field in attrs.fields(kind)
        if field.name not in NO_LIMITS
    }


def _direction(validator: Any, hint: Any) -> Direction:
    for note in (validator, *getattr(hint, "__metadata__", ())):
        if hasattr(note, "laxer"):
            stated: Direction = note.laxer
            return stated
    words = get_args(hint) if get_origin(hint) is Literal else ()
    is_priority = words and all(_priority(word) is not None for word in words)
    return "lower" if is_priority else "either"


def _laxer_in(own: Any, packaged: Any, side: str, unit: str = "") -> Iterator[LaxerKey]:
    kind: Any = type(packaged)
    for key, direction in directions(kind).items():
        value, usual = getattr(own, key), getattr(packaged, key)
        way = on_side(direction, side)
        if _is_ladder(usual):
            for text in dict.fromkeys(_weaker_steps(value, usual, side, unit)):
                yield LaxerKey(key, text, "put a step as strict back")
        elif _is_laxer(value, usual, way):
            sign = _sign(key, unit)
            text = f"its {key} is {_shown(value, sign)}, packaged {_shown(usual, sign)}"
            yield LaxerKey(key, text, _mend(usual, way, sign))


def on_side(way: Direction, side: str) -> Direction:
    """Return which way is outward or inward on a side."""
    if way not in ("outward", "inward"):
        return way
    return "higher" if (way == "outward") is (side == "above") else "lower"


def _is_laxer(value: Any, usual: Any, way: Direction) -> bool:
    if way == "either":
        return value is not None and value != usual
    if value is None or usual is None:
        return value is None and usual is not None  # never is the laxest
    own, packaged = _rank(value), _rank(usual)
    # Of two sets of words neither need be the smaller.
    return not (own <= packaged if way == "higher" else own >= packaged)


def _rank(value: Any) -> Any:
    """Return what can be compared: priorities by gravity, lists by what is in them."""
    if isinstance(value, tuple):
        return frozenset(value)
    return _priority(value) if isinstance(value, str) else value


def _priority(word: str) -> Priority | None:
    return Priority.__members__.get(word.upper())


def _is_ladder(value: Any) -> bool:
    return isinstance(value, list) and all(attrs.has(type(step)) for step in value)


def _sign(key: str, unit: str) -> str:
    """Return what stands behind a value of a key that other units tell otherwise."""
    found = limit_unit(key, unit)
    return f" {sign_of(found)}" if found in IN_US else ""


def _weaker_steps(
    own: Sequence[Any], packaged: Sequence[Any], side: str, unit: str
) -> Iterator[str]:
    """Say of each packaged step that no step here is as strict."""
    sign = _sign("at", unit)
    for usual in packaged:
        laxer = [(s.at, {k.key for k in _laxer_in(s, usual, side)}) for s in own]
        if not all(keys for _, keys in laxer):
            continue
        over_s = getattr(usual, "over_s", 0.0)
        name = f"the {usual.priority} step" + (f" over {over_s:g} s" if over_s else "")
        alike = [at for at, keys in laxer if keys == {"at"}]
        if alike:
            nearest = min(alike, key=lambda at: abs(at - usual.at))
            yield f"{name} is at {nearest:g}{sign}, packaged {usual.at:g}{sign}"
        else:
            yield f"{name} at {usual.at:g}{sign} is missing"


def _shown(value: Any, sign: str = "") -> str:
    """Show a value as a config has it; a word stands without quotes."""
    if value is None or value == math.inf:
        return "not given"
    if isinstance(value, float):
        return f"{value:g}{sign}"
    return value if isinstance(value, str) and value else json.dumps(to_plain(value))


def _mend(usual: Any, way: Direction, sign: str = "") -> str:
    """Return what is as strict as the packaged value, and which way is free."""
    if usual is None:
        return "remove it"
    if way == "either" or isinstance(usual, bool | tuple):
        return f"give {_shown(usual)}"
    return f"give {_shown(usual, sign)} or {'lower' if way == 'higher' else 'higher'}"
