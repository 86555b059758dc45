"""The written contract: a valid AsyncAPI document, and what the watch really says."""

import gzip
import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import jsonschema
import pytest
import yaml

from cabinvigil.daemon.ask.outcome import ActOutcome
from cabinvigil.daemon.ask.parse import (
    _ACTS,
    _KEYS,
    LONGEST_ID,
    LONGEST_TEXT,
    REPORTS,
    SHELVE_AT_MOST_S,
    RefusedError,
    parse_ask,
)
from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.core.model import (
    AlarmState,
    Alert,
    Estimate,
    Priority,
    Record,
    Transition,
)
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt import messages
from cabinvigil.daemon.outputs.mqtt.messages import (
    Messages,
    Publication,
    Topics,
    run_of,
)
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.report.json import summary
from tests.review import logs, named

ROOT = Path(__file__).parents[3]
DOCUMENT: dict[str, Any] = yaml.safe_load(
    (ROOT / "config" / "asyncapi.yaml").read_text(encoding="utf-8")
)
START = datetime(2025, 1, 14, 21, 0, tzinfo=UTC)


def test_the_document_is_valid_asyncapi() -> None:
    """Against the JSON schema of AsyncAPI 3.0.0 itself (tests/data/asyncapi)."""
    packed = ROOT / "tests" / "data" / "asyncapi" / "asyncapi-3.0.0.json.gz"
    schema = json.loads(gzip.decompress(packed.read_bytes()))
    validator = jsonschema.Draft7Validator(schema)
    assert [e.message[:200] for e in validator.iter_errors(DOCUMENT)] == []
    broken = {**DOCUMENT, "operations": {"x": {"action": "shout"}}}
    assert list(validator.iter_errors(broken)), "the schema can refuse"


def references(value: Any) -> list[str]:
    if isinstance(value, dict):
        own = [value["$ref"]] if "$ref" in value else []
        return own + [r for each in value.values() for r in references(each)]
    if isinstance(value, list):
        return [r for each in value for r in references(each)]
    return []


def follow(reference: str) -> Any:
    found: Any = DOCUMENT
    for step in reference.removeprefix("#/").split("/"):
        found = found[step]
    return found


def test_every_reference_leads_somewhere() -> None:
    assert len(references(DOCUMENT)) > 40
    for each in references(DOCUMENT):
        follow(each)


def morning() -> dict[str, Any]:
    """The account of a dangerous night, as `cabinvigil morning --summary` prints it."""
    with TemporaryDirectory() as folder:
        log, _ = named.night("shut")
        found = give_account(files(logs.write(Path(folder), log)))
    return dict(json.loads(json.dumps(summary(found), allow_nan=False)))


TRIAL = {"state": "begun", "text": "roof vent", "for_s": 3600.0, "until": "o2-low"}


def said() -> list[Publication]:
    """Everything that a watch says, each kind at least once."""
    stamp = Stamp(60.0, START + timedelta(seconds=60))
    desk = Publisher(
        Messages(Topics("lapwing"), run_of(START), UTC),
        heartbeat_s=30.0,
        readings_s=10.0,
    )
    desk.connected(stamp)
    values = {"o2_pct": 20.512, "co_ppm": 1000.0, "temp_c_outside": -9.0}
    desk.handle(Record("air", {**values, "at_least": ["co_ppm"]}), stamp)
    desk.handle(Record("trial", TRIAL), stamp)
    desk.handle(
        Estimate({
            "o2_rate_pct_per_h": [-2.1, -1.9, -1.7], "o2_below_19_5_within_20min": 0.2,
            "o2_minutes_to_19_5": None, "o2_settles_pct": [19.1, 19.6, 19.9],
            "air_changes_per_h": [1.0, 1.4, 2.0],
        }),
        stamp,
    )  # fmt: skip
    for state in AlarmState:
        for priority in Priority:
            name = f"sensor-stale/{state.value}" if priority == 1 else "o2-low"
            change = Transition(name, state, AlarmState.NORMAL, priority, "Text.", 12.0)
            desk.handle(change, stamp)
            desk.handle(Alert(name, priority, "A sentence.", priority % 3), stamp)
    desk.morning(morning(), stamp)
    late = Stamp(140.0, START + timedelta(seconds=140))
    out = []
    while (taken := desk.next(stamp if len(out) % 2 else late)) is not None:
        out.append(taken[1])
    desk.handle(Estimate({"o2_minutes_to_19_5": [145.4, None, None]}), stamp)
    taken = desk.next(stamp)
    assert taken is not None
    out.append(taken[1])
    desk.stopping(stamp)
    taken = desk.next(stamp)
    assert taken is not None
    answer = desk.messages.answer({"answer": "status", "ok": True}, "", b"x", stamp)
    will = desk.messages.presence(messages.LOST)
    return [*out, taken[1], will, answer]


def channel_of(topic: str) -> str:
    for name, channel in DOCUMENT["channels"].items():
        pattern = channel["address"].replace("{cabin}", "[a-z0-9-]+")
        pattern = pattern.replace("{alarm}", r"[a-z0-9_-]+(/[A-Za-z0-9._-]+)?")
        if re.fullmatch(pattern, topic):
            return str(name)
    pytest.fail(f"the contract has no channel for {topic}")


def payload_schema(channel: str) -> dict[str, Any]:
    (message,) = DOCUMENT["channels"][channel]["messages"].values()
    schema = follow(message["$ref"])["payload"]
    return {**schema, "components": DOCUMENT["components"]}


def test_everything_the_watch_says_is_in_the_contract() -> None:
    """Topic, payload, quality of service, retained or not, and content type."""
    operations = {
        follow(o["channel"]["$ref"])["address"]: o
        for o in DOCUMENT["operations"].values()
        if o["action"] == "send"
    }
    seen = set()
    for each in said():
        channel = channel_of(each.topic)
        seen.add(channel)
        (reference,) = DOCUMENT["channels"][channel]["messages"].values()
        message = follow(reference["$ref"])
        kind = message.get("contentType", DOCUMENT["defaultContentType"])
        assert each.content_type == kind
        text = each.payload.decode()
        value = text if kind.startswith("text/") else json.loads(text)
        jsonschema.Draft7Validator(payload_schema(channel)).validate(value)
        if channel == "answer":
            continue
        binding = operations[DOCUMENT["channels"][channel]["address"]]["bindings"][
            "mqtt"
        ]
        assert (each.qos, each.retain) == (binding["qos"], binding["retain"])
        if "messageExpiryInterval" in binding:
            assert 0 < (each.expiry_s or 0) <= binding["messageExpiryInterval"]
    assert seen == set(DOCUMENT["channels"]) - {"ask", "bridge", "bridgeHere"}


def test_the_contract_of_the_morning_can_refuse() -> None:
    """Every key that it names is there; a word of another verdict is none."""
    schema = payload_schema("morning")
    head = {"at": "2025-01-14T21:00:00.000Z", "up_s": 1.0, "seq": 1}
    told = {**morning(), **head, "run": head["at"]}
    described = schema["allOf"][1]
    assert set(described["required"]) == set(described["properties"]) == set(morning())
    validator = jsonschema.Draft7Validator(schema)
    assert list(validator.iter_errors(told)) == []
    for key, wrong in (("verdict", "fine"), ("gas_kg", 0.1), ("tonight", None)):
        assert list(validator.iter_errors({**told, key: wrong}))


def test_the_will_is_the_one_written_down() -> None:
    will = DOCUMENT["servers"]["cabin"]["bindings"]["mqtt"]["lastWill"]
    ours = Messages(Topics("lapwing"), "run").presence(messages.LOST)
    assert (will["topic"], will["message"]) == (ours.topic, ours.payload.decode())
    assert (will["qos"], will["retain"]) == (ours.qos, ours.retain)


def test_what_may_be_asked_is_what_is_written_down() -> None:
    """The same verbs, keys and bounds in the document and in the reader of asks."""
    schema = payload_schema("ask")
    assert set(schema["properties"]["ask"]["enum"]) == {*_ACTS, "status", *REPORTS}
    assert set(schema["properties"]) == _KEYS
    assert schema["properties"]["text"]["maxLength"] == LONGEST_TEXT
    assert schema["properties"]["id"]["maxLength"] == LONGEST_ID
    assert schema["properties"]["for_s"]["maximum"] == SHELVE_AT_MOST_S
    judge = jsonschema.Draft7Validator(schema)
    at = "2026-01-16T23:14:05Z"
    wall = datetime.fromisoformat(at)
    for verb in schema["properties"]["ask"]["enum"]:
        fields = {"ask": verb, "alarm": "cold", "text": "soup", "for_s": 60}
        judge.validate({**fields, "at": at})
        parse_ask(json.dumps({**fields, "at": at}).encode(), "phone", wall)
        needs_moment = bool(list(judge.iter_errors(fields)))
        try:
            parse_ask(json.dumps(fields).encode(), "phone", wall)
        except RefusedError:
            assert needs_moment, verb
        else:
            assert not needs_moment, verb
    for fields in (
        {"ask": "run"},
        {"ask": "mark", "x": 1},
        {"ask": "mark", "for_s": -1},
    ):
        assert list(judge.iter_errors({"at": at, **fields}))
        with pytest.raises(RefusedError):
            parse_ask(json.dumps({"text": "x", "at": at, **fields}).encode(), "phone")


def test_the_examples_of_what_may_be_asked_are_taken() -> None:
    """By the schema, and by the watch in that moment."""
    message = DOCUMENT["components"]["messages"]["ask"]
    assert len(message["examples"]) >= 6
    for example in message["examples"]:
        fields = example["payload"]
        jsonschema.Draft7Validator(payload_schema("ask")).validate(fields)
        at = fields.get("at")
        wall = None if at is None else datetime.fromisoformat(at)
        assert parse_ask(json.dumps(fields).encode(), "phone", wall).verb


def test_the_answer_that_the_manual_shows_is_one_of_the_examples() -> None:
    text = (ROOT / "daemon" / "README.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"<!-- asked: answer -->\n```json\n(.*)\n```", text)
    examples = DOCUMENT["components"]["messages"]["ask"]["examples"]
    assert json.loads(shown) in [example["payload"] for example in examples]


def test_what_an_asker_learns_is_what_is_written_down() -> None:
    described = set(payload_schema("answer")["properties"])
    assert ActOutcome(False, "Nothing was done.").body().keys() <= described
