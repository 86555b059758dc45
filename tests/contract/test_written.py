"""The written contract: valid schemas, of the product's own words, held everywhere."""

import json
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any

import jsonschema
import pytest

from cabinvigil.daemon.cli import COMMANDS, main, parser_of
from cabinvigil.daemon.core.model import ActKind, AlarmState, Priority
from cabinvigil.daemon.log.format import LOG_FORMAT
from cabinvigil.daemon.log.lines import Entry, Renderer
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Topics, run_of
from cabinvigil.daemon.planning import plan_json
from cabinvigil.drivers.kit.quantity import QUANTITIES
from tests.contract import held, written

STAMP = Stamp(60.0, datetime(2026, 1, 16, 21, 1, tzinfo=UTC))
LOG = written.schema(written.LOG)
OUTPUT = written.schema(written.OUTPUT)


def test_the_schemas_are_json_schema() -> None:
    """Draft 7, the one that AsyncAPI 3 builds on; by its own meta-schema."""
    for schema in (LOG, OUTPUT):
        jsonschema.Draft7Validator.check_schema(schema)


def references(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("$ref"), str):
            yield value["$ref"]
        for each in value.values():
            yield from references(each)
    elif isinstance(value, list):
        for each in value:
            yield from references(each)


def test_every_reference_leads_to_a_definition_and_every_definition_is_used() -> None:
    used = set()
    for name, schema in ((written.LOG, LOG), (written.OUTPUT, OUTPUT)):
        for reference in references(schema):
            file, _, place = reference.partition("#/definitions/")
            assert place in (written.schema(file) if file else schema)["definitions"]
            used.add((file or name, place))
    for name, schema in ((written.LOG, LOG), (written.OUTPUT, OUTPUT)):
        for place, definition in schema["definitions"].items():
            assert (name, place) in used or "title" in definition, place


def test_they_come_with_the_package_and_bear_a_version() -> None:
    """The log's first number is its format, which its start lines say."""
    versions = {}
    for name in (written.LOG, written.OUTPUT):
        packed = json.loads(files("cabinvigil.config").joinpath(name).read_text())
        (versions[name],) = re.findall(r"invalid/(\d+\.\d+\.\d+)/", packed["$id"])
    assert versions[written.LOG].split(".")[0] == str(LOG_FORMAT)
    assert LOG["definitions"]["start"]["properties"]["log_format"]["const"] == (
        LOG_FORMAT
    )
    assert re.fullmatch(r"\d+\.\d+\.\d+", written.document()["info"]["version"])


def test_the_words_in_them_are_the_products() -> None:
    """Quantities, states, priorities and acts: each list once more, and the same."""
    shared = LOG["definitions"]
    assert shared["state"]["enum"] == [state.value for state in AlarmState]
    assert shared["priority"]["enum"] == [priority.word for priority in Priority]
    acts = {kind.value for kind in ActKind} - {ActKind.MARK.value}
    assert set(shared["act"]["properties"]["act"]["enum"]) == acts
    pattern = shared["series"]["pattern"]
    assert pattern in shared["air"]["patternProperties"]
    assert pattern.startswith(f"^({'|'.join(QUANTITIES)})(_")


def test_every_command_with_json_has_its_schema() -> None:
    titled = {title.split()[0] for title in written.outputs()}
    offering = {word for word in COMMANDS if "--json" in parser_of(word).format_usage()}
    assert titled == offering
    for title in written.outputs():
        word, *options = title.split()
        known = parser_of(word).format_help()
        assert all(one in known for one in options if one.startswith("--"))


def test_a_judge_by_another_library_says_the_same() -> None:
    """The compiled judges against jsonschema, on lines that are right and wrong."""
    right = {"t": "2026-01-16T21:01:00.000Z", "up_s": 60.0, "event": "air"}
    lines = [
        right | {"o2_pct": 20.5, "temp_c_glass": 3.2, "co_ppm__bunk-co": 0.0},
        right | {"o2_pct": "20.5"},
        right | {"oxygen": 20.5},
        right | {"event": "mark", "text": "roof vent open 2 cm", "by": "button"},
        right | {"event": "mark", "text": "roof vent open 2 cm", "by": "wind"},
        right | {"event": "stop"},
        {"event": "stop", "reason": "stopped on request"},
        right | {"event": "stop", "unwritable": "ValueError: circular"},
    ]
    slow = jsonschema.Draft7Validator(LOG)
    for line in lines:
        quick = written.wrong_in_line(json.dumps(line).encode()) is None
        assert quick == (not list(slow.iter_errors(line))), line
    fine = [written.wrong_in_line(json.dumps(line).encode()) is None for line in lines]
    assert fine == [True, False, False, True, False, False, False, True]


# --- the whole suite is held to it --------------------------------------------------


def _line(fields: dict[str, Any], event: str) -> None:
    Renderer().render(Entry(event, fields, False), STAMP)


MESSAGES = Messages(Topics("lapwing"), run_of(STAMP.wall))
PLANTS: dict[str, tuple[Callable[[], Any], str]] = {
    "a line without what its event needs": (
        lambda: _line({"source": "bunk-o2", "text": "gone"}, "fault"),
        "kind",
    ),
    "a line with a key that nobody promised": (
        lambda: _line({"o2_pct": 20.5, "oxygen": 20.5}, "air"),
        "oxygen",
    ),
    "an event that is not in the contract": (lambda: _line({}, "party"), "event"),
    "a message on another topic": (
        lambda: MESSAGES.answer({}, "cabinvigil/lapwing/gossip", b"", STAMP),
        "no channel",
    ),
    "a message with another word": (lambda: MESSAGES.presence("snoozing"), "presence"),
    "a message without its head": (
        lambda: MESSAGES._json("heartbeat", {"period_s": 30.0}),
        "heartbeat",
    ),
}  # fmt: skip


@pytest.mark.parametrize("plant", sorted(PLANTS))
def test_what_breaks_the_contract_is_caught_wherever_it_comes_about(plant: str) -> None:
    """By the same judges that every other test of the suite runs under."""
    act, word = PLANTS[plant]
    act()
    (found,) = held.taken()
    assert word in found


def test_an_output_that_breaks_the_contract_is_caught(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A renamed key of `plan --json`."""
    assert main(["plan", "--json", "--hours", "1"]) == 0
    assert held.taken() == []
    whole = json.loads(capsys.readouterr().out)
    bent = {"Vent" if key == "vent" else key: value for key, value in whole.items()}
    command = "cabinvigil.daemon.commands.plan.plan_object"
    assert plan_json.plan_object.__name__ in command
    monkeypatch.setattr(command, lambda *_: bent)
    assert main(["plan", "--json", "--hours", "1"]) == 0
    (found,) = held.taken()
    assert "plan" in found
    assert "vent" in found
