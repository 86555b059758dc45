"""The packaged limits and their documents, as a table and as an object."""

from collections.abc import Iterator, Mapping
from typing import Any

from cabinvigil.daemon.settings.limit_sources import (
    RULE,
    Document,
    LimitSource,
    limit_sources,
)
from cabinvigil.daemon.text.alarm_names import URGENCY, name_of_alarm
from cabinvigil.daemon.text.numbers import compact
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.daemon.text.wrapping import wrap

COLUMNS = 80
ALARM, LIMIT, PRIORITY = 20, 28, 8
"""Widths of the first columns; the documents take the rest."""


def table(units: Units = SI) -> Iterator[str]:
    """Write each limit with its documents, and each document with what is known of it.

    Args:
        units: in which limits are told.

    Yields:
        Lines of at most 80 columns.
    """
    limits, documents = limit_sources()
    yield "The packaged limits, each with its source"
    for limit in limits:
        head = f"{limit.alarm:<{ALARM}}{_limit(limit, units):<{LIMIT}}"
        cited = ", ".join(document.id for document in limit.documents)
        yield from wrap(
            cited,
            COLUMNS,
            f"{head}{limit.priority:<{PRIORITY}}",
            " " * (ALARM + LIMIT + PRIORITY),
            break_on_hyphens=False,
        )
    yield ""
    yield "The alarms, by the names that people read"
    for alarm in dict.fromkeys(limit.alarm for limit in limits):
        yield f"{alarm:<{ALARM}}{name_of_alarm(alarm)}"
    kinds = ", ".join(f"{word}: {URGENCY[word]}" for word in ("low", "medium", "high"))
    yield f"Their priorities, in the same words: {kinds}."
    yield ""
    yield "The documents, and whether they were read for this project"
    for document in documents.values():
        known = [document.named, document.date, document.status]
        yield from wrap(
            "; ".join(word for word in known if word),
            COLUMNS,
            f"{document.id:<{ALARM}}",
            " " * ALARM,
            break_on_hyphens=False,
        )


def _limit(limit: LimitSource, units: Units) -> str:
    """Write a limit as people read it: its value, unit and what else it asks."""
    if limit.key == RULE:
        return "figures of its rule"
    value, unit = f"{limit.value}", limit.unit
    if isinstance(limit.value, float):
        told, unit = units.of_sign(limit.unit, limit.value)
        value = f"{told:g}" if unit == limit.unit else compact(told)
    text = f"{value} {unit}".strip()
    if limit.key != "steps":
        return f"{limit.key} {text}"
    if limit.share_pct < 100.0:
        text += f" at {limit.share_pct:g} % or less"
    if limit.over_s:
        hours = limit.over_s / 3600.0
        span = f"{hours:g} h" if hours >= 1.0 else f"{limit.over_s / 60.0:g} min"
        text += f" over {span}"
    return text


def table_object() -> dict[str, Any]:
    """Return what `config --limits --json` prints."""
    limits, documents = limit_sources()
    return {
        "limits": [_plain(limit) for limit in limits],
        "documents": {key: _document(one) for key, one in documents.items()},
    }


def _plain(limit: LimitSource) -> Mapping[str, Any]:
    return {
        "alarm": limit.alarm,
        "key": limit.key,
        "value": limit.value,
        "unit": limit.unit,
        "priority": limit.priority,
        "over_s": limit.over_s,
        "share_pct": limit.share_pct,
        "documents": [document.id for document in limit.documents],
    }


def _document(document: Document) -> Mapping[str, str]:
    return {
        "title": document.title,
        "edition": document.edition,
        "date": document.date,
        "status": document.status,
    }
