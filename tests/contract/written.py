"""The written contract as functions: one that judges a line, a message, an output.

The schemas are config/log.schema.json, config/output.schema.json, and the payloads of
config/asyncapi.yaml.  Compiled, since the suite judges some hundred thousand lines.
"""

import json
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import fastjsonschema
import yaml

CONFIG = Path(__file__).parents[2] / "config"
LOG, OUTPUT = "log.schema.json", "output.schema.json"
Judge = Callable[[Any], Any]


def schema(name: str) -> dict[str, Any]:
    """Read one of the schemas."""
    found: dict[str, Any] = json.loads((CONFIG / name).read_text(encoding="utf-8"))
    return found


@cache
def document() -> dict[str, Any]:
    """Read the MQTT contract."""
    text = (CONFIG / "asyncapi.yaml").read_text(encoding="utf-8")
    found: dict[str, Any] = yaml.load(text, Loader=yaml.CSafeLoader)
    return found


def _compiled(judged: dict[str, Any]) -> Judge:
    handlers = {"https": lambda uri: schema(uri.rsplit("/", 1)[1])}
    judge: Judge = fastjsonschema.compile(judged, handlers=handlers, use_default=False)
    return judge


@cache
def log_line() -> Judge:
    """Give the judge of a line of the rolling log."""
    return _compiled(schema(LOG))


@cache
def outputs() -> dict[str, Judge]:
    """Give the judges of what commands print, by the call: `plan --json`."""
    whole = schema(OUTPUT)
    return {
        definition["title"]: _compiled(
            {
                "$schema": whole["$schema"],
                "$id": whole["$id"],
                "definitions": whole["definitions"],
                "$ref": f"#/definitions/{name}",
            }
        )
        for name, definition in whole["definitions"].items()
        if "title" in definition
    }


def channel_of(topic: str) -> str | None:
    """Find the channel that a topic belongs to; None: the contract has none."""
    for name, channel in document()["channels"].items():
        pattern = channel["address"].replace("{cabin}", "[a-z0-9-]+")
        pattern = pattern.replace("{alarm}", r"[a-z0-9_-]+(/[A-Za-z0-9._-]+)?")
        pattern += "(/.+)?" if name == "answer" else ""
        if re.fullmatch(pattern, topic):
            return str(name)
    return None


@cache
def _payload(channel: str) -> tuple[Judge, bool]:
    """Give a channel's judge, and whether its payloads are plain text."""
    whole = document()
    (reference,) = whole["channels"][channel]["messages"].values()
    message = whole["components"]["messages"][reference["$ref"].rsplit("/", 1)[1]]
    is_text = message.get("contentType", "").startswith("text/")
    judged = {"components": whole["components"], "allOf": [message["payload"]]}
    return _compiled(judged), is_text


_FINE_AIR: set[tuple[tuple[str, type], ...]] = set()


def wrong_in_line(data: bytes) -> str | None:
    """Say what is wrong with a line of the log; None: nothing.

    Nearly all lines are the air's, and of a number the contract asks nothing but to be
    one: so of each shape of them one is judged.
    """
    try:
        line = json.loads(data)
        shape = tuple((key, type(value)) for key, value in line.items())
        if line["event"] == "air" and shape in _FINE_AIR:
            return None
        log_line()(line)
        if line["event"] == "air" and all(kind is not list for _, kind in shape):
            _FINE_AIR.add(shape)
    except (ValueError, KeyError) as error:
        return f"log line {data[:400]!r}: {error}"
    return None


def wrong_in_message(topic: str, payload: bytes) -> str | None:
    """Say what is wrong with an MQTT message; None: nothing."""
    channel = channel_of(topic)
    if channel is None:
        return f"the contract has no channel for {topic}"
    try:
        judge, is_text = _payload(channel)
        judge(payload.decode() if is_text else json.loads(payload))
    except ValueError as error:
        return f"message on {topic} {payload[:400]!r}: {error}"
    return None


def wrong_in_output(word: str, printed: str) -> str | None:
    """Say what is wrong with what a command printed with --json; None: nothing."""
    judges = {
        title: judge for title, judge in outputs().items() if title.split()[0] == word
    }
    for line in printed.splitlines():
        said = []
        for title, judge in judges.items():
            try:
                judge(json.loads(line))
            except ValueError as error:
                said.append(f"{title}: {error}")
        if len(said) == len(judges):
            return f"{word} printed {line[:400]!r}: {'; '.join(said) or 'no schema'}"
    return None
