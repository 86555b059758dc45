"""What is asked from outside, at a whole watcher: done or refused, and told so."""

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from cabinvigil.daemon.ask.limits import MarkLimit
from cabinvigil.daemon.ask.parse import parse_ask
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.model import Act, ActKind, Alert, Record, Sound
from cabinvigil.daemon.service.asks import answer_to
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import MqttSettings, Settings, example
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer
from tests.outputs.hands import HandClock
from tests.service.test_watcher import Kept

EVENING = datetime(2026, 1, 16, 21, tzinfo=UTC)
ZONE = timezone(timedelta(hours=1))
SETTINGS = example()
CORE = compose_settings(SETTINGS, renderer("en"))


class Cabin:
    """The example's cabin, without its parts, and what it said."""

    def __init__(self, settings: Settings = SETTINGS) -> None:
        self.settings = settings
        self.clock = HandClock(EVENING)
        self.kept = Kept()
        self.watcher = Watcher(CORE, self.clock, [self.kept])
        self.watcher.tick()
        self.marks = MarkLimit()

    def ask(
        self, by: str = "phone", wall: datetime | None = None, **fields: Any
    ) -> Any:
        """Ask now, by the cabin's clock."""
        wall = wall or self.clock.wall()
        data = b'{"ask": "' + fields.pop("ask").encode() + b'", "at": "'
        data += wall.isoformat().encode() + b'"}'
        asked = parse_ask(data, by, wall)  # type: ignore[arg-type]
        if asked.act is not None:
            asked = replace(asked, act=replace(asked.act, **fields))
        return self.given(asked, wall)

    def mark(self, by: str) -> Any:
        wall = self.clock.wall()
        data = {"ask": "mark", "text": "vent open", "at": wall.isoformat()}
        asked = parse_ask(json.dumps(data).encode(), by, wall)  # type: ignore[arg-type]
        return self.given(asked, wall)

    def given(self, asked: Any, wall: datetime) -> Mapping[str, Any]:
        return answer_to(
            asked, self.watcher, self.settings, wall, ZONE, marks=self.marks
        )

    def acts(self) -> list[str]:
        return [one.fields["act"] for one in self.kept.of(Record) if one.event == "act"]


def test_whoever_looks_learns_how_things_stand() -> None:
    got = Cabin().ask(ask="status")
    assert got["ok"] is True
    assert got["cabin"] == "lapwing"


def test_what_a_phone_does_reaches_the_core_and_its_outcome_the_phone() -> None:
    cabin = Cabin()
    got = cabin.ask(ask="acknowledge")
    assert got == {
        "ok": False,
        "changed": 0,
        "text": "Nothing was done: no alarm waits to be acknowledged.",
    }
    assert cabin.acts() == ["acknowledge"], "it is in the log all the same"


@pytest.mark.parametrize(
    ("hour_utc", "is_day"),
    [(6, False), (7, True), (18, True), (19, False), (23, False)],
)
def test_a_phone_tests_the_sounder_by_day_alone(hour_utc: int, is_day: bool) -> None:
    """From eight to twenty in the cabin's hours, an hour ahead of UTC."""
    cabin = Cabin()
    wall = datetime(2026, 1, 16, hour_utc, 30, tzinfo=UTC)
    got = cabin.ask(ask="test", wall=wall)
    assert got["ok"] is is_day
    assert bool(cabin.kept.of(Sound)) is is_day
    if not is_day:
        assert got["text"].startswith("Nothing was done: ")
        local = (wall + timedelta(hours=1)).strftime("%H:%M")
        assert f"08:00 to 20:00 alone, and it is {local} in the cabin" in got["text"]
        assert cabin.acts() == []


def test_a_test_by_day_is_told_as_a_test() -> None:
    cabin = Cabin()
    cabin.ask(ask="test", wall=datetime(2026, 1, 16, 12, tzinfo=UTC))
    assert cabin.kept.of(Sound) == [Sound("test")]
    (told,) = cabin.kept.of(Alert)
    assert "only a test" in told.text


def test_at_night_it_sounds_where_the_config_allows_it_or_for_a_hand_in_the_cabin() -> (
    None
):
    cabin = Cabin()
    assert cabin.ask("socket", ask="test")["ok"]
    assert SETTINGS.mqtt is not None
    allowed = replace(SETTINGS, mqtt=changed(SETTINGS.mqtt, test_at_night=True))
    assert Cabin(allowed).ask(ask="test")["ok"]
    assert MqttSettings(host="localhost").test_at_night is False


def test_without_a_clock_nobody_knows_that_it_is_day() -> None:
    act = Act(ActKind.TEST, by="phone")
    asked = replace(parse_ask(b'{"ask": "test"}', "socket"), act=act)
    unset = datetime(1970, 1, 1, 12, tzinfo=UTC)
    got = Cabin().given(asked, unset)
    assert got["ok"] is False
    assert "clock is not set" in got["text"]


def test_a_cabin_without_a_sounder_does_not_say_that_it_sounds() -> None:
    got = Cabin(replace(SETTINGS, buzzer=None)).ask("socket", ask="test")
    assert got["ok"] is False
    assert "nothing sounds" in got["text"]


def test_a_phone_marks_a_few_times_an_hour_and_is_told_why_no_more() -> None:
    """R8: one a second filled the card, and deleted older nights within a week."""
    cabin = Cabin()
    told = []
    for _ in range(7_200):
        cabin.clock.now_s += 1.0
        told.append(cabin.mark("phone"))
    marks = [one for one in cabin.kept.of(Record) if one.event == "mark"]
    assert len(marks) == 12
    refused = [one["text"] for one in told if not one["ok"]]
    assert refused[0] == "Nothing was done: marks by phone are 60 s apart; wait 59 s."
    assert any("phones have marked 6 times in this hour" in one for one in refused)


def test_whoever_is_in_the_cabin_marks_as_often_as_they_like() -> None:
    cabin = Cabin()
    for _ in range(30):
        cabin.clock.now_s += 1.0
        assert cabin.mark("socket")["ok"] is True
