"""From a command to one line of the rolling log, through structlog's processors.

A line is total: whatever a field holds, a line comes out that a JSON reader takes.
"""

from collections.abc import Callable, Mapping, MutableMapping
from typing import Any, NamedTuple

import structlog

from cabinvigil.daemon.core.model import Command, Estimate, Record, Transition
from cabinvigil.daemon.log.format import OWN_KEYS
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.text.errors import bug_text
from cabinvigil.daemon.text.json import dumps
from cabinvigil.daemon.text.moments import utc_text


class Entry(NamedTuple):
    """What is to be logged, before it is a line."""

    event: str
    fields: Mapping[str, Any]
    urgent: bool


def entry_of(command: Command) -> Entry | None:
    """Return what a command puts in the log; None: nothing."""
    match command:
        case Record():
            return Entry(command.event, command.fields, command.urgent)
        case Estimate():
            return Entry("estimate", command.fields, False)
        case Transition():
            fields = command.spelled(since_s=command.since_s)
            fields["evidence"] = dict(command.evidence)
            return Entry("alarm", fields, True)
        case _:
            return None


class Renderer:
    """Renders entries; holds no state but the pipeline."""

    def __init__(self) -> None:
        self._sink = _Sink()
        self._logger = structlog.wrap_logger(
            self._sink,
            processors=[
                _own_keys_first,
                structlog.processors.JSONRenderer(serializer=dumps),
            ],
            wrapper_class=_LineLogger,
        ).bind()

    def render(
        self,
        entry: Entry,
        stamp: Stamp,
        on_unwritable: Callable[[str], None] = lambda _why: None,
    ) -> bytes:
        """Return the line with its newline, in UTF-8.

        Args:
            entry: what is to be logged.
            stamp: its moment.
            on_unwritable: told why its fields cannot be written; the line then holds
                moment, event and that reason alone.
        """
        try:
            self._logger.line(entry.event, stamp, entry.fields)
            text = self._sink.text
        except Exception as error:  # whatever a field is: one line must not cost others
            why = bug_text(error)
            on_unwritable(why)
            text = dumps(_own_keys(entry.event, stamp) | {"unwritable": why})
        return text.encode("utf-8", "backslashreplace") + b"\n"


class _Sink:
    """Where the pipeline ends: the last text."""

    text = ""

    def line(self, text: str) -> None:
        self.text = text


class _LineLogger(structlog.BoundLoggerBase):
    """A bound logger with one method, for lines that bring their own moment."""

    def line(self, event: str, stamp: Stamp, fields: Mapping[str, Any]) -> None:
        self._proxy_to_logger("line", event, stamp=stamp, fields=fields)


def _own_keys(event: str, stamp: Stamp) -> dict[str, Any]:
    values = (utc_text(stamp.wall), stamp.up_s, event)
    return dict(zip(OWN_KEYS, values, strict=True))


def _own_keys_first(
    _logger: Any, _method: str, event_dict: MutableMapping[str, Any]
) -> dict[str, Any]:
    """Put moment and event before the fields, as people read a line."""
    line = _own_keys(event_dict["event"], event_dict["stamp"])
    for key, value in event_dict["fields"].items():
        line[f"{key}_" if key in OWN_KEYS else key] = value
    return line
