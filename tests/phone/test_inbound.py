"""Whatever is written at the broker: a message, or nothing; never an error."""

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.core.model import AlarmState, Alert, Priority, Transition
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import Messages, Pending, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.senml import SeriesReading
from cabinvigil.daemon.phone.inbound import (
    LARGEST_PAYLOAD,
    LONGEST_TEXT,
    AlarmHeard,
    BeatHeard,
    BridgeHeard,
    EstimatesHeard,
    PresenceHeard,
    ReadingsHeard,
    TextHeard,
    read,
)

START = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)
STAMP = Stamp(60.0, START)
MESSAGES = Messages(Topics("lapwing"), run_of(START), UTC)
TAILS = [
    *("presence", "bridge", "alert", "alert-second", "heartbeat", "readings"),
    *("estimates", "morning", "trial", "alarm/o2-low", "answer", "ask", "x"),
]


def back(publication: Any) -> Any:
    return read(publication.topic, publication.payload, publication.user)


def test_what_the_watch_says_is_understood() -> None:
    """By its own encoder."""
    assert back(MESSAGES.presence("lost")) == PresenceHeard("lapwing", "lost")
    beat = back(MESSAGES.heartbeat(7, STAMP, 30.0))
    assert beat == BeatHeard("lapwing", run_of(START), 7, 60.0, 30.0)
    given_ = [
        SeriesReading("o2_pct", 20.512, 2.0),
        SeriesReading("co_ppm", 1e3, 0, True),
    ]
    assert back(MESSAGES.readings(given_, STAMP)) == ReadingsHeard(
        "lapwing", {"o2_pct": (20.512, 2.0, False), "co_ppm": (1000.0, 0.0, True)}
    )
    fields = {"o2_minutes_to_19_5": [11.0, 13.0, None], "air_changes_per_h": [1, 2, 3]}
    assert back(MESSAGES.estimates(fields, 8, STAMP)) == EstimatesHeard(
        "lapwing", fields
    )
    change = Transition(
        "sensor-stale/bunk-o2", AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL,
        Priority.FAULT, "The oxygen cell is silent.", 40.0,
    )  # fmt: skip
    alarm = back(MESSAGES.alarm(change, 9, STAMP))
    assert isinstance(alarm, AlarmHeard)
    assert (alarm.alarm, alarm.urgency, alarm.seq) == ("sensor-stale/bunk-o2", 3, 9)
    assert read("cabinvigil/lapwing/bridge", b"0") == BridgeHeard("lapwing", False)


def test_a_heartbeat_tells_of_a_test_of_the_parts() -> None:
    beat = back(MESSAGES.heartbeat(7, STAMP, 30.0))
    assert (beat.bump_for_s, beat.bump_by) == (0.0, "")
    bump = {"bump_for_s": 280.0, "bump_by": "breath"}
    beat = back(MESSAGES.heartbeat(7, STAMP, 30.0, bump))
    assert (beat.bump_for_s, beat.bump_by) == (280.0, "breath")
    odd = {"run": "r", "seq": 1, "up_s": 1, "period_s": 30, "bump_for_s": 1e9}
    payload = json.dumps({**odd, "bump_by": "perfume"}).encode()
    beat = read("cabinvigil/lapwing/heartbeat", payload)
    assert isinstance(beat, BeatHeard)
    assert (beat.bump_for_s, beat.bump_by) == (300.0, ""), "no longer than a test lasts"


@pytest.mark.parametrize(
    ("said", "unknown"),
    [
        (["o2_pct", "co_ppm"], ("o2_pct", "co_ppm")),
        (["co_ppm", "perfume", 3, None, []], ("co_ppm",)),
        ("co_ppm", ()),
        ({"co_ppm": 1}, ()),
    ],
)
def test_a_heartbeat_tells_what_is_not_known(
    said: object, unknown: tuple[str, ...]
) -> None:
    """By the names that the page has words for; what is none of them is left out."""
    ours = MESSAGES.heartbeat(7, STAMP, 30.0)
    body = json.loads(ours.payload) | {"unknown": said}
    beat = read(ours.topic, json.dumps(body).encode(), ours.user)
    assert isinstance(beat, BeatHeard)
    assert beat.unknown == unknown


def test_an_alert_keeps_its_text_and_has_one_id_however_often_it_comes() -> None:
    alert = Alert("o2-low", Priority.HIGH, "Oxygen 19.2\u00a0%. Get out.", 0, 21600.0)
    said = MESSAGES.alert(Pending(alert, 3, 60.0), STAMP)
    heard, again = back(said), back(said)
    assert isinstance(heard, TextHeard)
    assert heard == again
    assert heard.text == said.payload.decode()
    assert (heard.urgency, heard.expires_s, heard.is_second) == (5, 21600.0, False)
    other = back(MESSAGES.alert(Pending(alert, 4, 60.0), STAMP))
    assert other.id != heard.id
    old = read(said.topic, said.payload)
    assert old.urgency == 4, "without properties (MQTT 3.1.1) rather too loud"


@given(
    st.sampled_from(TAILS),
    st.binary(max_size=300) | st.text(max_size=100).map(str.encode),
    st.lists(st.tuples(st.text(max_size=9), st.text(max_size=40)), max_size=5),
)
def test_any_bytes_are_read_without_an_error(
    tail: str, payload: bytes, user: list[tuple[str, str]]
) -> None:
    read(f"cabinvigil/lapwing/{tail}", payload, tuple(user))


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=9),
    lambda inside: (
        st.lists(inside, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                [
                    "run",
                    "seq",
                    "up_s",
                    "period_s",
                    "n",
                    "v",
                    "t",
                    "state",
                    "text",
                    "priority",
                ]
            ),
            inside,
            max_size=8,
        )
    ),
    max_leaves=20,
)


@given(st.sampled_from(TAILS), _JSON)
def test_any_json_is_read_without_an_error(tail: str, body: object) -> None:
    read(f"cabinvigil/lapwing/{tail}", json.dumps(body).encode())


@pytest.mark.parametrize(
    "topic",
    ["", "/", "cabinvigil", "cabinvigil//alert", "cabinvigil/Lapwing/alert",
     "cabinvigil/a b/alert", f"cabinvigil/{'a' * 41}/alert", "cabinvigil/é/alert",
     "cabinvigil/lapwing/alert/x", "$SYS/broker",
     "x/y/alert"],
)  # fmt: skip
def test_other_topics_say_nothing(topic: str) -> None:
    assert read(topic, b"Get out.") is None


def test_what_is_too_large_too_deep_or_no_number_says_nothing() -> None:
    beat = "cabinvigil/lapwing/heartbeat"
    assert read("cabinvigil/lapwing/alert", b"x" * (LARGEST_PAYLOAD + 1)) is None
    assert read(beat, b"[" * 60_000) is None
    for bad in ("1e999", "NaN", '"7"', "true", "null", "9" * 5000):
        body = f'{{"run": "r", "seq": 1, "up_s": {bad}, "period_s": 30}}'
        assert read(beat, body.encode()) is None


def test_no_text_may_steer_a_screen_or_be_endless() -> None:
    heard = read("cabinvigil/lapwing/alert", "a\x1b[2J\u202eb\n".encode() + b"c" * 9000)
    assert isinstance(heard, TextHeard)
    assert heard.text.startswith("a?[2J?b?ccc")
    assert len(heard.text) == LONGEST_TEXT


def test_a_period_of_any_size_is_one_that_is_watched() -> None:
    for given_s, used_s in ((0.001, 5.0), (1e9, 600.0), (30.0, 30.0)):
        body = {"run": "r", "seq": 1, "up_s": 1.0, "period_s": given_s}
        beat = read("cabinvigil/lapwing/heartbeat", json.dumps(body).encode())
        assert isinstance(beat, BeatHeard)
        assert beat.period_s == used_s
